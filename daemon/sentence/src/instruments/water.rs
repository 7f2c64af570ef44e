//! Depth: DPT, DBT, DBS.

use crate::fields::{number, within};
use crate::instruments::{FATHOM_M, FOOT_M};
use crate::report::Depth;
use crate::sentence::Sentence;

/// Deepest water believed, in metres.
const DEEPEST_M: f64 = 12_000.0;
/// No transducer is further from waterline or keel, in metres.
const OFFSET_M: f64 = 100.0;

/// DPT: depth below the transducer, offset, scale in use.
pub(super) fn dpt(sentence: &Sentence<'_>) -> Depth {
    let [depth, offset] = sentence.first();
    Depth {
        below_transducer_m: within(depth, 0.0, DEEPEST_M),
        offset_m: within(offset, -OFFSET_M, OFFSET_M),
        below_surface_m: None,
    }
}

/// DBT: feet, f, metres, M, fathoms, F.
pub(super) fn dbt(sentence: &Sentence<'_>) -> Depth {
    Depth { below_transducer_m: three_units(sentence), ..Depth::default() }
}

/// DBS: the same below the surface.
pub(super) fn dbs(sentence: &Sentence<'_>) -> Depth {
    Depth { below_surface_m: three_units(sentence), ..Depth::default() }
}

/// Feet, f, metres, M, fathoms, F: the metres, otherwise the next finest.
fn three_units(sentence: &Sentence<'_>) -> Option<f64> {
    let [feet, _, metres, _, fathoms] = sentence.first();
    let depth =
        |field, unit_m: f64| number(field).map(|n| n * unit_m).filter(|m| (0.0..=DEEPEST_M).contains(m));
    depth(metres, 1.0).or_else(|| depth(feet, FOOT_M)).or_else(|| depth(fathoms, FATHOM_M))
}
