//! The truth: where own vessel, ships and casualties are at each moment.

use crate::plan::{Beacon, Leg, Overboard, Place, Plan, Ship, Steer, Waters};
use crate::random::Stream;
use crate::track::{Motion, Track};
use std::time::Duration;
use terms::{Mmsi, Moment, Plane, turn_deg};

/// How fast a sailing vessel gathers or loses way, knots a second (common practice).
const OWN_GAIN_KN_S: f64 = 0.05;
/// The same for a ship.
const SHIP_GAIN_KN_S: f64 = 0.02;
/// How often a changing current is looked up.
const CURRENT_EVERY: Duration = Duration::from_secs(60);
/// How often the course toward a person is reshaped.
const SHAPE_EVERY: Duration = Duration::from_secs(5);
/// Close enough to take hold of somebody: 10 m. She lies there until they have drifted 40 m apart.
const ALONGSIDE_NM: f64 = 10.0 / 1852.0;
const APART_NM: f64 = 40.0 / 1852.0;

/// Where everything is.
#[derive(Debug, Clone)]
pub struct World {
    pub own: Track,
    /// Own vessel as others hear her.
    pub own_ship: Option<Ship>,
    /// In the order of the plan.
    pub ships: Vec<Track>,
    /// In the order of the plan's beacons; `None` if nobody goes overboard with it.
    pub casualties: Vec<Option<Track>>,
}

impl World {
    /// Lays out all tracks of a plan.
    pub fn new(plan: &Plan) -> Self {
        let own = own(plan);
        let ships = plan.ships.iter().map(|ship| ship_track(ship, plan, &own)).collect();
        let fallen = |b: &Beacon| b.overboard.as_ref().map(|o| casualty(b.mmsi, o, plan, &own));
        let casualties = plan.beacons.iter().map(fallen).collect();
        Self { ships, casualties, own_ship: plan.own.as_ship(), own }
    }
}

/// Own vessel's track.
fn own(plan: &Plan) -> Track {
    let o = &plan.own;
    let mut track =
        Track::new(Moment::ZERO, o.position, o.course_deg, o.speed_kn, o.turn_deg_min, OWN_GAIN_KN_S);
    let mut speed_kn = o.speed_kn;
    let mut steer = Steer::Course(o.course_deg);
    for (i, until) in leg_ends(&o.legs, plan.end) {
        if let Some(leg) = i.and_then(|i| o.legs.get(i)) {
            speed_kn = leg.speed_kn.unwrap_or(speed_kn);
            steer = leg.steer.clone().unwrap_or(steer);
        }
        match steer {
            Steer::Course(course_deg) => {
                track.steer(until, course_deg, speed_kn, CURRENT_EVERY, &|at| current(&plan.waters, at));
            }
            Steer::Beacon(mmsi) => pursue(&mut track, until, mmsi, speed_kn, plan),
        }
    }
    track
}

/// The stretches between legs: from the start with no leg, then each leg, with its end.
fn leg_ends(legs: &[Leg], end: Moment) -> impl Iterator<Item = (Option<usize>, Moment)> + '_ {
    let until = move |next: usize| legs.get(next).map_or(end, |leg| leg.at.min(end));
    std::iter::once((None, until(0))).chain((0..legs.len()).map(move |i| (Some(i), until(i + 1))))
}

/// Set and drift as east and north in knots; slack if none is given.
fn current(waters: &Waters, at: Moment) -> [f64; 2] {
    waters.current.at(at).unwrap_or_default()
}

