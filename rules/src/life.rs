//! The life of alerts: raised, told again, silenced, acknowledged, escalated, rectified, cleared. After
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
use terms::{Moment, Subject};

/// The sound of a silenced alert that nobody has acknowledged returns after so long (IMO MSC.302(87);
/// MSC.252(83) 20.2.5).
pub const SOUND_RETURNS: Duration = Duration::from_secs(30);
/// An unacknowledged warning is told again within five minutes (IMO MSC.302(87), from memory).
pub const WARNING_REPEATS: Duration = Duration::from_secs(300);
/// An unacknowledged alarm is told again; our choice.
pub const ALARM_REPEATS: Duration = Duration::from_secs(60);
/// An unacknowledged emergency alarm is told again; our choice.
pub const EMERGENCY_REPEATS: Duration = Duration::from_secs(30);
/// An acknowledged emergency alarm goes on being told until it is stood down; our choice.
pub const EMERGENCY_REMINDS: Duration = Duration::from_secs(300);
/// Levels of escalation: the watch, the skipper, all hands.
pub const LAST_LEVEL: u8 = 2;

/// What is to be raised.
pub struct Raise {
    /// What it comes from.
    pub origin: Origin,
    /// The name told.
    pub order: String,
    /// What it is about.
    pub subject: Subject,
    /// Its priority.
    pub priority: Priority,
    /// What is told where neither an order nor the picture can say it.
    pub words: Words,
    /// Signals by name.
    pub signals: Option<Vec<String>>,
    /// Interval of telling again.
    pub repeats: Option<Duration>,
    /// Escalation.
    pub escalation: Option<Escalation>,
    /// How bad it is among those of its order; more is worse.
    pub badness: f64,
    /// Part of an exercise.
    pub exercise: bool,
}

/// Alerts of one order that have ended and wait for somebody to acknowledge them; of more the oldest is cleared.
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
    silenced_until: Option<Moment>,
    next_repeat: Option<Moment>,
    next_escalation: Option<Moment>,
    #[serde(skip)]
    armed: Option<Moment>,
    /// Taken over from before a restart, and its condition not met since.
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

    /// What it said last, with its age where that was before a restart.
    fn aged(&self, at: Moment, restarted: Option<Moment>) -> Words {
        let before = restarted.is_some_and(|r| self.said_at < r) && self.alert.is_active();
        let said = self.said.clone();
        if before { said.last_known(at.since(self.said_at), self.alert.began_at_least) } else { said }
    }

    /// How soon it is told again in its state.
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
        // The watch alarm goes on by its own clock.
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

/// What happened to an alert, before it has its words.
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
    /// Who is to be told, and how.
    pub carry: Carry,
    /// What the alert had said last when it happened; with its age, where that was before a restart.
    pub said: Words,
}

/// All alerts that are not over, and what has happened to them since the events were last taken.
#[derive(Debug, Default)]
pub struct Alerts {
    standing: BTreeMap<AlertId, Standing>,
    /// None of the tables within is empty.
    by_origin: BTreeMap<Origin, BTreeMap<Subject, AlertId>>,
    due: BTreeSet<(Moment, AlertId)>,
    events: Vec<Happened>,
    /// When what outlasted the last restart was taken over: what was said before it has an age.
    restarted: Option<Moment>,
    /// The last minute's signals; of each priority at most `signals_per_min`.
    told: VecDeque<(Moment, Priority)>,
    last_id: u32,
    /// Signals a minute beyond which only emergencies sound.
    signals_per_min: usize,
    /// Everything raised now is part of an exercise.
    exercise: bool,
    /// Who is on watch.
    pub watch: Option<String>,
    /// Who is called when the watch does not answer.
    pub skipper: Option<String>,
}

impl Alerts {
    /// None yet; numbers go on after the last of the logbook.
    pub fn new(signals_per_min: usize, exercise: bool, last_id: u32) -> Self {
        Self { signals_per_min, exercise, last_id, ..Self::default() }
    }

    /// Those of an order, whether raised, unjudged or in a crowd.
    pub fn of_order(&self, name: &str) -> Vec<AlertId> {
        let of = |s: &Origin| match s {
            Origin::Order(n) | Origin::Unjudged(n) | Origin::Crowd(n) => n == name,
            Origin::BuiltIn(_) | Origin::Exercise(_) | Origin::Note(_) => false,
        };
        self.standing.iter().filter(|(_, s)| of(&s.origin)).map(|(id, _)| *id).collect()
    }

