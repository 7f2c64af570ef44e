//! Logbook rows and their time stamps.

use std::sync::Arc;
use terms::{FeedId, Mmsi, Moment, Position, Utc, UtcSource};

/// When a row was made. Steady time orders the log; UTC is for people.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamp {
    /// Steady time of this boot or replay.
    pub steady: Moment,
    /// UTC and its source; `None` while unknown.
    pub utc: Option<(Utc, UtcSource)>,
    /// The feed whose sentence caused the row; `None` if no sentence did.
    pub feed: Option<FeedId>,
}

impl Stamp {
    /// Milliseconds since 1970, as a column holds them.
    pub fn utc_ms(&self) -> Option<i64> {
        self.utc.map(|(t, _)| t.0)
    }

    /// The number of the UTC source, as a column holds it.
    pub fn source(&self) -> Option<i64> {
        self.utc.map(|(_, s)| match s {
            UtcSource::Satellite => 1,
            UtcSource::System => 2,
        })
    }

    /// UTC, if a satellite gave it.
    pub fn by_satellite(&self) -> Option<Utc> {
        self.utc.filter(|(_, source)| *source == UtcSource::Satellite).map(|(utc, _)| utc)
    }

    /// Restores a stamp from its columns.
    pub fn from_columns(steady_ms: i64, utc_ms: Option<i64>, source: Option<i64>) -> Self {
        let source = if source == Some(1) { UtcSource::Satellite } else { UtcSource::System };
        Self { steady: Moment(steady_ms), utc: utc_ms.map(|ms| (Utc(ms), source)), feed: None }
    }
}

/// Own vessel at a moment; `None` means not available.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct OwnRow {
    /// Position by satellite; by dead reckoning if no feed caused the row.
    pub position: Option<Position>,
    /// Course over ground, degrees true.
    pub cog_deg: Option<f64>,
    /// Speed over ground, knots.
    pub sog_kn: Option<f64>,
    /// Heading, degrees true.
    pub heading_deg: Option<f64>,
}

/// A target at a moment; `None` means not available.
#[derive(Debug, Clone, PartialEq)]
pub struct TargetRow {
    /// Its MMSI.
    pub mmsi: Mmsi,
    /// Its name; shared, because it seldom changes.
    pub name: Option<Arc<str>>,
    /// Kind of station or ship.
    pub kind: Option<Arc<str>>,
    /// Its reported position, carried forward to the moment of the row if the lookout does so.
    pub position: Option<Position>,
    /// Course over ground, degrees true.
    pub cog_deg: Option<f64>,
    /// Speed over ground, knots.
    pub sog_kn: Option<f64>,
    /// Distance from own vessel, nautical miles.
    pub range_nm: Option<f64>,
    /// Bearing from own vessel, degrees true.
    pub bearing_deg: Option<f64>,
    /// Distance at the closest point of approach, nautical miles.
    pub cpa_nm: Option<f64>,
    /// Time to the closest point of approach, seconds; negative once past.
    pub tcpa_s: Option<f64>,
}

/// What a feed has brought since the run began.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FeedRow {
    /// Its name.
    pub feed: Arc<str>,
    /// Received bytes.
    pub bytes: u64,
    /// Good sentences.
    pub sentences: u64,
    /// Refused lines.
    pub refused: u64,
    /// Sentences, and datagrams of the kernel's, dropped in a flood.
    pub dropped: u64,
}
