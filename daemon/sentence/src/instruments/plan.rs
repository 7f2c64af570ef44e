//! What a plotter says of its plan: RMB, APB, BWC, BWR, BOD, AAM, WPL, RTE. The heading to steer of an APB is not read: it is
//! for an autopilot.

use super::valid;
use super::way::{distance_factor, distance_nm};
use crate::decoder::DecoderOptions;
use crate::fields::{count, direction, letter, position, sided, speed, words};
use crate::plan::{RoutePart, Waypoint, WaypointPlace};
use crate::refusal::Refusal;
use crate::report::Report;
use crate::sentence::Sentence;

/// An RMB says no greater cross-track error and no greater distance: there they stand for that or more (from memory).
const MOST_OFF_NM: f64 = 9.99;
const MOST_AWAY_NM: f64 = 999.9;

/// Whether a sentence with this mode indicator says anything (IEC 61162-1: N is not valid, S a simulator's).
fn taken(mode: &[u8], options: &DecoderOptions) -> Result<bool, Refusal> {
    match letter(mode) {
        Some(b'S') if !options.simulator => Err(Refusal::Simulator),
        mode => Ok(mode != Some(b'N')),
    }
}

/// A flag that is A for yes and V for no.
fn flag(field: &[u8]) -> Option<bool> {
    match letter(field)? {
        b'A' => Some(true),
        b'V' => Some(false),
        _ => None,
    }
}

/// A true direction of two fields: the number and T.
fn true_deg(deg: &[u8], of: &[u8]) -> Option<f64> {
    direction(deg).filter(|_| letter(of) == Some(b'T'))
}

/// RMB: status, cross-track error, side to steer to, from, to, place of the waypoint, distance, bearing, closing speed,
/// arrival, mode.
pub(super) fn rmb(sentence: &Sentence<'_>, options: &DecoderOptions) -> Result<Report, Refusal> {
    let [status, error, side, from, to, lat, ns, lon, ew, range, bearing, closing, arrival, mode] =
        sentence.first();
    if !taken(mode, options)? || !valid(status) {
        return Ok(Report::Waypoint(Waypoint::default()));
    }
    let off_nm = sided(error, side, *b"RL", 10_800.0);
    Ok(Report::Waypoint(Waypoint {
        to: words(to),
        from: words(from),
        position: position(lat, ns, lon, ew),
        cross_track_error_nm: off_nm.filter(|nm| nm.abs() < MOST_OFF_NM),
        distance_nm: distance_nm(range, 1.0).filter(|nm| *nm < MOST_AWAY_NM),
        bearing_deg: direction(bearing),
        // Negative while she goes away.
        closing_kn: closing
            .strip_prefix(b"-")
            .map_or_else(|| speed(closing, 1.0), |away| speed(away, 1.0).map(|kn| -kn)),
        circle_entered: flag(arrival),
        ..Waypoint::default()
    }))
}

/// APB: two statuses, cross-track error, side to steer to, unit, circle entered, perpendicular passed, bearing from the
/// origin, M or T, waypoint, bearing, M or T, heading to steer, M or T, mode.
pub(super) fn apb(sentence: &Sentence<'_>, options: &DecoderOptions) -> Result<Report, Refusal> {
    let [status, lock, error, side, unit, circle, passed, _, _, to, bearing, of, _, _, mode] =
        sentence.first();
    if !taken(mode, options)? || !valid(status) || !valid(lock) {
        return Ok(Report::Waypoint(Waypoint::default()));
    }
    let off = sided(error, side, *b"RL", 10_800.0).zip(distance_factor(unit));
    Ok(Report::Waypoint(Waypoint {
        to: words(to),
        cross_track_error_nm: off.map(|(off, factor)| off * factor),
        bearing_deg: true_deg(bearing, of),
        circle_entered: flag(circle),
        perpendicular_passed: flag(passed),
        ..Waypoint::default()
    }))
}

/// BWC and BWR: time, place of the waypoint, true bearing, T, magnetic bearing, M, distance, N, waypoint, mode.
pub(super) fn bwc(sentence: &Sentence<'_>, options: &DecoderOptions) -> Result<Report, Refusal> {
    let [_, lat, ns, lon, ew, bearing, of, _, _, range, unit, to, mode] = sentence.first();
    if !taken(mode, options)? {
        return Ok(Report::Waypoint(Waypoint::default()));
    }
    Ok(Report::Waypoint(Waypoint {
        to: words(to),
        position: position(lat, ns, lon, ew),
        distance_nm: distance_factor(unit).and_then(|factor| distance_nm(range, factor)),
        bearing_deg: true_deg(bearing, of),
        ..Waypoint::default()
    }))
}

/// BOD: true bearing of the leg, T, magnetic, M, to, from.
pub(super) fn bod(sentence: &Sentence<'_>) -> Report {
    let [_, _, _, _, to, from] = sentence.first();
    Report::Waypoint(Waypoint { to: words(to), from: words(from), ..Waypoint::default() })
}

/// AAM: circle entered, perpendicular passed, radius, unit, waypoint.
pub(super) fn aam(sentence: &Sentence<'_>) -> Report {
    let [circle, passed, _, _, to] = sentence.first();
    Report::Waypoint(Waypoint {
        to: words(to),
        circle_entered: flag(circle),
        perpendicular_passed: flag(passed),
        ..Waypoint::default()
    })
}

/// WPL: place and name.
pub(super) fn wpl(sentence: &Sentence<'_>) -> Report {
    let [lat, ns, lon, ew, name] = sentence.first();
    Report::WaypointPlace(WaypointPlace { waypoint: words(name), position: position(lat, ns, lon, ew) })
}

/// RTE: sentences, number, c for the whole route or w from the last waypoint on, route, names.
pub(super) fn rte(sentence: &Sentence<'_>) -> Report {
    let [parts, part, kind, route] = sentence.first();
    let (parts, part): (Option<u16>, Option<u16>) = (count(parts), count(part));
    let Some((parts, part)) = parts.zip(part).filter(|(parts, part)| (1..=*parts).contains(part)) else {
        return Report::Unread;
    };
    Report::RoutePart(RoutePart {
        parts,
        part,
        whole: letter(kind) != Some(b'w'),
        route: words(route),
        waypoints: sentence.fields().skip(4).filter_map(words).collect(),
    })
}
