//! Drift: wind and current as own vessel knows them, leeway, and where all these put a casualty.

mod datum;
mod filter;
mod leeway;
mod line;
mod matrix;
mod surroundings;
mod water;

pub use datum::{Datum, DriftFrom, Further};
pub use leeway::{Leeway, Posture, at_10_m};
pub use line::{LINE_POINTS, OnLine};
pub use water::{Current, CurrentFrom};

pub(crate) use datum::{Explanation, Outline, radius95_nm};
pub(crate) use filter::{Drifter, Filter, Start};
pub(crate) use line::aside_nm;
pub(crate) use surroundings::{Spell, Surroundings};
