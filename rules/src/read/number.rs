//! Words, numbers, units and times within a phrase.

use super::phrase::{PhraseError, Read, did_you_mean, error};
use crate::condition::Measure;
use std::ops::Range;
use std::time::Duration;
use terms::{Dimension, Hour};

/// Most words in a phrase.
const MOST_WORDS: usize = 64;
/// Greatest number allowed.
const GREATEST: f64 = 1e7;

/// A word of a phrase, or a name in quotation marks.
#[derive(Debug, Clone, PartialEq)]
struct Token {
    text: String,
    quoted: bool,
    span: Range<usize>,
}

/// A unit as written, with its place.
pub type WrittenUnit = (String, Range<usize>);

/// The words of a phrase, read from left to right.
#[derive(Debug, Clone)]
pub struct Tokens<'a> {
    source: &'a str,
    list: Vec<Token>,
    next: usize,
    last_unit: Option<WrittenUnit>,
}

impl<'a> Tokens<'a> {
    /// Splits at spaces, at the edge between a number and its unit, and around names in quotation marks.
    ///
    /// # Errors
    /// An open quotation mark, or too many words.
    pub fn of(source: &'a str) -> Read<Self> {
        let mut list: Vec<Token> = Vec::new();
        let mut rest = 0;
        while let Some(start) = source[rest..].find(|c: char| !c.is_whitespace()).map(|i| rest + i) {
            if list.len() >= MOST_WORDS {
                return Err(error(
                    start..source.len(),
                    format!("a condition has at most {MOST_WORDS} words"),
                ));
            }
            if source[start..].starts_with('"') {
                let Some(length) = source[start + 1..].find('"') else {
                    return Err(error(start..source.len(), "the name's closing quotation mark is missing"));
                };
                let end = start + 1 + length + 1;
                list.push(Token {
                    text: source[start + 1..end - 1].to_owned(),
                    quoted: true,
                    span: start..end,
                });
                rest = end;
                continue;
            }
            let end = source[start..]
                .find(|c: char| c.is_whitespace() || c == '"')
                .map_or(source.len(), |i| start + i);
            let word = &source[start..end];
            match number_length(word) {
                Some(n) if n < word.len() && !word[n..].starts_with(['.', ',', ':']) => {
                    list.push(Token { text: word[..n].to_owned(), quoted: false, span: start..start + n });
                    list.push(Token { text: word[n..].to_owned(), quoted: false, span: start + n..end });
                }
                _ => list.push(Token { text: word.to_owned(), quoted: false, span: start..end }),
            }
            rest = end;
        }
        Ok(Self { source, list, next: 0, last_unit: None })
    }

    fn word(&self, ahead: usize) -> Option<&str> {
        self.list.get(self.next + ahead).filter(|t| !t.quoted).map(|t| t.text.as_str())
    }

    fn stand(&self, words: &[&str]) -> bool {
        words.iter().enumerate().all(|(i, w)| self.word(i).is_some_and(|x| x.eq_ignore_ascii_case(w)))
    }

    /// Whether these words, single-spaced, come next.
    pub fn stands(&self, words: &str) -> bool {
        words.split(' ').enumerate().all(|(i, w)| self.word(i).is_some_and(|x| x.eq_ignore_ascii_case(w)))
    }

    /// Skips `count` words.
    pub fn skip(&mut self, count: usize) {
        self.next = (self.next + count).min(self.list.len());
    }

    /// Takes these words if they come next.
    pub fn take(&mut self, words: &[&str]) -> bool {
        let stand = self.stand(words);
        if stand {
            self.next += words.len();
        }
        stand
    }

    /// Takes these words.
    ///
    /// # Errors
    /// If others come next.
    pub fn expect(&mut self, words: &[&str]) -> Read<()> {
        if self.take(words) {
            return Ok(());
        }
        let (found, span) = self.here();
        Err(error(span, format!("{}; expected \"{}\"", met(&found), words.join(" "))))
    }

