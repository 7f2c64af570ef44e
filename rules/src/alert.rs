//! Priorities, states and events of an alert.

use serde::{Deserialize, Serialize};
use std::fmt;

/// An alert's number in this logbook, counted from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct AlertId(pub u32);

/// Priorities of IMO MSC.302(87), and below them the notice, which is no alert. Ordered, least urgent first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Priority {
    /// No alert: told once, kept in the logbook.
    Notice,
    /// Awareness; needs no acknowledgement.
    Caution,
    /// A condition that may become dangerous.
    Warning,
    /// Immediate attention and action.
    Alarm,
    /// Immediate danger to life.
    #[serde(rename = "emergency alarm")]
    EmergencyAlarm,
}

impl fmt::Display for Priority {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Notice => "notice",
            Self::Caution => "caution",
            Self::Warning => "warning",
            Self::Alarm => "alarm",
            Self::EmergencyAlarm => "emergency alarm",
        })
    }
}

/// States of an alert, those of the ALF sentence (IEC 61162-1 8.3.14).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AlertState {
    /// V: sounding, nobody has acknowledged.
    ActiveUnacknowledged,
    /// S: silenced for a while, not acknowledged.
    ActiveSilenced,
    /// A: acknowledged, the condition goes on. A caution is born so.
    ActiveAcknowledged,
    /// O: somebody else has taken it over.
    ResponsibilityTransferred,
    /// U: the condition has ended and nobody has acknowledged it yet.
    RectifiedUnacknowledged,
    /// N: over.
    Normal,
}

impl fmt::Display for AlertState {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::ActiveUnacknowledged => "active-unacknowledged",
            Self::ActiveSilenced => "active-silenced",
            Self::ActiveAcknowledged => "active-acknowledged",
            Self::ResponsibilityTransferred => "responsibility-transferred",
            Self::RectifiedUnacknowledged => "rectified-unacknowledged",
            Self::Normal => "normal",
        })
    }
}

/// What happened to an alert.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum EventKind {
    /// It began.
    Raised,
    /// It was told again.
    Repeated,
    /// It went to another signal, another person, or a higher priority.
    Escalated,
    /// Its sound was silenced.
    Silenced,
    /// Somebody acknowledged it.
    Acknowledged,
    /// Somebody took it over.
    Transferred,
    /// Its condition ended, unacknowledged.
    Rectified,
    /// It is over.
    Cleared,
    /// A notice; no alert.
    Noted,
}
