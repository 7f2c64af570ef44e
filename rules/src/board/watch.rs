//! Watchkeeping on the board: the roster, the watch alarm, and the handover.

use super::Board;
use crate::alert::{Alert, Origin, Priority};
use crate::builtin::BuiltIn;
use crate::condition::Measure;
use crate::declared::Declarations;
use crate::picture::Picture;
use crate::roster::Roster;
use crate::watch_alarm::{NoLookoutPosition, Stage, Switch, WatchAlarm};
use crate::words::Words;
use std::time::Duration;
use terms::{Moment, Subject, Utc};

/// Interval at which the roster is consulted, at most; also while the time is not known.
const LOOKED_AT_EVERY: Duration = Duration::from_secs(60);

/// What whoever takes over the watch must know.
#[derive(Debug, Clone, PartialEq)]
pub struct Handover {
    /// Now.
    pub at: Moment,
    /// Who is on watch.
    pub on_watch: Option<String>,
    /// Since when.
    pub since: Option<Moment>,
    /// Who is on watch next by the roster, and in how long.
    pub next: Option<(String, Duration)>,
    /// Alerts that are not over, worst priority first.
    pub standing: Vec<Alert>,
    /// Orders that are out of force as things are declared.
    pub out_of_force: Vec<String>,
    /// What is declared.
    pub declared: Declarations,
}

impl Board {
    /// Replaces the roster.
    pub fn set_roster(&mut self, at: Moment, roster: Roster, picture: &dyn Picture) {
        self.pass(at);
        self.alerts.skipper = roster.skipper().map(str::to_owned);
        self.roster = roster;
        self.roster_due = Some(self.now);
        self.advance_roster(picture);
    }

    /// Replaces the watch alarm; `None` for no watch alarm.
    pub fn set_watch_alarm(&mut self, at: Moment, keeper: Option<WatchAlarm>, picture: &dyn Picture) {
        self.pass(at);
        self.clear_watch_alarm();
        self.watch_alarm = keeper;
        if let Some((k, kept)) = self.watch_alarm.as_mut().zip(self.kept_watch_alarm.take()) {
            k.take_up(self.now, kept);
        }
        self.advance_watch_alarm(picture);
    }

    /// Puts somebody on watch, whatever the roster says, until the roster's next change.
    pub fn take_watch(&mut self, at: Moment, who: &str, picture: &dyn Picture) {
        let at = self.pass(at);
        self.begin_watch(at, Some(who.to_owned()), at, picture);
    }

    /// Who is on watch, and since when.
    pub fn on_watch(&self) -> Option<(&str, Moment)> {
        self.on_watch.as_ref().map(|(who, since)| (who.as_str(), *since))
    }

    /// What whoever takes over the watch must know.
    pub fn handover(&self, picture: &dyn Picture) -> Handover {
        let mut standing: Vec<Alert> = self.alerts.iter().cloned().collect();
        standing.sort_by(|a, b| b.priority.cmp(&a.priority).then(a.id.cmp(&b.id)));
        let ship_time = self.ship_time(picture);
        let next = ship_time.and_then(|now| {
            let present = self.roster.present(now)?;
            let next = self.roster.present(present.until)?;
            Some((next.who, Duration::from_millis(next.since.0.saturating_sub(now.0).max(0) as u64)))
        });
        Handover {
            at: self.now,
            on_watch: self.on_watch.as_ref().map(|(who, _)| who.clone()),
            since: self.on_watch.as_ref().map(|(_, since)| *since),
            next,
            standing,
            out_of_force: self.watched.iter().filter(|w| !w.in_force).map(|w| w.order.name.clone()).collect(),
            declared: self.declared,
        }
    }

    fn ship_time(&self, picture: &dyn Picture) -> Option<Utc> {
        picture.utc().map(|t| t.plus_ms(self.settings.ship_time_s.saturating_mul(1000)))
    }

    /// Consults the roster when that is due.
    pub(super) fn advance_roster(&mut self, picture: &dyn Picture) {
        let Some(due) = self.roster_due.filter(|due| *due <= self.now) else { return };
        let _ = due;
        let Some(ship_time) = self.ship_time(picture) else {
            self.roster_due = (self.roster != Roster::default()).then(|| self.now + LOOKED_AT_EVERY);
            return;
        };
        let Some(present) = self.roster.present(ship_time) else {
            // Nobody is on watch at this hour, or there is no roster: consult it again soon, since that is cheap.
            self.roster_due = (self.roster != Roster::default()).then(|| self.now + LOOKED_AT_EVERY);
            return;
        };
        let left_ms = present.until.0.saturating_sub(ship_time.0).max(1);
        let since = Moment(self.now.0.saturating_sub(ship_time.0.saturating_sub(present.since.0)));
        // Satellites may correct the clock, so the roster is consulted each minute.
        self.roster_due = Some(self.now + Duration::from_millis(left_ms as u64).min(LOOKED_AT_EVERY));
        if self.rostered.as_ref() == Some(&(present.who.clone(), present.since)) {
            return;
        }
        self.rostered = Some((present.who.clone(), present.since));
        if self.on_watch.as_ref().map(|(who, _)| who) != Some(&present.who) {
            self.begin_watch(self.now, Some(present.who), since, picture);
        }
    }

