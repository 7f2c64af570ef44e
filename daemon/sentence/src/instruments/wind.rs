//! Wind: MWV.

use crate::fields::{letter, speed, within};
use crate::instruments::{KN_PER_KM_H, KN_PER_M_S, KN_PER_MPH};
use crate::report::{Wind, WindReference};
use crate::sentence::Sentence;
use terms::turn_deg;

/// MWV: angle off the bow 0 to 360 (some instruments write port as negative), R or T, speed, unit, status.
pub(super) fn mwv(sentence: &Sentence<'_>) -> Wind {
    let [angle, reference, wind, unit, status] = sentence.first();
    let factor = match letter(unit) {
        Some(b'N') => Some(1.0),
        Some(b'K') => Some(KN_PER_KM_H),
        Some(b'M') => Some(KN_PER_M_S),
        Some(b'S') => Some(KN_PER_MPH),
        _ => None,
    };
    let valid = letter(status) == Some(b'A');
    // Without its letter a wind is neither: it is told as apparent, without values.
    let (reference, valid) = match letter(reference) {
        Some(b'R') => (WindReference::Apparent, valid),
        Some(b'T') => (WindReference::True, valid),
        _ => (WindReference::Apparent, false),
    };
    Wind {
        reference,
        angle_deg: within(angle, -180.0, 360.0).filter(|_| valid).map(|deg| turn_deg(0.0, deg)),
        direction_deg: None,
        direction_magnetic_deg: None,
        speed_kn: factor.and_then(|f| speed(wind, f)).filter(|_| valid),
    }
}
