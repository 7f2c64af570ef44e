//! The dialect: how to write each type of value.

use crate::value::Value;
use std::net::{Ipv4Addr, SocketAddr};
use std::ops::Range;
use std::path::PathBuf;
use std::time::Duration;
use terms::{
    Day, Dimension, Every, Hour, Hours, Mmsi, Moment, Position, Utc, is_hidden, legible, nearest, one_line,
};
use toml::de::DeValue;

/// A type that people write as the value of a key.
pub trait Written: Sized {
    /// An example for messages and the reference: TOML, or a text without its quotation marks.
    const EXAMPLE: &'static str;

    /// Reads a value.
    ///
    /// # Errors
    /// What the key takes, phrased to follow "takes", such as `a number`; after `"; "`, whatever else to say about a
    /// value of the right kind.
    fn read(v: &Value<'_>) -> Result<Self, String>;

    /// The words of a closed list, for the reference; otherwise empty.
    fn words() -> Vec<&'static str> {
        Vec::new()
    }

    /// What a key's range limits: a number as it is, a time in seconds.
    fn amount(&self) -> Option<f64> {
        None
    }

    /// What a key's `most` limits: characters of a text.
    fn length(&self) -> Option<usize> {
        None
    }
}

/// A word of a closed list.
pub trait Word: Copy + 'static {
    /// Each word and its meaning.
    const ALL: &'static [(&'static str, Self)];
}

/// A value with its place in the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct At<T> {
    /// The value.
    pub value: T,
    /// Its bytes in the file; empty for a default.
    pub span: Range<usize>,
}

/// A name: one line, not blank, without spaces around it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Name(pub String);

/// A host, by name or address, and a port: `plotter:10110`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HostPort(pub String);

impl<T: Word> Written for T {
    const EXAMPLE: &'static str = T::ALL[0].0;

    fn read(v: &Value<'_>) -> Result<Self, String> {
        let word = v.text().unwrap_or("");
        if let Some((_, found)) = T::ALL.iter().find(|(name, _)| *name == word) {
            return Ok(*found);
        }
        Err(one_of(word, T::words()))
    }

    fn words() -> Vec<&'static str> {
        T::ALL.iter().map(|(name, _)| *name).collect()
    }
}

/// What a key with these words takes, for [`Written::read`]: the words, with "did you mean".
pub fn one_of<'a>(word: &str, names: impl IntoIterator<Item = &'a str>) -> String {
    let names: Vec<&str> = names.into_iter().collect();
    let mut quoted: Vec<String> = names.iter().map(|name| format!("\"{name}\"")).collect();
    let last = quoted.pop().unwrap_or_default();
    let all = if quoted.is_empty() { last } else { format!("{} or {last}", quoted.join(", ")) };
    nearest(word, names).map_or(all.clone(), |near| format!("{all}; did you mean \"{near}\"?"))
}

impl<T: Written> Written for At<T> {
    const EXAMPLE: &'static str = T::EXAMPLE;

    fn read(v: &Value<'_>) -> Result<Self, String> {
        T::read(v).map(|value| Self { value, span: v.span() })
    }

    fn words() -> Vec<&'static str> {
        T::words()
    }

    fn amount(&self) -> Option<f64> {
        self.value.amount()
    }

    fn length(&self) -> Option<usize> {
        self.value.length()
    }
}

/// Implements `Written` for types that an expression reads from a value.
macro_rules! written {
    ($($type:ty, $example:expr, $takes:expr, |$v:ident| $read:expr $(, $method:ident: |$s:ident| $of:expr, $out:ty)?;)*) => { $(
        impl Written for $type {
            const EXAMPLE: &'static str = $example;
            fn read($v: &Value<'_>) -> Result<Self, String> {
                $read.ok_or_else(|| $takes.to_owned())
            }
            $(fn $method(&self) -> Option<$out> { let $s = self; Some($of) })?
        }
    )* };
}

