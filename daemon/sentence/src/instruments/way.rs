//! Which way the bow points and how fast it moves: HDT, HDG, VHW.

use crate::fields::{direction, sided, speed};
use crate::instruments::KN_PER_KM_H;
use crate::report::{Heading, Report};
use crate::sentence::Sentence;

/// HDT: heading, T.
pub(super) fn hdt(sentence: &Sentence<'_>) -> Heading {
    let [heading] = sentence.first();
    Heading { true_deg: direction(heading), ..Heading::default() }
}

/// HDG: heading by the magnetic sensor, deviation, E/W, variation, E/W.
pub(super) fn hdg(sentence: &Sentence<'_>) -> Heading {
    let [heading, deviation, deviation_side, variation, variation_side] = sentence.first();
    Heading {
        true_deg: None,
        magnetic_deg: direction(heading),
        deviation_deg: sided(deviation, deviation_side, *b"EW", 180.0),
        variation_deg: sided(variation, variation_side, *b"EW", 180.0),
    }
}

/// VHW: heading true, T, magnetic, M, speed in knots, N, in km/h, K.
pub(super) fn vhw(sentence: &Sentence<'_>) -> Report {
    let [heading, _, magnetic, _, kn, _, km_h] = sentence.first();
    Report::WaterSpeed {
        speed_through_water_kn: speed(kn, 1.0).or_else(|| speed(km_h, KN_PER_KM_H)),
        ground_speed_kn: None,
        heading: Heading {
            true_deg: direction(heading),
            magnetic_deg: direction(magnetic),
            ..Heading::default()
        },
    }
}