/// Steers for a person overboard to meet and stop alongside. The reader has made sure that the beacon's wearer
/// is in the water by then; a stranger's identity leaves the course as it is.
fn pursue(track: &mut Track, until: Moment, mmsi: Mmsi, speed_kn: f64, plan: &Plan) {
    let fallen = plan.beacons.iter().find(|b| b.mmsi == mmsi).and_then(|b| b.overboard.as_ref());
    let person = fallen.map(|overboard| casualty(mmsi, overboard, plan, track));
    let mut alongside = false;
    while track.end() < until {
        let now = track.at(track.end());
        let Some(person) = &person else {
            track.steer(until, now.course_deg, now.speed_kn, CURRENT_EVERY, &|at| current(&plan.waters, at));
            return;
        };
        let set = current(&plan.waters, track.end());
        let (course_deg, range_nm) = intercept(&now, &person.at(track.end()), set, speed_kn);
        let off_deg = turn_deg(now.course_deg, course_deg).abs();
        // The speed that half the brakes take off before she reaches the person; slow while the bow points elsewhere.
        let stopping_kn = (OWN_GAIN_KN_S * 3600.0 * range_nm).sqrt();
        let turning_kn = if off_deg > 60.0 && range_nm < 0.1 { 2.0 } else { speed_kn };
        alongside = range_nm <= if alongside { APART_NM } else { ALONGSIDE_NM };
        let (course_deg, wanted_kn) = if alongside {
            (now.course_deg, 0.0)
        } else {
            (course_deg, speed_kn.min(stopping_kn).min(turning_kn))
        };
        let next = (track.end() + SHAPE_EVERY).min(until);
        track.steer(next, course_deg, wanted_kn, CURRENT_EVERY, &|at| current(&plan.waters, at));
    }
}

/// The course through the water that meets somebody drifting, and the range now.
fn intercept(own: &Motion, person: &Motion, current: [f64; 2], speed_kn: f64) -> (f64, f64) {
    let (east, north) = Plane::at(own.position).east_north(person.position);
    let range_nm = east.hypot(north);
    let (sin, cos) = person.cog_deg.to_radians().sin_cos();
    let [u, v] = [person.sog_kn * sin - current[0], person.sog_kn * cos - current[1]];
    // |r + u·t| = speed·t: the later root is the meeting.
    let (a, b, c) = (u * u + v * v - speed_kn * speed_kn, east * u + north * v, range_nm * range_nm);
    let root = b * b - a * c;
    let hours = if a < 0.0 && root >= 0.0 { (-b - root.sqrt()) / a } else { 0.0 };
    let (to_east, to_north) = (east + u * hours, north + v * hours);
    (terms::normal_deg(to_east.atan2(to_north).to_degrees()), range_nm)
}

/// A ship's track, shifted so that it passes through its place.
fn ship_track(ship: &Ship, plan: &Plan, own: &Track) -> Track {
    let (at, position) = match ship.place {
        Place::At { at, position } => (at, position),
        Place::FromOwn { at, bearing_deg, range_nm } => (at, own.at(at).position.at(bearing_deg, range_nm)),
    };
    let mut track =
        Track::new(Moment::ZERO, position, ship.course_deg, ship.speed_kn, ship.turn_deg_min, SHIP_GAIN_KN_S);
    let (mut course_deg, mut speed_kn) = (ship.course_deg, ship.speed_kn);
    for (i, until) in leg_ends(&ship.legs, plan.end) {
        if let Some(leg) = i.and_then(|i| ship.legs.get(i)) {
            speed_kn = leg.speed_kn.unwrap_or(speed_kn);
            if let Some(Steer::Course(course)) = leg.steer {
                course_deg = course;
            }
        }
        track.steer(until, course_deg, speed_kn, Duration::MAX, &|_| [0.0; 2]);
    }
    track.through(at, position)
}

/// A person's track from where own vessel is at the fall.
fn casualty(mmsi: Mmsi, overboard: &Overboard, plan: &Plan, own: &Track) -> Track {
    let position = own.at(overboard.at).position;
    let mut track = Track::new(overboard.at, position, 0.0, 0.0, 180.0, 1.0);
    let side = if Stream::named(plan.seed, &format!("side {mmsi}")).even() < 0.5 { 1.0 } else { -1.0 };
    let drift = |at: Moment| overboard.drift.unwrap_or_else(|| adrift(&plan.waters, at, side));
    track.steer(plan.end.max(overboard.at), 0.0, 0.0, CURRENT_EVERY, &drift);
    track
}

/// How current and wind carry a person in the water: 0.96 % of the wind downwind and 0.54 % to one side
/// (Breivik and Allen 2008, "An operational search and rescue model for the Norwegian Sea and the North Sea",
/// person in water; from memory).
fn adrift(waters: &Waters, at: Moment, side: f64) -> [f64; 2] {
    let [east, north] = current(waters, at);
    let [wind_east, wind_north] = waters.wind.at(at).unwrap_or_default();
    let (down, cross) = (0.0096, 0.0054 * side);
    [east + down * wind_east + cross * wind_north, north + down * wind_north - cross * wind_east]
}