    /// Those that are not over, in order of their numbers.
    pub fn iter(&self) -> impl Iterator<Item = &Alert> {
        self.standing.values().map(|s| &s.alert)
    }

    /// One of them.
    pub fn get(&self, id: AlertId) -> Option<&Alert> {
        self.standing.get(&id).map(|s| &s.alert)
    }

    /// What one comes from.
    pub fn origin(&self, id: AlertId) -> Option<&Origin> {
        self.standing.get(&id).map(|s| &s.origin)
    }

    /// The alert of an origin about a subject.
    pub fn find(&self, origin: &Origin, subject: Subject) -> Option<AlertId> {
        self.by_origin.get(origin)?.get(&subject).copied()
    }

    /// How many stand of those that a test picks.
    pub fn count(&self, pick: impl Fn(&Origin) -> bool) -> usize {
        self.standing.values().filter(|s| pick(&s.origin)).count()
    }

    /// What happened since this was last asked.
    pub fn take_events(&mut self) -> Vec<Happened> {
        std::mem::take(&mut self.events)
    }

    /// What one said last, as it is to be told at a moment.
    pub fn said(&self, at: Moment, id: AlertId) -> Words {
        self.standing.get(&id).map_or_else(Words::default, |s| s.aged(at, self.restarted))
    }

    /// Whether these are the words that one said last.
    pub fn has_said(&self, id: AlertId, words: &Words) -> bool {
        self.standing.get(&id).is_some_and(|s| s.said == *words)
    }

    /// One that was taken over from before a restart is met again, and what it said is so.
    pub fn confirm(&mut self, at: Moment, id: AlertId) {
        if let Some(s) = self.standing.get_mut(&id) {
            (s.unconfirmed, s.said_at) = (false, at);
        }
    }

    /// Keeps what one says.
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

    /// A condition begins, or begins again before anybody acknowledged the last time. A notice is only noted.
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

    /// Told anew under the same number: the sound returns whatever was acknowledged before.
    fn raise_again(&mut self, at: Moment, id: AlertId, raise: Raise) {
        if let Some(s) = self.standing.get_mut(&id) {
            if !raise.words.is_empty() {
                (s.said, s.said_at) = (raise.words, at);
            }
            s.badness = raise.badness;
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

    /// Sets how bad one is among those of its order.
    pub fn weigh(&mut self, id: AlertId, badness: f64) {
        if let Some(s) = self.standing.get_mut(&id) {
            s.badness = badness;
        }
    }

    /// Told again in its state, with news.
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

    /// The condition has ended. An emergency alarm goes on: a person ends it.
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

    /// Weeks of ships that passed and nobody acknowledged must not fill the memory.
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

    /// It is over, whatever its state: stood down, or its order is gone.
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

    /// Goes one stage further by a clock of its own: to a priority and a level, aloud.
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

    /// Writes an event down, and decides whether it may sound.
    fn emit(&mut self, at: Moment, id: AlertId, kind: EventKind, more: u32) {
        let Some(s) = self.standing.get_mut(&id) else { return };
        s.alert.seq = s.alert.seq.saturating_add(1);
        let wants = kind.calls();
        while self.told.front().is_some_and(|(t, _)| at.since(*t) >= Duration::from_secs(60)) {
            self.told.pop_front();
        }
        let priority = s.alert.priority;
        let exempt = priority == Priority::EmergencyAlarm;
        // What is less urgent never takes the place of what is more so.
        let as_urgent = |(_, p): &&(Moment, Priority)| *p >= priority;
        // Nor does an exercise take anything's.
        let exempt = exempt || matches!(s.origin, Origin::Exercise(_));
        let room = exempt || self.told.iter().filter(as_urgent).count() < self.signals_per_min;
        if wants && room && !exempt {
            self.told.push_back((at, priority));
        }
        if wants
            && !room
            && s.alert.state == AlertState::ActiveUnacknowledged
            && let Some((first, _)) = self.told.iter().find(as_urgent)
        {
            // Told as soon as the minute has room again.
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
            // Once nobody has acknowledged, it goes by all signals of its priority.
            signals: if s.alert.level == 0 { s.signals.clone() } else { None },
            aloud: wants && room,
            level: s.alert.level,
            more,
        };
        let (origin, said) = (s.origin.clone(), s.aged(at, self.restarted));
        self.events.push(Happened { at, kind, alert, origin, carry, said });
        self.arm(id);
    }
}
