//! Rows for the logbook, and when they were made.

use std::sync::Arc;
use terms::{FeedId, Mmsi, Moment, Position, Utc, UtcSource};

/// When a row was made. Steady time orders the log; UTC tells it to people.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stamp {
    /// Steady time of this boot, or of this replay.
    pub steady: Moment,
    /// UTC and who told it; `None` while it is unknown.
    pub utc: Option<(Utc, UtcSource)>,
    /// The feed whose sentence brought what is stamped; `None` where none did.
    pub feed: Option<FeedId>,
}

impl Stamp {
    /// Milliseconds since 1970 as a column holds them.
    pub fn utc_ms(&self) -> Option<i64> {
        self.utc.map(|(t, _)| t.0)
    }

    /// The number of the source as a column holds it.
    pub fn source(&self) -> Option<i64> {
        self.utc.map(|(_, s)| match s {
            UtcSource::Satellite => 1,
            UtcSource::System => 2,
        })
    }

    /// Back from columns.
    pub fn from_columns(steady_ms: i64, utc_ms: Option<i64>, source: Option<i64>) -> Self {
        let source = if source == Some(1) { UtcSource::Satellite } else { UtcSource::System };
        Self { steady: Moment(steady_ms), utc: utc_ms.map(|ms| (Utc(ms), source)), feed: None }
    }
}

/// Own vessel at a moment; `None` is not available.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct OwnRow {
    /// By satellite.
    pub position: Option<Position>,
    /// Course over ground, true.
    pub cog_deg: Option<f64>,
    /// Speed over ground.
    pub sog_kn: Option<f64>,
    /// Heading, true.
    pub heading_deg: Option<f64>,
}

/// A target at a moment; `None` is not available.
#[derive(Debug, Clone, PartialEq)]
pub struct TargetRow {
    /// Its identity.
    pub mmsi: Mmsi,
    /// Its name; shared, since it seldom changes.
    pub name: Option<Arc<str>>,
    /// Kind of station or ship.
    pub kind: Option<Arc<str>>,
    /// As reported, carried on to the moment of the row or not, as the lookout does.
    pub position: Option<Position>,
    /// Course over ground, true.
    pub cog_deg: Option<f64>,
    /// Speed over ground.
    pub sog_kn: Option<f64>,
    /// From own vessel.
    pub range_nm: Option<f64>,
    /// True.
    pub bearing_deg: Option<f64>,
    /// At the closest point of approach.
    pub cpa_nm: Option<f64>,
    /// To the closest point of approach; negative once past.
    pub tcpa_s: Option<f64>,
}

/// What a feed has brought since the run began.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FeedRow {
    /// Its name.
    pub feed: Arc<str>,
    /// Bytes received.
    pub bytes: u64,
    /// Sentences that were good.
    pub sentences: u64,
    /// Lines refused.
    pub refused: u64,
    /// Sentences dropped under flood.
    pub dropped: u64,
}
