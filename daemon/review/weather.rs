//! The weather and the water in a few numbers.

use super::night::{Minute, Night};
use super::when::When;
use terms::{Circular, Dimension, Quantity};

/// A quantity over the night.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Extremes {
    pub quantity: Quantity,
    pub least: (When, f64),
    pub mean: f64,
    pub greatest: (When, f64),
    pub first: f64,
    pub last: f64,
}

/// Depth, best first: the first that was measured counts.
pub(super) const DEPTHS: [Quantity; 3] =
    [Quantity::DepthBelowKeel, Quantity::DepthBelowSurface, Quantity::DepthBelowTransducer];
/// Wind speed, best first: the first that was measured counts.
pub(super) const WINDS: [Quantity; 3] =
    [Quantity::TrueWindSpeed, Quantity::GroundWindSpeed, Quantity::ApparentWindSpeed];
/// The span of a barometer's tendency (WMO practice: three hours).
const TENDENCY_S: f64 = 10_800.0;

/// Least, mean and greatest; `None` where there was no reading, and for directions.
pub(super) fn extremes(quantity: Quantity, minutes: &[Minute]) -> Option<Extremes> {
    let (first, last) = (minutes.first()?, minutes.last()?);
    if quantity.dimension() == Dimension::Direction {
        return None;
    }
    let mut e = Extremes {
        quantity,
        least: (first.at, first.least),
        mean: 0.0,
        greatest: (first.at, first.greatest),
        first: first.last,
        last: last.last,
    };
    for m in minutes {
        if m.least < e.least.1 {
            e.least = (m.at, m.least);
        }
        if m.greatest > e.greatest.1 {
            e.greatest = (m.at, m.greatest);
        }
        e.mean += m.mean.unwrap_or(m.last) / minutes.len() as f64;
    }
    Some(e)
}

/// The first quantity of a list that was measured.
fn first_of(night: &Night, quantities: impl IntoIterator<Item = Quantity>) -> Option<Extremes> {
    quantities.into_iter().find_map(|q| extremes(q, night.instruments.get(&q)?))
}

/// The depth that was measured.
pub(super) fn depth(night: &Night) -> Option<Extremes> {
    first_of(night, DEPTHS)
}

/// The wind that was measured, and the mean direction it came from.
pub(super) fn wind(night: &Night) -> Option<(Extremes, Option<f64>)> {
    let speed = first_of(night, WINDS)?;
    let direction = match speed.quantity {
        Quantity::TrueWindSpeed => Some(Quantity::TrueWindDirection),
        Quantity::GroundWindSpeed => Some(Quantity::GroundWindDirection),
        _ => None,
    };
    let minutes = direction.and_then(|d| night.instruments.get(&d));
    Some((speed, minutes.and_then(|m| mean_direction(m))))
}

/// The mean of directions; `None` where they cancel out or there are none.
pub(super) fn mean_direction(minutes: &[Minute]) -> Option<f64> {
    let mut mean = Circular::default();
    minutes.iter().filter_map(|m| m.mean).for_each(|deg| mean.add(deg, 1.0));
    mean.mean_deg()
}

/// The pressure, and its steepest fall and rise over three hours, in hPa.
pub(super) fn pressure(night: &Night) -> Option<(Extremes, f64, f64)> {
    let minutes = night.instruments.get(&Quantity::Pressure)?;
    let extremes = extremes(Quantity::Pressure, minutes)?;
    let (mut fall, mut rise, mut start) = (0.0_f64, 0.0_f64, 0);
    for m in minutes {
        while minutes.get(start).is_some_and(|s| m.at.seconds_from(&s.at).is_none_or(|s| s > TENDENCY_S)) {
            start += 1;
        }
        if let Some(then) = minutes.get(start) {
            let change = m.mean.unwrap_or(m.last) - then.mean.unwrap_or(then.last);
            fall = fall.max(-change);
            rise = rise.max(change);
        }
    }
    Some((extremes, fall, rise))
}