    /// Takes a name in quotation marks.
    ///
    /// # Errors
    /// If there is none.
    pub fn quoted(&mut self, what: &str) -> Read<(String, Range<usize>)> {
        match self.list.get(self.next) {
            Some(t) if t.quoted => {
                self.next += 1;
                Ok((t.text.clone(), t.span.clone()))
            }
            _ => {
                let (found, span) = self.here();
                Err(error(span, format!("{}; expected {what} in quotation marks", met(&found))))
            }
        }
    }

    /// The next word and its place; empty at the end.
    pub fn here(&self) -> (String, Range<usize>) {
        (self.list.get(self.next).map_or_else(String::new, |t| t.text.clone()), self.span_here())
    }

    /// The place of the next word; at the end, the place behind the last.
    pub fn span_here(&self) -> Range<usize> {
        let end = self.source.trim_end().len();
        self.list.get(self.next).map_or(end..end, |t| t.span.clone())
    }

    /// The place of the word before.
    pub fn span_before(&self) -> Range<usize> {
        self.next.checked_sub(1).and_then(|i| self.list.get(i)).map_or(0..0, |t| t.span.clone())
    }

    /// Takes words up to one of these, or to the end.
    pub fn until(&mut self, stops: &[&str]) -> (String, Range<usize>) {
        let from = self.next;
        while self.word(0).is_some_and(|w| !stops.iter().any(|s| s.eq_ignore_ascii_case(w))) {
            self.next += 1;
        }
        self.taken_since(from)
    }

    /// Takes everything that is left.
    pub fn rest(&mut self) -> (String, Range<usize>) {
        let from = self.next;
        self.next = self.list.len();
        self.taken_since(from)
    }

    fn taken_since(&self, from: usize) -> (String, Range<usize>) {
        match self.list.get(from..self.next) {
            Some([first, .., last]) => {
                let span = first.span.start..last.span.end;
                (self.source[span.clone()].to_owned(), span)
            }
            Some([only]) => (only.text.clone(), only.span.clone()),
            _ => (String::new(), self.span_here()),
        }
    }

    /// Takes a number: digits, with an optional sign and decimal point.
    ///
    /// # Errors
    /// If there is none, or it is too great.
    pub fn number(&mut self) -> Read<(f64, Range<usize>)> {
        let (text, span) = self.here();
        if text.is_empty() {
            return Err(error(span, "the condition ends; expected a number"));
        }
        if number_length(&text) != Some(text.len()) {
            let hint = if text.contains(',') { "; the decimal mark is a point" } else { "" };
            return Err(error(span, format!("\"{text}\" is no number; expected one such as 0.5{hint}")));
        }
        let n: f64 = text.replace('−', "-").parse().unwrap_or(f64::NAN);
        if n.is_nan() || n.abs() > GREATEST {
            return Err(error(span, format!("{text} is out of range; expected a number up to {GREATEST}")));
        }
        self.next += 1;
        Ok((n, span))
    }

    /// Takes the next word as a unit, unless it is `word`.
    pub fn unit_unless(&mut self, word: &str) -> Option<WrittenUnit> {
        let unit = self.list.get(self.next).filter(|t| {
            !t.quoted && !t.text.eq_ignore_ascii_case(word) && number_length(&t.text) != Some(t.text.len())
        })?;
        self.last_unit = Some((unit.text.clone(), unit.span.clone()));
        self.next += 1;
        self.last_unit.clone()
    }

    /// The last unit taken.
    pub fn last_unit(&self) -> Option<WrittenUnit> {
        self.last_unit.clone()
    }

    /// Takes a time of day such as `22:30`, in seconds since midnight.
    ///
    /// # Errors
    /// If there is none.
    pub fn time_of_day(&mut self) -> Read<f64> {
        let (text, span) = self.here();
        match Hour::parse(&text) {
            Some(hour) => {
                self.next += 1;
                Ok(hour.seconds())
            }
            None => Err(error(span, format!("\"{text}\" is no time of day; expected one such as 22:30"))),
        }
    }

