//! Hours of the day, as people write them.

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};
use std::fmt;

/// A minute of the day, 00:00 to 23:59. Written `22:30`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Hour(u16);

/// Hours of every day, running through midnight if they end earlier than they begin. Written `22:00 to 06:00`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Hours {
    /// The first minute.
    pub from: Hour,
    /// The first minute after them.
    pub to: Hour,
}

impl Hour {
    /// The minute of the day with this number. `None` from 1440 on.
    pub fn new(minute: u16) -> Option<Self> {
        (minute < 24 * 60).then_some(Self(minute))
    }

    /// Reads `22:30`, two digits each. `None` if it is not that.
    pub fn parse(text: &str) -> Option<Self> {
        let (h, m) = text.split_once(':')?;
        let digits = |t: &str, end: u16| {
            let two = t.len() == 2 && t.bytes().all(|b| b.is_ascii_digit());
            two.then(|| t.parse::<u16>().ok()).flatten().filter(|n| *n < end)
        };
        Some(Self(digits(h, 24)? * 60 + digits(m, 60)?))
    }

    /// Minutes since midnight.
    pub fn minutes(self) -> u16 {
        self.0
    }

    /// Seconds since midnight.
    pub fn seconds(self) -> f64 {
        f64::from(self.0) * 60.0
    }
}

impl Hours {
    /// Reads `22:00 to 06:00`. `None` if it is not that.
    pub fn parse(text: &str) -> Option<Self> {
        let (from, to) = text.split_once(" to ")?;
        Some(Self { from: Hour::parse(from.trim())?, to: Hour::parse(to.trim())? })
    }
}

impl fmt::Display for Hour {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:02}:{:02}", self.0 / 60, self.0 % 60)
    }
}

impl fmt::Display for Hours {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} to {}", self.from, self.to)
    }
}

impl Serialize for Hour {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Hour {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let text = String::deserialize(d)?;
        Self::parse(&text).ok_or_else(|| {
            de::Error::custom(format!("\"{text}\" is no time of day; expected one such as 20:00"))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_are_read_and_written_alike() {
        let rest = Hours::parse("22:00 to 06:30").unwrap();
        assert_eq!((rest.from.minutes(), rest.to.seconds()), (1320, 23_400.0));
        assert_eq!(rest.to_string(), "22:00 to 06:30");
        for bad in ["", "22", "24:00", "22:60", "2:00", "22:0", "+2:00", "22:00:00"] {
            assert_eq!(Hour::parse(bad), None, "{bad}");
        }
        for bad in ["22:00", "22:00-06:00", "22:00 to", "22:00 to 6:00"] {
            assert_eq!(Hours::parse(bad), None, "{bad}");
        }
        assert_eq!((Hour::new(1439).map(|h| h.to_string()), Hour::new(1440)), (Some("23:59".into()), None));
    }
}
