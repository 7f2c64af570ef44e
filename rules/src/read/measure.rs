//! The measure that a phrase begins with.

use super::number::Tokens;
use super::phrase::{Marks, Read, VERBS, did_you_mean, error, window};
use crate::condition::{Extent, Measure};
use terms::{Dimension, Position, Quantity, Whose};

/// Reads a measure alone, as in the braces of a text.
///
/// # Errors
/// The first thing wrong with it.
pub fn measure_alone(text: &str, marks: &Marks) -> Read<Measure> {
    let mut t = Tokens::of(text)?;
    let m = measure(&mut t, marks)?;
    t.end()?;
    Ok(m)
}

/// Reads the measure that comes next.
///
/// # Errors
/// The first thing wrong with it.
pub fn measure(t: &mut Tokens<'_>, marks: &Marks) -> Read<Measure> {
    if t.take(&["age", "of"]) {
        return Ok(Measure::Age(quantity(t)?));
    }
    for (word, extent) in [("highest", Extent::Highest), ("lowest", Extent::Lowest), ("mean", Extent::Mean)] {
        if t.take(&[word]) {
            let at = t.span_here();
            let q = quantity(t)?;
            if matches!(q.dimension(), Dimension::Word | Dimension::Place) {
                return Err(error(at, format!("{q} has no {word} value; it is no number")));
            }
            if q.dimension() == Dimension::Direction && extent != Extent::Mean {
                return Err(error(
                    at,
                    format!("{q} goes round the circle and has no {word} value; write \"mean {q} in …\""),
                ));
            }
            t.expect(&["in"])?;
            return Ok(Measure::Over(extent, q, window(t)?));
        }
    }
    // Such as "distance to waypoint", which needs no name in quotation marks.
    let is_quantity = Quantity::ALL.iter().any(|q| q.name().contains(" to ") && t.stands(q.name()));
    if !is_quantity && t.take(&["distance", "to"]) {
        let (name, position) = mark(t, marks)?;
        return Ok(Measure::MarkRange(name, position));
    }
    if !is_quantity && t.take(&["bearing", "to"]) {
        let (name, position) = mark(t, marks)?;
        return Ok(Measure::MarkBearing(name, position));
    }
    if t.take(&["distance", "from", "anchor"]) || t.take(&["distance", "from", "the", "anchor"]) {
        return Ok(Measure::AnchorRange);
    }
    if t.take(&["transducer"]) {
        return Ok(Measure::Transducer(t.quoted("the transducer's name")?.0, Dimension::Number));
    }
    if t.take(&["time", "of", "day"]) {
        return Ok(Measure::TimeOfDay);
    }
    if t.take(&["time", "on", "watch"]) {
        return Ok(Measure::TimeOnWatch);
    }
    quantity(t).map(Measure::Quantity)
}

fn mark(t: &mut Tokens<'_>, marks: &Marks) -> Read<(String, Position)> {
    let (name, span) = t.quoted("the mark's name")?;
    match marks.iter().find(|(n, _)| n.eq_ignore_ascii_case(&name)) {
        Some(found) => Ok(found.clone()),
        None => {
            let hint = did_you_mean(&name, marks.iter().map(|(n, _)| n.as_str()));
            Err(error(span, format!("no mark is named \"{name}\"; expected one of [[mark]]{hint}")))
        }
    }
}

/// The longest quantity name that comes next.
fn quantity(t: &mut Tokens<'_>) -> Read<Quantity> {
    let best = Quantity::ALL
        .iter()
        .filter(|q| t.stands(q.name()))
        .max_by_key(|q| q.name().split(' ').count())
        .copied();
    if let Some(q) = best {
        t.skip(q.name().split(' ').count());
        return Ok(q);
    }
    let (words, span) = t.until(&VERBS);
    if words.is_empty() {
        return Err(error(span, "a quantity is missing here, such as CPA or depth below keel"));
    }
    let others = ["distance from anchor", "time of day", "time on watch"];
    let hint = did_you_mean(&words, Quantity::ALL.iter().map(|q| q.name()).chain(others));
    let hint = match alias(&words) {
        Some(name) if hint.is_empty() => format!("; did you mean \"{name}\"?"),
        _ => hint,
    };
    Err(error(
        span,
        format!("there is no quantity \"{words}\"; expected one such as CPA, SOG or pressure{hint}"),
    ))
}

/// Common other names for a quantity.
fn alias(words: &str) -> Option<&'static str> {
    let names = [
        ("speed", "SOG"),
        ("speed over ground", "SOG"),
        ("course", "COG"),
        ("course over ground", "COG"),
        ("stw", "speed through water"),
        ("depth", "depth below keel"),
        ("wind", "true wind speed"),
        ("wind speed", "true wind speed"),
        ("wind direction", "true wind direction"),
        ("gust", "highest true wind speed in 10 min"),
        ("rot", "rate of turn"),
        ("xte", "cross-track error"),
        ("barometer", "pressure"),
        ("battery", "battery voltage"),
        ("gps", "position"),
        ("fix", "position"),
        ("type", "ship type"),
    ];
    names.iter().find(|(n, _)| n.eq_ignore_ascii_case(words)).map(|(_, name)| *name)
}

/// Whose quantity it is, in words.
pub fn owner(whose: Whose) -> &'static str {
    match whose {
        Whose::Own => "own vessel",
        Whose::Target => "target",
        Whose::Feed => "feed",
    }
}
