//! An encounter: the closest point of approach with how well it is known, how big the two are, and who passes whom
//! how.

use crate::Dimensions;
use crate::motion::{Closest, Motion, Sight, closest_of_two};
use crate::track::Doubtful;
use terms::{METRES_PER_NM, turn_deg};

/// Standard errors on either side that hold 95 %.
const SIGMAS_95: f64 = 1.96;
/// Reports come aboard some seconds after the moment that they tell of, by more than one receiver at different times: the
/// error that this adds to a TCPA, in seconds (own choice, measured: see the encounters).
const LATE_S: f64 = 1.2;
/// Who draws away by this many standard errors of her velocity is past (own choice: more of them, and ships that are past
/// would be called for being near; less, and one that keeps beside us would be called again and again).
const OPENS_SIGMAS: f64 = 0.7;
/// The most by which the error of a TCPA brings a call forward, in seconds (own choice, measured: see the encounters).
const PRUDENT_S: f64 = 120.0;
/// Times further off than this are useless, and bounds stop there.
const FURTHEST_S: f64 = 24.0 * 3600.0;
/// A vessel slower than this over the ground is not going anywhere.
const STOPPED_KN: f64 = 0.5;
/// More than 22.5° abaft the beam: a vessel coming up from there is overtaking (COLREG rule 13 b).
const ABAFT_DEG: f64 = 112.5;
/// Courses opposite within this, each ahead of the other within this, are a meeting (rule 14 says "reciprocal or
/// nearly reciprocal" and gives no number; common practice).
const NEARLY_DEG: f64 = 10.0;
/// Moments around the closest approach at which the hulls are compared.
const HULL_MOMENTS: i32 = 8;

/// A vessel in an encounter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Party {
    pub motion: Motion,
    /// Where her bow points: her heading, else her course.
    pub bow_deg: Option<f64>,
    pub hull: Option<Dimensions>,
}

terms::closed_list! {
    /// How two vessels meet, by their courses.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum Situation {
        /// The closest approach is past.
        Opening = "opening",
        /// The target lies still.
        Stopped = "stopped",
        /// Nearly opposite courses, each ahead of the other.
        Meeting = "head-on",
        /// The target comes up from more than 22.5° abaft own beam.
        SheOvertakes = "she overtakes",
        /// Own vessel comes up from more than 22.5° abaft the target's beam.
        OwnOvertakes = "own vessel overtakes",
        /// From starboard.
        CrossingFromStarboard = "crossing from starboard",
        /// From port.
        CrossingFromPort = "crossing from port",
    }
}

/// The closest point of approach of a target, how well it is known, and how she passes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Encounter {
    /// Range now.
    pub range_nm: f64,
    /// True bearing now.
    pub bearing_deg: f64,
    /// Distance at the closest point of approach, between the two reported points.
    pub cpa_nm: f64,
    /// Seconds until then; negative when it is past.
    pub tcpa_s: f64,
    /// True bearing then.
    pub cpa_bearing_deg: f64,
    /// Between the two hulls then, where a length is known; 0 when they touch.
    pub clearance_nm: Option<f64>,
    /// With 95 % the CPA, between hulls if their length is known, is no less than this …
    pub least_cpa_nm: f64,
    /// … and the CPA no more than this.
    pub greatest_cpa_nm: f64,
    /// The TCPA is with 95 % no sooner than this …
    pub earliest_tcpa_s: f64,
    /// … and no later than this.
    pub latest_tcpa_s: f64,
    /// The same as the earliest, if what the track fears came true: that each of the two begins to wander.
    fearful_tcpa_s: f64,
    /// Speed of the target relative to own vessel.
    pub relative_kn: f64,
    /// How fast the true bearing changes, degrees a minute, clockwise positive.
    pub bearing_drift_deg_min: f64,
    /// How they meet, where both courses are known.
    pub situation: Option<Situation>,
    /// Where the target crosses own bow line: nautical miles from own bow to the nearest part of her hull (negative:
    /// astern of own stern), and seconds until then. `None` if she runs along it.
    pub crosses_bow: Option<(f64, f64)>,
    /// Where own vessel crosses the target's bow line, given the same way.
    pub crossed_bow: Option<(f64, f64)>,
}