    fn begin_watch(&mut self, at: Moment, who: Option<String>, since: Moment, picture: &dyn Picture) {
        let before = self.on_watch.take().map(|(who, _)| who);
        self.alerts.watch.clone_from(&who);
        self.on_watch = who.map(|who| (who, since));
        if let Some((who, _)) = &self.on_watch {
            let text = match &before {
                Some(b) if b != who => format!("{who} takes the watch from {b}"),
                _ => format!("{who} takes the watch"),
            };
            self.note(at, "watch", Subject::Lookout, text.into());
        }
        let timed = |w: &super::Watched| w.order.tests.iter().any(|t| t.measure == Measure::TimeOnWatch);
        let places: Vec<usize> =
            self.watched.iter().enumerate().filter(|(_, w)| w.in_force && timed(w)).map(|(i, _)| i).collect();
        for place in places {
            self.with(place, picture, |w, tools| w.judge_all(tools));
        }
    }

    /// Switches the watch alarm on, off or to automatic. Does nothing if there is none.
    pub fn switch_watch_alarm(&mut self, at: Moment, switch: Switch, picture: &dyn Picture) {
        self.pass(at);
        if let Some(k) = &mut self.watch_alarm {
            k.switch(switch);
        }
        self.advance_watch_alarm(picture);
    }

    /// Somebody of the crew is awake: resets the watch alarm. Does nothing if there is none.
    pub fn is_awake(&mut self, at: Moment) {
        let at = self.pass(at);
        if let Some(k) = &mut self.watch_alarm {
            k.reset(at);
            self.clear_watch_alarm();
        }
    }

    /// Resets the watch alarm from a named place. Does nothing if there is none.
    ///
    /// # Errors
    /// If that is no lookout position.
    pub fn reset_watch_alarm(&mut self, at: Moment, input: &str) -> Result<(), NoLookoutPosition> {
        let at = self.pass(at);
        if let Some(k) = &mut self.watch_alarm {
            k.answer(at, input)?;
            self.clear_watch_alarm();
        }
        Ok(())
    }

    /// The watch alarm.
    pub fn watch_alarm(&self) -> Option<&WatchAlarm> {
        self.watch_alarm.as_ref()
    }

    fn clear_watch_alarm(&mut self) {
        if let Some(id) = self.alerts.find(&Origin::BuiltIn(BuiltIn::WatchAlarm), Subject::Lookout) {
            self.alerts.clear(self.now, id);
        }
    }

    /// Advances the watch alarm and raises its alert by the stages it has reached.
    pub(super) fn advance_watch_alarm(&mut self, picture: &dyn Picture) {
        let second_of_day = self.ship_time(picture).map(|t| t.ms_of_day() as f64 / 1000.0);
        let (at, doing) = (self.now, self.declared.doing);
        let is_emergency = |a: &Alert| matches!(self.alerts.origin(a.id), Some(Origin::BuiltIn(b)) if b.priority() == Priority::EmergencyAlarm);
        let emergency = self.watch_alarm.is_some() && self.alerts.iter().any(is_emergency);
        let Some(k) = &mut self.watch_alarm else { return };
        k.suspend(emergency);
        let stages = k.advance(at, doing, second_of_day);
        for stage in stages {
            let origin = Origin::BuiltIn(BuiltIn::WatchAlarm);
            match stage {
                Stage::Off | Stage::Suspended | Stage::Dormant => self.clear_watch_alarm(),
                Stage::Visual => {
                    self.call(at, BuiltIn::WatchAlarm, Subject::Lookout, Words::default());
                }
                Stage::First | Stage::Second | Stage::Third => {
                    let (priority, level) = match stage {
                        Stage::First => (Priority::Warning, 0),
                        Stage::Second => (Priority::Alarm, 1),
                        _ => (Priority::Alarm, 2),
                    };
                    if let Some(id) = self.alerts.find(&origin, Subject::Lookout) {
                        self.alerts.step(at, id, priority, level);
                    }
                }
            }
        }
    }
}
