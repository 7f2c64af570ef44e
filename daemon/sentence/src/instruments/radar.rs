//! Radar plots: TTM, TLL.

use super::way::{distance_factor, distance_nm};
use crate::fields::{count, direction, letter, position, speed, time_only, words};
use crate::report::RadarPlot;
use crate::sentence::Sentence;

/// L lost, Q query, T tracked.
fn status(field: &[u8]) -> Option<char> {
    letter(field).filter(|s| b"LQT".contains(s)).map(char::from)
}

/// TTM: number, range, bearing, T/R, speed, course, T/R, CPA, TCPA, unit, name, status, reference, time …
/// The unit is that of ranges and speeds. A direction without its T or R is none.
pub(super) fn ttm(sentence: &Sentence<'_>) -> RadarPlot {
    let [
        number,
        range,
        bearing,
        bearing_from,
        plot_speed,
        course,
        course_from,
        _,
        _,
        unit,
        name,
        plot_status,
        _,
        time,
    ] = sentence.first();
    let factor = distance_factor(unit);
    let known = |field, from: &[u8]| direction(field).filter(|_| matches!(letter(from), Some(b'T' | b'R')));
    RadarPlot {
        number: count(number),
        range_nm: factor.and_then(|f| distance_nm(range, f)),
        bearing_deg: known(bearing, bearing_from),
        bearing_relative: letter(bearing_from) == Some(b'R'),
        speed_kn: factor.and_then(|f| speed(plot_speed, f)),
        course_deg: known(course, course_from),
        course_relative: letter(course_from) == Some(b'R'),
        position: None,
        name: words(name),
        status: status(plot_status),
        time: time_only(time),
    }
}

/// TLL: number, latitude, N/S, longitude, E/W, name, time, status, reference.
pub(super) fn tll(sentence: &Sentence<'_>) -> RadarPlot {
    let [number, lat, ns, lon, ew, name, time, plot_status] = sentence.first();
    RadarPlot {
        number: count(number),
        position: position(lat, ns, lon, ew),
        name: words(name),
        status: status(plot_status),
        time: time_only(time),
        ..RadarPlot::default()
    }
}
