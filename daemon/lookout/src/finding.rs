//! What the lookout has found since it was last asked.

use crate::casualty::CasualtyNews;
use terms::{CasualtyId, Mmsi, Quantity, Subject};

/// Something that changed in the picture.
#[derive(Debug, Clone, PartialEq)]
pub enum Finding {
    /// A quantity was heard or is another than before.
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
        /// What to write down.
        text: String,
    },
    /// Worth a line in the logbook, and no more.
    Noted {
        /// About what.
        subject: Subject,
        /// In words.
        text: String,
    },
}
