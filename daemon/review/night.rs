//! What the review knows of a night.

use super::practice::Drilled;
use super::when::When;
use lookout::casualty::Whose;
use record::{Call, ComesFrom, Entry, Item};
use rules::{BuiltIn, Priority};
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::PathBuf;
use terms::{Mmsi, Position, Quantity, Utc};

/// What to review. Without a beginning it covers 24 hours; without an end it reaches to the end of the logbook.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Span {
    /// From here.
    pub since: Option<Utc>,
    /// To here.
    pub until: Option<Utc>,
}

/// One run of the daemon within the span.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Its beginning, or that of the span.
    pub from: When,
    /// Its last sign of life, or the end of the span.
    pub to: When,
    /// Whether it was stopped on purpose.
    pub stopped: bool,
}

/// A time when middlewatch was not running.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Blind {
    /// The last sign of life before it.
    pub from: When,
    /// The first one after it.
    pub to: When,
    /// Why, in words.
    pub why: &'static str,
}

/// Own vessel at a moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OwnPoint {
    /// When.
    pub at: When,
    /// Where.
    pub position: Option<Position>,
    /// Course over ground.
    pub cog_deg: Option<f32>,
    /// Speed over ground.
    pub sog_kn: Option<f32>,
    /// Heading, true.
    pub heading_deg: Option<f32>,
    /// The position is by dead reckoning.
    pub reckoned: bool,
}

/// One quantity over one minute.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Minute {
    /// Its first reading.
    pub at: When,
    /// Least; of a direction, farthest to port.
    pub least: f64,
    /// Mean; `None` for directions that cancel out.
    pub mean: Option<f64>,
    /// Greatest; of a direction, farthest to starboard.
    pub greatest: f64,
    /// Last.
    pub last: f64,
}

/// Something that happened to an alert.
#[derive(Debug, Clone, PartialEq)]
pub struct Occurrence {
    /// Number in the logbook.
    pub log_id: i64,
    /// When.
    pub at: When,
    /// The word of the record: raised, repeated, …
    pub event: String,
    /// Its text.
    pub text: String,
    /// State after it.
    pub state: Option<String>,
    /// Own position.
    pub own: Option<Position>,
    /// Where the target or the casualty was.
    pub other: Option<Position>,
    /// Its range from own vessel.
    pub range_nm: Option<f64>,
}

/// An alert from beginning to end, as far as they lie within the span.
#[derive(Debug, Clone, PartialEq)]
pub struct Alert {
    /// Its number.
    pub id: u32,
    /// The order, or the built-in one.
    pub order: String,
    /// What of that name it comes from.
    pub origin: ComesFrom,
    /// What it is about.
    pub about: Item,
    /// The highest priority it had.
    pub priority: Priority,
    /// Part of an exercise.
    pub exercise: bool,
    /// The target it is about.
    pub mmsi: Option<Mmsi>,
    /// That target's name.
    pub name: Option<String>,
    /// The casualty it is about.
    pub casualty: Option<u32>,
    /// When it was raised; `None` if before the span.
    pub raised: Option<When>,
    /// When it was first acknowledged or taken over.
    pub acknowledged: Option<When>,
    /// When its condition ended.
    pub rectified: Option<When>,
    /// When it was over; `None` if it outlasted the span.
    pub over: Option<When>,
    /// What happened to it, in order.
    pub history: Vec<Occurrence>,
}

impl Alert {
    /// The text it began with.
    pub fn text(&self) -> &str {
        self.history.first().map_or("", |t| &t.text)
    }

    /// Which built-in alert it is; `None` for one of the skipper's orders, whatever that is called.
    pub fn built_in(&self) -> Option<BuiltIn> {
        self.origin.built_in(&self.order)
    }

    /// Seconds from raised to acknowledged.
    pub fn acknowledged_after_s(&self) -> Option<f64> {
        self.acknowledged?.seconds_from(&self.raised?)
    }

    /// Whether somebody had to acknowledge it.
    pub fn needs_acknowledgement(&self) -> bool {
        self.priority >= Priority::Warning
    }
}

/// A person overboard or a beacon.
#[derive(Debug, Clone, PartialEq)]
pub struct Casualty {
    /// Its number.
    pub id: u32,
    /// The crew member, the beacon or the ship, else "a person".
    pub who: String,
    /// Whose it is.
    pub whose: Whose,
    /// ais, mob-sentence, dsc or button.
    pub source: String,
    /// Part of an exercise.
    pub exercise: bool,
    /// When it was raised; `None` if before the span.
    pub raised: Option<When>,
    /// Its first position, and whether that was reported or estimated.
    pub first_position: Option<(When, Position, String)>,
    /// Its positions, as far as its events knew them, with its range from own vessel.
    pub track: Vec<(When, Position, Option<f64>)>,
    /// The least range from own vessel after she had been farthest off.
    pub nearest: Option<(When, f64)>,
    /// When it was stood down, and why.
    pub stood_down: Option<(When, String)>,
    /// Its alerts.
    pub alerts: Vec<u32>,
}

