//! The life of alerts: raised, repeated, silenced, acknowledged, escalated, rectified, cleared. After IMO MSC.302(87)
//! (bridge alert management) and A.1021(26) (code on alerts).

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

/// How long an unacknowledged alert stays silenced before its sound returns (IMO MSC.302(87); MSC.252(83) 20.2.5).
pub const SOUND_RETURNS: Duration = Duration::from_secs(30);
/// An unacknowledged warning repeats within five minutes (IMO MSC.302(87), from memory).
pub const WARNING_REPEATS: Duration = Duration::from_secs(300);
/// How often an unacknowledged alarm repeats; our choice.
pub const ALARM_REPEATS: Duration = Duration::from_secs(60);
/// How often an unacknowledged emergency alarm repeats; our choice.
pub const EMERGENCY_REPEATS: Duration = Duration::from_secs(30);
/// How often an acknowledged emergency alarm repeats until it is stood down; our choice.
pub const EMERGENCY_REMINDS: Duration = Duration::from_secs(300);
/// Levels of escalation: the watch, the skipper, all hands.
pub const LAST_LEVEL: u8 = 2;

/// What to raise.
pub struct Raise {
    /// What it comes from.
    pub origin: Origin,
    /// The name to announce.
    pub order: String,
    /// What it is about.
    pub subject: Subject,
    /// Its priority.
    pub priority: Priority,
    /// Words for when neither an order nor the picture has any.
    pub words: Words,
    /// Signals by name.
    pub signals: Option<Vec<String>>,
    /// How often it repeats.
    pub repeats: Option<Duration>,
    /// Escalation.
    pub escalation: Option<Escalation>,
    /// How bad it is among the alerts of its order; more is worse.
    pub badness: f64,
    /// Part of an exercise.
    pub exercise: bool,
}

/// Most ended alerts of one order awaiting acknowledgement; beyond that the oldest is cleared.
pub const MOST_RECTIFIED: usize = 64;

/// An alert that is not over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Standing {
    alert: Alert,
    origin: Origin,
    /// Its last words, and when.
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
    /// Restored, and its condition not met since.
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

    /// Its last words, with their age if they are from before a restart.
    fn aged(&self, at: Moment, restarted: Option<Moment>) -> Words {
        let before = restarted.is_some_and(|r| self.said_at < r) && self.alert.is_active();
        let said = self.said.clone();
        if before { said.last_known(at.since(self.said_at), self.alert.began_at_least) } else { said }
    }

    /// How soon it repeats in its state.
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

/// What happened to an alert, before it gets its words.
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
    /// Who must hear of it, and how.
    pub carry: Carry,
    /// The alert's last words when it happened, with their age if from before a restart.
    pub said: Words,
}

/// All open alerts, and what happened to them since the events were last taken.
#[derive(Debug, Default)]
pub struct Alerts {
    standing: BTreeMap<AlertId, Standing>,
    /// No inner table is empty.
    by_origin: BTreeMap<Origin, BTreeMap<Subject, AlertId>>,
    due: BTreeSet<(Moment, AlertId)>,
    events: Vec<Happened>,
    /// When the last restart was restored: words from before it have an age.
    restarted: Option<Moment>,
    /// The last minute's signals; at most `signals_per_min` of each priority.
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
    /// Empty; numbers continue after the logbook's last.
    pub fn new(signals_per_min: usize, exercise: bool, last_id: u32) -> Self {
        Self { signals_per_min, exercise, last_id, ..Self::default() }
    }

    /// Alerts of an order: raised, unjudged or crowd.
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

    /// How many alerts stand whose origin `pick` accepts.
    pub fn count(&self, pick: impl Fn(&Origin) -> bool) -> usize {
        self.standing.values().filter(|s| pick(&s.origin)).count()
    }

    /// What happened since the last call.
    pub fn take_events(&mut self) -> Vec<Happened> {
        std::mem::take(&mut self.events)
    }

    /// An alert's last words, as announced at a moment.
    pub fn said(&self, at: Moment, id: AlertId) -> Words {
        self.standing.get(&id).map_or_else(Words::default, |s| s.aged(at, self.restarted))
    }

    /// Whether these are an alert's last words.
    pub fn has_said(&self, id: AlertId, words: &Words) -> bool {
        self.standing.get(&id).is_some_and(|s| s.said == *words)
    }

    /// A restored alert is met again: its words hold.
    pub fn confirm(&mut self, at: Moment, id: AlertId) {
        if let Some(s) = self.standing.get_mut(&id) {
            (s.unconfirmed, s.said_at) = (false, at);
        }
    }

    /// Remembers what an alert says.
    pub fn say(&mut self, at: Moment, id: AlertId, words: Words) {
        if let Some(s) = self.standing.get_mut(&id) {
            (s.said, s.said_at) = (words, at);
        }
    }

    /// When something is due next.
    pub fn next_wake(&self) -> Option<Moment> {
        self.due.first().map(|(at, _)| *at)
    }

    fn next_id(&mut self) -> AlertId {
        self.last_id = self.last_id.saturating_add(1);
        AlertId(self.last_id)
    }

    /// Begins a condition, or begins it again before anybody acknowledged the last time. A notice is only noted.
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

    /// Announces it again under the same number: the sound returns whatever was acknowledged before.
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

    /// Sets how bad an alert is among those of its order.
    pub fn weigh(&mut self, id: AlertId, badness: f64) {
        if let Some(s) = self.standing.get_mut(&id) {
            s.badness = badness;
        }
    }

    /// Announces news of an alert, in its state.
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

    /// Ends the condition. An emergency alarm goes on: a person ends it.
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

    /// Weeks of passing ships that nobody acknowledged must not fill the memory.
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

    /// Ends an alert, whatever its state: stood down, or its order is gone.
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

    /// Records an event, and decides whether it may sound.
    fn emit(&mut self, at: Moment, id: AlertId, kind: EventKind, more: u32) {
        let Some(s) = self.standing.get_mut(&id) else { return };
        s.alert.seq = s.alert.seq.saturating_add(1);
        let wants = kind.calls();
        while self.told.front().is_some_and(|(t, _)| at.since(*t) >= Duration::from_secs(60)) {
            self.told.pop_front();
        }
        let priority = s.alert.priority;
        let exempt = priority == Priority::EmergencyAlarm;
        // Something less urgent never takes the place of something more urgent.
        let as_urgent = |(_, p): &&(Moment, Priority)| *p >= priority;
        // Nor does an exercise take any place.
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
            // Announced as soon as the minute has room again.
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
            // Once escalated, it goes by all signals of its priority.
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
