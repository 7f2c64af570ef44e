//! Values in words: numbers with their units.

use crate::condition::Measure;
use crate::order::Piece;
use std::time::Duration;
use terms::{Dimension, METRES_PER_NM, Quantity, Value, rounded, speech};

/// Distances of the anchor and marks below this are in metres.
const NEAR_NM: f64 = 0.1;
/// A value with its unit, e.g. `0.42 nm`, `045°`, `12 min`.
fn value(dimension: Dimension, value: &Value) -> String {
    match value {
        Value::Number(n) => number(dimension, *n),
        Value::Word(w) => w.clone(),
        Value::There => "known".to_owned(),
    }
}

/// An order's text, with its values of this moment.
pub fn text(
    pieces: &[Piece],
    name: impl Fn() -> String,
    value: impl Fn(&Measure) -> Option<Value>,
) -> String {
    let mut out = String::new();
    let mut pieces = pieces.iter().peekable();
    while let Some(piece) = pieces.next() {
        match piece {
            Piece::Words(w) => out.push_str(w),
            Piece::Name => out.push_str(&name()),
            Piece::Value(m) => match value(m) {
                Some(v) => {
                    // "in {TCPA}" of what is past is "40 s ago", not "in 40 s ago".
                    let past = m.dimension() == Dimension::Time && v.number().is_some_and(|s| s < 0.0);
                    if past && let Some(before) = out.strip_suffix("in ") {
                        out.truncate(before.len());
                    }
                    out.push_str(&measure(m, &v));
                }
                None => {
                    let next = pieces.peek();
                    let next = if let Some(Piece::Words(words)) = next { words } else { "" };
                    missing(&mut out, m, next);
                }
            },
        }
    }
    out
}

/// A measure's value. An identity keeps its nine digits, a time of day its colon.
fn measure(m: &Measure, v: &Value) -> String {
    match (m, v) {
        (Measure::Quantity(Quantity::Identity), Value::Number(n)) => format!("{n:09.0}"),
        (Measure::TimeOfDay, Value::Number(n)) => {
            format!("{:02.0}:{:02.0}", (n / 3600.0).floor(), (n % 3600.0 / 60.0).floor())
        }
        // Near distances of the anchor or a mark in metres, as the chain is counted.
        (Measure::AnchorRange | Measure::MarkRange(..), Value::Number(n)) if n.abs() < NEAR_NM => {
            format!("{:.0} m", n * METRES_PER_NM)
        }
        (Measure::Quantity(q), Value::Number(n))
            if m.is_of_anchor() && q.dimension() == Dimension::Length =>
        {
            format!("{n:.0} m")
        }
        (m, v) => value(m.dimension(), v),
    }
}

/// Words behind or before which a value stands for a thing that has no value: "within …", "… off".
const BEFORE: [&str; 20] = [
    "about", "above", "after", "at", "below", "beyond", "by", "for", "from", "in", "least", "near", "of",
    "only", "over", "since", "than", "to", "under", "within",
];
const BEHIND: [&str; 8] = ["above", "abeam", "ahead", "astern", "away", "below", "from", "off"];

/// Puts a missing value into a text that was written for a value, so that it still reads as English: "CPA not known,
/// now an unknown distance off", "no position for an unknown time". `next` is what follows in the text.
fn missing(out: &mut String, m: &Measure, next: &str) {
    let last = out.trim_end().rsplit(' ').next().unwrap_or_default().to_owned();
    let follows = next.split_whitespace().next().unwrap_or_default();
    let behind = BEHIND.contains(&follows.trim_end_matches(|c: char| !c.is_alphabetic()));
    let preposition = BEFORE.contains(&last.as_str());
    // "CPA not known in an unknown time" says no more than "CPA not known".
    if preposition && let Some(said) = out.strip_suffix(&format!(" (not known) {last} ")) {
        out.truncate(said.len());
        out.push_str(" not known");
        return;
    }
    let head = last.is_empty() || last.ends_with([',', ';', '.']);
    if !head && !behind && !preposition {
        // "Heading (not known) has left its mean", but "pressure not known, falling".
        let goes_on = next.starts_with(' ') && follows.starts_with(char::is_alphabetic);
        out.push_str(if goes_on { "(not known)" } else { "not known" });
        return;
    }
    let capital = last.is_empty() || last.ends_with('.');
    out.push_str(if capital { "An unknown " } else { "an unknown " });
    out.push_str(match m.dimension() {
        Dimension::Length if m.to_string().contains("depth") => "depth",
        Dimension::Distance | Dimension::Length => "distance",
        Dimension::Speed => "speed",
        Dimension::Direction | Dimension::Side => "direction",
        Dimension::TurnRate => "rate of turn",
        Dimension::Pressure => "pressure",
        Dimension::Temperature => "temperature",
        Dimension::Voltage => "voltage",
        Dimension::Time => "time",
        Dimension::Number => "number",
        Dimension::Place => "place",
        Dimension::Word => "value",
    });
}

