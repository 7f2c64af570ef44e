//! One order at work: what it remembers of each subject, and the step from truth to alert.

mod aloud;
mod places;
mod step;
mod telling;

use super::hold::Hold;
use super::snapshot::KeptOrder;
use crate::alert::{AlertId, Origin};
use crate::condition::{Test, Truth};
use crate::judge::{Sight, TestState};
use crate::life::Alerts;
use crate::order::Order;
use places::Room;
use rustc_hash::FxHashMap;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;
use terms::{Moment, Subject, Wakes, Whose};

/// Greatest number of subjects that one order judges; the crowd alert says if there are more.
pub const MOST_SUBJECTS: usize = 4096;
/// The worst that one order announces one by one, of each feed and there of those who lie still and those who move. The
/// rest share one alert: think of an anchorage or a fishing fleet, or of forgeries on one feed. Who was announced keeps the
/// alert when others become worse, up to the bounds below.
pub const ONE_BY_ONE: usize = 8;
/// Greatest number of separate alerts of one order about the subjects of one feed.
pub const MOST_OF_A_FEED: usize = 32;
/// Greatest number of separate alerts of one order. As many more may have ended and wait for an acknowledgement.
pub const MOST_ALERTS: usize = 64;
/// Shortest interval at which the crowd's alert is raised again, though acknowledged, when the crowd has grown. Together
/// with what an order waits itself, nobody is named later than a minute (own choice).
const CROWD_CALLS_EVERY: Duration = Duration::from_secs(50);
/// Greatest number of subjects named by a call of the crowd, of those who caused it; the others are named by the next.
const MOST_NEW_NAMED: usize = 16;
/// Greatest number of subjects named in a text otherwise.
const MOST_NAMED: usize = 3;

/// Where one subject stands with one order.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Phase {
    /// The condition is not met.
    Quiet,
    /// Met, but not yet held for long enough.
    Rising(Hold),
    /// Called.
    On,
    /// Called; the end is met but has not yet lasted long enough.
    Falling(Hold),
}

/// What an order remembers of one subject.
#[derive(Debug, Clone)]
struct Progress {
    since: Moment,
    /// States of the tests; empty if no test of the order has anything to remember.
    tests: Box<[TestState]>,
    phase: Phase,
    /// Whether `when` was met at the last judgement.
    holds: bool,
    alert: Option<AlertId>,
    /// The alert is from before a restart, and nothing could be judged since.
    unconfirmed: bool,
    unknown_since: Option<Moment>,
    /// Whether it has become worse since the call.
    worse: Worse,
    /// It may have a timer; what has none need not be looked for among the timers of all.
    timed: bool,
}

impl Progress {
    /// Nothing was called about it, nothing waits to be, and nothing is missing: it has neither an alert nor a place among
    /// those who have one, nor is it of the crowd.
    fn is_quiet(&self) -> bool {
        self.phase == Phase::Quiet
            && self.alert.is_none()
            && !self.unconfirmed
            && self.unknown_since.is_none()
    }
}

/// Whether a subject meets its order's `worse`.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Worse {
    /// Not yet, or not for long enough.
    Not(Hold),
    /// It did so when the order called, or has been announced since.
    Told,
}

/// An order at work.
#[derive(Debug)]
pub struct Watched {
    /// The order.
    pub order: Arc<Order>,
    place: u32,
    /// Whether it applies as things are declared.
    pub in_force: bool,
    /// It asks for the distance from the anchor while nothing is declared. Only a declaration can provide that, so its
    /// absence is not reported.
    unanchored: bool,
    since: Moment,
    /// States and truths of tests about own vessel, which all subjects share.
    shared: Vec<TestState>,
    shared_truth: Vec<Truth>,
    shared_due: Option<Moment>,
    /// Unordered: sort the subjects before going through them.
    progress: FxHashMap<Subject, Progress>,
    /// The subjects that cannot be judged, each with the moment since when.
    unknown: BTreeSet<(Moment, Subject)>,
    /// The subjects with an alert of their own, each with where its place counts.
    told: BTreeMap<Subject, Room>,
    /// Where a place has become free since the crowd was last looked over.
    freed: BTreeSet<Room>,
    /// When an alert last gave way to a worse subject's.
    gave_way: Option<Moment>,
    /// The subjects that are on but share the crowd's alert.
    crowd: BTreeSet<Subject>,
    /// When the crowd's alert was last raised.
    crowd_called: Option<Moment>,
    /// Those of the crowd who caused that, at most [`MOST_NEW_NAMED`].
    caused: Vec<Subject>,
    /// Those of the crowd who joined it, or became worse, and have not been named since.
    newcomers: BTreeSet<Subject>,
    /// There are more subjects than [`MOST_SUBJECTS`].
    unwatched: bool,
    /// Until when it rests about each subject, also about those that are no longer heard.
    rests: BTreeMap<Subject, Moment>,
    /// Whether an alert that it cannot be judged may stand; initially true, since one may stand from before a restart.
    told_unjudged: bool,
    /// The same for the crowd's alert.
    told_crowd: bool,
    /// The tests' truths while a subject is judged, as far as they were needed.
    truths: Vec<Option<Truth>>,
}

