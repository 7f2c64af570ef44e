//! The life of alerts: raised, repeated, silenced, acknowledged, escalated, rectified, cleared. After
//! IMO MSC.302(87) (bridge alert management) and A.1021(26) (code on alerts).

mod acts;
mod clocks;
mod kept;

pub use kept::KeptAlerts;

use crate::alert::{Addressee, Alert, AlertId, AlertState, Carry, EventKind, Origin, Priority};
use crate::builtin::{BuiltIn, Escalation};
use crate::words::Words;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::time::Duration;
use terms::{FeedId, Moment, Subject};

/// How long an unacknowledged alert stays silenced before it sounds again (IMO MSC.302(87);
/// MSC.252(83) 20.2.5).
pub const SOUND_RETURNS: Duration = Duration::from_secs(30);
/// Interval at which an unacknowledged warning is repeated (at most five minutes by IMO MSC.302(87), from memory).
pub const WARNING_REPEATS: Duration = Duration::from_secs(300);
/// Interval at which an unacknowledged alarm is repeated (own choice).
pub const ALARM_REPEATS: Duration = Duration::from_secs(60);
/// Interval at which an unacknowledged emergency alarm is repeated (own choice).
pub const EMERGENCY_REPEATS: Duration = Duration::from_secs(30);
/// Interval at which an acknowledged emergency alarm is repeated until it is stood down (own choice).
pub const EMERGENCY_REMINDS: Duration = Duration::from_secs(300);
/// The last level of escalation: 0 the watch, 1 the skipper, 2 all hands.
pub const LAST_LEVEL: u8 = 2;

/// What is to be raised.
pub struct Raise {
    /// What it comes from.
    pub origin: Origin,
    /// The name that people see.
    pub order: String,
    /// What it is about.
    pub subject: Subject,
    /// Its priority.
    pub priority: Priority,
    /// Its words where neither an order nor the picture can give them.
    pub words: Words,
    /// Signals by name.
    pub signals: Option<Vec<String>>,
    /// Interval of repetition; `None` as its priority has it.
    pub repeats: Option<Duration>,
    /// Escalation.
    pub escalation: Option<Escalation>,
    /// How bad it is among those of its order; more is worse.
    pub badness: f64,
    /// The feed that its subject is known by.
    pub feed: Option<FeedId>,
    /// Part of an exercise.
    pub exercise: bool,
}

/// Greatest number of alerts of one order that have ended and wait for an acknowledgement; beyond it the oldest is cleared.
pub const MOST_RECTIFIED: usize = 64;

/// An alert that is not over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Standing {
    alert: Alert,
    origin: Origin,
    /// What it said last, and when.
    said: Words,
    said_at: Moment,
    signals: Option<Vec<String>>,
    repeats: Option<Duration>,
    escalation: Option<Escalation>,
    #[serde(skip)]
    badness: f64,
    #[serde(skip)]
    feed: Option<FeedId>,
    silenced_until: Option<Moment>,
    next_repeat: Option<Moment>,
    next_escalation: Option<Moment>,
    #[serde(skip)]
    armed: Option<Moment>,
    /// Taken over from before a restart, and its condition not met since then.
    #[serde(skip)]
    unconfirmed: bool,
}

impl Standing {
    fn due(&self) -> Option<Moment> {
        [self.silenced_until, self.next_repeat, self.next_escalation].into_iter().flatten().min()
    }

    fn unheeded(&self) -> bool {
        matches!(self.alert.state, AlertState::ActiveUnacknowledged | AlertState::ActiveSilenced)
    }

    /// What it said last, with its age if that was before a restart.
    fn aged(&self, at: Moment, restarted: Option<Moment>) -> Words {
        let before = restarted.is_some_and(|r| self.said_at < r) && self.alert.is_active();
        let said = self.said.clone();
        if before { said.last_known(at.since(self.said_at), self.alert.began_at_least) } else { said }
    }

    /// The interval at which it is repeated in its present state; `None` if it is not.
    fn interval(&self) -> Option<Duration> {
        match (self.alert.priority, self.alert.state) {
            (Priority::EmergencyAlarm, AlertState::ActiveAcknowledged) => Some(EMERGENCY_REMINDS),
            (_, AlertState::ActiveUnacknowledged) => {
                Some(self.repeats.unwrap_or(match self.alert.priority {
                    Priority::EmergencyAlarm => EMERGENCY_REPEATS,
                    Priority::Alarm => ALARM_REPEATS,
                    _ => WARNING_REPEATS,
                }))
            }
            _ => None,
        }
    }

