//! Steady time and UTC, both in whole milliseconds.

use chrono::{DateTime, SecondsFormat};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};
use std::fmt;
use std::ops::{Add, Sub};
use std::time::Duration;

/// A moment of steady time: milliseconds since an origin that lasts as long as the computer is up
/// (Linux boot time), or since the first line of a replay. It never steps; every timer runs on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Moment(pub i64);

impl Moment {
    /// The origin of steady time.
    pub const ZERO: Self = Self(0);

    /// The moment `s` seconds after the origin, to the millisecond.
    pub fn from_s(s: f64) -> Self {
        Self((s * 1000.0).round() as i64)
    }

    /// Seconds since the origin.
    pub fn as_s(self) -> f64 {
        self.0 as f64 / 1000.0
    }

    /// How long this is after `earlier`; zero if it is before.
    pub fn since(self, earlier: Self) -> Duration {
        Duration::from_millis(self.0.saturating_sub(earlier.0).max(0) as u64)
    }

    /// Seconds from `earlier` to this, negative if this is before.
    pub fn seconds_from(self, earlier: Self) -> f64 {
        self.0.saturating_sub(earlier.0) as f64 / 1000.0
    }
}

/// Whole milliseconds of a duration, capped at what a moment can hold.
fn millis(d: Duration) -> i64 {
    i64::try_from(d.as_millis()).unwrap_or(i64::MAX)
}

impl Add<Duration> for Moment {
    type Output = Self;
    /// Saturates at the end of time.
    fn add(self, d: Duration) -> Self {
        Self(self.0.saturating_add(millis(d)))
    }
}

impl Sub<Duration> for Moment {
    type Output = Self;
    /// Saturates; may lie before the origin.
    fn sub(self, d: Duration) -> Self {
        Self(self.0.saturating_sub(millis(d)))
    }
}

/// Coordinated universal time: milliseconds since 1970-01-01T00:00:00Z, leap seconds not counted.
/// Written as RFC 3339 with milliseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Utc(pub i64);

crate::closed_list! {
    /// The source of UTC.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
    pub enum UtcSource {
        /// A satellite receiver.
        Satellite = "satellite",
        /// The computer's own clock: a hint until satellites give the time.
        System = "system",
    }
}

impl Utc {
    /// From a civil date and the milliseconds of the day (0 to 86,400,999, to hold a leap second). `None` if the date
    /// does not exist.
    pub fn from_date(year: i32, month: u32, day: u32, ms_of_day: i64) -> Option<Self> {
        let midnight = chrono::NaiveDate::from_ymd_opt(year, month, day)?.and_hms_opt(0, 0, 0)?;
        (0..=86_400_999).contains(&ms_of_day).then(|| Self(midnight.and_utc().timestamp_millis() + ms_of_day))
    }

    /// Reads RFC 3339, e.g. `2026-11-01T02:14:07Z`. `None` if it is not that.
    pub fn parse(text: &str) -> Option<Self> {
        DateTime::parse_from_rfc3339(text.trim()).ok().map(|t| Self(t.timestamp_millis()))
    }

    /// The civil date and time, or `None` some 260,000 years away from today.
    pub fn civil(self) -> Option<DateTime<chrono::Utc>> {
        DateTime::from_timestamp_millis(self.0)
    }

    /// The year of the civil date.
    pub fn year(self) -> Option<i32> {
        self.civil().map(|t| chrono::Datelike::year(&t))
    }

    /// Milliseconds since the last midnight.
    pub fn ms_of_day(self) -> i64 {
        self.0.rem_euclid(86_400_000)
    }

    /// Later by `ms` milliseconds (earlier when negative); saturates.
    pub fn plus_ms(self, ms: i64) -> Self {
        Self(self.0.saturating_add(ms))
    }
}

impl fmt::Display for Utc {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.civil() {
            Some(t) => f.write_str(&t.to_rfc3339_opts(SecondsFormat::Millis, true)),
            None => write!(f, "{} ms", self.0),
        }
    }
}

impl Serialize for Utc {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Utc {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let text = String::deserialize(d)?;
        Self::parse(&text).ok_or_else(|| de::Error::custom("not an RFC 3339 time"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn utc_is_written_and_read_as_rfc_3339() {
        // The example date of the record; 1793499247 is what `date -u -d 2026-11-01T02:14:07Z +%s` prints.
        let t = Utc::from_date(2026, 11, 1, (2 * 3600 + 14 * 60 + 7) * 1000).unwrap();
        assert_eq!(t, Utc(1_793_499_247_000));
        assert_eq!(t.to_string(), "2026-11-01T02:14:07.000Z");
        assert_eq!(Utc::parse("2026-11-01T02:14:07.000Z"), Some(t));
        assert_eq!(Utc::parse("yesterday"), None);
        assert_eq!(Utc::from_date(2026, 2, 29, 0), None);
    }

    #[test]
    fn moments_saturate_instead_of_wrapping() {
        assert_eq!(Moment(i64::MAX) + Duration::from_secs(1), Moment(i64::MAX));
        assert_eq!(Moment(5).since(Moment(9)), Duration::ZERO);
        assert_eq!(Moment::from_s(8123.4).0, 8_123_400);
    }
}