    /// Checks that nothing is left.
    ///
    /// # Errors
    /// If something is.
    pub fn end(&mut self) -> Read<()> {
        let (rest, span) = self.rest();
        if rest.is_empty() {
            return Ok(());
        }
        let hint = if rest.to_lowercase().starts_with("and ") || rest.to_lowercase().starts_with("or ") {
            "; two conditions stand as two, under all = […] or any = […]"
        } else {
            ""
        };
        Err(error(span, format!("\"{rest}\" is too much; the condition was complete before it{hint}")))
    }
}

/// What was found in place of what was expected.
fn met(found: &str) -> String {
    if found.is_empty() { "the condition ends".to_owned() } else { format!("found \"{found}\"") }
}

/// Length in bytes of the number that a word begins with: sign, digits, point and digits.
fn number_length(word: &str) -> Option<usize> {
    let sign = word.chars().next().filter(|c| matches!(c, '-' | '+' | '−')).map_or(0, char::len_utf8);
    let digits = |from: usize| word[from..].bytes().take_while(u8::is_ascii_digit).count();
    let whole = digits(sign);
    let mut end = sign + whole;
    if whole > 0 && word[end..].starts_with('.') {
        let fraction = digits(end + 1);
        if fraction > 0 {
            end += 1 + fraction;
        }
    }
    (whole > 0).then_some(end)
}

/// A time as `90 s` or `1 h 30 min`.
///
/// # Errors
/// If there is none, or it is below zero.
pub fn duration(t: &mut Tokens<'_>) -> Read<Duration> {
    let mut total_s = 0.0;
    let mut any = false;
    while !any || t.word(0).is_some_and(|w| number_length(w) == Some(w.len())) {
        let (n, span) = t.number()?;
        if n < 0.0 {
            return Err(error(span, "a time here is never below 0"));
        }
        let unit = t.unit_unless("by");
        let (symbol, unit_span) = unit.ok_or_else(|| missing_unit(Dimension::Time, n, span))?;
        total_s += convert(Dimension::Time, n, &symbol, unit_span, false)?;
        any = true;
    }
    Duration::try_from_secs_f64(total_s).map_err(|_| error(t.span_before(), "a time out of range"))
}

/// Units that a transducer's limit may have, likelier meaning first.
const OF_TRANSDUCERS: [Dimension; 7] = [
    Dimension::Temperature,
    Dimension::Pressure,
    Dimension::Voltage,
    Dimension::Length,
    Dimension::Side,
    Dimension::Speed,
    Dimension::Time,
];

fn dimension_of(m: &Measure, unit: Option<&WrittenUnit>) -> (Dimension, Option<Dimension>) {
    if !matches!(m, Measure::Transducer(..)) {
        return (m.dimension(), None);
    }
    let d = match unit {
        None => Dimension::Number,
        Some((u, _)) => OF_TRANSDUCERS
            .into_iter()
            .find(|d| d.in_own_unit(0.0, u).is_some())
            .unwrap_or(Dimension::Temperature),
    };
    (d, Some(d))
}

/// A limit in the measure's own unit, checked against what the measure can be. A transducer's unit says what it
/// measures; `told` is that of a second limit.
///
/// # Errors
/// A unit missing or wrong, or a number that the measure never has.
pub fn in_own_unit(
    m: &Measure,
    n: f64,
    span: Range<usize>,
    unit: Option<&WrittenUnit>,
    told: Option<Dimension>,
) -> Read<(f64, Option<Dimension>)> {
    let (dimension, found) = dimension_of(m, unit);
    if let (Some(a), Some(b)) = (told, found)
        && a != b
    {
        return Err(error(span, "the two limits have units of different kinds"));
    }
    let value = number_with_unit(dimension, n, span.clone(), unit, false)?;
    let wrong = match dimension {
        Dimension::Direction if !(0.0..=360.0).contains(&value) => "a direction lies between 0 and 360 deg",
        Dimension::Side if value.abs() > 360.0 => "an angle lies between -180 and 360 deg",
        Dimension::Speed if value < 0.0 => "a speed is never below 0",
        Dimension::Distance if value < 0.0 && !signed(m) => "a distance is never below 0",
        Dimension::Temperature if value < -273.15 => "nothing is that cold",
        _ => return Ok((value, found)),
    };
    Err(error(span, wrong))
}

