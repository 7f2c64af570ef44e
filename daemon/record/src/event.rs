//! The event record, in one format for `replay --json`, the webhook's body and the logbook.

use crate::item::{ComesFrom, Item};
use crate::schema::{DateTime, OneOf};
use lookout::casualty::{RelativeTo, Whose};
use rules::{AlertId, AlertState, EventKind, Priority};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use terms::{CasualtyId, Mmsi, Utc};

/// What happened to an alert, with the picture at that moment. `None` is written as `null`: not available.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EventRecord {
    /// Version of the record format.
    pub version: u8,
    /// Row in the logbook; `None` until it is on disk.
    pub log_id: Option<i64>,
    /// Number of the event within its alert, from 1.
    pub seq: u32,
    /// What happened.
    #[schemars(with = "OneOf<EventKind>")]
    pub event: EventKind,
    /// UTC; `None` while unknown.
    #[schemars(with = "Option<DateTime>")]
    pub at: Option<Utc>,
    /// Steady time in seconds.
    pub steady_s: f64,
    /// The alert.
    pub alert: AlertPart,
    /// Own vessel.
    pub own: OwnPart,
    /// The target it concerns.
    pub target: Option<TargetPart>,
    /// The casualty it concerns.
    pub casualty: Option<CasualtyPart>,
}

/// The alert of an event.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AlertPart {
    /// Its number.
    #[schemars(with = "u32")]
    pub id: AlertId,
    /// The name of the order or built-in alert.
    pub order: String,
    /// The kind of its origin: an order may share the name of a built-in alert.
    pub origin: ComesFrom,
    /// What the alert is about, as one text: `fix`, `feed NAME`, `casualty NUMBER` and so on.
    #[schemars(with = "String")]
    pub about: Item,
    /// Its priority.
    #[schemars(with = "OneOf<Priority>")]
    pub priority: Priority,
    /// Its state after the event; `None` for a notice.
    #[schemars(with = "Option<OneOf<AlertState>>")]
    pub state: Option<AlertState>,
    /// The announcement.
    pub text: String,
    /// What a voice says of it: at most twenty words, side before distance.
    #[serde(default)]
    pub spoken: String,
    /// Whether it is part of an exercise.
    pub exercise: bool,
}

/// Own vessel at an event.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OwnPart {
    /// Degrees, north positive.
    pub latitude_deg: Option<f64>,
    /// Degrees, east positive.
    pub longitude_deg: Option<f64>,
    /// Course over ground, degrees true.
    pub cog_deg: Option<f64>,
    /// Speed over ground, knots.
    pub sog_kn: Option<f64>,
    /// Heading, degrees true.
    pub heading_deg: Option<f64>,
}

/// The target of an event.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TargetPart {
    /// Its MMSI.
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
    /// Course over ground, degrees true.
    pub cog_deg: Option<f64>,
    /// Speed over ground, knots.
    pub sog_kn: Option<f64>,
    /// Distance from own vessel, nautical miles.
    pub range_nm: Option<f64>,
    /// Bearing from own vessel, degrees true.
    pub bearing_deg: Option<f64>,
    /// Bearing relative to the bow or the course, [0, 360).
    pub relative_bearing_deg: Option<f64>,
    /// What that bearing is relative to.
    #[schemars(with = "Option<OneOf<RelativeTo>>")]
    pub relative_to: Option<RelativeTo>,
    /// Distance at the closest point of approach, nautical miles.
    pub cpa_nm: Option<f64>,
    /// Time to the closest point of approach, seconds; negative once past.
    pub tcpa_s: Option<f64>,
    /// Age of its last report, seconds.
    pub age_s: Option<f64>,
}

/// The casualty of an event.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CasualtyPart {
    /// Its number.
    #[schemars(with = "u32")]
    pub id: CasualtyId,
    /// Whose it is.
    #[schemars(with = "OneOf<Whose>")]
    pub whose: Whose,
    /// MMSI of its beacon.
    #[schemars(with = "Option<u32>")]
    pub beacon_mmsi: Option<Mmsi>,
    /// MMSI of the ship in distress.
    #[schemars(with = "Option<u32>")]
    pub ship_mmsi: Option<Mmsi>,
    /// MMSI of the station that relayed her distress.
    #[schemars(with = "Option<u32>")]
    pub relayed_by_mmsi: Option<Mmsi>,
    /// Nature of a ship's distress, in words.
    pub nature: Option<String>,
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
    /// Distance from own vessel, nautical miles.
    pub range_nm: Option<f64>,
    /// Bearing from own vessel, degrees true.
    pub bearing_deg: Option<f64>,
    /// Bearing relative to the bow or the course, [0, 360).
    pub relative_bearing_deg: Option<f64>,
    /// What that bearing is relative to.
    #[schemars(with = "Option<OneOf<RelativeTo>>")]
    pub relative_to: Option<RelativeTo>,
    /// Time since it began, seconds.
    pub elapsed_s: f64,
    /// exact, or at-least across an unknown gap.
    pub elapsed_is: String,
    /// Direction it drifts toward, degrees true.
    pub set_deg: Option<f64>,
    /// Speed of that drift, knots.
    pub drift_kn: Option<f64>,
    /// Radius of the circle around the position that contains it with 95 % probability, nautical miles.
    pub radius95_nm: Option<f64>,
    /// Time since it was last seen aboard, if nobody saw the fall, seconds.
    #[serde(default)]
    pub last_seen_s: Option<f64>,
    /// Time since it was missed, if nobody saw the fall, seconds.
    #[serde(default)]
    pub missed_s: Option<f64>,
    /// The line on which it lies, if the moment of the fall is not known: at most nine places, the earliest fall first.
    #[serde(default)]
    pub line: Vec<LinePart>,
    /// The other place where it may be, if what is known of it does not agree.
    #[serde(default)]
    pub elsewhere: Option<ElsewherePart>,
}

/// A place on a datum line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LinePart {
    /// Degrees, north positive.
    pub latitude_deg: f64,
    /// Degrees, east positive.
    pub longitude_deg: f64,
    /// How long ago the fall was if it is here, seconds.
    pub fell_s: f64,
    /// How likely it is about here, 0 to 1.
    pub share: f64,
}

/// Another place where a casualty may be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ElsewherePart {
    /// Degrees, north positive.
    pub latitude_deg: f64,
    /// Degrees, east positive.
    pub longitude_deg: f64,
    /// Radius that contains it with 95 % probability if it is here at all, nautical miles.
    pub radius95_nm: f64,
    /// Distance from own vessel, nautical miles.
    pub range_nm: Option<f64>,
    /// Bearing from own vessel, degrees true.
    pub bearing_deg: Option<f64>,
    /// Distance from the more likely position, nautical miles.
    pub off_nm: f64,
    /// How likely it is here, 0 to 1.
    pub share: f64,
    /// How many of the beacon's bursts put it here; 0: the track of own vessel, or what marked it.
    pub bursts: u32,
}