/// When to judge again though nothing has changed: an order by its place, and one of its subjects; `None` for what all
/// subjects share.
pub type Timers = Wakes<(u32, Option<Subject>)>;

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
    /// Sets an order to work; not in force yet.
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
            told: BTreeMap::new(),
            freed: BTreeSet::new(),
            gave_way: None,
            crowd: BTreeSet::new(),
            crowd_called: None,
            caused: Vec::new(),
            newcomers: BTreeSet::new(),
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

    /// Takes over the state from before a restart, as far as the order is unchanged.
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

    /// Gives it a new place in the list of orders.
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

    /// Notes whether it is declared what she is doing, and returns whether that makes a difference: an order that asks for
    /// the distance from the anchor is patient until then.
    pub fn heed_declared(&mut self, declared: bool) -> bool {
        let unanchored = !declared && self.order.tests.iter().any(|t| t.measure.is_of_anchor());
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

    /// Judges the tests that all subjects share; returns whether any truth changed.
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

    /// Judges all subjects.
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

    /// Judges again after something that all subjects share has changed or fallen due.
    pub fn judge_shared_again(&mut self, tools: &mut Tools<'_>) {
        if self.judge_shared(&tools.sight) {
            for subject in self.subjects() {
                self.judge(subject, tools);
            }
        }
        self.settle(tools);
    }

    /// Judges one subject again after something about it has changed or fallen due.
    pub fn judge_one(&mut self, subject: Subject, tools: &mut Tools<'_>) {
        self.judge(subject, tools);
        self.settle(tools);
    }

    /// The subjects it knows, sorted.
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
                self.told.insert(subject, Room::of(subject, &tools.sight));
            }
            self.progress.insert(
                subject,
                Progress {
                    since: at,
                    tests: tests.into(),
                    phase,
                    holds: false,
                    alert,
                    unconfirmed: alert.is_some(),
                    unknown_since: None,
                    worse: Worse::Not(Hold::default()),
                    timed: false,
                },
            );
        }
        let own = self.order.each == Whose::Own;
        let Some(entry) = self.progress.get_mut(&subject) else { return };
        let since = if own { self.since } else { entry.since };
        let (order, shared, sight) = (&self.order, &self.shared_truth, tools.sight);
        let (phase, remembers, quiet) = (entry.phase, !entry.tests.is_empty(), entry.is_quiet());
        let mut due = None;
        self.truths.clear();
        self.truths.resize(order.tests.len(), None);
        // Each test is judged only when its truth is needed, so that one that cannot decide anything sets no timer either.
        // A test with a window must see every value, though.
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
        // Most of what is judged was quiet and stays so, and has no alert and no place that this could change.
        if begins == Truth::False && quiet {
            entry.holds = false;
            if due.is_some() || entry.timed {
                entry.timed = due.is_some();
                tools.timers.set((self.place, Some(subject)), due);
            }
            return;
        }
        let called = matches!(phase, Phase::On | Phase::Falling(_));
        // What has not begun has neither an end nor anything worse.
        let told = called || begins == Truth::True;
        let ends = match &order.until {
            Some(until) if told => until.judge(&mut truth_of),
            _ => opposite(begins),
        };
        let worse = order.worse.as_ref().filter(|_| told).map(|w| w.judge(&mut truth_of));
        entry.holds = begins == Truth::True;
        self.look_at_place(subject, &tools.sight);
        let step_due = self.step(subject, begins, ends, tools);
        self.confirm(subject, begins, ends, tools);
        let worse_due = worse.and_then(|w| self.step_worse(subject, w, called, tools));
        let step_due = sooner(step_due, worse_due);
        if self.crowd.contains(&subject) && self.may_be_told(subject, tools) {
            self.begin(subject, tools);
        }
        self.note_unknown(subject, begins, &tools.sight);
        let due = sooner(due, step_due);
        if let Some(e) = self.progress.get_mut(&subject) {
            e.timed = due.is_some();
        }
        tools.timers.set((self.place, Some(subject)), due);
    }

    fn note_unknown(&mut self, subject: Subject, truth: Truth, sight: &Sight<'_>) {
        let Some(e) = self.progress.get_mut(&subject) else { return };
        if self.unanchored {
            return;
        }
        match (truth, e.unknown_since) {
            (Truth::Unknown, None) if !sight.picture.is_out_of_hearing(subject) => {
                e.unknown_since = Some(sight.at);
                self.unknown.insert((sight.at, subject));
            }
            (Truth::True | Truth::False, Some(_)) => self.forget_unknown(subject),
            _ => {}
        }
    }

    /// That it cannot be judged about a subject counts no longer.
    fn forget_unknown(&mut self, subject: Subject) {
        if let Some(t) = self.progress.get_mut(&subject).and_then(|e| e.unknown_since.take()) {
            self.unknown.remove(&(t, subject));
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