    fn escalates_in(&self) -> Option<Duration> {
        // The watch alarm escalates by its own clock.
        if self.alert.level >= LAST_LEVEL || self.origin == Origin::BuiltIn(BuiltIn::WatchAlarm) {
            return None;
        }
        Some(self.escalation.map_or(
            match self.alert.priority {
                Priority::EmergencyAlarm => Duration::from_secs(60),
                Priority::Alarm => Duration::from_secs(120),
                _ => Duration::from_secs(600),
            },
            |e| e.after,
        ))
    }
}

/// What happened to an alert, before the words are made.
#[derive(Debug)]
pub struct Happened {
    /// When.
    pub at: Moment,
    /// What.
    pub kind: EventKind,
    /// The alert after it.
    pub alert: Alert,
    /// What the alert comes from.
    pub origin: Origin,
    /// Whom it is for, and how it reaches them.
    pub carry: Carry,
    /// What the alert had said last by then, with its age if that was before a restart.
    pub said: Words,
}

/// All alerts that are not over, and what has happened to them since the events were last taken.
#[derive(Debug, Default)]
pub struct Alerts {
    standing: BTreeMap<AlertId, Standing>,
    /// The inner tables are never empty.
    by_origin: BTreeMap<Origin, BTreeMap<Subject, AlertId>>,
    due: BTreeSet<(Moment, AlertId)>,
    events: Vec<Happened>,
    /// When the alerts of the run before were taken over; what was said earlier is reported with its age.
    restarted: Option<Moment>,
    /// Signals of the last minute, at most `signals_per_min` of each priority and one more for each feed.
    told: VecDeque<(Moment, Priority, Option<FeedId>)>,
    last_id: u32,
    /// Greatest number of signals a minute; beyond it only emergencies sound, and one for each feed that had none.
    signals_per_min: usize,
    /// Whether everything is part of an exercise.
    exercise: bool,
    /// Who is on watch.
    pub watch: Option<String>,
    /// Who is called when the watch does not answer.
    pub skipper: Option<String>,
}

impl Alerts {
    /// No alerts yet; numbers continue after the logbook's last one.
    pub fn new(signals_per_min: usize, exercise: bool, last_id: u32) -> Self {
        Self { signals_per_min, exercise, last_id, ..Self::default() }
    }

    /// All alerts of an order: raised, unjudged or crowd.
    pub fn of_order(&self, name: &str) -> Vec<AlertId> {
        let of = |s: &Origin| match s {
            Origin::Order(n) | Origin::Unjudged(n) | Origin::Crowd(n) => n == name,
            Origin::BuiltIn(_) | Origin::Exercise(_) | Origin::Note(_) => false,
        };
        self.standing.iter().filter(|(_, s)| of(&s.origin)).map(|(id, _)| *id).collect()
    }

    /// All alerts that are not over, by number.
    pub fn iter(&self) -> impl Iterator<Item = &Alert> {
        self.standing.values().map(|s| &s.alert)
    }

    /// One of them.
    pub fn get(&self, id: AlertId) -> Option<&Alert> {
        self.standing.get(&id).map(|s| &s.alert)
    }

    /// What an alert comes from.
    pub fn origin(&self, id: AlertId) -> Option<&Origin> {
        self.standing.get(&id).map(|s| &s.origin)
    }

    /// Whether an order has an active alert about a subject, acknowledged or not.
    pub fn is_active(&self, order: &str, subject: Subject) -> bool {
        let id = self.find(&Origin::Order(order.to_owned()), subject);
        id.and_then(|id| self.get(id)).is_some_and(Alert::is_active)
    }

    /// The alert of an origin about a subject.
    pub fn find(&self, origin: &Origin, subject: Subject) -> Option<AlertId> {
        self.by_origin.get(origin)?.get(&subject).copied()
    }

    /// The number of alerts whose origin passes a test.
    pub fn count(&self, pick: impl Fn(&Origin) -> bool) -> usize {
        self.standing.values().filter(|s| pick(&s.origin)).count()
    }

    /// What happened since this was last asked.
    pub fn take_events(&mut self) -> Vec<Happened> {
        std::mem::take(&mut self.events)
    }

    /// What an alert said last, with its age at a moment if that was before a restart.
    pub fn said(&self, at: Moment, id: AlertId) -> Words {
        self.standing.get(&id).map_or_else(Words::default, |s| s.aged(at, self.restarted))
    }

    /// Whether an alert's last words were these.
    pub fn has_said(&self, id: AlertId, words: &Words) -> bool {
        self.standing.get(&id).is_some_and(|s| s.said == *words)
    }

    /// Confirms an alert from before a restart: its condition is met again and its last words still hold.
    pub fn confirm(&mut self, at: Moment, id: AlertId) {
        if let Some(s) = self.standing.get_mut(&id) {
            (s.unconfirmed, s.said_at) = (false, at);
        }
    }

