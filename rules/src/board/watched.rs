//! One order at work: what it remembers of each subject, and the step from truth to alert.

mod step;
mod telling;

use super::hold::Hold;
use super::snapshot::KeptOrder;
use super::timers::Timers;
use crate::alert::{AlertId, Origin};
use crate::condition::{Measure, Test, Truth};
use crate::judge::{Sight, TestState};
use crate::life::Alerts;
use crate::order::Order;
use rustc_hash::FxHashMap;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;
use terms::{Moment, Subject, Whose};

/// Subjects one order keeps a state of; further ones are not judged, and the crowd alert says so.
pub const MOST_SUBJECTS: usize = 4096;
/// Alerts one order tells one by one; of further ones only what is worse than each of these, and the rest together: an
/// anchorage, a fishing fleet.
pub const ONE_BY_ONE: usize = 8;
/// Alerts one order tells one by one at all. As many more may have ended and wait for somebody to acknowledge them.
pub const MOST_ALERTS: usize = 64;
/// Those told together call again, though acknowledged, when they have become more; at most so often.
const CROWD_CALLS_EVERY: Duration = Duration::from_secs(60);
/// Unjudged subjects named in a text.
const MOST_NAMED: usize = 3;

/// Where one subject stands with one order.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Phase {
    /// Nothing to tell.
    Quiet,
    /// True, but not yet held long enough.
    Rising(Hold),
    /// Told.
    On,
    /// Told; the end has begun but not yet lasted long enough.
    Falling(Hold),
}

/// What an order remembers of one subject.
#[derive(Debug, Clone)]
struct Progress {
    since: Moment,
    /// States of the tests; none where no test of the order has anything to remember.
    tests: Box<[TestState]>,
    phase: Phase,
    alert: Option<AlertId>,
    /// The alert was taken over from before a restart, and nothing could be judged since.
    unconfirmed: bool,
    unknown_since: Option<Moment>,
    /// How far it has come to worse than it was called for.
    worse: Worse,
}

/// Whether a subject has come to what its order calls worse.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Worse {
    /// Not yet, and not so long enough.
    Not(Hold),
    /// It was so when it was called, or has been told since.
    Told,
}

/// An order at work.
#[derive(Debug)]
pub struct Watched {
    /// The order.
    pub order: Arc<Order>,
    place: u32,
    /// Whether what is declared lets it apply.
    pub in_force: bool,
    /// It asks where the anchor lies, and nobody has declared what she does: only that can tell, so it is not missed.
    unanchored: bool,
    since: Moment,
    /// States and truths of tests about own vessel, which all subjects share.
    shared: Vec<TestState>,
    shared_truth: Vec<Truth>,
    shared_due: Option<Moment>,
    /// In no order: whoever goes through them sorts their subjects first.
    progress: FxHashMap<Subject, Progress>,
    /// Since when which subjects cannot be judged.
    unknown: BTreeSet<(Moment, Subject)>,
    /// Those that have an alert of their own.
    told: BTreeSet<Subject>,
    /// On, but beyond the number told one by one.
    crowd: BTreeSet<Subject>,
    /// When their alert called last, and whether another has come among them since.
    crowd_called: Option<Moment>,
    crowd_grown: bool,
    /// Heard of beyond [`MOST_SUBJECTS`].
    unwatched: bool,
    /// Subjects about which it rests, and until when; also those that are no longer heard.
    rests: BTreeMap<Subject, Moment>,
    /// Whether the alert of those that cannot be judged may stand; at first one may from before a restart.
    told_unjudged: bool,
    /// The same of the crowd's.
    told_crowd: bool,
    /// Truths of the tests while a subject is judged, as far as they have been asked for.
    truths: Vec<Option<Truth>>,
}

/// What an order needs besides its own state.
pub struct Tools<'a> {
    /// The picture now.
    pub sight: Sight<'a>,
    /// The alerts.
    pub alerts: &'a mut Alerts,
    /// When to judge again.
    pub timers: &'a mut Timers,
}

impl Watched {
    /// Puts an order up.
    pub fn new(order: Arc<Order>, place: u32, at: Moment, kept: Option<KeptOrder>) -> Self {
        let n = order.tests.len();
        let mut new = Self {
            order,
            place,
            in_force: false,
            unanchored: false,
            since: at,
            shared: vec![TestState::default(); n],
            shared_truth: vec![Truth::Unknown; n],
            shared_due: None,
            progress: FxHashMap::default(),
            unknown: BTreeSet::new(),
            told: BTreeSet::new(),
            crowd: BTreeSet::new(),
            crowd_called: None,
            crowd_grown: false,
            unwatched: false,
            rests: BTreeMap::new(),
            told_unjudged: true,
            told_crowd: true,
            truths: Vec::new(),
        };
        if let Some(kept) = kept {
            new.take_over(kept);
        }
        new
    }

