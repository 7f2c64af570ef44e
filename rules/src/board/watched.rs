//! One order at work: what it remembers of each subject, and the step from truth to alert.

use super::timers::Timers;
use crate::alert::{Alert, AlertId, Priority, Source};
use crate::builtin::Escalation;
use crate::condition::Truth;
use crate::judge::{Sight, TestState};
use crate::life::{Alerts, Raise};
use crate::order::{Order, Piece};
use crate::wording;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;
use terms::{Moment, Subject, Whose};

/// Subjects one order keeps a state of; further ones are not judged, and the crowd alert says so.
pub const MOST_SUBJECTS: usize = 4096;
/// Alerts one order tells one by one; further ones are told together.
pub const MOST_ALERTS: usize = 64;
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

/// How long something has been so; time in which it is not known does not count.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Hold {
    gathered: Duration,
    since: Option<Moment>,
}

impl Hold {
    fn so_far(&self, at: Moment) -> Duration {
        self.gathered + self.since.map_or(Duration::ZERO, |s| at.since(s))
    }

    fn running(self, at: Moment) -> Self {
        Self { since: self.since.or(Some(at)), ..self }
    }

    fn paused(self, at: Moment) -> Self {
        Self { gathered: self.so_far(at), since: None }
    }

    /// When it will have lasted so long.
    fn reaches(&self, at: Moment, length: Duration) -> Moment {
        at + length.saturating_sub(self.so_far(at))
    }
}

/// What an order remembers of one subject.
#[derive(Debug, Clone)]
struct Entry {
    since: Moment,
    tests: Vec<TestState>,
    phase: Phase,
    alert: Option<AlertId>,
    rests_until: Option<Moment>,
    unknown_since: Option<Moment>,
}

/// An order at work.
#[derive(Debug)]
pub struct Watched {
    /// The order.
    pub order: Arc<Order>,
    place: u32,
    /// Whether what is declared lets it apply.
    pub in_force: bool,
    since: Moment,
    /// States and truths of tests about own vessel, which all subjects share.
    shared: Vec<TestState>,
    shared_truth: Vec<Truth>,
    shared_due: Option<Moment>,
    entries: BTreeMap<Subject, Entry>,
    /// Since when which subjects cannot be judged.
    unknown: BTreeSet<(Moment, Subject)>,
    /// On, but beyond the number told one by one.
    crowd: BTreeSet<Subject>,
    /// Heard of beyond [`MOST_SUBJECTS`].
    unwatched: bool,
}

/// What an order needs besides its own state.
pub struct Desk<'a> {
    /// The picture now.
    pub sight: Sight<'a>,
    /// The alerts.
    pub alerts: &'a mut Alerts,
    /// When to judge again.
    pub timers: &'a mut Timers,
}