/// The closest approach of a target.
#[derive(Debug, Clone, PartialEq)]
pub struct Approach {
    /// Its identity.
    pub mmsi: Mmsi,
    /// Its name.
    pub name: Option<String>,
    /// Kind of station or ship.
    pub kind: Option<String>,
    /// When.
    pub at: When,
    /// How close.
    pub range_nm: f64,
    /// True, from own vessel.
    pub bearing_deg: Option<f64>,
    /// Its position then.
    pub position: Option<Position>,
    /// Its course then.
    pub cog_deg: Option<f64>,
    /// Its speed then.
    pub sog_kn: Option<f64>,
    /// The least CPA that was foretold at least three minutes ahead.
    pub foretold_cpa_nm: Option<f64>,
    /// How she met us, in words: by both courses, and by the side she passed on.
    pub geometry: Option<String>,
    /// Since when a CPA was foretold within half a mile of the true one: an alert could have come from then on.
    pub foretold_since: Option<When>,
    /// She was still coming closer when she was last heard: nobody knows whether she passed.
    pub fell_silent: bool,
    /// The alert that it raised.
    pub alert: Option<u32>,
    /// Its positions a quarter of an hour before and after; only of targets on the chart.
    pub track: Vec<(When, Position)>,
}

/// Something written into the log that is no alert.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Remark {
    /// When.
    pub at: When,
    /// note, handover, declared, orders, stand-down or lookout.
    pub kind: String,
    /// In words.
    pub text: String,
    /// Whose.
    pub who: Option<String>,
    /// The entry itself; `None` where the logbook is damaged and only its words are left.
    #[serde(skip)]
    pub entry: Option<Entry>,
}

impl Remark {
    /// Who took the watch by it.
    pub fn took_the_watch(&self) -> Option<&str> {
        match &self.entry {
            Some(Entry::Handover { who, .. }) => Some(who),
            _ => None,
        }
    }
}

/// What a feed brought.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Feed {
    /// Bytes.
    pub bytes: i64,
    /// Sentences dropped under flood.
    pub dropped: i64,
    /// Its name.
    #[serde(rename = "feed")]
    pub name: String,
    /// Lines refused.
    pub refused: i64,
    /// Good sentences.
    pub sentences: i64,
}

/// What own vessel did.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Passage {
    /// First position.
    pub from: Option<(When, Position)>,
    /// Last position.
    pub to: Option<(When, Position)>,
    /// Over the ground; gaps of more than ten minutes are not counted.
    pub distance_nm: f64,
    /// Through the water, by the log; `None` without one.
    pub water_nm: Option<f64>,
    /// Time covered by positions, without those gaps.
    pub under_way_s: f64,
    /// Greatest speed over ground.
    pub greatest_sog: Option<(When, f64)>,
}

impl Passage {
    /// Mean speed over ground.
    pub fn mean_sog_kn(&self) -> Option<f64> {
        (self.under_way_s >= 60.0).then(|| self.distance_nm / self.under_way_s * 3600.0)
    }
}

/// A longer span needs the day beside each time: a day, and a quarter of an hour for a watch that runs over.
const DAY_S: f64 = 86_400.0 + 900.0;

impl Night {
    /// Calls and messages received by radio, in order; of a message only the best copy, at the time of the first.
    pub fn calls(&self) -> Vec<(When, &Call)> {
        let mut calls: Vec<(When, &Call)> = Vec::new();
        for r in &self.remarks {
            let Some(Entry::Call(call)) = &r.entry else { continue };
            match calls.iter_mut().rev().find(|(_, c)| call.better && c.number == call.number) {
                Some((_, before)) => *before = call,
                None => calls.push((r.at, call)),
            }
        }
        calls
    }

    /// Whether times need their day.
    pub fn is_dated(&self) -> bool {
        self.to.seconds_from(&self.from).is_some_and(|s| s > DAY_S)
    }
}

/// All of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Night {
    /// The file.
    pub logbook: PathBuf,
    /// The first moment.
    pub from: When,
    /// The last moment.
    pub to: When,
    /// Runs of the daemon.
    pub runs: Vec<Run>,
    /// Gaps between them.
    pub blind: Vec<Blind>,
    /// Alerts and notices in order of their beginning.
    pub alerts: Vec<Alert>,
    /// Casualties.
    pub casualties: Vec<Casualty>,
    /// The closest of each target, nearest first.
    pub approaches: Vec<Approach>,
    /// Own track.
    pub own: Vec<OwnPoint>,
    /// What own vessel did.
    pub passage: Passage,
    /// Instruments by the minute.
    pub instruments: BTreeMap<Quantity, Vec<Minute>>,
    /// Remarks.
    pub remarks: Vec<Remark>,
    /// Drills of the crew so far, also those of earlier nights.
    pub drills: Vec<Drilled>,
    /// Feeds.
    pub feeds: Vec<Feed>,
    /// Deliveries that have not reached their signal.
    pub undelivered: i64,
    /// Rows that could not be read: the file is damaged.
    pub unreadable: usize,
}