    /// Takes over what was kept before a restart, as far as the order is still the same.
    fn take_over(&mut self, kept: KeptOrder) {
        self.rests.extend(kept.rests.into_iter().take(MOST_SUBJECTS));
        for (i, window) in kept.windows {
            let asks = self.order.tests.get(i).and_then(Test::window);
            if asks == Some(window.length())
                && let Some(state) = self.shared.get_mut(i)
            {
                state.window = Some(window);
            }
        }
    }

    /// What to keep across a restart.
    pub fn keep(&self) -> KeptOrder {
        let own = self.progress.get(&Subject::OwnVessel).map_or(self.shared.as_slice(), |e| &e.tests);
        let windows = own.iter().enumerate().filter_map(|(i, s)| Some((i, s.window.clone()?))).collect();
        KeptOrder {
            name: self.order.name.clone(),
            rests: self.rests.iter().map(|(s, m)| (*s, *m)).collect(),
            windows,
        }
    }

    /// Gives it its place in a new list.
    pub fn moved(mut self, place: u32) -> Self {
        self.place = place;
        self
    }

    /// It begins to apply.
    pub fn start(&mut self, at: Moment) {
        let n = self.order.tests.len();
        self.in_force = true;
        self.since = at;
        self.shared_truth = vec![Truth::Unknown; n];
    }

    /// Takes whether anything is declared that she does. Where the anchor lies only a declaration tells: an order that asks for
    /// it is patient until there is one. Whether that just changed.
    pub fn heed_declared(&mut self, declared: bool) -> bool {
        let asks = |t: &Test| t.measure == Measure::AnchorRange;
        let unanchored = !declared && self.order.tests.iter().any(asks);
        let changed = self.unanchored != unanchored;
        if changed {
            self.unanchored = unanchored;
            self.unknown.clear();
            self.progress.values_mut().for_each(|e| e.unknown_since = None);
        }
        changed
    }

    /// Whether a test is about own vessel while the order is about others.
    fn is_shared(&self, test: usize) -> bool {
        self.order.each != Whose::Own
            && self.order.tests.get(test).is_some_and(|t| t.measure.whose() == Whose::Own)
    }

    /// Judges what all subjects share; whether any of it changed.
    fn judge_shared(&mut self, sight: &Sight<'_>) -> bool {
        let mut changed = false;
        self.shared_due = None;
        for i in 0..self.order.tests.len() {
            if !self.is_shared(i) {
                continue;
            }
            let v = sight.judge(&self.order.tests[i], Subject::OwnVessel, self.since, &mut self.shared[i]);
            changed |= v.truth != self.shared_truth[i];
            self.shared_truth[i] = v.truth;
            self.shared_due = sooner(self.shared_due, v.due);
        }
        changed
    }

    /// Judges all subjects there are.
    pub fn judge_all(&mut self, tools: &mut Tools<'_>) {
        self.judge_shared(&tools.sight);
        let subjects = match self.order.each {
            Whose::Own => vec![Subject::OwnVessel],
            whose => tools.sight.picture.subjects(whose),
        };
        for subject in subjects {
            self.judge(subject, tools);
        }
        self.settle(tools);
    }

    /// Something about own vessel changed, or fell due, that all subjects share.
    pub fn judge_shared_again(&mut self, tools: &mut Tools<'_>) {
        if self.judge_shared(&tools.sight) {
            for subject in self.subjects() {
                self.judge(subject, tools);
            }
        }
        self.settle(tools);
    }

    /// Something about one subject changed, or fell due.
    pub fn judge_one(&mut self, subject: Subject, tools: &mut Tools<'_>) {
        self.judge(subject, tools);
        self.settle(tools);
    }

    /// Those it remembers, in order.
    fn subjects(&self) -> Vec<Subject> {
        let mut all: Vec<Subject> = self.progress.keys().copied().collect();
        all.sort_unstable();
        all
    }