/// Whether a distance has a side.
fn signed(m: &Measure) -> bool {
    matches!(
        m,
        Measure::Quantity(terms::Quantity::CrossTrackError)
            | Measure::Over(_, terms::Quantity::CrossTrackError, _)
    )
}

/// A difference in the measure's own unit.
///
/// # Errors
/// A unit missing or wrong.
pub fn difference_in_own_unit(
    m: &Measure,
    n: f64,
    span: Range<usize>,
    unit: Option<&WrittenUnit>,
) -> Read<(f64, Option<Dimension>)> {
    let (dimension, found) = dimension_of(m, unit);
    Ok((number_with_unit(dimension, n, span, unit, true)?, found))
}

fn number_with_unit(
    dimension: Dimension,
    n: f64,
    span: Range<usize>,
    unit: Option<&WrittenUnit>,
    difference: bool,
) -> Read<f64> {
    match unit {
        None if dimension.units().is_empty() => Ok(n),
        None => Err(missing_unit(dimension, n, span)),
        Some((u, at)) if dimension.units().is_empty() => {
            Err(error(at.clone(), format!("\"{u}\" is too much; this number has no unit")))
        }
        Some((u, at)) => convert(dimension, n, u, at.clone(), difference),
    }
}

fn convert(dimension: Dimension, n: f64, symbol: &str, at: Range<usize>, difference: bool) -> Read<f64> {
    // "2 cables" and "20 fathoms" are spoken this way.
    let singular = symbol.strip_suffix('s').filter(|s| s.len() > 3);
    let unit = dimension.units().iter().find(|u| u.symbol == symbol || Some(u.symbol) == singular);
    match unit {
        Some(u) if difference => Ok(n * u.factor),
        Some(u) => Ok(n * u.factor + u.offset),
        None => {
            let all = dimension.units();
            let hint = match spelt_out(symbol).filter(|s| all.iter().any(|u| u.symbol == *s)) {
                Some(s) => format!("; did you mean \"{s}\"?"),
                None => did_you_mean(symbol, all.iter().map(|u| u.symbol)),
            };
            Err(error(
                at,
                format!("\"{symbol}\" is not a unit of this; expected {}{hint}", listed(dimension)),
            ))
        }
    }
}

fn missing_unit(dimension: Dimension, n: f64, span: Range<usize>) -> PhraseError {
    error(span, format!("{n} of what? The unit is missing; expected {}", listed(dimension)))
}

fn listed(dimension: Dimension) -> String {
    dimension.units().iter().map(|u| u.symbol).collect::<Vec<_>>().join(", ")
}

/// The symbol of a unit that was written out.
fn spelt_out(word: &str) -> Option<&'static str> {
    let words: [(&[&str], &str); 13] = [
        (&["knot", "knots", "kt", "kts", "kn."], "kn"),
        (&["mile", "miles", "nmi", "nautical", "NM", "sm"], "nm"),
        (&["degree", "degrees", "degs"], "deg"),
        (&["second", "seconds", "sec", "secs"], "s"),
        (&["minute", "minutes", "mins", "m"], "min"),
        (&["hour", "hours", "hr", "hrs"], "h"),
        (&["day", "days"], "d"),
        (&["metre", "metres", "meter", "meters"], "m"),
        (&["foot", "feet"], "ft"),
        (&["millibar", "millibars", "mb", "mbars"], "mbar"),
        (&["hectopascal", "hectopascals", "hpa"], "hPa"),
        (&["volt", "volts", "v"], "V"),
        (&["celsius", "Celsius", "c"], "C"),
    ];
    words.iter().find(|(spelt, _)| spelt.contains(&word)).map(|(_, symbol)| *symbol)
}
