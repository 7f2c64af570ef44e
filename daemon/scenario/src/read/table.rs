//! A table of a TOML file, read entry by entry: whatever is wrong is added to the and reading goes on.

use std::cell::RefCell;
use std::ops::{Range, RangeInclusive};
use std::time::Duration;
use terms::{Mmsi, Moment, Position, Problems, nearest};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// One table and what has been asked of it so far.
pub struct Table<'t> {
    problems: &'t RefCell<Problems>,
    entries: &'t DeTable<'t>,
    /// What it is called in a message: `ship`.
    name: String,
    /// Where a missing entry is told.
    span: Range<usize>,
    asked: Vec<&'static str>,
}

/// A value and where it stands.
type Entry<'t> = &'t Spanned<DeValue<'t>>;

impl<'t> Table<'t> {
    pub fn new(
        problems: &'t RefCell<Problems>,
        entries: &'t DeTable<'t>,
        name: &str,
        span: Range<usize>,
    ) -> Self {
        Self { problems, entries, name: name.to_owned(), span, asked: Vec::new() }
    }

    /// Where the table begins.
    pub fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    fn entry(&mut self, key: &'static str) -> Option<Entry<'t>> {
        self.asked.push(key);
        self.entries.get(key)
    }

    /// Whether the entry is there.
    pub fn has(&self, key: &str) -> bool {
        self.entries.contains_key(key)
    }

    /// Where an entry's value stands, else the table.
    pub fn span_of(&self, key: &str) -> Range<usize> {
        self.entries.get(key).map_or(self.span(), Spanned::span)
    }

    /// Adds a problem.
    pub fn tell(&self, span: Range<usize>, message: impl Into<String>) {
        self.problems.borrow_mut().add(span, message);
    }

    /// Tells each of these that is missing.
    pub fn needs(&self, keys: &[&str]) {
        for key in keys {
            if !self.has(key) {
                self.tell(self.span(), format!("{} needs {key}", self.name));
            }
        }
    }

    /// Tells of every entry that nobody asked for.
    pub fn finish(self) {
        for key in self.entries.keys() {
            let word = key.get_ref().as_ref();
            if self.asked.contains(&word) {
                continue;
            }
            let hint = nearest(word, self.asked.iter().copied());
            let hint = hint.map_or(String::new(), |h| format!("; did you mean {h}?"));
            self.tell(key.span(), format!("{} has no entry {word}{hint}", self.name));
        }
    }

    fn wrong<T>(&self, span: Range<usize>, key: &str, takes: &str) -> Option<T> {
        self.tell(span, format!("{key} takes {takes}"));
        None
    }

    pub fn number(&mut self, key: &'static str, range: RangeInclusive<f64>) -> Option<f64> {
        let entry = self.entry(key)?;
        match number(entry.get_ref()).filter(|n| range.contains(n)) {
            Some(n) => Some(n),
            None => {
                self.wrong(entry.span(), key, &format!("a number from {} to {}", range.start(), range.end()))
            }
        }
    }

    /// A list of at least one number.
    pub fn numbers(
        &mut self,
        key: &'static str,
        range: RangeInclusive<f64>,
        most: usize,
    ) -> Option<Vec<f64>> {
        let entry = self.entry(key)?;
        let list = entry.get_ref().as_array().filter(|a| (1..=most).contains(&a.len()));
        let numbers = list.and_then(|a| {
            a.iter().map(|v| number(v.get_ref()).filter(|n| range.contains(n))).collect::<Option<Vec<f64>>>()
        });
        if numbers.is_none() {
            let takes = format!("one to {most} numbers from {} to {}", range.start(), range.end());
            return self.wrong(entry.span(), key, &takes);
        }
        numbers
    }

    pub fn whole(&mut self, key: &'static str, range: RangeInclusive<u64>) -> Option<u64> {
        let entry = self.entry(key)?;
        match whole(entry.get_ref()).filter(|n| range.contains(n)) {
            Some(n) => Some(n),
            None => self.wrong(
                entry.span(),
                key,
                &match (range.start(), range.end()) {
                    (only, end) if only == end => only.to_string(),
                    (start, end) => format!("a whole number from {start} to {end}"),
                },
            ),
        }
    }

    pub fn flag(&mut self, key: &'static str) -> Option<bool> {
        let entry = self.entry(key)?;
        match entry.get_ref().as_bool() {
            Some(flag) => Some(flag),
            None => self.wrong(entry.span(), key, "true or false"),
        }
    }

    /// Text of at most `most` characters.
    pub fn text(&mut self, key: &'static str, most: usize) -> Option<&'t str> {
        let entry = self.entry(key)?;
        let text = entry.get_ref().as_str().filter(|t| !t.is_empty() && t.chars().count() <= most);
        match text {
            Some(text) => Some(text),
            None => self.wrong(entry.span(), key, &format!("text in quotes, of at most {most} characters")),
        }
    }

    /// Text in the letters of AIS (ITU-R M.1371-5, annex 8, table 47: six bits, no small letters).
    pub fn ais_text(&mut self, key: &'static str, most: usize) -> Option<String> {
        let text = self.text(key, most)?.to_uppercase();
        match text.bytes().all(|b| (b' '..=b'_').contains(&b) && b != b'@') {
            true => Some(text),
            false => self.wrong(
                self.span_of(key),
                key,
                "the letters of AIS: A to Z, digits and the signs of six-bit text",
            ),
        }
    }

    /// One word of a list.
    pub fn choice<T: Copy>(&mut self, key: &'static str, of: &[(&'static str, T)]) -> Option<T> {
        let entry = self.entry(key)?;
        let word = entry.get_ref().as_str().unwrap_or("");
        match of.iter().find(|(name, _)| *name == word) {
            Some((_, value)) => Some(*value),
            None => {
                let names: Vec<_> = of.iter().map(|(name, _)| format!("\"{name}\"")).collect();
                self.wrong(entry.span(), key, &format!("one of {}", names.join(", ")))
            }
        }
    }