written! {
    bool, "true", "true or false", |v| v.flag();
    f64, "1.5", "a number", |v| v.number(), amount: |s| *s, f64;
    String, "a text", "a text in quotes; it is empty",
        |v| v.text().map(legible).filter(|t| !t.trim().is_empty()), length: |s| s.chars().count(), usize;
    Name, "Wendelin", "a name in quotes, on one line",
        |v| v.text().map(str::trim).filter(|t| !t.contains(char::is_control)).map(|t| Self(one_line(t))).filter(|n| !n.0.is_empty()),
        length: |s| s.0.chars().count(), usize;
    PathBuf, "/path/to/it", "a path in quotes", |v| v.text().filter(|t| !t.trim().is_empty()).map(PathBuf::from);
    Moment, "1:30:00", "a time since the start such as \"1:05\" or \"1:05:30\", hours first",
        |v| v.text().and_then(moment), amount: |s| s.as_s(), f64;
    Hour, "22:30", "a time of the day such as \"22:30\"", |v| v.text().and_then(Hour::parse);
    Hours, "22:00 to 06:00", "hours of the day such as \"22:00 to 06:00\"", |v| v.text().and_then(Hours::parse);
    Day, "2027-05-31", "a day such as 2027-05-31, or \"2027-05\" for the end of that month", |v| dated(v, Day::parse);
    Utc, "2026-09-14T22:00:00Z", "a time of UTC such as 2026-09-14T22:00:00Z", |v| dated(v, Utc::parse);
    Every, "12 months", "a number of days, weeks, months or years such as \"12 months\"", |v| v.text().and_then(Every::parse);
    Mmsi, "211000001", "an identity: nine digits in quotes, such as \"211000001\"",
        |v| v.text().filter(|t| t.len() == 9 && t.bytes().all(|b| b.is_ascii_digit())).and_then(Self::parse);
    Position, "47°12.30′N 009°41.00′W", "a place in degrees and minutes, at most 90 and 180 degrees, such as \"47°12.30′N 009°41.00′W\"",
        |v| v.text().and_then(place);
    SocketAddr, "127.0.0.1:8127", "an address and a port such as \"127.0.0.1:8127\"", |v| v.text().and_then(|t| t.parse().ok());
    Ipv4Addr, "192.168.1.1", "an IPv4 address such as \"192.168.1.1\"", |v| v.text().and_then(|t| t.parse().ok());
    HostPort, "plotter:10110", "a host and a port such as \"plotter:10110\"", |v| v.text().and_then(Self::parse);
}

impl HostPort {
    /// Reads `plotter:10110`. `None` without a host, or without a port from 1 on.
    pub fn parse(text: &str) -> Option<Self> {
        let (host, port) = text.rsplit_once(':')?;
        let good = !host.is_empty() && !host.contains(is_hidden) && port.parse::<u16>().is_ok_and(|p| p > 0);
        good.then(|| Self(text.to_owned()))
    }
}

/// Whole numbers, each of its own width.
macro_rules! whole {
    ($($type:ty)*) => { $(
        impl Written for $type {
            const EXAMPLE: &'static str = "1";
            fn read(v: &Value<'_>) -> Result<Self, String> {
                v.whole().and_then(|n| n.try_into().ok()).ok_or_else(|| "a whole number".to_owned())
            }
            fn amount(&self) -> Option<f64> {
                Some(*self as f64)
            }
        }
    )* };
}

whole! { u8 u16 u32 u64 i64 }

impl Written for Duration {
    const EXAMPLE: &'static str = "1 h 30 min";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        let takes = "a length of time such as \"1 h 30 min\"";
        let text = v.text().ok_or(takes)?;
        length_of_time(text).map_err(|why| format!("{takes}{why}"))
    }

    fn amount(&self) -> Option<f64> {
        Some(self.as_secs_f64())
    }
}

