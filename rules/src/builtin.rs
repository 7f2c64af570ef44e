//! The built-in alerts, which no orders file turns on or off.

use crate::alert::Priority;
use serde::{Deserialize, Serialize};
use std::time::Duration;

terms::closed_list! {
    /// A built-in alert.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
    pub enum BuiltIn {
        /// A person of the crew, or an unknown one near, is overboard.
        PersonOverboard = "person overboard",
        /// A search and rescue transmitter is heard.
        SearchTransmitter = "search and rescue transmitter",
        /// An emergency position-indicating radio beacon is heard.
        Epirb = "EPIRB",
        /// More beacons than can be kept apart; announced as one.
        TooManyBeacons = "many beacons",
        /// Another vessel calls distress.
        VesselInDistress = "vessel in distress",
        /// Nobody reset the watch alarm.
        WatchAlarm = "watch alarm",
        /// Own position is no longer known.
        FixLost = "fix lost",
        /// Positions jump, contradict each other, or walk away from log and compass.
        PositionDoubtful = "position doubtful",
        /// A feed is silent.
        FeedSilent = "feed silent",
        /// The AIS receiver is silent.
        AisSilent = "AIS silent",
        /// Own transmissions are not heard back.
        OwnTransmitterSilent = "own transmitter not heard",
        /// Own transmitter sends a position or an identity that is not ours.
        OwnTransmitterWrong = "own transmitter wrong",
        /// An instrument, such as a compass or a log, cannot be right.
        InstrumentDoubtful = "instrument doubtful",
        /// The logbook cannot be written.
        LogbookFailing = "logbook failing",
        /// A buzzer, command or webhook fails.
        SignalFailing = "signal failing",
        /// The orders file cannot be read; others are in force.
        OrdersNotLoaded = "orders not loaded",
        /// No order watches for ships, depth or the anchor, as things are declared.
        NotWatched = "not watched",
        /// The picture has contradicted a declaration for long.
        DeclarationDoubtful = "declaration doubtful",
        /// Neither satellites nor the computer's clock give the time.
        ClockNotKnown = "clock not known",
        /// A clock gives a time that others contradict.
        TimeDoubtful = "time doubtful",
        /// A beacon under test is heard.
        BeaconTest = "beacon test",
        /// Gear or a battery runs out.
        GearDue = "gear due",
        /// A station calls with urgency by DSC.
        UrgencyCall = "urgency call",
        /// An AIS message is addressed to own vessel.
        MessageForUs = "message for us",
        /// A NAVTEX message about search and rescue, or one numbered 00.
        NavtexUrgent = "NAVTEX urgent",
        /// A station calls about safety by DSC.
        SafetyCall = "safety call",
        /// A safety message to all by AIS, or an area notice of a person overboard.
        SafetyMessage = "safety message",
        /// A NAVTEX warning for navigation or of weather.
        NavtexWarning = "NAVTEX warning",
        /// A station calls own vessel by DSC.
        CallForUs = "call for us",
        /// The control socket, or control over TCP, cannot be opened.
        ControlFailing = "control failing",
        /// The helm is to steer a leg of a search.
        SearchLeg = "search leg",
    }
}

/// When and to what priority an unacknowledged alert escalates.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Escalation {
    /// How long after the last step.
    pub after: Duration,
    /// The new priority; `None` to keep the present one.
    pub to: Option<Priority>,
}

impl BuiltIn {
    /// Its priority when it begins.
    pub const fn priority(self) -> Priority {
        match self {
            Self::PersonOverboard | Self::SearchTransmitter | Self::Epirb | Self::TooManyBeacons => {
                Priority::EmergencyAlarm
            }
            Self::VesselInDistress => Priority::Alarm,
            Self::SearchLeg
            | Self::FixLost
            | Self::PositionDoubtful
            | Self::FeedSilent
            | Self::AisSilent
            | Self::OwnTransmitterSilent
            | Self::LogbookFailing
            | Self::SignalFailing
            | Self::OrdersNotLoaded
            | Self::ControlFailing
            | Self::NotWatched
            | Self::TimeDoubtful
            | Self::UrgencyCall
            | Self::MessageForUs
            | Self::NavtexUrgent => Priority::Warning,
            // The watch alarm begins as a light alone (the visual indication of MSC.128(75)) and escalates by its
            // own clock.
            Self::WatchAlarm
            | Self::ClockNotKnown
            | Self::OwnTransmitterWrong
            | Self::InstrumentDoubtful
            | Self::DeclarationDoubtful
            | Self::GearDue
            | Self::SafetyCall
            | Self::SafetyMessage
            | Self::NavtexWarning
            | Self::CallForUs => Priority::Caution,
            Self::BeaconTest => Priority::Notice,
        }
    }

    /// Its escalation, if not that of its priority: a fix that stays lost becomes an alarm.
    pub const fn escalation(self) -> Option<Escalation> {
        match self {
            Self::FixLost => Some(Escalation { after: Duration::from_secs(300), to: Some(Priority::Alarm) }),
            _ => None,
        }
    }

    /// What a voice says of it, before whose it is.
    pub const fn aloud(self) -> &'static str {
        match self {
            Self::PersonOverboard => "man overboard",
            Self::SearchTransmitter => "search and rescue transmitter heard",
            Self::Epirb => "EPIRB heard",
            Self::TooManyBeacons => "many distress beacons heard",
            Self::VesselInDistress => "vessel in distress",
            Self::SearchLeg => "search, the next leg",
            Self::WatchAlarm => "reset the watch alarm",
            Self::FixLost => "position lost",
            Self::PositionDoubtful => "position doubtful",
            Self::FeedSilent => "feed silent",
            Self::AisSilent => "AIS receiver silent",
            Self::OwnTransmitterSilent => "own AIS transmitter not heard",
            Self::OwnTransmitterWrong => "own AIS sends wrong data",
            Self::InstrumentDoubtful => "instrument doubtful",
            Self::LogbookFailing => "logbook failing",
            Self::SignalFailing => "a signal has failed",
            Self::OrdersNotLoaded => "new orders not loaded",
            Self::ControlFailing => "control of the watch failing",
            Self::UrgencyCall => "urgency call received",
            Self::MessageForUs => "message for us received",
            Self::NavtexUrgent => "urgent navtex message received",
            Self::SafetyCall => "safety call received",
            Self::SafetyMessage => "safety message received",
            Self::NavtexWarning => "navtex warning received",
            Self::CallForUs => "call for us received",
            Self::NotWatched => "orders leave a danger unwatched",
            Self::ClockNotKnown => "time not known",
            Self::TimeDoubtful => "time doubtful",
            Self::BeaconTest => "beacon test heard",
            Self::GearDue => "gear due for service",
            Self::DeclarationDoubtful => "is the declaration still true",
        }
    }
}
