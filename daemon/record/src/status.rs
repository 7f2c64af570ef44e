//! The picture as `status` and the watch card show it.

use crate::schema::{DateTime, OneOf};
use crate::{Call, CasualtyPart, ComesFrom, Item, OwnPart, PassageNow, Removed, TargetPart};
use rules::{AlertId, AlertState, Priority, Stage};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;
use terms::{Utc, UtcSource, span};

/// The picture at one moment, with every alert in its current words. `None` means not available.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Status {
    /// Version of the record format.
    pub version: u8,
    /// The vessel's name.
    pub vessel: Option<String>,
    /// UTC; `None` while unknown.
    #[schemars(with = "Option<DateTime>")]
    pub at: Option<Utc>,
    /// Where UTC comes from.
    #[schemars(with = "Option<OneOf<UtcSource>>")]
    pub utc_from: Option<UtcSource>,
    /// Steady time in seconds.
    pub steady_s: f64,
    /// Casualties not yet stood down, our own crew first.
    pub casualties: Vec<CasualtyNow>,
    /// Alerts that are not over: those that nobody has acknowledged first, of them those that go on, then by urgency.
    pub alerts: Vec<AlertNow>,
    /// Calls and messages of the last twelve hours by radio, newest first, at most 16.
    pub calls: Vec<CallNow>,
    /// The most dangerous targets, at most 20.
    pub targets: Vec<TargetNow>,
    /// Number of all targets held.
    pub targets_held: usize,
    /// What is heard by AIS.
    pub ais: AisNow,
    /// Who is on watch.
    pub watch: WatchNow,
    /// The passage as the plotter plans it; `None` while it leads nowhere.
    pub passage: Option<PassageNow>,
    /// Own vessel.
    pub own: OwnNow,
    /// Own vessel, what is heard and the watch in words, line by line.
    pub rows: Vec<RowNow>,
    /// The feeds in the order of boat.toml.
    pub feeds: Vec<FeedNow>,
    /// The running exercise.
    pub exercise: Option<ExerciseNow>,
    /// What has been declared, in words.
    pub declared: Vec<String>,
    /// Origin of the orders in force.
    pub orders: String,
    /// How many orders watch, as things are declared.
    pub orders_watching: usize,
    /// The orders that do not, as things are declared.
    pub orders_resting: Vec<String>,
    /// The logbook.
    pub logbook: LogbookNow,
    /// Signals, buttons and the heartbeat.
    pub signals: Vec<SignalNow>,
}

/// A casualty now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CasualtyNow {
    /// The casualty as events describe it.
    #[serde(flatten)]
    pub part: CasualtyPart,
    /// Who, as a headline: "Ada overboard".
    pub who: String,
    /// The whole line.
    pub words: String,
    /// What a voice says of it now.
    pub spoken: String,
    /// Where to look; `None` until at least the range is known.
    pub look: Option<String>,
    /// Closing speed, knots; negative while the range opens.
    pub closing_kn: Option<f64>,
}

/// An alert that is not over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AlertNow {
    /// Its number.
    #[schemars(with = "u32")]
    pub id: AlertId,
    /// The name of the order or built-in alert.
    pub order: String,
    /// The kind of its origin: an order may share the name of a built-in alert.
    pub origin: ComesFrom,
    /// What it is about, as one text: `fix`, `feed NAME`, `target MMSI`, `casualty NUMBER` and so on.
    #[schemars(with = "String")]
    pub about: Item,
    /// Its priority.
    #[schemars(with = "OneOf<Priority>")]
    pub priority: Priority,
    /// Its state; `None` for a notice.
    #[schemars(with = "Option<OneOf<AlertState>>")]
    pub state: Option<AlertState>,
    /// Its state in a sailor's words: not acknowledged, acknowledged and so on.
    pub state_words: String,
    /// Its current words.
    pub text: String,
    /// What a voice says of it now.
    pub spoken: String,
    /// Whether it is part of an exercise.
    pub exercise: bool,
    /// Time since it began, seconds.
    pub began_s: f64,
}

