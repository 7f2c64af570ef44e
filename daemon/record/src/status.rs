//! The picture as `status` and the watch card show it.

use crate::schema::{DateTime, OneOf};
use crate::{CasualtyPart, OwnPart, TargetPart};
use rules::{AlertId, AlertState, Priority, Stage};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use terms::{Utc, UtcSource};

/// The picture at one moment, every alert in the words of that moment. `None` is not available.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Status {
    /// Version of the record's form.
    pub version: u8,
    /// The vessel's name.
    pub vessel: Option<String>,
    /// UTC; `None` while it is unknown.
    #[schemars(with = "Option<DateTime>")]
    pub at: Option<Utc>,
    /// Where UTC comes from.
    #[schemars(with = "Option<OneOf<UtcSource>>")]
    pub utc_from: Option<UtcSource>,
    /// Steady time in seconds.
    pub steady_s: f64,
    /// Casualties that are not stood down: the crew first.
    pub casualties: Vec<CasualtyNow>,
    /// Alerts that are not over, the most urgent first.
    pub alerts: Vec<AlertNow>,
    /// The most dangerous targets, at most 20.
    pub targets: Vec<TargetNow>,
    /// All targets that are held.
    pub targets_held: usize,
    /// Who is on watch.
    pub watch: WatchNow,
    /// Own vessel.
    pub own: OwnNow,
    /// The feeds in the order of boat.toml.
    pub feeds: Vec<FeedNow>,
    /// The exercise that is on.
    pub exercise: Option<ExerciseNow>,
    /// What is declared, in words.
    pub declared: Vec<String>,
    /// Where the orders in force come from.
    pub orders: String,
    /// The logbook.
    pub logbook: LogbookNow,
    /// Signals, buttons and the heartbeat.
    pub signals: Vec<SignalNow>,
}

/// A casualty now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CasualtyNow {
    /// As events have it.
    #[serde(flatten)]
    pub part: CasualtyPart,
    /// Who, as a headline: "Ada overboard".
    pub who: String,
    /// The whole line.
    pub words: String,
    /// Where to look; `None` while not even the range is known.
    pub look: Option<String>,
    /// How fast the range closes; negative while it opens.
    pub closing_kn: Option<f64>,
}

/// An alert that is not over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AlertNow {
    /// Its number.
    #[schemars(with = "u32")]
    pub id: AlertId,
    /// The order's name, or the built-in one's.
    pub order: String,
    /// Its priority.
    #[schemars(with = "OneOf<Priority>")]
    pub priority: Priority,
    /// Its state; `None` for a notice.
    #[schemars(with = "Option<OneOf<AlertState>>")]
    pub state: Option<AlertState>,
    /// In the words of now.
    pub text: String,
    /// Part of an exercise.
    pub exercise: bool,
    /// Since it began.
    pub began_s: f64,
}

impl AlertNow {
    /// Whether nobody has acknowledged it or taken it over yet.
    pub fn unheeded(&self) -> bool {
        !matches!(self.state, Some(AlertState::ActiveAcknowledged | AlertState::ResponsibilityTransferred))
    }
}

/// A target now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TargetNow {
    /// As events have it.
    #[serde(flatten)]
    pub part: TargetPart,
    /// How she meets us by the rules of the road.
    pub meeting: Option<String>,
    /// What she is, as far as she has said.
    pub described: Option<String>,
    /// Where to look; `None` while not even the range is known.
    pub look: Option<String>,
}

/// The watch now.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WatchNow {
    /// Who is on watch.
    pub who: Option<String>,
    /// Since when.
    pub since_s: Option<f64>,
    /// The watch alarm's stage; `None` where the boat has none.
    #[schemars(with = "Option<OneOf<Stage>>")]
    pub alarm: Option<Stage>,
}

/// Own vessel now.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OwnNow {
    /// As events have it.
    #[serde(flatten)]
    pub part: OwnPart,
    /// The position as people write it.
    pub position: Option<String>,
    /// Since the last fix.
    pub position_age_s: Option<f64>,
    /// Since the last heading.
    pub heading_age_s: Option<f64>,
    /// By the log.
    pub speed_through_water_kn: Option<f64>,
    /// Below the surface, or below the transducer where its depth is not known.
    pub depth_m: Option<f64>,
    /// Since the last depth.
    pub depth_age_s: Option<f64>,
    /// Of the true wind.
    pub true_wind_kn: Option<f64>,
    /// From where the true wind blows.
    pub true_wind_direction_deg: Option<f64>,
    /// Barometric pressure.
    pub pressure_hpa: Option<f64>,
    /// Whether the sun is above the horizon.
    pub sun_up: Option<bool>,
    /// Since own AIS was last heard transmitting.
    pub transmitted_age_s: Option<f64>,
}

/// A feed now.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FeedNow {
    /// Its name.
    pub name: String,
    /// up, or why it is not.
    pub state: Option<String>,
    /// Since its last good sentence.
    pub silent_s: Option<f64>,
    /// Bytes received.
    pub bytes: u64,
    /// Sentences that were good.
    pub sentences: u64,
    /// Lines refused.
    pub refused: u64,
    /// Lines refused, by reason.
    pub refusals: BTreeMap<String, u64>,
    /// Sentences dropped under flood.
    pub dropped: u64,
}

/// The exercise that is on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ExerciseNow {
    /// The word that began it.
    pub drill: String,
    /// What the logbook calls it.
    pub title: String,
    /// Since it began.
    pub began_s: f64,
    /// The invented casualty's line.
    pub words: Option<String>,
    /// What has been measured so far.
    pub measured: String,
}

/// The logbook now.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LogbookNow {
    /// Why it cannot be written; `None` while it can.
    pub failing: Option<String>,
    /// Rows and records that wait for the disk.
    pub waiting: u64,
    /// Rows, records and deliveries given up.
    pub dropped: u64,
    /// Events that have not reached their webhook yet.
    pub deliveries_waiting: u64,
}

/// A signal, a button or the heartbeat now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SignalNow {
    /// What it is called in reports.
    pub name: String,
    /// Whether it fails.
    pub failing: bool,
}
