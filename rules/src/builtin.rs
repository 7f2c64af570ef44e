//! The alerts that no orders file turns on or off.

use crate::alert::Priority;
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// A built-in alert.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BuiltIn {
    /// A person of the crew, or an unknown one near, is overboard.
    PersonOverboard,
    /// A search and rescue transmitter is heard.
    SearchTransmitter,
    /// An emergency position-indicating radio beacon is heard.
    Epirb,
    /// More beacons than can be kept apart: told as one.
    TooManyBeacons,
    /// Another vessel calls distress.
    VesselInDistress,
    /// Nobody reset the watch alarm.
    WatchAlarm,
    /// Own position is no longer known.
    FixLost,
    /// Positions jump or contradict each other.
    PositionDoubtful,
    /// A feed says nothing.
    FeedSilent,
    /// The AIS receiver says nothing.
    AisSilent,
    /// Own transmissions are not heard back.
    OwnTransmitterSilent,
    /// Own transmitter sends a position or an identity that is not ours.
    OwnTransmitterWrong,
    /// A compass, a log: an instrument that cannot be right.
    InstrumentDoubtful,
    /// The logbook cannot be written.
    LogbookFailing,
    /// A buzzer, command or webhook fails.
    SignalFailing,
    /// The orders file cannot be read; others are in force.
    OrdersNotLoaded,
    /// Neither satellites nor the system tell the time.
    ClockNotKnown,
    /// A beacon under test is heard.
    BeaconTest,
    /// Gear or a battery runs out.
    GearDue,
}

/// When and how far an alert goes on while nobody acknowledges it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Escalation {
    /// After so long.
    pub after: Duration,
    /// To this priority, where it is not the same.
    pub to: Option<Priority>,
}

impl BuiltIn {
    /// All of them.
    pub const ALL: [Self; 19] = [
        Self::PersonOverboard,
        Self::SearchTransmitter,
        Self::Epirb,
        Self::TooManyBeacons,
        Self::VesselInDistress,
        Self::WatchAlarm,
        Self::FixLost,
        Self::PositionDoubtful,
        Self::FeedSilent,
        Self::AisSilent,
        Self::OwnTransmitterSilent,
        Self::OwnTransmitterWrong,
        Self::InstrumentDoubtful,
        Self::LogbookFailing,
        Self::SignalFailing,
        Self::OrdersNotLoaded,
        Self::ClockNotKnown,
        Self::BeaconTest,
        Self::GearDue,
    ];

    /// Its name, where an order's name stands.
    pub const fn name(self) -> &'static str {
        match self {
            Self::PersonOverboard => "person overboard",
            Self::SearchTransmitter => "search and rescue transmitter",
            Self::Epirb => "EPIRB",
            Self::TooManyBeacons => "many beacons",
            Self::VesselInDistress => "vessel in distress",
            Self::WatchAlarm => "watch alarm",
            Self::FixLost => "fix lost",
            Self::PositionDoubtful => "position doubtful",
            Self::FeedSilent => "feed silent",
            Self::AisSilent => "AIS silent",
            Self::OwnTransmitterSilent => "own transmitter not heard",
            Self::OwnTransmitterWrong => "own transmitter wrong",
            Self::InstrumentDoubtful => "instrument doubtful",
            Self::LogbookFailing => "logbook failing",
            Self::SignalFailing => "signal failing",
            Self::OrdersNotLoaded => "orders not loaded",
            Self::ClockNotKnown => "clock not known",
            Self::BeaconTest => "beacon test",
            Self::GearDue => "gear due",
        }
    }

    /// The one of that name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|b| b.name() == name)
    }

    /// Its priority when it begins.
    pub const fn priority(self) -> Priority {
        match self {
            Self::PersonOverboard | Self::SearchTransmitter | Self::Epirb | Self::TooManyBeacons => {
                Priority::EmergencyAlarm
            }
            Self::VesselInDistress => Priority::Alarm,
            Self::FixLost
            | Self::FeedSilent
            | Self::AisSilent
            | Self::OwnTransmitterSilent
            | Self::LogbookFailing
            | Self::SignalFailing
            | Self::OrdersNotLoaded => Priority::Warning,
            // The watch alarm begins as a light alone (the visual indication of MSC.128(75)) and goes on by its own
            // clock.
            Self::WatchAlarm
            | Self::ClockNotKnown
            | Self::PositionDoubtful
            | Self::OwnTransmitterWrong
            | Self::InstrumentDoubtful
            | Self::GearDue => Priority::Caution,
            Self::BeaconTest => Priority::Notice,
        }
    }

    /// Where it differs from what its priority does: a fix that stays lost becomes an alarm.
    pub const fn escalation(self) -> Option<Escalation> {
        match self {
            Self::FixLost => Some(Escalation { after: Duration::from_secs(300), to: Some(Priority::Alarm) }),
            _ => None,
        }
    }
}
