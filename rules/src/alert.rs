//! Priorities, states and events of an alert.

use crate::builtin::BuiltIn;
use crate::words::Words;
use serde::{Deserialize, Serialize};
use terms::{CasualtyId, Moment, Subject};
use thiserror::Error;

/// An alert's number in this logbook, counted from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct AlertId(pub u32);

terms::closed_list! {
    /// Priorities of IMO MSC.302(87), and below them the notice, which is no alert. Ordered, least urgent first.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
    pub enum Priority {
        /// Not an alert: announced once and kept in the logbook.
        Notice = "notice",
        /// For awareness; needs no acknowledgement.
        Caution = "caution",
        /// A condition that may become dangerous.
        Warning = "warning",
        /// Immediate attention and action.
        Alarm = "alarm",
        /// Immediate danger to life.
        EmergencyAlarm = "emergency alarm",
    }
}

terms::closed_list! {
    /// States of an alert, those of the ALF sentence (IEC 61162-1 8.3.14).
    #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
    pub enum AlertState {
        /// V: sounding, nobody has acknowledged.
        ActiveUnacknowledged = "active-unacknowledged",
        /// S: silenced for a while, not acknowledged.
        ActiveSilenced = "active-silenced",
        /// A: acknowledged, the condition continues. A caution starts in this state.
        ActiveAcknowledged = "active-acknowledged",
        /// O: responsibility transferred to somebody else.
        ResponsibilityTransferred = "responsibility-transferred",
        /// U: the condition has ended and nobody has acknowledged it yet.
        RectifiedUnacknowledged = "rectified-unacknowledged",
        /// N: over.
        Normal = "normal",
    }
}

impl AlertState {
    /// The state in a sailor's words, for screens and the handover.
    pub const fn in_words(self) -> &'static str {
        match self {
            Self::ActiveUnacknowledged => "not acknowledged",
            Self::ActiveSilenced => "silenced, not acknowledged",
            Self::ActiveAcknowledged => "acknowledged",
            Self::ResponsibilityTransferred => "taken over",
            Self::RectifiedUnacknowledged => "over, not acknowledged",
            Self::Normal => "over",
        }
    }
}

terms::closed_list! {
    /// What happened to an alert.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
    pub enum EventKind {
        /// It began.
        Raised = "raised",
        /// It was announced again.
        Repeated = "repeated",
        /// It went to another signal, another person, or a higher priority.
        Escalated = "escalated",
        /// Its sound was silenced.
        Silenced = "silenced",
        /// Somebody acknowledged it.
        Acknowledged = "acknowledged",
        /// Somebody took it over.
        Transferred = "transferred",
        /// Its condition ended, unacknowledged.
        Rectified = "rectified",
        /// It is over.
        Cleared = "cleared",
        /// A notice, which is not an alert.
        Noted = "noted",
        /// On the way back to one of ours overboard: where now, said again and again. No step in the life of the alert.
        Guidance = "guidance",
    }
}

impl EventKind {
    /// Whether it calls for attention. The other kinds answer a call or end it.
    pub const fn calls(self) -> bool {
        matches!(self, Self::Raised | Self::Repeated | Self::Escalated | Self::Noted | Self::Guidance)
    }
}

/// One occurrence of an order's or a built-in condition about one subject. It holds no text: ask
/// [`Board::words`](crate::Board::words) for its words as of now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alert {
    /// Its number.
    pub id: AlertId,
    /// The order's name, or the built-in one's.
    pub order: String,
    /// What it is about.
    pub subject: Subject,
    /// Its priority now.
    pub priority: Priority,
    /// Its state.
    pub state: AlertState,
    /// Part of an exercise.
    pub exercise: bool,
    /// When it began.
    pub began: Moment,
    /// It began at this moment or earlier: a gap of unknown length lies in between.
    pub began_at_least: bool,
    /// How far it has escalated without an acknowledgement: 0 the watch, 1 the skipper, 2 all hands.
    pub level: u8,
    /// Events so far.
    pub seq: u32,
}

impl Alert {
    /// The state as it is reported: a notice has none.
    pub fn state_told(&self) -> Option<AlertState> {
        (self.priority != Priority::Notice).then_some(self.state)
    }

    /// Whether its condition continues: neither rectified nor over.
    pub fn is_active(&self) -> bool {
        !matches!(self.state, AlertState::RectifiedUnacknowledged | AlertState::Normal)
    }
}

/// Whom an event is for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Addressee {
    /// The watchkeeper; by name where the roster or the crew gives it.
    Watch(Option<String>),
    /// The skipper; by name where the roster gives it.
    Skipper(Option<String>),
    /// Everybody.
    #[default]
    AllHands,
}

/// How an event is carried to people.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Carry {
    /// Whom it is for.
    pub to: Addressee,
    /// The signals by name; `None` for all that carry the alert's priority.
    pub signals: Option<Vec<String>>,
    /// The event calls for attention: signals sound again.
    pub aloud: bool,
    /// How far it goes: 0 the watch, 1 the skipper, 2 all hands.
    pub level: u8,
    /// How many other unacknowledged alerts of the same order this event also announces.
    pub more: u32,
    /// It is said in passing: the logbook keeps it only if somebody must be given it.
    pub passing: bool,
}

/// What happened to an alert.
#[derive(Debug, Clone, PartialEq)]
pub struct AlertEvent {
    /// When.
    pub at: Moment,
    /// What.
    pub kind: EventKind,
    /// Counts the events of this alert from 1; guidance has the number of the event before it.
    pub seq: u32,
    /// The alert after it.
    pub alert: Alert,
    /// What the alert comes from.
    pub origin: Origin,
    /// The words of this moment.
    pub words: Words,
    /// Whom it is for, and how it reaches them.
    pub carry: Carry,
}

/// Why an act of the crew was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum Refused {
    /// No alert of that number stands.
    #[error("no alert {} stands", .0.0)]
    NoSuchAlert(AlertId),
    /// No alert about that casualty stands.
    #[error("no alert about casualty {} stands", .0.0)]
    NoSuchCasualty(CasualtyId),
    /// The watch alarm cannot be acknowledged: it is reset from a lookout position.
    #[error("the watch alarm is reset from a lookout position; nothing else ends it")]
    ResetIt,
    /// The alert's state does not allow it.
    #[error("alert {} is {state}, and that cannot be done to it", id.0)]
    WrongState {
        /// Which.
        id: AlertId,
        /// Its state.
        state: AlertState,
    },
}

/// What an alert comes from.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Origin {
    /// A built-in condition.
    BuiltIn(BuiltIn),
    /// A standing order, by name.
    Order(String),
    /// An order that cannot be judged, by name.
    Unjudged(String),
    /// The subjects of an order that are too many to announce one by one.
    Crowd(String),
    /// An exercise of the order or built-in alert of this name: never the same alert as a real one.
    Exercise(String),
    /// A remark of the watch under this name, no alert.
    Note(String),
}
