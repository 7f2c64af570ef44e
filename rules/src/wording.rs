//! Values in words: numbers with their units.

use crate::condition::Measure;
use std::time::Duration;
use terms::{Dimension, METRES_PER_NM, Quantity, Value, rounded};

/// Distances of the anchor and marks below this are in metres.
const NEAR_NM: f64 = 0.1;
/// Stands for a missing value.
const NOT_KNOWN: &str = "not known";

/// A value with its unit, e.g. `0.42 nm`, `045°`, `12 min`.
fn value(dimension: Dimension, value: &Value) -> String {
    match value {
        Value::Number(n) => number(dimension, *n),
        Value::Word(w) => w.clone(),
        Value::There => "known".to_owned(),
    }
}

/// A measure's value or "not known". An identity keeps its nine digits, a time of day its colon.
pub fn measure(m: &Measure, v: Option<&Value>) -> String {
    match (m, v) {
        (_, None) => NOT_KNOWN.to_owned(),
        (Measure::Quantity(Quantity::Identity), Some(Value::Number(n))) => format!("{n:09.0}"),
        (Measure::TimeOfDay, Some(Value::Number(n))) => {
            format!("{:02.0}:{:02.0}", (n / 3600.0).floor(), (n % 3600.0 / 60.0).floor())
        }
        // Near distances of the anchor or a mark in metres, as the chain is counted.
        (Measure::AnchorRange | Measure::MarkRange(..), Some(Value::Number(n))) if n.abs() < NEAR_NM => {
            format!("{:.0} m", n * METRES_PER_NM)
        }
        (m, Some(v)) => value(m.dimension(), v),
    }
}

/// A number in the dimension's own unit, with the digits that mean something at sea.
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