impl AlertNow {
    /// Whether nobody has yet acknowledged it or taken it over.
    pub fn unheeded(&self) -> bool {
        !matches!(self.state, Some(AlertState::ActiveAcknowledged | AlertState::ResponsibilityTransferred))
    }
}

/// A call or message received by radio.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CallNow {
    /// The call itself.
    #[serde(flatten)]
    pub call: Call,
    /// All of it on one line.
    pub words: String,
    /// Time since it was received, seconds.
    pub ago_s: f64,
    /// Whether an alert about it stands.
    pub stands: bool,
}

/// A target now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TargetNow {
    /// The target as events describe it.
    #[serde(flatten)]
    pub part: TargetPart,
    /// Bearing from own vessel at the closest point of approach, degrees true.
    pub cpa_bearing_deg: Option<f64>,
    /// The closest approach in words.
    pub closest: String,
    /// Whether her reports have stopped.
    pub lost: bool,
    /// How she meets us by the rules of the road.
    pub meeting: Option<String>,
    /// What she is, as far as she has reported.
    pub described: Option<String>,
    /// On which side of us she is: off the bow, or off the course without a heading.
    pub side: Option<String>,
    /// Where to look; `None` until at least the range is known.
    pub look: Option<String>,
}

/// What is heard by AIS now.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AisNow {
    /// Ships held whose reports have not stopped.
    pub ships: usize,
    /// Time since any station was last heard, seconds; `None` before the first.
    pub heard_age_s: Option<f64>,
}

/// The watch now.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WatchNow {
    /// Who is on watch.
    pub who: Option<String>,
    /// Time since the present watchkeeper took over, seconds.
    pub since_s: Option<f64>,
    /// Ship's time less UTC in hours, east positive.
    pub ship_time_h: f64,
    /// Each one's time off watch, by name.
    pub rest: Vec<RestNow>,
    /// The watch alarm's stage; `None` if the boat has no watch alarm.
    #[schemars(with = "Option<OneOf<Stage>>")]
    pub alarm: Option<Stage>,
    /// In how many seconds it asks for a reset; `None` while it asks already, is off or is suspended.
    pub alarm_asks_s: Option<f64>,
    /// The watch alarm in words; `None` if the boat has none.
    pub alarm_words: Option<String>,
}

/// Somebody's time off watch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RestNow {
    /// Who.
    pub who: String,
    /// Time off watch in the last 24 hours, as far as they are known, seconds.
    pub off_day_s: f64,
    /// How much of the last 24 hours is known, seconds.
    pub of_day_s: f64,
    /// Time off watch in the last seven days, as far as they are known, seconds.
    pub off_week_s: f64,
    /// How much of the last seven days is known, seconds.
    pub of_week_s: f64,
}

/// Own vessel now.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct OwnNow {
    /// Own vessel as events describe her.
    #[serde(flatten)]
    pub part: OwnPart,
    /// The position in the usual notation.
    pub position: Option<String>,
    /// Age of the last fix, seconds.
    pub position_age_s: Option<f64>,
    /// Dead reckoning, while there is no fix or the fix is doubted.
    pub reckoned: Option<ReckonedNow>,
    /// Age of the last heading, seconds.
    pub heading_age_s: Option<f64>,
    /// Age of course and speed over ground, the older of the two, seconds.
    pub course_age_s: Option<f64>,
    /// Speed by the log, knots.
    pub speed_through_water_kn: Option<f64>,
    /// Depth in metres: below the keel where that can be known, else below the surface, else below the transducer.
    pub depth_m: Option<f64>,
    /// Which of them: keel, surface or transducer.
    pub depth_below: Option<String>,
    /// Age of the last depth, seconds.
    pub depth_age_s: Option<f64>,
    /// True wind speed, knots.
    pub true_wind_kn: Option<f64>,
    /// Direction the true wind blows from, degrees.
    pub true_wind_direction_deg: Option<f64>,
    /// Age of the true wind, seconds.
    pub true_wind_age_s: Option<f64>,
    /// What the true wind was earlier, in words; `None` without an earlier value.
    pub true_wind_before: Option<String>,
    /// Barometric pressure.
    pub pressure_hpa: Option<f64>,
    /// Age of the pressure, seconds.
    pub pressure_age_s: Option<f64>,
    /// How the pressure has changed, in words; `None` without an earlier value.
    pub pressure_trend: Option<String>,
    /// Whether the sun is above the horizon.
    pub sun_up: Option<bool>,
    /// Time since our own AIS was last heard transmitting, seconds.
    pub transmitted_age_s: Option<f64>,
}

