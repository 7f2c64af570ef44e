//! From truths to alerts: an order calls, calls again when it gets worse, and ends.

use super::{Hold, MOST_SUBJECTS, Phase, Room, Timers, Tools, Watched, Worse};
use crate::alert::{Origin, Priority};
use crate::builtin::Escalation;
use crate::condition::Truth;
use crate::judge::TestState;
use crate::life::{Alerts, Raise};
use crate::words::Words;
use terms::{Moment, Subject};

impl Watched {
    /// Confirms an alert from before a restart once its condition can be judged again, and renews its words.
    pub(super) fn confirm(&mut self, subject: Subject, begins: Truth, ends: Truth, tools: &mut Tools<'_>) {
        let known = begins != Truth::Unknown || ends != Truth::Unknown;
        let Some(e) = self.progress.get_mut(&subject).filter(|e| e.unconfirmed && known) else { return };
        e.unconfirmed = false;
        if let Some(id) = e.alert {
            let text = self.text(subject, &tools.sight);
            tools.alerts.say(tools.sight.at, id, text.into());
        }
    }

    /// Moves a subject to its next phase; returns when to judge it again.
    pub(super) fn step(
        &mut self,
        subject: Subject,
        begins: Truth,
        ends: Truth,
        tools: &mut Tools<'_>,
    ) -> Option<Moment> {
        let at = tools.sight.at;
        let rests_until = self.rests.get(&subject).copied();
        let entry = self.progress.get_mut(&subject)?;
        match entry.phase {
            Phase::Quiet | Phase::Rising(_) => {
                let hold = if let Phase::Rising(h) = entry.phase { h } else { Hold::default() };
                match begins {
                    // If `until` is met as well, calling would only flutter.
                    Truth::True if self.order.until.is_some() && ends == Truth::True => {
                        entry.phase = Phase::Quiet;
                        None
                    }
                    Truth::True => {
                        let hold = hold.running(at);
                        entry.phase = Phase::Rising(hold);
                        let ready = hold.reaches(at, self.order.held).max(rests_until.unwrap_or(at));
                        if ready > at {
                            return Some(ready);
                        }
                        // Judged again with the subject's next news.
                        if self.is_called_by_another(subject, tools.alerts) {
                            return None;
                        }
                        if let Some(entry) = self.progress.get_mut(&subject) {
                            entry.phase = Phase::On;
                        }
                        self.begin(subject, tools);
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
                        self.end(subject, tools);
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

    /// Calls again if a subject that was called before has become worse; returns when to judge it again.
    pub(super) fn step_worse(
        &mut self,
        subject: Subject,
        worse: Truth,
        called: bool,
        tools: &mut Tools<'_>,
    ) -> Option<Moment> {
        let at = tools.sight.at;
        let entry = self.progress.get_mut(&subject)?;
        if !called || !matches!(entry.phase, Phase::On | Phase::Falling(_)) {
            // What is worse at the call itself needs no second call.
            entry.worse = if worse == Truth::True { Worse::Told } else { Worse::Not(Hold::default()) };
            return None;
        }
        let Worse::Not(hold) = entry.worse else { return None };
        let hold = match worse {
            Truth::True => hold.running(at),
            Truth::Unknown => hold.paused(at),
            Truth::False => Hold::default(),
        };
        entry.worse = Worse::Not(hold);
        if worse != Truth::True {
            return None;
        }
        let ready = hold.reaches(at, self.order.held);
        if ready > at {
            return Some(ready);
        }
        entry.worse = Worse::Told;
        if entry.alert.is_some() {
            self.begin(subject, tools);
        } else if self.crowd.contains(&subject) {
            self.newcomers.insert(subject);
        }
        None
    }

    /// Raises a subject's alert, or raises it again because it has become worse.
    pub(super) fn begin(&mut self, subject: Subject, tools: &mut Tools<'_>) {
        if !self.told.contains_key(&subject)
            && self.order.priority > Priority::Notice
            && !self.takes_place(subject, tools)
        {
            if self.crowd.insert(subject) {
                self.newcomers.insert(subject);
            }
            return;
        }
        self.leaves_crowd(subject);
        let badness = self.badness(subject, &tools.sight);
        let room = Room::of(subject, &tools.sight);
        let raise =
            Raise { feed: room.feed, ..self.raise(Origin::Order(self.order.name.clone()), subject, badness) };
        let id = tools.alerts.raise(tools.sight.at, raise);
        if let Some(e) = self.progress.get_mut(&subject) {
            e.alert = (self.order.priority > Priority::Notice).then_some(id);
            if e.alert.is_some() {
                self.told.insert(subject, room);
            }
        }
        if self.order.priority <= Priority::Caution {
            // Nobody acknowledges these: they rest from the announcement on.
            self.acknowledged(subject, tools.sight.at);
        }
    }

    pub(super) fn raise(&self, origin: Origin, subject: Subject, badness: f64) -> Raise {
        Raise {
            origin,
            order: self.order.name.clone(),
            subject,
            priority: self.order.priority,
            words: Words::default(),
            signals: self.order.signals.clone(),
            repeats: self.order.repeats,
            escalation: self.order.escalates.map(|after| Escalation { after, to: None }),
            badness,
            feed: None,
            exercise: false,
        }
    }

    /// Ends a subject's alert, with the values of its end.
    fn end(&mut self, subject: Subject, tools: &mut Tools<'_>) {
        self.leaves_crowd(subject);
        let (at, text) = (tools.sight.at, self.text(subject, &tools.sight));
        if let Some(e) = self.progress.get_mut(&subject) {
            e.phase = Phase::Quiet;
            self.freed.extend(self.told.remove(&subject));
            if let Some(id) = e.alert.take() {
                tools.alerts.say(at, id, text.into());
                tools.alerts.rectify(at, id);
            }
        }
    }

    /// Ends everything about a subject that is no longer heard.
    pub fn gone(&mut self, subject: Subject, at: Moment, alerts: &mut Alerts, timers: &mut Timers) {
        timers.set((self.place, Some(subject)), None);
        self.leaves_crowd(subject);
        self.freed.extend(self.told.remove(&subject));
        if let Some(e) = self.progress.remove(&subject) {
            self.unwatched = false;
            // The alerts about the order as a whole are settled when time next advances.
            timers.set((self.place, None), Some(at));
            if let Some(t) = e.unknown_since {
                self.unknown.remove(&(t, subject));
            }
            if let Some(id) = e.alert {
                let words = alerts.said(at, id).no_longer_heard();
                alerts.say(at, id, words);
                alerts.rectify(at, id);
            }
        }
    }

    /// Rests about a subject whose alert was acknowledged.
    pub fn acknowledged(&mut self, subject: Subject, at: Moment) {
        if self.order.rests.is_zero() {
            return;
        }
        self.rests.retain(|_, until| *until > at);
        if self.rests.len() < MOST_SUBJECTS {
            self.rests.insert(subject, at + self.order.rests);
        }
    }

    /// Stops an order that no longer applies, or is taken down.
    pub fn stop(&mut self, tools: &mut Tools<'_>, taken_down: bool) {
        let at = tools.sight.at;
        for subject in self.subjects() {
            tools.timers.set((self.place, Some(subject)), None);
            let Some(id) = self.progress.get(&subject).and_then(|e| e.alert) else { continue };
            if let Some(text) = self.words(&Origin::Order(self.order.name.clone()), subject, &tools.sight) {
                tools.alerts.say(at, id, text.into());
            }
            if !taken_down {
                tools.alerts.rectify(at, id);
            }
        }
        self.progress.clear();
        tools.timers.set((self.place, None), None);
        self.unknown.clear();
        self.told.clear();
        self.freed.clear();
        self.crowd.clear();
        self.newcomers.clear();
        self.unwatched = false;
        self.shared.iter_mut().for_each(|s| *s = TestState::default());
        for origin in [Origin::Unjudged(self.order.name.clone()), Origin::Crowd(self.order.name.clone())] {
            if let Some(id) = tools.alerts.find(&origin, Subject::Lookout) {
                tools.alerts.clear(at, id);
            }
        }
        if taken_down {
            for id in tools.alerts.of_order(&self.order.name) {
                tools.alerts.clear(at, id);
            }
        }
        self.in_force = false;
    }
}
