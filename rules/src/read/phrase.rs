//! One condition as a person writes it ("CPA is under 1 nm"), read into a test.
//!
//! ```text
//! condition = measure verb
//! measure   = quantity | "age of" quantity | ("highest" | "lowest" | "mean") quantity "in" time
//!           | ("distance to" | "bearing to") "mark" | "distance from anchor" | "transducer" "name"
//!           | "time of day" | "time on watch"
//! verb      = "is" ["not"] ("over" | "under" | "at least" | "at most") limit
//!           | "is" ["not"] ("between" | "outside") limit "and" limit
//!           | "is" ["not"] "within" direction "to" direction
//!           | "is" ["not"] word {"or" word}
//!           | "is missing for" time
//!           | "is off its mean over" time "by" limit
//!           | ("falls" | "rises" | "veers" | "backs" | "shifts") limit "in" time
//! ```
//! A limit is a number with its unit, for a wind speed also "force" and a number of the Beaufort scale; pressure may
//! fall or rise "slowly", "quickly" or "very rapidly" in place of a limit and a time, and fall "rapidly for the latitude in"
//! a time: by 1 hPa an hour at 60° and in proportion to the sine of the latitude elsewhere, but by no less than 5 hPa in a
//! day or 3 hPa in less. Letters count alike in either case. "are" is as good as "is".

use super::beaufort;
use super::measure::measure;
use super::number::{self, Tokens};
use crate::condition::{Measure, Predicate, Test, Trend};
use std::ops::Range;
use std::time::Duration;
use terms::{Dimension, Position, Quantity, nearest};

/// What is wrong with a phrase, and where.
#[derive(Debug, Clone, PartialEq)]
pub struct PhraseError {
    /// Bytes of the phrase.
    pub span: Range<usize>,
    /// What is wrong and what was expected.
    pub message: String,
}

/// The result of reading a part.
pub type Read<T> = Result<T, PhraseError>;

/// A mark that a phrase may name.
pub type Marks = [(String, Position)];

/// Words after which a measure has ended.
pub(super) const VERBS: [&str; 7] = ["is", "are", "falls", "rises", "veers", "backs", "shifts"];
/// What may follow "is".
const AFTER_IS: [&str; 9] = [
    "over",
    "under",
    "at least",
    "at most",
    "between",
    "outside",
    "within",
    "missing for",
    "off its mean over",
];
/// Kinds that "ship" covers: whoever is met at sea and has a closest point of approach.
const SHIPS: [&str; 5] = ["vessel", "associated-craft", "group", "radar", "other"];
/// Least change in three hours, in hPa, for each term of the pressure's tendency: slowly 0.1 to 1.5, quickly 3.6 to
/// 6.0, very rapidly more than 6.0 (Met Office, terms of the shipping forecast).
const TENDENCIES: [(&[&str], f64); 3] =
    [(&["slowly"], 0.1), (&["quickly"], 3.6), (&["very", "rapidly"], 6.1)];
/// A fall of 1 hPa an hour at 60° of latitude, and in proportion to its sine elsewhere.
const FOR_LATITUDE: [&str; 4] = ["rapidly", "for", "the", "latitude"];
/// The window of those terms.
const TENDENCY_WINDOW: Duration = Duration::from_secs(3 * 3600);
/// Longest window of time kept.
const LONGEST_WINDOW: Duration = Duration::from_secs(7 * 86_400);

/// Reads a whole condition.
///
/// # Errors
/// The first thing wrong with it.
pub fn test(text: &str, marks: &Marks) -> Read<Test> {
    let mut t = Tokens::of(text)?;
    let start = t.span_here();
    let measure = measure(&mut t, marks)?;
    let measured = start.start..t.span_before().end;
    let predicate = predicate(&mut t, &measure, measured)?;
    let (predicate, measure) = match predicate {
        (p, Some(dimension)) => (p, with_dimension(measure, dimension)),
        (p, None) => (p, measure),
    };
    t.end()?;
    Ok(Test { measure, predicate })
}

fn with_dimension(measure: Measure, dimension: Dimension) -> Measure {
    match measure {
        Measure::Transducer(name, _) => Measure::Transducer(name, dimension),
        m => m,
    }
}