impl Encounter {
    /// Of two parties at one moment, the second as seen from the first, with the errors of both.
    pub(crate) fn of(own: &Party, other: &Party, seen: Sight, doubt: Doubtful) -> Self {
        let (c, speed) = closest_of_two(&own.motion, &other.motion, seen);
        let c = unless_past(c, seen, speed, doubt);
        let ahead_s = c.tcpa_s.clamp(0.0, FURTHEST_S);
        let seconds = |nm: f64| nm / c.relative_kn.max(0.1) * 3600.0;
        let off_nm = SIGMAS_95 * doubt.measured_sigma_nm(ahead_s);
        // The further off she passes, the more a small error of the relative course shifts the moment.
        let swung_nm = c.cpa_nm * doubt.measured_sigma_kn() / c.relative_kn.max(0.1);
        let off_s = seconds(off_nm.hypot(SIGMAS_95 * swung_nm)).hypot(SIGMAS_95 * LATE_S);
        // Directions in the frame midway between the two.
        let half_deg = seen.convergence_deg / 2.0;
        let own_bow = own.bow_deg.map(|d| d + half_deg);
        let her_bow = other.bow_deg.map(|d| d - half_deg);
        let r = [seen.east_nm, seen.north_nm];
        let v = [speed.0, speed.1];
        let squared = (r[0] * r[0] + r[1] * r[1]).max(1e-9);
        // Clockwise from north is from the north axis toward the east axis.
        let drift_rad_h = (v[0] * r[1] - v[1] * r[0]) / squared;
        let clearance_nm = clearance(r, v, c.tcpa_s, (own_bow, own.hull), (her_bow, other.hull));
        let apart_nm = clearance_nm.unwrap_or(c.cpa_nm).min(c.cpa_nm);
        Self {
            range_nm: c.range_nm,
            bearing_deg: c.bearing_deg,
            cpa_nm: c.cpa_nm,
            tcpa_s: c.tcpa_s,
            cpa_bearing_deg: c.cpa_bearing_deg,
            clearance_nm,
            least_cpa_nm: (apart_nm - off_nm).max(0.0),
            greatest_cpa_nm: c.cpa_nm + off_nm,
            earliest_tcpa_s: (c.tcpa_s - off_s).max(-FURTHEST_S),
            latest_tcpa_s: (c.tcpa_s + off_s).min(FURTHEST_S),
            fearful_tcpa_s: c.tcpa_s - seconds(SIGMAS_95 * doubt.sigma_nm(ahead_s)),
            relative_kn: c.relative_kn,
            bearing_drift_deg_min: drift_rad_h.to_degrees() / 60.0,
            situation: situation(own, other, c.bearing_deg, seen.convergence_deg, c.tcpa_s),
            crosses_bow: own_bow.and_then(|deg| crossing(r, v, deg, own.hull, (her_bow, other.hull))),
            crossed_bow: her_bow.and_then(|deg| {
                crossing([-r[0], -r[1]], [-v[0], -v[1]], deg, other.hull, (own_bow, own.hull))
            }),
        }
    }

    /// The TCPA less its error, two minutes at most: a call based on it is not late because the TCPA is not known to
    /// the second, nor a quarter of an hour early when she barely moves past us and nothing can be said.
    pub fn prudent_tcpa_s(&self) -> f64 {
        self.fearful_tcpa_s.max(self.tcpa_s - PRUDENT_S)
    }