/// Reads a length of time: numbers, each with its unit, `90 s` or `1 h 30 min`.
///
/// # Errors
/// What is wrong, after `"; "`; empty if the text is nothing of the kind.
pub fn length_of_time(text: &str) -> Result<Duration, String> {
    let (mut rest, mut seconds) = (text.trim(), 0.0);
    if rest.is_empty() {
        return Err(String::new());
    }
    while !rest.is_empty() {
        let end = rest.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(rest.len());
        let number: f64 = rest[..end].parse().map_err(|_| String::new())?;
        let behind = rest[end..].trim_start();
        let unit_end = behind.find(|c: char| c.is_whitespace() || c.is_ascii_digit()).unwrap_or(behind.len());
        let unit = &behind[..unit_end];
        if unit.starts_with(|c: char| !c.is_alphabetic()) {
            return Err(String::new());
        }
        seconds += Dimension::Time.in_own_unit(number, unit).ok_or_else(|| {
            let symbols: Vec<&str> = Dimension::Time.units().iter().map(|u| u.symbol).collect();
            // "sec", "mins" and "hours" begin with their units; "m" begins one.
            match (unit.is_empty(), symbols.iter().find(|s| unit.starts_with(**s) || s.starts_with(unit))) {
                (true, _) => format!("; {number} of what? Its unit is one of {}", symbols.join(", ")),
                (_, Some(near)) => format!("; \"{unit}\" is no unit of time, did you mean \"{near}\"?"),
                _ => format!("; \"{unit}\" is no unit of time; expected {}", symbols.join(", ")),
            }
        })?;
        rest = behind[unit_end..].trim_start();
    }
    Duration::try_from_secs_f64(seconds).map_err(|_| "; it is out of range".to_owned())
}

/// A bound of a range, as written in the file.
pub(crate) fn amount(text: &str) -> f64 {
    let other = || {
        length_of_time(text).map(|d| d.as_secs_f64()).or_else(|_| moment(text).map(Moment::as_s).ok_or(()))
    };
    text.parse().or_else(|_| other()).unwrap_or(f64::NAN)
}

/// An example or default, and the value it yields: a text without its quotation marks, else TOML.
pub(crate) fn literal<T: Written>(text: &str) -> (DeValue<'_>, Result<T, String>) {
    let quoted = DeValue::String(text.into());
    let read = T::read(&Value::loose(&quoted));
    match DeValue::parse(text) {
        Ok(bare) if read.is_err() => {
            let bare = bare.into_inner();
            let read = T::read(&Value::loose(&bare));
            (bare, read)
        }
        _ => (quoted, read),
    }
}

/// What TOML knows as a date, or the same in quotation marks.
fn dated<T>(v: &Value<'_>, read: impl Fn(&str) -> Option<T>) -> Option<T> {
    read(&v.date().or_else(|| v.text().map(str::to_owned))?)
}

/// Hours, minutes and perhaps seconds since the start.
fn moment(text: &str) -> Option<Moment> {
    let mut parts = text.split(':');
    let mut number = |most: usize, least: usize| -> Option<i64> {
        let digits = parts.next()?;
        let fits = (least..=most).contains(&digits.len()) && digits.bytes().all(|b| b.is_ascii_digit());
        if fits { digits.parse().ok() } else { Some(i64::MAX) }
    };
    let (h, m, s) = (number(3, 1)?, number(2, 2)?, number(2, 2).unwrap_or(0));
    (h < 1000 && m < 60 && s < 60 && parts.next().is_none()).then(|| Moment(((h * 60 + m) * 60 + s) * 1000))
}

/// Latitude and longitude in degrees and minutes, as `Position` prints them; apostrophes also serve as primes.
fn place(text: &str) -> Option<Position> {
    let (north, rest) = half(text, ['N', 'S'])?;
    let (east, rest) = half(rest, ['E', 'W'])?;
    rest.trim().is_empty().then(|| Position::new(north, east).ok()).flatten()
}

/// One of the two, and the remaining text.
fn half(text: &str, sides: [char; 2]) -> Option<(f64, &str)> {
    let end = text.find(sides)?;
    let (number, rest) = text.split_at(end);
    let (degrees, minutes) = number.split_once('°')?;
    let minutes = minutes.trim().trim_end_matches(['′', '\'']);
    let (degrees, minutes): (u16, f64) = (degrees.trim().parse().ok()?, minutes.trim().parse().ok()?);
    let deg = (0.0..60.0).contains(&minutes).then_some(f64::from(degrees) + minutes / 60.0)?;
    Some((if rest.starts_with(sides[1]) { -deg } else { deg }, &rest[1..]))
}