    /// Keeps the words that an alert says now.
    pub fn say(&mut self, at: Moment, id: AlertId, words: Words) {
        if let Some(s) = self.standing.get_mut(&id) {
            (s.said, s.said_at) = (words, at);
        }
    }

    /// When something is due.
    pub fn next_wake(&self) -> Option<Moment> {
        self.due.first().map(|(at, _)| *at)
    }

    fn next_id(&mut self) -> AlertId {
        self.last_id = self.last_id.saturating_add(1);
        AlertId(self.last_id)
    }

    /// A condition begins, or begins again before the last time was acknowledged. A notice is only noted.
    pub fn raise(&mut self, at: Moment, raise: Raise) -> AlertId {
        if let Some(id) = self.find(&raise.origin, raise.subject) {
            self.raise_again(at, id, raise);
            return id;
        }
        let id = self.next_id();
        let state = match raise.priority {
            Priority::Notice => AlertState::Normal,
            Priority::Caution => AlertState::ActiveAcknowledged,
            _ => AlertState::ActiveUnacknowledged,
        };
        let alert = Alert {
            id,
            order: raise.order,
            subject: raise.subject,
            priority: raise.priority,
            state,
            exercise: self.exercise || raise.exercise,
            began: at,
            began_at_least: false,
            level: 0,
            seq: 0,
        };
        let kind = if raise.priority == Priority::Notice { EventKind::Noted } else { EventKind::Raised };
        self.by_origin.entry(raise.origin.clone()).or_default().insert(raise.subject, id);
        self.standing.insert(
            id,
            Standing {
                alert,
                origin: raise.origin,
                said: raise.words,
                said_at: at,
                signals: raise.signals,
                repeats: raise.repeats,
                escalation: raise.escalation,
                badness: raise.badness,
                feed: raise.feed,
                silenced_until: None,
                next_repeat: None,
                next_escalation: None,
                armed: None,
                unconfirmed: false,
            },
        );
        self.start_clocks(at, id);
        self.emit(at, id, kind, 0);
        if raise.priority == Priority::Notice {
            self.remove(id);
        }
        id
    }

    /// Announces it again under the same number; it sounds even if it was acknowledged before.
    fn raise_again(&mut self, at: Moment, id: AlertId, raise: Raise) {
        if let Some(s) = self.standing.get_mut(&id) {
            if !raise.words.is_empty() {
                (s.said, s.said_at) = (raise.words, at);
            }
            (s.badness, s.feed) = (raise.badness, raise.feed);
            s.unconfirmed = false;
            if s.alert.priority > Priority::Caution {
                s.alert.state = AlertState::ActiveUnacknowledged;
                s.silenced_until = None;
            } else if s.alert.is_active() {
                return;
            }
        }
        self.start_clocks(at, id);
        self.emit(at, id, EventKind::Repeated, 0);
    }

    /// Sets how bad an alert is among those of its order.
    pub fn weigh(&mut self, id: AlertId, badness: f64) {
        if let Some(s) = self.standing.get_mut(&id) {
            s.badness = badness;
        }
    }

    /// Repeats an alert in its present state because there is news.
    pub fn retell(&mut self, at: Moment, id: AlertId, words: Words) {
        if let Some(s) = self.standing.get_mut(&id) {
            if !words.is_empty() {
                (s.said, s.said_at) = (words, at);
            }
            s.unconfirmed = false;
            s.next_repeat = s.interval().map(|i| at + i);
            self.emit(at, id, EventKind::Repeated, 0);
            self.arm(id);
        }
    }

    /// The condition has ended. An emergency alarm stays: only a person ends it.
    pub fn rectify(&mut self, at: Moment, id: AlertId) {
        let Some(s) = self.standing.get_mut(&id) else { return };
        if s.alert.priority == Priority::EmergencyAlarm {
            return;
        }
        match s.alert.state {
            AlertState::ActiveUnacknowledged | AlertState::ActiveSilenced => {
                s.alert.state = AlertState::RectifiedUnacknowledged;
                (s.silenced_until, s.next_repeat, s.next_escalation) = (None, None, None);
                self.emit(at, id, EventKind::Rectified, 0);
                self.arm(id);
                self.clear_oldest_rectified(at, id);
            }
            AlertState::ActiveAcknowledged | AlertState::ResponsibilityTransferred => self.clear(at, id),
            AlertState::RectifiedUnacknowledged | AlertState::Normal => {}
        }
    }

