//! What the one who takes the watch over must know.

use rules::AlertId;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use terms::{CasualtyId, Day, Mmsi};

/// The handover, in words and in figures.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Handover {
    /// What is read aloud, line by line.
    pub lines: Vec<String>,
    /// Who is on watch.
    pub on_watch: Option<String>,
    /// Alerts that are not over, the most urgent first.
    #[schemars(with = "Vec<u32>")]
    pub standing: Vec<AlertId>,
    /// Casualties that are not stood down.
    #[schemars(with = "Vec<u32>")]
    pub casualties: Vec<CasualtyId>,
    /// Ships that come closest within the hour.
    #[schemars(with = "Vec<u32>")]
    pub next_targets: Vec<Mmsi>,
    /// Barometric pressure.
    pub pressure_hpa: Option<f64>,
    /// What is declared, in words.
    pub declared: String,
    /// Gear and batteries by their dates.
    pub dated: Vec<Dated>,
    /// How far off a low beacon can be expected to be heard; `None` while that is not known.
    pub low_beacon: Option<LowBeacon>,
    /// What was done, where somebody takes the watch.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub done: Option<String>,
    /// The sounders that speak now, where somebody takes the watch.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sounding: Option<Vec<String>>,
}

/// Something aboard that has a date, judged today.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Dated {
    /// What it is.
    pub name: String,
    /// The last day on which it is good.
    #[schemars(with = "String")]
    pub due: Day,
    /// How it stands today.
    pub date: Date,
    /// In words.
    pub words: String,
}

/// How something with a date stands today.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Date {
    /// Its day has passed.
    Over,
    /// Its day comes before the passage ends, or within the weeks that are looked ahead.
    Soon,
    /// Good for longer than that.
    Good,
    /// Nobody knows today's date.
    NotKnown,
}

/// How far off a low beacon can be expected to be heard.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LowBeacon {
    /// As likely farther as nearer.
    pub range_nm: f64,
    /// With 95 % no nearer than this.
    pub least_nm: f64,
    /// With 95 % no farther than this.
    pub most_nm: f64,
    /// What that rests on.
    pub basis: LowBeaconBasis,
}

/// What an expected range rests on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LowBeaconBasis {
    /// Pairs of a range and whether a message came.
    pub pairs: u32,
    /// Of these, messages that were due and did not come.
    pub missed: u32,
    /// Stations they are of.
    pub stations: usize,
    /// Height of own antenna.
    pub antenna_m: Option<f64>,
}