    fn judge(&mut self, subject: Subject, tools: &mut Tools<'_>) {
        let at = tools.sight.at;
        if !self.progress.contains_key(&subject) {
            if self.progress.len() >= MOST_SUBJECTS {
                self.unwatched = true;
                return;
            }
            // For an order about own vessel the shared states are those of its one subject.
            let remembers = self.order.tests.iter().any(|t| t.window().is_some());
            let tests = match self.order.each {
                Whose::Own => self.shared.clone(),
                _ if remembers => vec![TestState::default(); self.order.tests.len()],
                _ => Vec::new(),
            };
            let alert = tools.alerts.adopt(&Origin::Order(self.order.name.clone()), subject);
            let phase = if alert.is_some() { Phase::On } else { Phase::Quiet };
            if alert.is_some() {
                self.told.insert(subject);
            }
            self.progress.insert(
                subject,
                Progress {
                    since: at,
                    tests: tests.into(),
                    phase,
                    alert,
                    unconfirmed: alert.is_some(),
                    unknown_since: None,
                    worse: Worse::Not(Hold::default()),
                },
            );
        }
        let own = self.order.each == Whose::Own;
        let Some(entry) = self.progress.get_mut(&subject) else { return };
        let since = if own { self.since } else { entry.since };
        let (order, shared, sight) = (&self.order, &self.shared_truth, tools.sight);
        let (phase, remembers) = (entry.phase, !entry.tests.is_empty());
        let mut due = None;
        self.truths.clear();
        self.truths.resize(order.tests.len(), None);
        // A test is judged when it is asked for: what can no longer decide has nothing to wait for either. Only a test with
        // a window must see every value.
        let mut truth_of = |i: usize| {
            let (Some(test), Some(known)) = (order.tests.get(i), self.truths.get_mut(i)) else {
                return Truth::Unknown;
            };
            if !own && test.measure.whose() == Whose::Own {
                return shared.get(i).copied().unwrap_or_default();
            }
            *known.get_or_insert_with(|| {
                let mut nothing = TestState::default();
                let v = sight.judge(test, subject, since, entry.tests.get_mut(i).unwrap_or(&mut nothing));
                due = sooner(due, v.due);
                v.truth
            })
        };
        if remembers {
            for (i, _) in order.tests.iter().enumerate().filter(|(_, t)| t.window().is_some()) {
                truth_of(i);
            }
        }
        let begins = order.when.judge(&mut truth_of);
        let called = matches!(phase, Phase::On | Phase::Falling(_));
        // Neither the end nor worse is asked for of what has not begun.
        let told = called || begins == Truth::True;
        let ends = match &order.until {
            Some(until) if told => until.judge(&mut truth_of),
            _ => opposite(begins),
        };
        let worse = order.worse.as_ref().filter(|_| told).map(|w| w.judge(&mut truth_of));
        let step_due = self.step(subject, begins, ends, tools);
        self.confirm(subject, begins, ends, tools);
        let worse_due = worse.and_then(|w| self.step_worse(subject, w, called, tools));
        let step_due = sooner(step_due, worse_due);
        // The worst of all never stays among those told together.
        if self.crowd.contains(&subject) && self.has_place(self.badness(subject, &tools.sight), &tools.sight)
        {
            self.begin(subject, tools);
        }
        self.note_unknown(subject, begins, at);
        tools.timers.set((self.place, Some(subject)), sooner(due, step_due));
    }

    fn note_unknown(&mut self, subject: Subject, truth: Truth, at: Moment) {
        let Some(e) = self.progress.get_mut(&subject) else { return };
        if self.unanchored {
            return;
        }
        match (truth, e.unknown_since) {
            (Truth::Unknown, None) => {
                e.unknown_since = Some(at);
                self.unknown.insert((at, subject));
            }
            (Truth::True | Truth::False, Some(t)) => {
                e.unknown_since = None;
                self.unknown.remove(&(t, subject));
            }
            _ => {}
        }
    }

    /// What concerns the order as a whole: its patience, its crowd, its timer.
    fn settle(&mut self, tools: &mut Tools<'_>) {
        self.settle_patience(tools);
        self.settle_crowd(tools);
        let patient_until = self.order.patience.and_then(|p| {
            let ends = self.unknown.first().map(|(since, _)| *since + p);
            ends.filter(|t| *t > tools.sight.at)
        });
        let crowd_due = self.crowd_due().filter(|t| *t > tools.sight.at);
        tools.timers.set((self.place, None), sooner(sooner(self.shared_due, patient_until), crowd_due));
    }
}

fn sooner(a: Option<Moment>, b: Option<Moment>) -> Option<Moment> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    }
}

fn opposite(t: Truth) -> Truth {
    match t {
        Truth::True => Truth::False,
        Truth::False => Truth::True,
        Truth::Unknown => Truth::Unknown,
    }
}