/// A measure's value as it is said aloud.
pub fn spoken(m: &Measure, v: Option<&Value>) -> String {
    let n = match (m, v) {
        (_, None) => return "not known".to_owned(),
        (Measure::Quantity(Quantity::Identity), Some(Value::Number(n))) => {
            return speech::digits(&format!("{n:09.0}"));
        }
        (_, Some(Value::Number(n))) => *n,
        (_, Some(Value::Word(w))) => return w.clone(),
        (_, Some(Value::There)) => return "known".to_owned(),
    };
    match m.dimension() {
        Dimension::Speed => format!("{} knots", speech::whole(n.abs().round() as u32)),
        Dimension::Distance => speech::distance(n),
        Dimension::Length if n.abs() < 10.0 => format!("{} metres", speech::decimal(n)),
        Dimension::Length => format!("{} metres", speech::decimal(n.round())),
        Dimension::Direction => speech::digits(&terms::three_digits(n)),
        Dimension::Side => speech::look(n, None),
        Dimension::TurnRate => format!("{} degrees a minute", speech::decimal(n.round())),
        Dimension::Pressure => format!("{} hectopascals", speech::whole(n.abs().round() as u32)),
        Dimension::Temperature => format!("{} degrees", speech::decimal(n.round())),
        Dimension::Voltage => format!("{} volts", speech::decimal(n)),
        Dimension::Time if n < 0.0 => format!("{} ago", speech::time(n)),
        Dimension::Time => speech::time(n),
        Dimension::Number | Dimension::Word | Dimension::Place => speech::decimal(n),
    }
}

/// A number in the dimension's own unit, with the digits that mean something at sea.
/// A number of a dimension with its unit.
pub fn number(dimension: Dimension, n: f64) -> String {
    // "-0" reads as an error.
    let n = if n == 0.0 { 0.0 } else { n };
    match dimension {
        Dimension::Speed => format!("{n:.1} kn"),
        Dimension::Distance if n.abs() < 10.0 => format!("{n:.2} nm"),
        Dimension::Distance => format!("{n:.1} nm"),
        Dimension::Length => format!("{n:.1} m"),
        Dimension::Direction => format!("{:03.0}°", terms::normal_deg(n.round())),
        Dimension::Side if n < 0.0 => format!("{:.0}° to port", -n),
        Dimension::Side => format!("{n:.0}° to starboard"),
        Dimension::TurnRate => format!("{n:.1}°/min"),
        Dimension::Pressure => format!("{n:.1} hPa"),
        Dimension::Temperature => format!("{n:.1} °C"),
        Dimension::Voltage => format!("{n:.2} V"),
        Dimension::Time if n < 0.0 => format!("{} ago", seconds(-n)),
        Dimension::Time => seconds(n),
        Dimension::Number | Dimension::Word | Dimension::Place => format!("{n}"),
    }
}

fn seconds(s: f64) -> String {
    // A number too large for a length of time is a mistake somewhere; show the longest.
    rounded(Duration::try_from_secs_f64(s).unwrap_or(Duration::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every text of the shipped orders, in which nothing is known. Read them aloud.
    #[test]
    fn a_text_reads_as_english_where_its_values_are_missing() {
        let more = |text: &str| {
            format!(
                "version = 1\n[[order]]\nname = \"x\"\neach = \"target\"\npriority = \"alarm\"\nwhen = \"CPA is under 1 nm\"\ntext = \"{text}\"\n"
            )
        };
        let said = |file: &str| -> Vec<String> {
            let orders = crate::Orders::read("orders.toml", file).unwrap();
            let name = || "ORRIN FALDE".to_owned();
            orders.orders.iter().map(|o| text(&o.text, name, |_| None)).collect()
        };
        let mut all = said(crate::SHIPPED);
        all.sort();
        all.dedup();
        let read = [
            "Battery not known: low for its kind, or falling fast",
            "Depth below the keel not known",
            "Gusts to an unknown speed",
            "Heading (not known) has left its mean",
            "It shoals: depth below the keel not known",
            "Lost target ORRIN FALDE, last an unknown distance off, bearing not known",
            "ORRIN FALDE comes up slowly, an unknown distance off, bearing not known, CPA not known",
            "ORRIN FALDE is an unknown distance off, bearing not known",
            "ORRIN FALDE is within an unknown distance, bearing not known",
            "ORRIN FALDE moves an unknown distance off, bearing not known",
            "ORRIN FALDE: CPA not known, now an unknown distance off, bearing not known",
            "Off track by an unknown distance",
            "Over three hours she has turned with the wind: heading not known, wind from an unknown direction",
            "Pressure not known, falling quickly",
            "Pressure not known, falling rapidly for this latitude",
            "She has dragged by an unknown distance, at least an unknown distance; an unknown distance from where the anchor lay",
            "The echo sounder shows an unknown depth below the keel, for ten minutes now",
            "The wind has shifted to an unknown direction, an unknown speed",
            "The wind has shifted, now from an unknown direction",
            "Wind not known, mean not known",
        ];
        assert_eq!(all, read);
        for (words, read) in [
            ("{name} at {SOG}", "ORRIN FALDE at an unknown speed"),
            ("{range} off. {CPA}", "An unknown distance off. An unknown distance"),
        ] {
            assert_eq!(said(&more(words)), [read]);
        }
    }
}