    pub fn mmsi(&mut self, key: &'static str) -> Option<Mmsi> {
        let entry = self.entry(key)?;
        // As text too: an identity may begin with zeros, and a TOML number may not.
        let mmsi = match entry.get_ref() {
            DeValue::String(text) if text.len() == 9 => Mmsi::parse(text),
            other => whole(other)
                .and_then(|n| u32::try_from(n).ok())
                .filter(|n| *n >= 100_000_000)
                .and_then(Mmsi::new),
        };
        match mmsi {
            Some(mmsi) => Some(mmsi),
            None => self.wrong(entry.span(), key, "nine digits, in quotes where the first is 0"),
        }
    }

    /// A time since the start: `1:05` or `1:05:30`, hours first.
    pub fn moment(&mut self, key: &'static str) -> Option<Moment> {
        let entry = self.entry(key)?;
        match entry.get_ref().as_str().and_then(moment) {
            Some(at) => Some(at),
            None => self.wrong(
                entry.span(),
                key,
                "a time since the start in quotes: \"1:05\" or \"1:05:30\", hours first",
            ),
        }
    }

    pub fn seconds(&mut self, key: &'static str, range: RangeInclusive<f64>) -> Option<Duration> {
        self.number(key, range).map(|s| Duration::from_millis((s * 1000.0).round() as u64))
    }

    pub fn position(&mut self, key: &'static str) -> Option<Position> {
        let entry = self.entry(key)?;
        match entry.get_ref().as_str().and_then(position) {
            Some(position) => Some(position),
            None => {
                self.wrong(entry.span(), key, "degrees and minutes in quotes: \"47°12.30′N 009°41.00′W\"")
            }
        }
    }

    /// Metres from the reference point to bow, stern, port and starboard.
    pub fn dimensions(&mut self, key: &'static str) -> Option<[u16; 4]> {
        let entry = self.entry(key)?;
        let list = entry.get_ref().as_array().filter(|a| a.len() == 4);
        // Six and nine bits (ITU-R M.1371-5, annex 8, 3.3.3, figure 41).
        let metres: Option<Vec<u16>> = list.and_then(|a| {
            let bounds = [511u64, 511, 63, 63];
            let pairs = a.iter().zip(bounds);
            pairs.map(|(v, most)| whole(v.get_ref()).filter(|n| *n <= most).map(|n| n as u16)).collect()
        });
        match metres.and_then(|m| <[u16; 4]>::try_from(m).ok()) {
            Some(metres) => Some(metres),
            None => self.wrong(
                entry.span(),
                key,
                "four whole numbers of metres: to bow, stern (at most 511), port and starboard (at most 63)",
            ),
        }
    }

