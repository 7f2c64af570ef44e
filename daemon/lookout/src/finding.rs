//! What the lookout has found since it was last asked.

use crate::casualty::CasualtyNews;
use crate::own::Trouble;
use terms::{CasualtyId, Mmsi, Position, Quantity, Subject};

/// Something that changed in the picture.
#[derive(Debug, Clone, PartialEq)]
pub enum Finding {
    /// A quantity was heard or has changed.
    Changed(Subject, Quantity),
    /// A subject is no longer kept.
    Gone(Subject),
    /// About a person overboard or a distress beacon.
    Casualty {
        /// Which.
        id: CasualtyId,
        /// What.
        news: CasualtyNews,
    },
    /// A beacon under test: no casualty.
    BeaconTest {
        /// Its identity, where it has one.
        mmsi: Option<Mmsi>,
        /// What to log.
        text: String,
    },
    /// An instrument cannot be right: a caution.
    Trouble {
        /// Whose instrument.
        subject: Subject,
        /// What is wrong.
        trouble: Trouble,
        /// In words.
        text: String,
    },
    /// The trouble has ended.
    Mended {
        /// Whose instrument.
        subject: Subject,
        /// What was wrong.
        trouble: Trouble,
    },
    /// A waypoint of the plan was reached or passed.
    Waypoint {
        /// Its name.
        name: String,
        /// Where it lies, if known.
        position: Option<Position>,
    },
    /// Worth a line in the logbook, no more.
    Noted {
        /// What it is about.
        subject: Subject,
        /// In words.
        text: String,
    },
}

/// The change of a quantity of own vessel, and of what is worked out from it.
pub(crate) fn changed(q: Quantity) -> impl Iterator<Item = Finding> {
    let worked_out = match q {
        Quantity::Pressure => Some(Quantity::PressureCorrected),
        Quantity::BatteryVoltage => Some(Quantity::BatteryMargin),
        _ => None,
    };
    std::iter::once(q).chain(worked_out).map(|q| Finding::Changed(Subject::OwnVessel, q))
}