    /// Where the target passes, as a word: ahead, astern, to port or to starboard; `None` if she is not closing or own
    /// bow is not known.
    pub fn passing(&self) -> Option<&'static str> {
        if self.tcpa_s <= 0.0 {
            return None;
        }
        let (along_nm, seconds) = self.crosses_bow?;
        // She crosses own line before or about when she is closest, or never on this course.
        let crosses = seconds > 0.0 && seconds <= 2.0 * self.tcpa_s + 60.0;
        match (crosses, along_nm >= 0.0) {
            (true, true) => Some("ahead"),
            (true, false) => Some("astern"),
            (false, _) => None,
        }
    }
}

/// What seems past is past only if she surely draws away. Of a ship that keeps beside us the noise of her reports would
/// else say each minute that she is past, and the next that she comes on.
fn unless_past(c: Closest, seen: Sight, speed: (f64, f64), doubt: Doubtful) -> Closest {
    let opening_kn = (seen.east_nm * speed.0 + seen.north_nm * speed.1) / c.range_nm.max(1e-6);
    if c.tcpa_s >= 0.0 || opening_kn >= OPENS_SIGMAS * doubt.sigma_kn() {
        return c;
    }
    Closest { cpa_nm: c.range_nm, tcpa_s: 0.0, cpa_bearing_deg: c.bearing_deg, ..c }
}

/// The situation by the courses of both.
fn situation(
    own: &Party,
    other: &Party,
    bearing_deg: f64,
    convergence_deg: f64,
    tcpa_s: f64,
) -> Option<Situation> {
    if tcpa_s <= 0.0 {
        return Some(Situation::Opening);
    }
    if other.motion.sog_kn() < STOPPED_KN {
        return Some(Situation::Stopped);
    }
    let (own_deg, her_deg) = (own.bow_deg?, other.bow_deg?);
    let on_own = turn_deg(own_deg, bearing_deg);
    let on_hers = turn_deg(her_deg, bearing_deg + convergence_deg + 180.0);
    let opposite = turn_deg(own_deg + 180.0, her_deg - convergence_deg).abs() <= NEARLY_DEG;
    Some(if on_own.abs() > ABAFT_DEG {
        Situation::SheOvertakes
    } else if on_hers.abs() > ABAFT_DEG {
        Situation::OwnOvertakes
    } else if opposite && on_own.abs() <= NEARLY_DEG && on_hers.abs() <= NEARLY_DEG {
        Situation::Meeting
    } else if on_own >= 0.0 {
        Situation::CrossingFromStarboard
    } else {
        Situation::CrossingFromPort
    })
}

fn direction(deg: f64) -> [f64; 2] {
    let (sin, cos) = deg.to_radians().sin_cos();
    [sin, cos]
}

/// Bow and stern of a hull about its reported point, in nautical miles; the point itself if nothing is known.
fn ends(bow_deg: Option<f64>, hull: Option<Dimensions>) -> [[f64; 2]; 2] {
    let Some((deg, d)) = bow_deg.zip(hull) else { return [[0.0; 2]; 2] };
    let u = direction(deg);
    let end = |m: f64| [u[0] * m / METRES_PER_NM, u[1] * m / METRES_PER_NM];
    [end(d.bow_m), end(-d.stern_m)]
}

/// Where the other crosses the line that runs ahead and astern through a vessel: distance from that vessel's bow
/// to the nearest end of the other's hull (negative, from her stern, where it crosses astern), and when.
fn crossing(
    r: [f64; 2],
    v: [f64; 2],
    bow_deg: f64,
    hull: Option<Dimensions>,
    other: (Option<f64>, Option<Dimensions>),
) -> Option<(f64, f64)> {
    let u = direction(bow_deg);
    let across = |p: [f64; 2]| p[0] * u[1] - p[1] * u[0];
    let along = |p: [f64; 2]| p[0] * u[0] + p[1] * u[1];
    let (va, vu) = (across(v), along(v));
    if va.abs() < 0.05 {
        return None;
    }
    let at = ends(other.0, other.1).map(|e| {
        let p = [r[0] + e[0], r[1] + e[1]];
        let hours = -across(p) / va;
        (along(p) + vu * hours, hours * 3600.0)
    });
    let (bow_nm, stern_nm) =
        hull.map_or((0.0, 0.0), |d| (d.bow_m / METRES_PER_NM, d.stern_m / METRES_PER_NM));
    let seconds = at[0].1.min(at[1].1);
    let (least, most) = (at[0].0.min(at[1].0), at[0].0.max(at[1].0));
    let distance_nm = if least > bow_nm {
        least - bow_nm
    } else if most < -stern_nm {
        most + stern_nm
    } else {
        0.0
    };
    Some((distance_nm, seconds))
}

