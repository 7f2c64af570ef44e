//! Which way the bow points, how it turns and how fast it moves: HDT, HDG, HDM, THS, VHW, VBW, ROT, RSA, RPM, XTE.

use crate::decoder::DecoderOptions;
use crate::fields::{count, direction, letter, number, sided, speed, within};
use crate::instruments::{KN_PER_KM_H, NM_PER_KM, NM_PER_MILE, valid};
use crate::refusal::Refusal;
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

/// HDM: heading, M.
pub(super) fn hdm(sentence: &Sentence<'_>) -> Heading {
    let [heading] = sentence.first();
    Heading { magnetic_deg: direction(heading), ..Heading::default() }
}

/// THS: true heading, mode. A is measured, E estimated; M (put in by hand) and V are no present heading of the bow.
pub(super) fn ths(sentence: &Sentence<'_>, options: &DecoderOptions) -> Result<Heading, Refusal> {
    let [heading, mode] = sentence.first();
    let taken = match letter(mode) {
        Some(b'A' | b'E') => true,
        Some(b'S') if !options.simulator => return Err(Refusal::Simulator),
        Some(b'S') => true,
        _ => false,
    };
    Ok(Heading { true_deg: direction(heading).filter(|_| taken), ..Heading::default() })
}

/// VBW: speed through water along the bow, across, status, over ground along, across, status … Astern is negative.
pub(super) fn vbw(sentence: &Sentence<'_>) -> Report {
    let [water, _, water_status, ground, _, ground_status] = sentence.first();
    let along = |field, status| within(field, -1022.0, 1022.0).filter(|_| valid(status));
    Report::WaterSpeed {
        speed_through_water_kn: along(water, water_status),
        ground_speed_kn: along(ground, ground_status),
        heading: Heading::default(),
    }
}

/// ROT: degrees a minute, negative to port, status. No vessel makes ten turns a minute.
pub(super) fn rot(sentence: &Sentence<'_>) -> Report {
    let [rate, status] = sentence.first();
    Report::RateOfTurn { rate_of_turn_deg_min: within(rate, -3600.0, 3600.0).filter(|_| valid(status)) }
}

/// RSA: starboard or single rudder, status, port rudder, status. The port one if the other is not valid.
pub(super) fn rsa(sentence: &Sentence<'_>) -> Report {
    let [starboard, starboard_status, port, port_status] = sentence.first();
    let rudder = |field, status| within(field, -90.0, 90.0).filter(|_| valid(status));
    Report::Rudder { rudder_deg: rudder(starboard, starboard_status).or_else(|| rudder(port, port_status)) }
}

/// RPM: S or E, number, revolutions a minute, pitch, status. Number 0 is the only one or the one amidships.
pub(super) fn rpm(sentence: &Sentence<'_>) -> Report {
    let [source, engine, revolutions, _, status] = sentence.first();
    Report::Revolutions {
        source: letter(source).map_or('?', char::from),
        number: count(engine).unwrap_or(0),
        revolutions_per_min: within(revolutions, -100_000.0, 100_000.0).filter(|_| valid(status)),
    }
}

/// XTE: status, status, magnitude, side to steer to, unit, mode. Half the earth's girth is the bound.
pub(super) fn xte(sentence: &Sentence<'_>, options: &DecoderOptions) -> Result<Report, Refusal> {
    let [status, lock, error, side, unit, mode] = sentence.first();
    let mode = letter(mode);
    if mode == Some(b'S') && !options.simulator {
        return Err(Refusal::Simulator);
    }
    let taken = mode == Some(b'S') || (mode != Some(b'N') && valid(status) && valid(lock));
    let factor = distance_factor(unit);
    let error = sided(error, side, *b"RL", 10_800.0).zip(factor).map(|(error, factor)| error * factor);
    Ok(Report::CrossTrack { cross_track_error_nm: error.filter(|_| taken) })
}

/// Nautical miles in the unit of a distance: N, K kilometres, S statute miles.
pub(super) fn distance_factor(unit: &[u8]) -> Option<f64> {
    match letter(unit)? {
        b'N' => Some(1.0),
        b'K' => Some(NM_PER_KM),
        b'S' => Some(NM_PER_MILE),
        _ => None,
    }
}

/// A distance in that unit, not negative and not beyond half the earth's girth.
pub(super) fn distance_nm(field: &[u8], factor: f64) -> Option<f64> {
    number(field).map(|n| n * factor).filter(|nm| (0.0..=10_800.0).contains(nm))
}
