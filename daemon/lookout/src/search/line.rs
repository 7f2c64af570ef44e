//! The datum line: searched along its length, and the way back to it.

use super::coverage::{Area, Searched};
use super::export::clock;
use super::plan::{Leg, Pattern, Plan, Wish};
use crate::casualty::{CasualtyState, OwnContext};
use crate::drift::{Current, Datum, LINE_POINTS, OnLine, aside_nm};
use terms::{Moment, Plane, Position, Utc, normal_deg, three_digits};

/// The line from the end that is nearer to a place, which for one who has just missed somebody is the younger.
pub(super) fn from_nearer_end(line: &[OnLine], here: Option<Position>) -> Vec<Position> {
    let mut places: Vec<Position> = line.iter().rev().map(|p| p.place).collect();
    let off = |p: Option<&Position>| here.zip(p).map_or(0.0, |(h, p)| h.range_and_bearing(*p).0);
    if off(places.last()) < off(places.first()) {
        places.reverse();
    }
    places
}

/// Courses and lengths along a line of places; with `second_pass` back and forth one spacing to either side of it. The first
/// place is where it begins.
pub(super) fn courses(places: &[Position], spacing_nm: f64, second_pass: bool) -> Vec<(f64, f64)> {
    let leg = |w: &[Position]| {
        let (length_nm, course_deg) = w[0].range_and_bearing(w[1]);
        (course_deg, length_nm)
    };
    let along: Vec<(f64, f64)> = places.windows(2).map(leg).collect();
    let Some((first, last)) = along.first().zip(along.last()).filter(|_| second_pass) else { return along };
    let back = along.iter().rev().map(|(course, nm)| (normal_deg(course + 180.0), *nm));
    let out = (normal_deg(first.0 + 90.0), spacing_nm);
    let across = (normal_deg(last.0 - 90.0), 2.0 * spacing_nm);
    std::iter::once(out).chain(along.iter().copied()).chain([across]).chain(back).collect()
}

/// What a search along the line covers, as it lies at a moment: half a spacing to either side, and on the second pass one
/// spacing more, beside the first.
pub(super) fn area(
    places: &[Position],
    spacing_nm: f64,
    second_pass: bool,
    at: Moment,
    coverage: f64,
) -> Option<Searched> {
    let (half_nm, beyond_nm) = if second_pass { (1.5, 0.5) } else { (0.5, 0.0) };
    let (half_nm, beyond_nm) = (half_nm * spacing_nm, beyond_nm * spacing_nm);
    let (first, last) = (*places.first()?, *places.last()?);
    let mut through = [last; LINE_POINTS];
    for (slot, place) in through.iter_mut().zip(places) {
        *slot = *place;
    }
    let area = Area::Line { through, half_nm, beyond_nm };
    Some(Searched { at, centre: first, area, coverage, number: 0 })
}

/// How far a place lies from a line.
pub(super) fn off_nm(through: &[Position], place: Position) -> f64 {
    let plane = Plane::at(place);
    let points: Vec<[f64; 2]> = through.iter().map(|p| plane.east_north(*p).into()).collect();
    points.windows(2).map(|w| aside_nm([0.0; 2], w[0], w[1])).fold(f64::INFINITY, f64::min)
}

/// Length of a line.
fn length_nm(line: &[OnLine]) -> f64 {
    line.windows(2).map(|w| w[0].place.range_and_bearing(w[1].place).0).sum()
}

/// Spacing for the way back alone, which nobody searches.
const ANY_SPACING_NM: f64 = 0.1;

/// All that a sheet has on a datum line: the line itself, and the way back along it at the present speed, else under engine.
/// Nothing if there is none.
pub(super) fn sheet(
    s: &CasualtyState,
    datum: &Datum,
    current: &Current,
    own: &OwnContext,
    utc: Option<Utc>,
) -> Vec<String> {
    let mut out = words(s, datum, datum.at, utc);
    let sailing =
        own.speed_through_water_kn.or(own.sog_kn).map(|k| k.value).filter(|kn| *kn >= LEAST_SPEED_KN);
    let plan = sailing.or(own.motoring_speed_kn).filter(|_| !datum.line.is_empty()).and_then(|speed_kn| {
        let wish = Wish {
            pattern: Pattern::TrackLine,
            second_pass: false,
            number: 1,
            spacing_nm: Some(ANY_SPACING_NM),
            sweep: None,
            radius_nm: None,
            speed_kn,
            first_course_deg: None,
        };
        Plan::new(datum, own, current, &wish).ok()
    });
    out.extend(plan.and_then(|p| way_back(p.approach.as_ref(), &p.legs, datum.at, utc)));
    out
}

/// Slower than this she does not sail back.
const LEAST_SPEED_KN: f64 = 1.0;

/// The datum line in words, for the sheet: its ends with the moments of the fall, its length, and how likely each part is.
fn words(s: &CasualtyState, datum: &Datum, now: Moment, utc: Option<Utc>) -> Vec<String> {
    let line = &datum.line;
    let Some((first, last)) = line.first().zip(line.last()) else { return Vec::new() };
    let ago = |d: std::time::Duration| clock(now - d, now, utc);
    let mut out = Vec::new();
    if let Some((seen, missed)) = s.unseen {
        out.push(format!("Nobody saw the fall: last seen {}, missed {}.", ago(seen), ago(missed)));
    }
    let through: Vec<String> = line[1..line.len() - 1]
        .iter()
        .map(|p| format!("{} ({})", p.place, clock(p.fell, now, utc)))
        .collect();
    let through = if through.is_empty() { String::new() } else { format!("through {} ", through.join(", ")) };
    let law = if s.unseen.is_some() {
        "as likely on one mile as on the next"
    } else {
        "most likely about its middle"
    };
    out.push(format!(
        "Datum line from {} (fell {}) {through}to {} (fell {}), {:.1} nm, {law}.",
        first.place,
        clock(first.fell, now, utc),
        last.place,
        clock(last.fell, now, utc),
        length_nm(line)
    ));
    if s.line_unknown > 0.005 {
        out.push(format!(
            "My track is not known for {:.0} % of that time.",
            (100.0 * s.line_unknown).max(1.0)
        ));
    }
    out
}

/// The way back along the line in words: each course with its time.
fn way_back(approach: Option<&Leg>, legs: &[Leg], now: Moment, utc: Option<Utc>) -> Option<String> {
    let all: Vec<&Leg> = approach.into_iter().filter(|a| a.over_ground_nm > 0.05).chain(legs).collect();
    let last = all.last()?;
    let steer = |l: &&Leg| {
        let magnetic =
            l.heading_magnetic_deg.map_or(String::new(), |m| format!(" ({} magnetic)", three_digits(m)));
        format!("{} true{magnetic} until {}", three_digits(l.heading_deg), clock(l.begins + l.time, now, utc))
    };
    let courses: Vec<String> = all.iter().map(steer).collect();
    let end = clock(last.begins + last.time, now, utc);
    Some(format!(
        "Way back along the line: steer {}. Its far end is passed at {end}.",
        courses.join(", then ")
    ))
}
