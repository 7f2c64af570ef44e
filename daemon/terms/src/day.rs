//! Calendar days, as stamped on gear.

use crate::Utc;
use chrono::{Datelike, Months, NaiveDate, NaiveTime};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};
use std::fmt;

/// A day of the calendar, in UTC. Written as ISO 8601, e.g. `2027-05-31`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day(NaiveDate);

/// A service interval, in days or in calendar months.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Every {
    /// This many days.
    Days(u32),
    /// This many calendar months.
    Months(u32),
}

impl Day {
    /// Reads `2027-05-31`; `2027-05` means the last day of that month, as on batteries and flares (common practice).
    /// `None` if it is neither.
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        match text.len() {
            10 => NaiveDate::parse_from_str(text, "%Y-%m-%d").ok().map(Self),
            7 => {
                let first = NaiveDate::parse_from_str(&format!("{text}-01"), "%Y-%m-%d").ok()?;
                first.checked_add_months(Months::new(1))?.pred_opt().map(Self)
            }
            _ => None,
        }
    }

    /// The day of a moment. `None` some 260,000 years away from today.
    pub fn of(utc: Utc) -> Option<Self> {
        utc.civil().map(|t| Self(t.date_naive()))
    }

    /// The moment at which it begins.
    pub fn begins(self) -> Utc {
        Utc(self.0.and_time(NaiveTime::MIN).and_utc().timestamp_millis())
    }

    /// The day one interval later; in a shorter month, its last day. `None` at the end of the calendar.
    pub fn plus(self, every: Every) -> Option<Self> {
        match every {
            Every::Days(n) => self.0.checked_add_days(chrono::Days::new(n.into())),
            Every::Months(n) => self.0.checked_add_months(Months::new(n)),
        }
        .map(Self)
    }

    /// Days from another day to this one, negative if this one is earlier.
    pub fn days_from(self, other: Self) -> i64 {
        i64::from(self.0.num_days_from_ce()) - i64::from(other.0.num_days_from_ce())
    }
}

impl Every {
    /// Reads a number of days, weeks, months or years: `12 months`. `None` if it is not that, zero, or more than a
    /// hundred years.
    pub fn parse(text: &str) -> Option<Self> {
        let (number, unit) = text.trim().split_once(' ')?;
        let n: u32 = number.parse().ok().filter(|n| *n > 0)?;
        let every = match unit.trim().trim_end_matches('s') {
            "day" => Self::Days(n),
            "week" => Self::Days(n.checked_mul(7)?),
            "month" => Self::Months(n),
            "year" => Self::Months(n.checked_mul(12)?),
            _ => return None,
        };
        matches!(every, Self::Days(..=36_525) | Self::Months(..=1200)).then_some(every)
    }
}

impl fmt::Display for Every {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (n, unit) = match *self {
            Self::Days(n) if n % 7 == 0 => (n / 7, "week"),
            Self::Days(n) => (n, "day"),
            Self::Months(n) if n % 12 == 0 => (n / 12, "year"),
            Self::Months(n) => (n, "month"),
        };
        write!(f, "{n} {unit}{}", if n == 1 { "" } else { "s" })
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}

impl Serialize for Day {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Day {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let text = String::deserialize(d)?;
        Self::parse(&text).ok_or_else(|| de::Error::custom("not a day such as 2027-05-31"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_read_counted_and_moved_on() {
        let day = |t: &str| Day::parse(t).unwrap();
        assert_eq!(day("2028-02").to_string(), "2028-02-29");
        assert_eq!(Day::of(Utc(1_793_499_247_000)), Some(day("2026-11-01")), "as `date -u` prints it");
        // `date -u -d 2027-05-31` minus `date -u -d 2026-11-01`, in days.
        assert_eq!(day("2027-05-31").days_from(day("2026-11-01")), 211);
        assert_eq!(day("2026-11-01").days_from(day("2027-05-31")), -211);
        assert_eq!(day("2027-01-31").plus(Every::Months(1)), Some(day("2027-02-28")));
        assert_eq!(day("2026-11-25").plus(Every::parse("2 weeks").unwrap()), Some(day("2026-12-09")));
        for bad in ["2027", "2027-13", "2027-02-30", "31.5.2027", ""] {
            assert_eq!(Day::parse(bad), None, "{bad}");
        }
        assert_eq!(Every::parse("3 years"), Some(Every::Months(36)));
        assert_eq!(Every::Months(36).to_string(), "3 years");
        for bad in ["", "12", "0 months", "12 moons", "-1 year", "101 years", "99999999999 days"] {
            assert_eq!(Every::parse(bad), None, "{bad}");
        }
    }
}