/// The least distance of the hulls about the closest approach of the reported points.
fn clearance(
    r: [f64; 2],
    v: [f64; 2],
    tcpa_s: f64,
    own: (Option<f64>, Option<Dimensions>),
    other: (Option<f64>, Option<Dimensions>),
) -> Option<f64> {
    let length_nm = |h: Option<Dimensions>| h.and_then(|d| d.length_m()).map_or(0.0, |m| m / METRES_PER_NM);
    let both_nm = length_nm(own.1) + length_nm(other.1);
    if both_nm <= 0.0 {
        return None;
    }
    let (mine, hers) = (ends(own.0, own.1), ends(other.0, other.1));
    let half_beam_nm =
        |h: Option<Dimensions>| h.map_or(0.0, |d| (d.port_m + d.starboard_m) / 2.0 / METRES_PER_NM);
    let beams_nm = half_beam_nm(own.1) + half_beam_nm(other.1);
    let about_h = both_nm / v[0].hypot(v[1]).max(0.5);
    let mut offs = [[[0.0; 2]; 4]; 2 * HULL_MOMENTS as usize + 1];
    for (i, offs) in (-HULL_MOMENTS..=HULL_MOMENTS).zip(&mut offs) {
        let hours = tcpa_s / 3600.0 + about_h * f64::from(i) / f64::from(HULL_MOMENTS);
        let p = [r[0] + v[0] * hours, r[1] + v[1] * hours];
        match segments_apart(mine, hers.map(|e| [p[0] + e[0], p[1] + e[1]])) {
            Some(apart) => *offs = apart,
            None => return Some(0.0),
        }
    }
    // Squares say which are the least; the root is drawn of those alone.
    let squared = |o: &[f64; 2]| o[0] * o[0] + o[1] * o[1];
    let least = offs.as_flattened().iter().map(squared).fold(f64::INFINITY, f64::min);
    let among = offs.as_flattened().iter().filter(|o| squared(o) <= least * (1.0 + 1e-12));
    let least = among.map(|o| o[0].hypot(o[1])).fold(f64::INFINITY, f64::min);
    Some((least - beams_nm).max(0.0))
}

/// How far, on both axes, each end of two straight lines is off the other line; `None` where they cross.
fn segments_apart(a: [[f64; 2]; 2], b: [[f64; 2]; 2]) -> Option<[[f64; 2]; 4]> {
    let cross =
        |o: [f64; 2], p: [f64; 2], q: [f64; 2]| (p[0] - o[0]) * (q[1] - o[1]) - (p[1] - o[1]) * (q[0] - o[0]);
    let parts = |a: [[f64; 2]; 2], b: [[f64; 2]; 2]| cross(a[0], a[1], b[0]) * cross(a[0], a[1], b[1]) < 0.0;
    if parts(a, b) && parts(b, a) {
        return None;
    }
    let to = |p: [f64; 2], s: [[f64; 2]; 2]| {
        let d = [s[1][0] - s[0][0], s[1][1] - s[0][1]];
        let squared = d[0] * d[0] + d[1] * d[1];
        let part = if squared > 0.0 {
            (((p[0] - s[0][0]) * d[0] + (p[1] - s[0][1]) * d[1]) / squared).clamp(0.0, 1.0)
        } else {
            0.0
        };
        [p[0] - s[0][0] - part * d[0], p[1] - s[0][1] - part * d[1]]
    };
    Some([to(a[0], b), to(a[1], b), to(b[0], a), to(b[1], a)])
}
