//! Ship's time.

use crate::Utc;
use std::fmt;

/// Furthest from UTC in minutes: UTC+14 is the furthest zone (tz database).
const MOST_MIN: i32 = 14 * 60;

/// Ship's time: a whole number of minutes from UTC, east positive. Written `UTC+2`, `UTC−3:30`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ShipTime {
    /// Minutes to add to UTC.
    pub minutes: i32,
}

impl ShipTime {
    /// The zone kept at sea at a longitude: an hour for each fifteen degrees (nautical time zones, common practice).
    pub fn at_longitude(longitude_deg: f64) -> Self {
        Self { minutes: (longitude_deg / 15.0).round() as i32 * 60 }
    }

    /// Reads hours from UTC, `+2` or `-3:30`, at most fourteen; `None` for anything else.
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim().replace('−', "-");
        let (sign, digits) = match text.strip_prefix('-') {
            Some(rest) => (-1, rest),
            None => (1, text.strip_prefix('+').unwrap_or(&text)),
        };
        let (hours, minutes) = digits.split_once(':').unwrap_or((digits, "0"));
        let number = |t: &str| t.bytes().all(|b| b.is_ascii_digit()).then(|| t.parse::<i32>().ok()).flatten();
        let (hours, minutes) = (number(hours)?, number(minutes)?);
        let all = hours.checked_mul(60)?.checked_add(minutes)?;
        (minutes < 60 && all <= MOST_MIN).then_some(Self { minutes: sign * all })
    }

    /// From hours, to the nearest minute; `None` beyond fourteen, or if that is no number.
    pub fn from_hours(hours: f64) -> Option<Self> {
        let minutes = (hours * 60.0).round();
        (minutes.abs() <= f64::from(MOST_MIN)).then_some(Self { minutes: minutes as i32 })
    }

    /// From seconds, to the minute below.
    pub fn from_seconds(seconds: i64) -> Self {
        Self { minutes: i32::try_from(seconds.div_euclid(60)).unwrap_or(0) }
    }

    /// Hours from UTC.
    pub fn hours(self) -> f64 {
        f64::from(self.minutes) / 60.0
    }

    /// Seconds from UTC.
    pub fn seconds(self) -> i64 {
        i64::from(self.minutes) * 60
    }

    /// What the ship's clock shows at a moment, as if it were UTC.
    pub fn of(self, utc: Utc) -> Utc {
        utc.plus_ms(self.seconds() * 1000)
    }
}

impl fmt::Display for ShipTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (h, m) = (self.minutes.abs() / 60, self.minutes.abs() % 60);
        let sign = if self.minutes < 0 { '−' } else { '+' };
        if m == 0 { write!(f, "UTC{sign}{h}") } else { write!(f, "UTC{sign}{h}:{m:02}") }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check values: the nearest whole of the longitude by fifteen degrees. The zone descriptions in books have the other
    /// sign.
    #[test]
    fn the_zone_at_sea_by_the_longitude() {
        let west = |deg: f64, min: f64| -(deg + min / 60.0);
        for (longitude, name) in [
            (west(7.0, 29.0), "UTC+0"),
            (west(7.0, 31.0), "UTC−1"),
            (west(9.0, 19.0), "UTC−1"),
            (172.0 + 31.0 / 60.0, "UTC+12"),
            (west(172.0, 31.0), "UTC−12"),
        ] {
            assert_eq!(ShipTime::at_longitude(longitude).to_string(), name, "{longitude}");
        }
    }

    #[test]
    fn it_is_read_as_it_is_written_and_bounded() {
        for (text, minutes) in
            [("+2", 120), ("-3:30", -210), ("−3:30", -210), ("0", 0), ("14", 840), ("-14:00", -840)]
        {
            assert_eq!(ShipTime::parse(text), Some(ShipTime { minutes }), "{text}");
            assert_eq!(ShipTime::from_hours(f64::from(minutes) / 60.0), Some(ShipTime { minutes }));
            assert_eq!(ShipTime::from_seconds(i64::from(minutes) * 60), ShipTime { minutes });
        }
        for text in ["", "+", "+-2", "15", "14:01", "2:60", "2 h", "99999999999", "35791395:0"] {
            assert_eq!(ShipTime::parse(text), None, "{text}");
        }
        for hours in [14.02, -14.02, f64::NAN, f64::INFINITY] {
            assert_eq!(ShipTime::from_hours(hours), None);
        }
        assert_eq!(ShipTime { minutes: -210 }.to_string(), "UTC−3:30");
        assert_eq!(ShipTime { minutes: 345 }.of(Utc(0)), Utc(345 * 60_000));
    }
}
