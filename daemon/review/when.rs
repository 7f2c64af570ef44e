//! When things happened: UTC as well as the boot ever knew it.

use serde::{Serialize, Serializer};
use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::fmt;
use terms::{Moment, ShipTime, Utc};

/// A moment in the logbook, ordered by boot and steady time. UTC is for people, and `None` where no boot ever knew it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct When {
    /// Number of the boot in the logbook.
    pub boot: i64,
    /// Steady time of that boot.
    pub steady: Moment,
    /// UTC.
    pub utc: Option<Utc>,
}

impl When {
    /// Seconds from an earlier moment to this: steady time within a boot, UTC from one to another.
    pub fn seconds_from(&self, earlier: &Self) -> Option<f64> {
        if self.boot == earlier.boot {
            Some(self.steady.seconds_from(earlier.steady))
        } else {
            Some((self.utc?.0.saturating_sub(earlier.utc?.0)) as f64 / 1000.0)
        }
    }

    /// The same moment as the ship's clock shows it.
    pub fn by(&self, ship: ShipTime) -> Self {
        Self { utc: self.utc.map(|utc| ship.of(utc)), ..*self }
    }

    /// Hours and minutes, or the time since its boot.
    pub fn hm(&self) -> String {
        match self.utc.and_then(Utc::civil) {
            Some(t) => t.format("%H:%M").to_string(),
            None => format!("start+{}", to_the_minute(self.steady.as_s())),
        }
    }

    /// Hours, minutes and seconds.
    pub fn hms(&self) -> String {
        match self.utc.and_then(Utc::civil) {
            Some(t) => t.format("%H:%M:%S").to_string(),
            None => self.hm(),
        }
    }

    /// Hours and minutes, after the day where a span is longer than one.
    pub fn label(&self, dated: bool) -> String {
        if dated { self.day_hm() } else { self.hm() }
    }

    /// The same with seconds.
    pub fn label_s(&self, dated: bool) -> String {
        match self.utc.and_then(Utc::civil).filter(|_| dated) {
            Some(t) => t.format("%-d %b %H:%M:%S").to_string(),
            None => self.hms(),
        }
    }

    /// The date as YYYY-MM-DD, or the time since its boot.
    pub fn day(&self) -> String {
        self.utc.map_or_else(|| self.hm(), |u| u.to_string()[..10].to_owned())
    }

    /// Day and month, hours and minutes.
    pub fn day_hm(&self) -> String {
        match self.utc.and_then(Utc::civil) {
            Some(t) => t.format("%-d %b %H:%M").to_string(),
            None => self.hm(),
        }
    }
}

impl Ord for When {
    fn cmp(&self, other: &Self) -> Ordering {
        (self.boot, self.steady).cmp(&(other.boot, other.steady))
    }
}

impl PartialOrd for When {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// As UTC; null where that is not known.
impl Serialize for When {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        self.utc.serialize(s)
    }
}

impl fmt::Display for When {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.utc {
            Some(utc) => utc.fmt(f),
            None => write!(f, "boot {} + {:.3} s", self.boot, self.steady.as_s()),
        }
    }
}

/// A duration as hours and minutes.
fn to_the_minute(s: f64) -> String {
    let minutes = (s.max(0.0) / 60.0).round() as i64;
    format!("{} h {:02} min", minutes / 60, minutes % 60)
}

/// A duration as hours and minutes, or days and hours.
pub(super) fn hours(s: f64) -> String {
    let whole = (s / 3600.0).round() as i64;
    if whole < 48 { to_the_minute(s) } else { format!("{} d {} h", whole / 24, whole % 24) }
}

/// A duration as people say it: seconds below two minutes, minutes below two hours.
pub(super) fn spoken(s: f64) -> String {
    match s.max(0.0) {
        s if s < 119.5 => format!("{s:.0} s"),
        s if s < 7200.0 => format!("{:.0} min", s / 60.0),
        s => hours(s),
    }
}

/// What each boot knows of UTC.
#[derive(Debug, Default)]
pub(super) struct Clocks {
    /// Milliseconds to add to steady time, and whether they come from satellites.
    boots: BTreeMap<i64, (i64, bool)>,
}

impl Clocks {
    /// Notes a moment at which a boot knew UTC. Satellites outweigh the system's clock, later times earlier ones.
    pub fn note(&mut self, boot: i64, steady_ms: i64, utc_ms: Option<i64>, source: Option<i64>) {
        let Some(utc_ms) = utc_ms else { return };
        let by_satellite = source == Some(1);
        let known = self.boots.get(&boot).is_some_and(|(_, sat)| *sat && !by_satellite);
        if !known {
            self.boots.insert(boot, (utc_ms.saturating_sub(steady_ms), by_satellite));
        }
    }

    /// A row's moment: UTC by satellite at the time, else by what the boot learnt later, else by the system's clock.
    pub fn when(&self, boot: i64, steady_ms: i64, utc_ms: Option<i64>, source: Option<i64>) -> When {
        let by_satellite = utc_ms.filter(|_| source == Some(1));
        let derived = self.boots.get(&boot).map(|(offset, _)| steady_ms.saturating_add(*offset));
        When { boot, steady: Moment(steady_ms), utc: by_satellite.or(derived).or(utc_ms).map(Utc) }
    }

    /// The steady time of a boot at a given UTC.
    pub fn steady_ms(&self, boot: i64, utc: Utc) -> Option<i64> {
        self.boots.get(&boot).map(|(offset, _)| utc.0.saturating_sub(*offset))
    }
}