    /// Clears the oldest unacknowledged one, so that weeks of passing ships do not fill the memory.
    fn clear_oldest_rectified(&mut self, at: Moment, id: AlertId) {
        let Some(order) = self.get(id).map(|a| a.order.clone()) else { return };
        let waits =
            |s: &&Standing| s.alert.state == AlertState::RectifiedUnacknowledged && s.alert.order == order;
        let mut waiting = self.standing.values().filter(waits).map(|s| s.alert.id);
        let Some(oldest) = waiting.next() else { return };
        if waiting.count() >= MOST_RECTIFIED {
            if let Some(s) = self.standing.get_mut(&oldest) {
                s.said = std::mem::take(&mut s.said).too_many_wait();
            }
            self.clear(at, oldest);
        }
    }

    /// Ends an alert whatever its state: stood down, or its order is gone.
    pub fn clear(&mut self, at: Moment, id: AlertId) {
        if let Some(s) = self.standing.get_mut(&id) {
            s.alert.state = AlertState::Normal;
            self.emit(at, id, EventKind::Cleared, 0);
            self.remove(id);
        }
    }

    fn remove(&mut self, id: AlertId) {
        if let Some(s) = self.standing.remove(&id) {
            if let Some(of_origin) = self.by_origin.get_mut(&s.origin) {
                of_origin.remove(&s.alert.subject);
                if of_origin.is_empty() {
                    self.by_origin.remove(&s.origin);
                }
            }
            if let Some(at) = s.armed {
                self.due.remove(&(at, id));
            }
        }
    }

    /// Escalates an alert to a given priority and level, aloud; for those with a clock of their own.
    pub fn step(&mut self, at: Moment, id: AlertId, priority: Priority, level: u8) {
        if let Some(s) = self.standing.get_mut(&id) {
            s.alert.priority = priority;
            s.alert.level = level;
            s.alert.state = AlertState::ActiveUnacknowledged;
        }
        self.start_clocks(at, id);
        self.emit(at, id, EventKind::Escalated, 0);
    }

    fn start_clocks(&mut self, at: Moment, id: AlertId) {
        if let Some(s) = self.standing.get_mut(&id) {
            s.next_repeat = s.interval().map(|i| at + i);
            s.next_escalation = if s.unheeded() { s.escalates_in().map(|d| at + d) } else { None };
        }
        self.arm(id);
    }

    fn arm(&mut self, id: AlertId) {
        let Some(s) = self.standing.get_mut(&id) else { return };
        let due = s.due();
        if s.armed != due {
            if let Some(old) = s.armed {
                self.due.remove(&(old, id));
            }
            if let Some(new) = due {
                self.due.insert((new, id));
            }
            s.armed = due;
        }
    }

    /// Records an event and decides whether it may sound.
    fn emit(&mut self, at: Moment, id: AlertId, kind: EventKind, more: u32) {
        let Some(s) = self.standing.get_mut(&id) else { return };
        s.alert.seq = s.alert.seq.saturating_add(1);
        let wants = kind.calls();
        while self.told.front().is_some_and(|(t, ..)| at.since(*t) >= Duration::from_secs(60)) {
            self.told.pop_front();
        }
        let priority = s.alert.priority;
        let exempt = priority == Priority::EmergencyAlarm;
        // A less urgent alert never uses up the room of a more urgent one.
        let as_urgent = |(_, p, _): &&(Moment, Priority, Option<FeedId>)| *p >= priority;
        // An exercise uses no room.
        let exempt = exempt || matches!(s.origin, Origin::Exercise(_));
        // The noise of one feed never silences another altogether.
        let first = self.told.iter().filter(as_urgent).all(|(_, _, feed)| *feed != s.feed);
        let room = exempt || first || self.told.iter().filter(as_urgent).count() < self.signals_per_min;
        if wants && room && !exempt {
            self.told.push_back((at, priority, s.feed));
        }
        if wants
            && !room
            && s.alert.state == AlertState::ActiveUnacknowledged
            && let Some((first, ..)) = self.told.iter().find(as_urgent)
        {
            // Repeated as soon as the minute has room again.
            s.next_repeat = Some(*first + Duration::from_secs(60));
        }
        let alert = s.alert.clone();
        let to = match s.alert.level {
            _ if priority == Priority::EmergencyAlarm => Addressee::AllHands,
            0 => Addressee::Watch(self.watch.clone()),
            1 => Addressee::Skipper(self.skipper.clone()),
            _ => Addressee::AllHands,
        };
        let carry = Carry {
            to,
            // Escalated, it goes by all signals of its priority.
            signals: if s.alert.level == 0 { s.signals.clone() } else { None },
            aloud: wants && room,
            level: s.alert.level,
            more,
            passing: false,
        };
        let (origin, said) = (s.origin.clone(), s.aged(at, self.restarted));
        self.events.push(Happened { at, kind, alert, origin, carry, said });
        self.arm(id);
    }
}