impl Watched {
    /// Puts an order up.
    pub fn new(order: Arc<Order>, place: u32, at: Moment) -> Self {
        let n = order.tests.len();
        Self {
            order,
            place,
            in_force: false,
            since: at,
            shared: vec![TestState::default(); n],
            shared_truth: vec![Truth::Unknown; n],
            shared_due: None,
            entries: BTreeMap::new(),
            unknown: BTreeSet::new(),
            crowd: BTreeSet::new(),
            unwatched: false,
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
        self.shared = vec![TestState::default(); n];
        self.shared_truth = vec![Truth::Unknown; n];
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
    pub fn judge_all(&mut self, desk: &mut Desk<'_>) {
        self.judge_shared(&desk.sight);
        let subjects = match self.order.each {
            Whose::Own => vec![Subject::OwnVessel],
            whose => desk.sight.picture.subjects(whose),
        };
        for subject in subjects {
            self.judge(subject, desk);
        }
        self.settle(desk);
    }

    /// Something about own vessel changed, or fell due, that all subjects share.
    pub fn judge_shared_again(&mut self, desk: &mut Desk<'_>) {
        if self.judge_shared(&desk.sight) {
            for subject in self.entries.keys().copied().collect::<Vec<_>>() {
                self.judge(subject, desk);
            }
        }
        self.settle(desk);
    }

    /// Something about one subject changed, or fell due.
    pub fn judge_one(&mut self, subject: Subject, desk: &mut Desk<'_>) {
        self.judge(subject, desk);
        self.settle(desk);
    }

    fn judge(&mut self, subject: Subject, desk: &mut Desk<'_>) {
        let at = desk.sight.at;
        if !self.entries.contains_key(&subject) {
            if self.entries.len() >= MOST_SUBJECTS {
                self.unwatched = true;
                return;
            }
            let tests = vec![TestState::default(); self.order.tests.len()];
            let entry = Entry {
                since: at,
                tests,
                phase: Phase::Quiet,
                alert: None,
                rests_until: None,
                unknown_since: None,
            };
            self.entries.insert(subject, entry);
        }
        let mut truths = self.shared_truth.clone();
        let mut due = None;
        let own = self.order.each == Whose::Own;
        let since_order = self.since;
        let Some(entry) = self.entries.get_mut(&subject) else { return };
        for (i, test) in self.order.tests.iter().enumerate() {
            if !own && test.measure.whose() == Whose::Own {
                continue;
            }
            let since = if own { since_order } else { entry.since };
            let v = desk.sight.judge(test, subject, since, &mut entry.tests[i]);
            truths[i] = v.truth;
            due = sooner(due, v.due);
        }
        let begins = self.order.when.judge(&truths);
        let ends = match &self.order.until {
            Some(u) => u.judge(&truths),
            None => opposite(begins),
        };
        let step_due = self.step(subject, begins, ends, desk);
        self.note_unknown(subject, begins, at);
        desk.timers.set((self.place, Some(subject)), sooner(due, step_due));
    }

    /// From truth to phase; returns when to look again.
    fn step(&mut self, subject: Subject, begins: Truth, ends: Truth, desk: &mut Desk<'_>) -> Option<Moment> {
        let at = desk.sight.at;
        let entry = self.entries.get_mut(&subject)?;
        match entry.phase {
            Phase::Quiet | Phase::Rising(_) => {
                let hold = if let Phase::Rising(h) = entry.phase { h } else { Hold::default() };
                match begins {
                    // What has ended at the same time by `until` would only flutter.
                    Truth::True if self.order.until.is_some() && ends == Truth::True => {
                        entry.phase = Phase::Quiet;
                        None
                    }
                    Truth::True => {
                        let hold = hold.running(at);
                        entry.phase = Phase::Rising(hold);
                        let ready = hold.reaches(at, self.order.held).max(entry.rests_until.unwrap_or(at));
                        if ready > at {
                            return Some(ready);
                        }
                        entry.phase = Phase::On;
                        self.begin(subject, desk);
                        None
                    }
                    Truth::False => {
                        entry.phase = Phase::Quiet;
                        None
                    }
                    Truth::Unknown => {
                        if let Phase::Rising(h) = entry.phase {
                            entry.phase = Phase::Rising(h.paused(at));
                        }
                        None
                    }
                }
            }
            Phase::On | Phase::Falling(_) => {
                let hold = if let Phase::Falling(h) = entry.phase { h } else { Hold::default() };
                match ends {
                    Truth::True => {
                        let hold = hold.running(at);
                        entry.phase = Phase::Falling(hold);
                        let ready = hold.reaches(at, self.order.over_for);
                        if ready > at {
                            return Some(ready);
                        }
                        self.end(subject, desk);
                        None
                    }
                    Truth::False => {
                        entry.phase = Phase::On;
                        None
                    }
                    Truth::Unknown => {
                        if let Phase::Falling(h) = entry.phase {
                            entry.phase = Phase::Falling(h.paused(at));
                        }
                        None
                    }
                }
            }
        }
    }

    /// An alert begins.
    fn begin(&mut self, subject: Subject, desk: &mut Desk<'_>) {
        let standing = self.entries.values().filter(|e| e.alert.is_some()).count();
        let known = self.entries.get(&subject).is_some_and(|e| e.alert.is_some());
        if standing >= MOST_ALERTS && !known && self.order.priority > Priority::Notice {
            self.crowd.insert(subject);
            return;
        }
        let text = self.text(subject, &desk.sight);
        let badness = self.badness(subject, &desk.sight);
        let id = desk
            .alerts
            .raise(desk.sight.at, self.raise(Source::Order(self.order.name.clone()), subject, text, badness));
        if let Some(e) = self.entries.get_mut(&subject) {
            e.alert = (self.order.priority > Priority::Notice).then_some(id);
        }
    }

    fn raise(&self, source: Source, subject: Subject, text: String, badness: f64) -> Raise {
        Raise {
            source,
            order: self.order.name.clone(),
            subject,
            priority: self.order.priority,
            text,
            signals: self.order.signals.clone(),
            repeats: self.order.repeats,
            escalation: self.order.escalates.map(|after| Escalation { after, to: None }),
            badness,
        }
    }

    /// An alert's condition has ended.
    fn end(&mut self, subject: Subject, desk: &mut Desk<'_>) {
        self.crowd.remove(&subject);
        if let Some(e) = self.entries.get_mut(&subject) {
            e.phase = Phase::Quiet;
            if let Some(id) = e.alert.take() {
                desk.alerts.rectify(desk.sight.at, id);
            }
        }
    }

    /// A subject is no longer heard.
    pub fn gone(&mut self, subject: Subject, at: Moment, alerts: &mut Alerts, timers: &mut Timers) {
        timers.set((self.place, Some(subject)), None);
        self.crowd.remove(&subject);
        if let Some(e) = self.entries.remove(&subject) {
            if let Some(t) = e.unknown_since {
                self.unknown.remove(&(t, subject));
            }
            if let Some(id) = e.alert {
                let lost = alerts.get(id).map(|a| format!("{}; no longer heard", a.text));
                alerts.refresh(id, lost, f64::NEG_INFINITY);
                alerts.rectify(at, id);
            }
        }
    }

    /// An alert of this order was acknowledged: it rests.
    pub fn acknowledged(&mut self, subject: Subject, at: Moment) {
        if !self.order.rests.is_zero()
            && let Some(e) = self.entries.get_mut(&subject)
        {
            e.rests_until = Some(at + self.order.rests);
        }
    }

    /// The order no longer applies, or is taken down.
    pub fn stop(&mut self, at: Moment, alerts: &mut Alerts, timers: &mut Timers, taken_down: bool) {
        for (subject, e) in std::mem::take(&mut self.entries) {
            timers.set((self.place, Some(subject)), None);
            if let (Some(id), false) = (e.alert, taken_down) {
                alerts.rectify(at, id);
            }
        }
        timers.set((self.place, None), None);
        self.unknown.clear();
        self.crowd.clear();
        self.unwatched = false;
        for source in [Source::Unjudged(self.order.name.clone()), Source::Crowd(self.order.name.clone())] {
            if let Some(id) = alerts.find(&source, Subject::Lookout) {
                alerts.clear(at, id);
            }
        }
        if taken_down {
            for id in alerts.of_order(&self.order.name) {
                alerts.clear(at, id);
            }
        }
        self.in_force = false;
    }

    fn note_unknown(&mut self, subject: Subject, truth: Truth, at: Moment) {
        let Some(e) = self.entries.get_mut(&subject) else { return };
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
    fn settle(&mut self, desk: &mut Desk<'_>) {
        self.settle_patience(desk);
        self.settle_crowd(desk);
        let patient_until = self.order.patience.and_then(|p| {
            let ends = self.unknown.first().map(|(since, _)| *since + p);
            ends.filter(|t| *t > desk.sight.at)
        });
        desk.timers.set((self.place, None), sooner(self.shared_due, patient_until));
    }

    fn settle_patience(&mut self, desk: &mut Desk<'_>) {
        let Some(patience) = self.order.patience else { return };
        let at = desk.sight.at;
        let source = Source::Unjudged(self.order.name.clone());
        let standing = desk.alerts.find(&source, Subject::Lookout);
        let worn_out = self.unknown.first().is_some_and(|(since, _)| at >= *since + patience);
        match (worn_out, standing) {
            (true, None) => {
                let text = self.unjudged_text(patience, &desk.sight);
                let raise =
                    Raise { priority: Priority::Caution, ..self.raise(source, Subject::Lookout, text, 0.0) };
                desk.alerts.raise(at, raise);
            }
            (false, Some(id)) => desk.alerts.rectify(at, id),
            _ => {}
        }
    }

    fn unjudged_text(&self, patience: Duration, sight: &Sight<'_>) -> String {
        let lost: Vec<Subject> =
            self.unknown.iter().filter(|(since, _)| sight.at >= *since + patience).map(|(_, s)| *s).collect();
        let mut text =
            format!("\"{}\" cannot be judged for {}", self.order.name, wording::duration(patience));
        if self.order.each != Whose::Own {
            let names: Vec<String> =
                lost.iter().take(MOST_NAMED).map(|s| sight.picture.name_of(*s)).collect();
            let more = lost.len().saturating_sub(MOST_NAMED);
            let rest = if more > 0 { format!(" and {more} more") } else { String::new() };
            text = format!("{text}, for {}{rest}", names.join(", "));
        }
        let subject = lost.first().copied().unwrap_or(Subject::OwnVessel);
        let states = self.entries.get(&subject).map(|e| e.tests.as_slice()).unwrap_or_default();
        let mut missing: Vec<String> = Vec::new();
        for (i, t) in self.order.tests.iter().enumerate() {
            let name = t.measure.to_string();
            let value = sight.measure(&t.measure, subject, states.get(i)).value;
            if value.is_none() && !missing.contains(&name) {
                missing.push(name);
            }
        }
        if missing.is_empty() { text } else { format!("{text}: {} not known", missing.join(", ")) }
    }

    fn settle_crowd(&mut self, desk: &mut Desk<'_>) {
        let at = desk.sight.at;
        // Places that came free go to the worst of the crowd.
        while !self.crowd.is_empty()
            && self.entries.values().filter(|e| e.alert.is_some()).count() < MOST_ALERTS
        {
            let worst = self
                .crowd
                .iter()
                .map(|s| (*s, self.badness(*s, &desk.sight)))
                .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)));
            let Some((subject, _)) = worst else { break };
            self.crowd.remove(&subject);
            self.begin(subject, desk);
        }
        let source = Source::Crowd(self.order.name.clone());
        let standing = desk.alerts.find(&source, Subject::Lookout);
        let wanted = !self.crowd.is_empty() || self.unwatched;
        match (wanted, standing) {
            (true, None) => {
                let text = self.crowd_text();
                let raise = self.raise(source, Subject::Lookout, text, f64::NEG_INFINITY);
                desk.alerts.raise(at, raise);
            }
            (true, Some(id)) => desk.alerts.refresh(id, Some(self.crowd_text()), f64::NEG_INFINITY),
            (false, Some(id)) => desk.alerts.rectify(at, id),
            (false, None) => {}
        }
    }

