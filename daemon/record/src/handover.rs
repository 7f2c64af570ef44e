//! What the relief must know on taking the watch.

use crate::schema::{DateTime, OneOf};
use crate::{PassageNow, RestNow};
use lookout::{LightChange, Sky};
use rules::AlertId;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use terms::{CallId, CasualtyId, Day, Mmsi, Utc};

/// The handover, in words and in figures.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Handover {
    /// Lines to be read aloud.
    pub lines: Vec<String>,
    /// Who is on watch.
    pub on_watch: Option<String>,
    /// Ship's time less UTC in hours, east positive.
    pub ship_time_h: f64,
    /// Each one's time off watch, by name.
    pub rest: Vec<RestNow>,
    /// Alerts that are not over, most urgent first.
    #[schemars(with = "Vec<u32>")]
    pub standing: Vec<AlertId>,
    /// Casualties not yet stood down.
    #[schemars(with = "Vec<u32>")]
    pub casualties: Vec<CasualtyId>,
    /// Calls and messages of the last twelve hours by radio, newest first, at most 16: their numbers.
    #[schemars(with = "Vec<u32>")]
    pub calls: Vec<CallId>,
    /// Ships with their closest approach within the hour.
    #[schemars(with = "Vec<u32>")]
    pub next_targets: Vec<Mmsi>,
    /// The passage as the plotter plans it; `None` while it leads nowhere.
    pub passage: Option<PassageNow>,
    /// Barometric pressure.
    pub pressure_hpa: Option<f64>,
    /// The light of the day ahead; `None` while time or place is unknown.
    pub light: Option<LightNow>,
    /// What has been declared, in words.
    pub declared: String,
    /// Gear and batteries with due dates.
    pub dated: Vec<Dated>,
    /// Expected range of a low beacon; `None` while unknown.
    pub low_beacon: Option<LowBeacon>,
    /// What was done, if somebody takes the watch.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub done: Option<String>,
    /// The sounders that sound now, if somebody takes the watch.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sounding: Option<Vec<String>>,
}

/// The light where she is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LightNow {
    /// daylight, civil twilight, nautical twilight or night.
    #[schemars(with = "OneOf<Sky>")]
    pub sky: Sky,
    /// Time until civil twilight ends, seconds; zero once it has, `None` if it does not within a day.
    pub left_s: Option<f64>,
    /// Whether the moon is up.
    pub moon_up: bool,
    /// The lit part of its disc, 0 to 1.
    pub moon_lit: f64,
    /// What changes within 24 hours, in order.
    pub changes: Vec<LightChangeNow>,
}

/// A change of the light.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LightChangeNow {
    /// What.
    #[schemars(with = "OneOf<LightChange>")]
    pub what: LightChange,
    /// When.
    #[schemars(with = "DateTime")]
    pub at: Utc,
}

/// Something aboard with a due date, judged today.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Dated {
    /// What it is.
    pub name: String,
    /// The last day on which it is good.
    #[schemars(with = "String")]
    pub due: Day,
    /// Its state today.
    pub date: Date,
    /// In words.
    pub words: String,
}

/// The state of a due date today.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Date {
    /// It has passed.
    Over,
    /// It comes before the passage ends, or within the weeks looked ahead.
    Soon,
    /// Good for longer than that.
    Good,
    /// Today's date is unknown.
    NotKnown,
}

/// Expected range at which a low beacon is heard.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LowBeacon {
    /// Median range, nautical miles.
    pub range_nm: f64,
    /// With 95 % probability no nearer than this.
    pub least_nm: f64,
    /// With 95 % probability no farther than this.
    pub most_nm: f64,
    /// The evidence for it.
    pub basis: LowBeaconBasis,
}

/// The evidence for an expected range.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LowBeaconBasis {
    /// Pairs of a range and whether a message came through.
    pub pairs: u32,
    /// Of these, messages that were due and never came.
    pub missed: u32,
    /// Stations that sent them.
    pub stations: usize,
    /// Height of our own antenna, metres.
    pub antenna_m: Option<f64>,
}
