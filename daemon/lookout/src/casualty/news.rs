//! News of the casualties.

use super::case::StandDown;
use terms::{CasualtyId, Mmsi};

/// What happened to a casualty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CasualtyNews {
    /// It began.
    Raised,
    /// A beacon took over the mark of a button or a sentence, or a button was pushed for a beacon already heard.
    Joined,
    /// Its first good fix came.
    Located,
    /// Two bursts were missed: from here on its place is an estimate.
    Silent,
    /// It is heard again after that.
    HeardAgain,
    /// What it is, its identity or its battery state changed.
    Changed,
    /// It was stood down.
    StoodDown(StandDown),
}

/// One piece of news.
#[derive(Debug, Clone, PartialEq)]
pub enum News {
    /// Of a casualty.
    Casualty {
        /// Which.
        id: CasualtyId,
        /// What happened to it.
        news: CasualtyNews,
    },
    /// A beacon's test: a notice, once per test.
    BeaconTest {
        /// The beacon.
        mmsi: Option<Mmsi>,
        /// Whose, if it is one of the crew's.
        crew: Option<String>,
        /// From own vessel.
        range_nm: Option<f64>,
        /// All that in words.
        text: String,
    },
    /// Something worth a notice.
    Noted {
        /// Whom it is about.
        mmsi: Option<Mmsi>,
        /// In words.
        text: String,
    },
}
