//! The event record: one shape for `replay --json`, the webhook's body and the logbook.

use crate::item::{ComesFrom, Item};
use crate::schema::{DateTime, OneOf};
use lookout::casualty::RelativeTo;
use rules::{AlertId, AlertState, EventKind, Priority};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use terms::{CasualtyId, Mmsi, Utc};

/// What happened to an alert, with the picture at that moment. `None` is written as `null`: not available.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EventRecord {
    /// Version of the record's form.
    pub version: u8,
    /// Row in the logbook; `None` while it is not on disk.
    pub log_id: Option<i64>,
    /// Counts the events of one alert from 1.
    pub seq: u32,
    /// What happened.
    #[schemars(with = "OneOf<EventKind>")]
    pub event: EventKind,
    /// UTC; `None` while that is unknown.
    #[schemars(with = "Option<DateTime>")]
    pub at: Option<Utc>,
    /// Steady time in seconds.
    pub steady_s: f64,
    /// The alert.
    pub alert: AlertPart,
    /// Own vessel.
    pub own: OwnPart,
    /// The target it is about.
    pub target: Option<TargetPart>,
    /// The casualty it is about.
    pub casualty: Option<CasualtyPart>,
}

/// The alert of an event.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AlertPart {
    /// Its number.
    #[schemars(with = "u32")]
    pub id: AlertId,
    /// The order's name, or the built-in one's.
    pub order: String,
    /// What of that name it comes from: an order may be called like a built-in alert.
    pub origin: ComesFrom,
    /// What it is about, as one text: `fix`, `feed NAME`, `casualty NUMBER` and so on.
    #[schemars(with = "String")]
    pub about: Item,
    /// Its priority.
    #[schemars(with = "OneOf<Priority>")]
    pub priority: Priority,
    /// Its state after the event; `None` for a notice.
    #[schemars(with = "Option<OneOf<AlertState>>")]
    pub state: Option<AlertState>,
    /// What is told.
    pub text: String,
    /// Part of an exercise.
    pub exercise: bool,
}

/// Own vessel at an event.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OwnPart {
    /// Degrees, north positive.
    pub latitude_deg: Option<f64>,
    /// Degrees, east positive.
    pub longitude_deg: Option<f64>,
    /// Course over ground, true.
    pub cog_deg: Option<f64>,
    /// Speed over ground.
    pub sog_kn: Option<f64>,
    /// Heading, true.
    pub heading_deg: Option<f64>,
}

/// The target of an event.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TargetPart {
    /// Its identity.
    #[schemars(with = "u32")]
    pub mmsi: Mmsi,
    /// Its name.
    pub name: Option<String>,
    /// Kind of station or ship.
    pub kind: Option<String>,
    /// Degrees, north positive.
    pub latitude_deg: Option<f64>,
    /// Degrees, east positive.
    pub longitude_deg: Option<f64>,
    /// Course over ground.
    pub cog_deg: Option<f64>,
    /// Speed over ground.
    pub sog_kn: Option<f64>,
    /// From own vessel.
    pub range_nm: Option<f64>,
    /// True.
    pub bearing_deg: Option<f64>,
    /// Off the bow or the course, [0, 360).
    pub relative_bearing_deg: Option<f64>,
    /// From what.
    #[schemars(with = "Option<OneOf<RelativeTo>>")]
    pub relative_to: Option<RelativeTo>,
    /// At the closest point of approach.
    pub cpa_nm: Option<f64>,
    /// To the closest point of approach; negative once past.
    pub tcpa_s: Option<f64>,
    /// Since its last report.
    pub age_s: Option<f64>,
}

/// The casualty of an event.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CasualtyPart {
    /// Its number.
    #[schemars(with = "u32")]
    pub id: CasualtyId,
    /// Identity of its beacon.
    #[schemars(with = "Option<u32>")]
    pub beacon_mmsi: Option<Mmsi>,
    /// The crew member's name.
    pub crew: Option<String>,
    /// ais, mob-sentence, dsc or button.
    pub source: String,
    /// reported, estimated or none.
    pub position: String,
    /// Degrees, north positive.
    pub latitude_deg: Option<f64>,
    /// Degrees, east positive.
    pub longitude_deg: Option<f64>,
    /// From own vessel.
    pub range_nm: Option<f64>,
    /// True.
    pub bearing_deg: Option<f64>,
    /// Off the bow or the course, [0, 360).
    pub relative_bearing_deg: Option<f64>,
    /// From what.
    #[schemars(with = "Option<OneOf<RelativeTo>>")]
    pub relative_to: Option<RelativeTo>,
    /// Since it began.
    pub elapsed_s: f64,
    /// exact, or at-least across an unknown gap.
    pub elapsed_is: String,
    /// Direction it drifts toward, true.
    pub set_deg: Option<f64>,
    /// Speed of that drift.
    pub drift_kn: Option<f64>,
    /// Radius around the position that holds it with 95 %.
    pub radius95_nm: Option<f64>,
}