/// The predicate; for a transducer also what it measures, as its unit says.
fn predicate(
    t: &mut Tokens<'_>,
    m: &Measure,
    measured: Range<usize>,
) -> Read<(Predicate, Option<Dimension>)> {
    for (word, trend) in [
        ("falls", Trend::Falls),
        ("rises", Trend::Rises),
        ("veers", Trend::Veers),
        ("backs", Trend::Backs),
        ("shifts", Trend::Shifts),
    ] {
        let at = t.span_here();
        if t.take(&[word]) {
            return changes(t, m, trend, at);
        }
    }
    if !t.take(&["is"]) && !t.take(&["are"]) {
        let (found, span) = t.here();
        let hint = did_you_mean(&found, VERBS);
        let found = if found.is_empty() { "nothing".to_owned() } else { format!("\"{found}\"") };
        return Err(error(
            span,
            format!("{found} after {m}; expected is, falls, rises, veers, backs or shifts{hint}"),
        ));
    }
    // "not under command" is a status; its denial is "is not not under command".
    let is_a_word = matches!(m, Measure::Quantity(q) if q.words().iter().any(|w| t.stands(w)));
    let not = !is_a_word && t.take(&["not"]);
    let at = t.span_here();
    if t.take(&["missing"]) {
        if not {
            return Err(error(at, "\"is not missing\" cannot be judged; put the condition under none = […]"));
        }
        t.expect(&["for"])?;
        return Ok((Predicate::Missing(duration(t)?), None));
    }
    if t.take(&["off", "its", "mean"]) {
        t.expect(&["over"])?;
        numeric(m, at)?;
        steady_measure(m, measured)?;
        let over = window(t)?;
        t.expect(&["by"])?;
        let (by, dimension) = difference(t, m)?;
        return Ok((Predicate::OffMean(by, over), dimension));
    }
    // "under way using engine" is a status, no limit.
    let is_word = m.dimension() == Dimension::Word || *m == Measure::Quantity(Quantity::Identity);
    if !is_word && let Some(p) = limits(t, m, not, at)? {
        return Ok(p);
    }
    words(t, m, not)
}

/// The forms with limits, or `None` if a word comes next.
fn limits(
    t: &mut Tokens<'_>,
    m: &Measure,
    not: bool,
    at: Range<usize>,
) -> Read<Option<(Predicate, Option<Dimension>)>> {
    if let Some(p) = beaufort::limits(t, m, not)? {
        return Ok(Some((p, None)));
    }
    let over = t.take(&["over"]) || t.take(&["above"]) || t.take(&["more", "than"]);
    if over || t.take(&["under"]) || t.take(&["below"]) || t.take(&["less", "than"]) {
        numeric(m, at.clone())?;
        on_a_line(m, at)?;
        let at = t.span_here();
        let (limit, d) = limit(t, m)?;
        within_half_a_circle(m, limit, at)?;
        let p = match (over, not) {
            (true, false) => Predicate::Over(limit),
            (true, true) => Predicate::AtMost(limit),
            (false, false) => Predicate::Under(limit),
            (false, true) => Predicate::AtLeast(limit),
        };
        return Ok(Some((p, d)));
    }
    let least = t.take(&["at", "least"]);
    if least || t.take(&["at", "most"]) {
        numeric(m, at.clone())?;
        on_a_line(m, at)?;
        let at = t.span_here();
        let (limit, d) = limit(t, m)?;
        within_half_a_circle(m, limit, at)?;
        let p = match (least, not) {
            (true, false) => Predicate::AtLeast(limit),
            (true, true) => Predicate::Under(limit),
            (false, false) => Predicate::AtMost(limit),
            (false, true) => Predicate::Over(limit),
        };
        return Ok(Some((p, d)));
    }
    let between = t.take(&["between"]);
    if between || t.take(&["outside"]) {
        numeric(m, at.clone())?;
        on_a_line(m, at.clone())?;
        let (a, b, d) = pair(t, m, "and")?;
        if a >= b && *m != Measure::TimeOfDay {
            let span = at.start..t.span_before().end;
            return Err(error(span, "the limits are in the wrong order; expected the smaller one first"));
        }
        let p = if between == not { Predicate::Outside(a, b) } else { Predicate::Between(a, b) };
        return Ok(Some((p, d)));
    }
    if t.take(&["within"]) {
        numeric(m, at.clone())?;
        if !matches!(m.dimension(), Dimension::Direction | Dimension::Side) {
            return Err(error(
                at,
                format!("{m} is no direction and has no sector; expected between … and …"),
            ));
        }
        let (a, b, d) = pair(t, m, "to")?;
        let p = if not { Predicate::NotWithin(a, b) } else { Predicate::Within(a, b) };
        return Ok(Some((p, d)));
    }
    Ok(None)
}