    /// A table within.
    pub fn table(&mut self, key: &'static str) -> Option<Table<'t>> {
        let entry = self.entry(key)?;
        match entry.get_ref().as_table() {
            Some(table) => Some(Table::new(self.problems, table, key, entry.span())),
            None => self.wrong(entry.span(), key, "a table"),
        }
    }

    /// Each table of a list, at most `most`.
    pub fn tables(&mut self, key: &'static str, most: usize) -> Vec<Table<'t>> {
        let Some(entry) = self.entry(key) else { return Vec::new() };
        let Some(list) = entry.get_ref().as_array() else {
            self.wrong::<()>(entry.span(), key, &format!("tables, each headed [[{key}]]"));
            return Vec::new();
        };
        if list.len() > most {
            self.tell(entry.span(), format!("at most {most} of {key}"));
        }
        let mut tables = Vec::new();
        for item in list.iter().take(most) {
            match item.get_ref().as_table() {
                Some(table) => tables.push(Table::new(self.problems, table, key, item.span())),
                None => self.tell(item.span(), format!("{key} takes tables")),
            }
        }
        tables
    }

    /// The entries of a table of free keys, with their places.
    pub fn pairs(&self) -> impl Iterator<Item = (&'t str, Range<usize>, Entry<'t>)> {
        self.entries.iter().map(|(k, v)| (k.get_ref().as_ref(), k.span(), v))
    }
}

/// A finite number, whole or not.
pub fn number(value: &DeValue<'_>) -> Option<f64> {
    let text = match value {
        DeValue::Integer(i) if i.radix() == 10 => i.as_str(),
        DeValue::Float(f) => f.as_str(),
        _ => return None,
    };
    text.replace('_', "").parse().ok().filter(|n: &f64| n.is_finite())
}

/// A whole number that is not negative.
fn whole(value: &DeValue<'_>) -> Option<u64> {
    value.as_integer().filter(|i| i.radix() == 10).and_then(|i| i.as_str().replace('_', "").parse().ok())
}

/// Hours, minutes and perhaps seconds since the start.
pub fn moment(text: &str) -> Option<Moment> {
    let parts: Vec<&str> = text.split(':').collect();
    let digits =
        |t: &str, most: usize| (1..=most).contains(&t.len()) && t.bytes().all(|b| b.is_ascii_digit());
    let [hours, minutes, seconds @ ..] = parts.as_slice() else { return None };
    let seconds = match seconds {
        [] => "00",
        [s] => s,
        _ => return None,
    };
    if !digits(hours, 3)
        || minutes.len() != 2
        || !digits(minutes, 2)
        || seconds.len() != 2
        || !digits(seconds, 2)
    {
        return None;
    }
    let (h, m, s): (i64, i64, i64) = (hours.parse().ok()?, minutes.parse().ok()?, seconds.parse().ok()?);
    (m < 60 && s < 60).then_some(Moment(((h * 60 + m) * 60 + s) * 1000))
}

/// Latitude and longitude in degrees and minutes, as `Position` prints them; apostrophes serve for primes.
pub fn position(text: &str) -> Option<Position> {
    let (north, rest) = half(text, ['N', 'S'])?;
    let (east, rest) = half(rest, ['E', 'W'])?;
    rest.trim().is_empty().then(|| Position::new(north, east).ok()).flatten()
}

/// One of the two, and what is left.
fn half(text: &str, sides: [char; 2]) -> Option<(f64, &str)> {
    let end = text.find(sides)?;
    let (number, rest) = text.split_at(end);
    let (degrees, minutes) = number.split_once('°')?;
    let minutes = minutes.trim().trim_end_matches(['′', '\'']);
    let (degrees, minutes): (u16, f64) = (degrees.trim().parse().ok()?, minutes.trim().parse().ok()?);
    let deg = (0.0..60.0).contains(&minutes).then_some(f64::from(degrees) + minutes / 60.0)?;
    Some((if rest.starts_with(sides[1]) { -deg } else { deg }, &rest[1..]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_and_places() {
        assert_eq!(moment("1:05"), Some(Moment(3_900_000)));
        assert_eq!(moment("0:00:09"), Some(Moment(9_000)));
        for bad in ["", "5", "1:5", "1:60", "1:05:60", "1:05:00:00", "-1:00", "1:+5"] {
            assert_eq!(moment(bad), None, "{bad}");
        }
        let p = position("47°12.30′N 009°41.00'W").unwrap();
        assert_eq!(p.to_string(), "47°12.30′N 009°41.00′W");
        for bad in [
            "",
            "47 N 9 W",
            "47°60.00′N 009°41.00′W",
            "95°00.0′N 009°41.00′W",
            "9°1.0′W 7°1.0′N",
            "1°1′N 1°1′E x",
        ] {
            assert_eq!(position(bad), None, "{bad}");
        }
    }
}
