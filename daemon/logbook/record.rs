//! What goes into the logbook: rows, events' deliveries and entries of the crew.

use crate::event::EventRecord;
use rules::Priority;
use std::sync::Arc;
use terms::{FeedId, Mmsi, Moment, Position, Quantity, Utc, UtcSource};

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
    pub(super) fn utc_ms(&self) -> Option<i64> {
        self.utc.map(|(t, _)| t.0)
    }

    /// The number of the source as a column holds it.
    pub(super) fn source(&self) -> Option<i64> {
        self.utc.map(|(_, s)| match s {
            UtcSource::Satellite => 1,
            UtcSource::System => 2,
        })
    }

    /// Back from columns.
    pub(super) fn from_columns(steady_ms: i64, utc_ms: Option<i64>, source: Option<i64>) -> Self {
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

/// Something that is written into the log and is no alert.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// What sort of entry.
    pub kind: EntryKind,
    /// Whose, where a name was given.
    pub who: Option<String>,
    /// In words.
    pub text: String,
    /// In figures, where the words do not say all.
    pub figures: Option<serde_json::Value>,
}

/// Sorts of entries.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum EntryKind {
    /// A remark of the crew.
    Note,
    /// The watch was handed over to `who`.
    Handover,
    /// What the vessel is doing, or the waters, was declared.
    Declared,
    /// Orders were read, or refused.
    Orders,
    /// A casualty was stood down by `who`; the text is the reason.
    StandDown,
    /// The daemon's own doings: begun, stopped, a step of UTC.
    Lookout,
    /// The departure check.
    DepartureCheck,
    /// A passage was begun or ended by command.
    Passage,
    /// An exercise.
    Drill,
}

impl EntryKind {
    /// As the column holds it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Handover => "handover",
            Self::Declared => "declared",
            Self::Orders => "orders",
            Self::StandDown => "stand-down",
            Self::Lookout => "lookout",
            Self::DepartureCheck => "departure check",
            Self::Passage => "passage",
            Self::Drill => "drill",
        }
    }
}

/// Something an event still has to reach.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delivery {
    /// The signal's name, as configured.
    pub signal: String,
    /// What to send; `None` for the event's record itself.
    pub body: Option<String>,
}

/// Names a delivery within this run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DeliveryId(pub(super) u64);

/// A delivery whose time has come.
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    /// To report back with.
    pub id: DeliveryId,
    /// What its receiver knows it by: the same for every attempt, in this run and in later ones, and no other
    /// delivery's to that receiver.
    pub key: String,
    /// What to send: the record in JSON, with `log_id` as far as it is known now, or the body that was given.
    pub body: String,
    /// The alert's priority.
    pub priority: Priority,
    /// When the event happened, so that a late one can say so. Its steady time may be that of an earlier boot.
    pub at: Stamp,
    /// Whether the steady time of `at` is of this boot.
    pub same_boot: bool,
    /// Attempts that failed in this run.
    pub tries: u32,
}

/// A row on its way to the disk.
#[derive(Debug, Clone)]
pub(super) enum Row {
    Own(OwnRow),
    Target(TargetRow),
    Instrument(Quantity, f64),
    Feed(FeedRow),
}

/// An event on its way to the disk.
#[derive(Debug)]
pub(super) struct EventItem {
    /// Names the event in memory, until its row has a number.
    pub key: u64,
    pub at: Stamp,
    pub record: Arc<EventRecord>,
    pub reply: Option<tokio::sync::oneshot::Sender<Result<i64, super::LogbookError>>>,
}
