//! Wind: MWV, MWD, VWR.

use crate::fields::{direction, letter, sided, speed, within};
use crate::instruments::{KN_PER_KM_H, KN_PER_M_S, KN_PER_MPH, valid};
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
    let valid = valid(status);
    // Without its letter a wind is neither: it is reported as apparent, without values.
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

/// MWD: direction the wind comes from, true, T, magnetic, M, speed in knots, N, in m/s, M.
pub(super) fn mwd(sentence: &Sentence<'_>) -> Wind {
    let [direction_true, _, magnetic, _, kn, _, m_s] = sentence.first();
    Wind {
        reference: WindReference::Ground,
        angle_deg: None,
        direction_deg: direction(direction_true),
        direction_magnetic_deg: direction(magnetic),
        speed_kn: speed(kn, 1.0).or_else(|| speed(m_s, KN_PER_M_S)),
    }
}

/// VWR: angle off the bow 0 to 180, L or R, speed in knots, N, in m/s, M, in km/h, K.
pub(super) fn vwr(sentence: &Sentence<'_>) -> Wind {
    let [angle, side, kn, _, m_s, _, km_h] = sentence.first();
    Wind {
        reference: WindReference::Apparent,
        angle_deg: sided(angle, side, *b"RL", 180.0).map(|deg| turn_deg(0.0, deg)),
        direction_deg: None,
        direction_magnetic_deg: None,
        speed_kn: speed(kn, 1.0).or_else(|| speed(m_s, KN_PER_M_S)).or_else(|| speed(km_h, KN_PER_KM_H)),
    }
}