fn words(t: &mut Tokens<'_>, m: &Measure, not: bool) -> Read<(Predicate, Option<Dimension>)> {
    let q = match m {
        Measure::Quantity(q) if q.dimension() == Dimension::Word || *q == Quantity::Identity => *q,
        _ => {
            let (found, span) = t.rest();
            let hint = did_you_mean(found.split(' ').next().unwrap_or(""), AFTER_IS);
            let expected = match m.dimension() {
                Dimension::Direction => "within … to …, off its mean over … by … or missing for …",
                Dimension::Word | Dimension::Place => "missing for …",
                _ => "over, under, at least, at most, between … and …, outside … and …, or missing for …",
            };
            let found = if found.is_empty() { "nothing".to_owned() } else { format!("\"{found}\"") };
            return Err(error(span, format!("{found} after \"is\"; expected {expected}{hint}")));
        }
    };
    let mut list = Vec::new();
    loop {
        let (word, span) = match t.quoted("a word") {
            Ok(quoted) => quoted,
            Err(_) => t.until(&["or"]),
        };
        if word.is_empty() {
            return Err(error(span, format!("a word is missing; expected {}", expected_words(q))));
        }
        if q == Quantity::Kind && word.eq_ignore_ascii_case("ship") {
            list.extend(SHIPS.iter().map(|w| (*w).to_owned()));
        } else {
            list.push(known_word(q, &word, span)?);
        }
        if !t.take(&["or"]) {
            break;
        }
    }
    Ok((if not { Predicate::IsNot(list) } else { Predicate::Is(list) }, None))
}

fn expected_words(q: Quantity) -> String {
    match q {
        Quantity::Kind => format!("ship, {}", q.words().join(", ")),
        q if q.words().is_empty() => "a word".to_owned(),
        q => q.words().join(", "),
    }
}

/// A word that a quantity can have, as written there.
///
/// # Errors
/// If the quantity never has it.
pub fn known_word(q: Quantity, word: &str, span: Range<usize>) -> Read<String> {
    if q == Quantity::Identity {
        return match terms::Mmsi::parse(word) {
            Some(mmsi) => Ok(mmsi.to_string()),
            None => Err(error(span, format!("\"{word}\" is no MMSI; expected nine digits"))),
        };
    }
    if q.words().is_empty() {
        return Ok(word.to_owned());
    }
    match q.words().iter().find(|w| w.eq_ignore_ascii_case(word)) {
        Some(w) => Ok((*w).to_owned()),
        None => {
            let hint = did_you_mean(word, q.words().iter().copied());
            Err(error(span, format!("{q} is never \"{word}\"; expected {}{hint}", expected_words(q))))
        }
    }
}

fn changes(
    t: &mut Tokens<'_>,
    m: &Measure,
    trend: Trend,
    at: Range<usize>,
) -> Read<(Predicate, Option<Dimension>)> {
    numeric(m, at.clone())?;
    steady_measure(m, at.clone())?;
    let turns = matches!(trend, Trend::Veers | Trend::Backs | Trend::Shifts);
    if turns != (m.dimension() == Dimension::Direction) {
        let expected = if turns { "falls or rises" } else { "veers, backs or shifts" };
        let kind = if turns { "no direction" } else { "a direction" };
        return Err(error(at, format!("{m} is {kind}; expected {expected}")));
    }
    if matches!(m, Measure::Quantity(Quantity::Pressure | Quantity::PressureCorrected)) {
        if trend == Trend::Falls && t.take(&FOR_LATITUDE) {
            t.expect(&["in"])?;
            let window = window(t)?;
            let by_hpa = window.as_secs_f64() / 3600.0;
            return Ok((Predicate::Changes(Trend::FallsForLatitude, by_hpa, window), None));
        }
        for (words, by_hpa) in TENDENCIES {
            if t.take(words) {
                return Ok((Predicate::Changes(trend, by_hpa, TENDENCY_WINDOW), None));
            }
        }
    }
    let (by, dimension) = difference(t, m)?;
    t.expect(&["in"])?;
    Ok((Predicate::Changes(trend, by, window(t)?), dimension))
}

/// Windows are kept of what the picture reports, not of a window or a clock.
fn steady_measure(m: &Measure, at: Range<usize>) -> Read<()> {
    match m {
        Measure::Over(..) | Measure::Age(_) | Measure::TimeOfDay | Measure::TimeOnWatch => Err(error(
            at,
            format!("{m} is not followed over a window; expected a quantity, such as pressure"),
        )),
        _ => Ok(()),
    }
}

