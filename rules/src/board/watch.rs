//! Watchkeeping on the board: the roster, the watch alarm, and the handover.

use super::Board;
use crate::alert::{Alert, Origin, Priority};
use crate::builtin::BuiltIn;
use crate::condition::Measure;
use crate::declared::Declarations;
use crate::picture::Picture;
use crate::rest::Rest;
use crate::roster::Roster;
use crate::watch_alarm::{NoLookoutPosition, Stage, Switch, WatchAlarm};
use crate::words::Words;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use terms::{Moment, Subject, Utc};

/// Interval at which the roster is consulted: satellites may correct the clock, or give the time at last.
const LOOKED_AT_EVERY: Duration = Duration::from_secs(1);
/// A day in seconds.
const DAY_S: i64 = 86_400;

/// Ship's time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct ShipClock {
    /// Ship's time less UTC by the boat's file, in seconds. Where somebody changes that, it counts, not what was said at sea.
    configured_s: i64,
    /// Ship's time less UTC, in seconds.
    pub now_s: i64,
    /// The same without the day that the date line takes or gives: by it the roster counts its days, so that the watches
    /// go on in turn.
    counted_s: i64,
}

impl ShipClock {
    pub fn of(ship_time_s: i64) -> Self {
        Self { configured_s: ship_time_s, now_s: ship_time_s, counted_s: ship_time_s }
    }

    fn set(&mut self, ship_time_s: i64) {
        let by = (ship_time_s.saturating_sub(self.now_s)).rem_euclid(DAY_S);
        let by = if by > DAY_S / 2 { by - DAY_S } else { by };
        self.counted_s = self.counted_s.saturating_add(by);
        self.now_s = ship_time_s;
    }

    /// Takes up what was set before a restart.
    pub fn take_up(&mut self, kept: Self) {
        if kept.configured_s == self.configured_s {
            *self = kept;
        }
    }
}

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

    /// Puts somebody on watch, whatever the roster says, until a watch begins by the roster after this.
    pub fn take_watch(&mut self, at: Moment, who: &str, picture: &dyn Picture) {
        let at = self.pass(at);
        self.begin_watch(at, who.to_owned(), at, picture);
        self.by_hand = true;
    }

    /// Sets ship's time less UTC, in seconds, and goes by it at once.
    pub fn set_ship_time(&mut self, at: Moment, ship_time_s: i64, picture: &dyn Picture) {
        self.pass(at);
        self.ship_clock.set(ship_time_s);
        self.roster_due = Some(self.now);
        self.advance_roster(picture);
        self.advance_watch_alarm(picture);
        self.judge_those(|m| *m == Measure::TimeOfDay, picture);
    }

    /// Ship's time less UTC, in seconds.
    pub fn ship_time_s(&self) -> i64 {
        self.ship_clock.now_s
    }

    /// Each one's time off watch, by name: of those in the roster, and of those who had the watch within the week. Empty
    /// while nobody was named, or UTC is not known.
    pub fn rests(&self, picture: &dyn Picture) -> Vec<Rest> {
        picture.utc().map_or_else(Vec::new, |now| self.duties.rests(now, self.roster.people()))
    }

    /// Who is on watch, and since when.
    pub fn on_watch(&self) -> Option<(&str, Moment)> {
        self.on_watch.as_ref().map(|(who, since)| (who.as_str(), *since))
    }

    /// The names of the orders that do not watch, as things are declared.
    pub fn out_of_force(&self) -> impl Iterator<Item = &str> {
        self.watched.iter().filter(|w| !w.in_force).map(|w| w.order.name.as_str())
    }

    /// What whoever takes over the watch must know.
    pub fn handover(&self, picture: &dyn Picture) -> Handover {
        let mut standing: Vec<Alert> = self.alerts.iter().cloned().collect();
        standing.sort_by(|a, b| b.priority.cmp(&a.priority).then(a.id.cmp(&b.id)));
        let next = self.roster_time(picture).and_then(|now| {
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
            out_of_force: self.out_of_force().map(str::to_owned).collect(),
            declared: self.declared,
        }
    }

    fn ship_time(&self, picture: &dyn Picture) -> Option<Utc> {
        picture.utc().map(|t| t.plus_ms(self.ship_clock.now_s.saturating_mul(1000)))
    }

    /// Ship's time by which the roster counts.
    fn roster_time(&self, picture: &dyn Picture) -> Option<Utc> {
        picture.utc().map(|t| t.plus_ms(self.ship_clock.counted_s.saturating_mul(1000)))
    }

    /// Consults the roster when that is due.
    pub(super) fn advance_roster(&mut self, picture: &dyn Picture) {
        self.count_watch(picture);
        if self.roster_due.is_none_or(|due| due > self.now) {
            return;
        }
        self.roster_due = (self.roster != Roster::default()).then(|| self.now + LOOKED_AT_EVERY);
        let Some(ship_time) = self.roster_time(picture) else { return };
        // Where nobody is on watch at this hour, whoever was before has it still.
        let Some(present) = self.roster.present(ship_time) else { return };
        let left_ms = present.until.0.saturating_sub(ship_time.0).max(1);
        let since = Moment(self.now.0.saturating_sub(ship_time.0.saturating_sub(present.since.0)));
        self.roster_due = Some(self.now + Duration::from_millis(left_ms as u64).min(LOOKED_AT_EVERY));
        if self.rostered.as_ref() == Some(&(present.who.clone(), present.since)) {
            return;
        }
        self.rostered = Some((present.who.clone(), present.since));
        // Who took the watch by hand within this watch of the roster keeps it: the time was not known then, the clock was
        // put right, or ship's time was changed.
        let said = self.on_watch.as_ref().filter(|_| self.by_hand).map(|(_, said)| *said);
        if said.is_some_and(|said| since <= said) {
            return;
        }
        self.by_hand = false;
        if self.on_watch.as_ref().map(|(who, _)| who) != Some(&present.who) {
            self.begin_watch(self.now, present.who, since, picture);
        }
    }

    /// Counts the watch of whoever is on, from the moment on which UTC is known.
    fn count_watch(&mut self, picture: &dyn Picture) {
        if let Some(((who, since), now)) = self.on_watch.as_ref().zip(picture.utc()) {
            self.duties.on_watch(who, now.plus_ms(since.0.saturating_sub(self.now.0)), now);
        }
    }

    fn begin_watch(&mut self, at: Moment, who: String, since: Moment, picture: &dyn Picture) {
        let text = match &self.on_watch {
            Some((before, _)) if *before != who => format!("{who} takes the watch from {before}"),
            _ => format!("{who} takes the watch"),
        };
        self.alerts.watch = Some(who.clone());
        self.on_watch = Some((who, since));
        self.count_watch(picture);
        self.note(at, "watch", Subject::Lookout, text.into());
        self.judge_those(|m| *m == Measure::TimeOnWatch, picture);
    }

    /// Judges anew the orders in force that ask for a measure.
    fn judge_those(&mut self, asked: impl Fn(&Measure) -> bool, picture: &dyn Picture) {
        let asks = |w: &super::Watched| w.order.tests.iter().any(|t| asked(&t.measure));
        let places: Vec<usize> =
            self.watched.iter().enumerate().filter(|(_, w)| w.in_force && asks(w)).map(|(i, _)| i).collect();
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