    fn crowd_text(&self) -> String {
        let unwatched = if self.unwatched {
            format!("; more than {MOST_SUBJECTS} cannot be watched")
        } else {
            String::new()
        };
        format!("{}: {} more besides {MOST_ALERTS}{unwatched}", self.order.name, self.crowd.len())
    }

    /// The order's text about a subject, with the values of this moment.
    pub fn text(&self, subject: Subject, sight: &Sight<'_>) -> String {
        let entry = self.entries.get(&subject);
        let mut out = String::new();
        for piece in &self.order.text {
            match piece {
                Piece::Words(w) => out.push_str(w),
                Piece::Name => out.push_str(&sight.picture.name_of(subject)),
                Piece::Value(m) => {
                    let place = self.order.tests.iter().position(|t| t.measure == *m);
                    let state = place.and_then(|i| {
                        if self.is_shared(i) {
                            self.shared.get(i)
                        } else {
                            entry.and_then(|e| e.tests.get(i))
                        }
                    });
                    let value = sight.measure(m, subject, state).value;
                    out.push_str(&wording::measure(m, value.as_ref()));
                }
            }
        }
        out
    }

    /// The words of one of this order's alerts now.
    pub fn reword(&self, source: &Source, alert: &Alert, sight: &Sight<'_>) -> Option<String> {
        match source {
            Source::Order(_) if alert.is_active() => Some(self.text(alert.subject, sight)),
            Source::Crowd(_) => Some(self.crowd_text()),
            _ => None,
        }
    }

    fn badness(&self, subject: Subject, sight: &Sight<'_>) -> f64 {
        let Some(w) = &self.order.worst else { return 0.0 };
        let value = sight.measure(&w.by, subject, None).value.and_then(|v| v.number());
        value.map_or(f64::NEG_INFINITY, |v| if w.highest { v } else { -v })
    }

    /// Tells the alerts how bad each of this order's is now.
    pub fn weigh(&self, sight: &Sight<'_>, alerts: &mut Alerts) {
        for (subject, e) in &self.entries {
            if let Some(id) = e.alert {
                alerts.refresh(id, None, self.badness(*subject, sight));
            }
        }
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
