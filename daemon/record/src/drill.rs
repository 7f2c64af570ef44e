//! Exercises: their kinds, why they end, and what is measured.

use serde::{Deserialize, Serialize};
use std::fmt;
use terms::{METRES_PER_NM, exact};

/// A kind of exercise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Drill {
    /// A beacon goes over the side.
    Overboard,
    /// A fender is thrown and a button pressed.
    Fender,
    /// A feed falls silent.
    Feed,
    /// The fix is lost.
    Fix,
    /// A ship comes close.
    Ship,
    /// The watchkeeper sleeps.
    WatchAlarm,
}

impl Drill {
    /// All of them.
    pub const ALL: [Self; 6] =
        [Self::Overboard, Self::Fender, Self::Feed, Self::Fix, Self::Ship, Self::WatchAlarm];

    /// The word that begins this exercise.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Overboard => "overboard",
            Self::Fender => "fender",
            Self::Feed => "feed",
            Self::Fix => "fix",
            Self::Ship => "ship",
            Self::WatchAlarm => "watch-alarm",
        }
    }

    /// The exercise that a word begins.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|d| d.word() == word)
    }

    /// Its title in the logbook.
    pub const fn title(self) -> &'static str {
        match self {
            Self::Overboard => "person overboard, beacon",
            Self::Fender => "person overboard, fender",
            Self::Feed => "feed silent",
            Self::Fix => "fix lost",
            Self::Ship => "close approach",
            Self::WatchAlarm => "watch alarm",
        }
    }

    /// Whether there is somebody to pick up.
    pub const fn fetches(self) -> bool {
        matches!(self, Self::Overboard | Self::Fender)
    }
}

/// Why an exercise ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DrillEnd {
    /// The crew is alongside the casualty.
    Alongside,
    /// The crew ended it.
    Ended,
    /// Its alert was acknowledged.
    Acknowledged,
    /// Nobody ended it in time.
    Forgotten,
    /// A real emergency came up.
    Real,
}

impl DrillEnd {
    /// As people read it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Alongside => "alongside",
            Self::Ended => "ended",
            Self::Acknowledged => "acknowledged",
            Self::Forgotten => "nobody ended it",
            Self::Real => "THIS IS REAL",
        }
    }
}

/// Measurements of an exercise. Times are seconds since its alarm; `None` means not done or not known.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Measures {
    /// The alarm was acknowledged.
    pub acknowledged_s: Option<f64>,
    /// The spotter was detailed.
    pub spotter_told_s: Option<f64>,
    /// The way was off her.
    pub speed_off_s: Option<f64>,
    /// She had turned.
    pub turned_s: Option<f64>,
    /// Alongside.
    pub alongside_s: Option<f64>,
    /// Greatest distance, nautical miles.
    pub greatest_nm: Option<f64>,
    /// Closest distance after she had turned, nautical miles.
    pub closest_nm: Option<f64>,
    /// Speed over ground at the alarm, knots.
    pub sog_kn: Option<f64>,
}

impl fmt::Display for Measures {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let time = |what: &str, s: Option<f64>| s.map(|s| format!("{what} after {}", exact(s)));
        let metres = |what: &str, nm: Option<f64>| nm.map(|nm| format!("{what} {:.0} m", nm * METRES_PER_NM));
        let parts = [
            time("acknowledged", self.acknowledged_s),
            time("spotter told", self.spotter_told_s),
            time("speed off", self.speed_off_s),
            time("turned", self.turned_s),
            metres("greatest distance", self.greatest_nm),
            metres("closest", self.closest_nm),
            time("alongside", self.alongside_s),
        ];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        f.write_str(&if parts.is_empty() { "nothing was done".to_owned() } else { parts.join(", ") })
    }
}