/// Own vessel by dead reckoning now.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ReckonedNow {
    /// The position in the usual notation.
    pub position: String,
    /// Its latitude, degrees.
    pub latitude_deg: f64,
    /// Its longitude, degrees.
    pub longitude_deg: f64,
    /// How far off it may be, nautical miles.
    pub error_nm: f64,
    /// Time since the fix that it goes on from, seconds.
    pub age_s: f64,
    /// Distance run since, nautical miles.
    pub run_nm: f64,
    /// Set of the stream it reckons with, degrees true.
    pub set_deg: Option<f64>,
    /// Its drift, knots.
    pub drift_kn: Option<f64>,
    /// log and compass, or last course and speed.
    pub by: String,
}

/// A line of the picture in words.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RowNow {
    /// What it is about: Position, Depth and so on.
    pub name: String,
    /// In words; the last `{}` in it stands for `last_s`, where there is one.
    pub words: String,
    /// Age of what the words say, seconds.
    pub age_s: Option<f64>,
    /// A time in the words that goes on, seconds.
    pub last_s: Option<f64>,
}

impl RowNow {
    /// The words with the time in them.
    pub fn whole(&self) -> String {
        match self.last_s.zip(self.words.rsplit_once("{}")) {
            Some((s, (before, after))) => {
                let time = span(Duration::try_from_secs_f64(s.max(0.0)).unwrap_or_default());
                format!("{before}{time}{after}")
            }
            None => self.words.clone(),
        }
    }
}

/// A feed now.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FeedNow {
    /// Its name.
    pub name: String,
    /// up, or the reason why not.
    pub state: Option<String>,
    /// Time since its last good sentence, seconds.
    pub silent_s: Option<f64>,
    /// Received bytes.
    pub bytes: u64,
    /// Good sentences.
    pub sentences: u64,
    /// Refused lines.
    pub refused: u64,
    /// Refused lines, by reason.
    pub refusals: BTreeMap<String, u64>,
    /// Sentences, and datagrams of the kernel's, dropped in a flood.
    pub dropped: u64,
}

/// The running exercise.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ExerciseNow {
    /// The word that began it.
    pub drill: String,
    /// Its title in the logbook.
    pub title: String,
    /// Time since it began, seconds.
    pub began_s: f64,
    /// The line of the simulated casualty.
    pub words: Option<String>,
    /// The simulated casualty, as a real one would be shown.
    pub casualty: Option<Box<CasualtyNow>>,
    /// The simulated ship, as a real one would be shown: as she was when she was announced.
    pub target: Option<Box<TargetNow>>,
    /// The measurements so far.
    pub measured: String,
}

/// The logbook now.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LogbookNow {
    /// Why writing fails; `None` while it works.
    pub failing: Option<String>,
    /// Rows and records waiting for the disk.
    pub waiting: u64,
    /// Rows, records and deliveries that were dropped.
    pub dropped: u64,
    /// Events that still wait for their webhook.
    pub deliveries_waiting: u64,
    /// What was removed since the daemon began to keep the file within its bounds; `None` if nothing was.
    pub removed: Option<Removed>,
}

/// A signal, a button or the heartbeat now.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SignalNow {
    /// Its name in reports.
    pub name: String,
    /// Whether it fails.
    pub failing: bool,
}