fn numeric(m: &Measure, at: Range<usize>) -> Read<()> {
    match m.dimension() {
        Dimension::Word => {
            let q = if let Measure::Quantity(q) = m { expected_words(*q) } else { "a word".to_owned() };
            Err(error(at, format!("{m} is a word and has no limits; expected {q}")))
        }
        Dimension::Place => Err(error(
            at,
            format!("{m} has no limits; expected \"is missing for …\", or \"age of {m} is over …\""),
        )),
        _ if *m == Measure::Quantity(Quantity::Identity) => {
            Err(error(at, "an MMSI has no limits; expected nine digits"))
        }
        _ => Ok(()),
    }
}

fn on_a_line(m: &Measure, at: Range<usize>) -> Read<()> {
    if m.dimension() == Dimension::Direction {
        return Err(error(
            at,
            format!("{m} goes round the circle; expected a sector, \"is within 350 deg to 010 deg\""),
        ));
    }
    Ok(())
}

/// An angle to one side is at most half a circle; only the edges of a sector may go on to 360.
fn within_half_a_circle(m: &Measure, limit: f64, at: Range<usize>) -> Read<()> {
    if m.dimension() == Dimension::Side && limit.abs() > 180.0 {
        return Err(error(at, format!("{m} lies between -180 deg (port) and 180 deg (starboard)")));
    }
    Ok(())
}

/// Two limits; the first may take its unit from the second.
fn pair(t: &mut Tokens<'_>, m: &Measure, joint: &str) -> Read<(f64, f64, Option<Dimension>)> {
    if *m == Measure::TimeOfDay {
        let from = t.time_of_day()?;
        t.expect(&[joint])?;
        return Ok((from, t.time_of_day()?, None));
    }
    let (first, first_span) = t.number()?;
    let unit = t.unit_unless(joint);
    t.expect(&[joint])?;
    let at = t.span_here();
    let (b, dimension) = limit(t, m)?;
    if joint == "and" {
        within_half_a_circle(m, b, at)?;
    }
    let unit = match unit {
        Some(u) => Some(u),
        None => t.last_unit(),
    };
    let (a, _) = number::in_own_unit(m, first, first_span.clone(), unit.as_ref(), dimension)?;
    if joint == "and" {
        within_half_a_circle(m, a, first_span)?;
    }
    Ok((a, b, dimension))
}

fn limit(t: &mut Tokens<'_>, m: &Measure) -> Read<(f64, Option<Dimension>)> {
    if *m == Measure::TimeOfDay {
        return Ok((t.time_of_day()?, None));
    }
    let (n, span) = t.number()?;
    let unit = t.unit_unless("and");
    number::in_own_unit(m, n, span, unit.as_ref(), None)
}

/// How far a value moves: more than zero, and without the offset of a temperature scale.
fn difference(t: &mut Tokens<'_>, m: &Measure) -> Read<(f64, Option<Dimension>)> {
    let (n, span) = t.number()?;
    let unit = t.unit_unless("in");
    let (by, dimension) = number::difference_in_own_unit(m, n, span.clone(), unit.as_ref())?;
    if by <= 0.0 {
        return Err(error(span, "a change is more than 0; the verb says which way"));
    }
    if m.dimension() == Dimension::Direction && by > 170.0 {
        return Err(error(span, "a direction cannot turn by more than 170 deg one way"));
    }
    Ok((by, dimension))
}

fn duration(t: &mut Tokens<'_>) -> Read<Duration> {
    number::duration(t)
}

/// A length of time that a window may have.
///
/// # Errors
/// None, or one too short or too long.
pub(super) fn window(t: &mut Tokens<'_>) -> Read<Duration> {
    let at = t.span_here();
    let d = duration(t)?;
    if d < Duration::from_secs(1) || d > LONGEST_WINDOW {
        return Err(error(at.start..t.span_before().end, "a window lasts from 1 s to 7 d"));
    }
    Ok(d)
}

/// An error at a place.
pub fn error(span: Range<usize>, message: impl Into<String>) -> PhraseError {
    PhraseError { span, message: message.into() }
}

/// The words "did you mean" with the nearest candidate, or nothing.
pub fn did_you_mean<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> String {
    nearest(word, candidates).map_or_else(String::new, |n| format!("; did you mean \"{n}\"?"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_status_that_begins_with_not_is_no_denial() {
        let said = |text: &str| test(text, &[]).unwrap().predicate;
        let nuc = vec!["not under command".to_owned()];
        assert_eq!(said("status is not under command"), Predicate::Is(nuc.clone()));
        assert_eq!(said("status is not not under command"), Predicate::IsNot(nuc));
        assert_eq!(said("status is not moored"), Predicate::IsNot(vec!["moored".to_owned()]));
        assert_eq!(said("status is under way sailing"), Predicate::Is(vec!["under way sailing".to_owned()]));
    }
}
