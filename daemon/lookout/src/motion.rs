//! A vessel that holds her course and speed, and the closest point of approach of two of them.

use terms::{Moment, Plane, Position, normal_deg, turn_deg};

/// Beyond this the difference of longitude is too great for the middle latitude, and the geodesic serves
/// (near a pole, or very far away).
const MIDDLE_LATITUDE_MAX_DEG: f64 = 5.0;
/// Two vessels whose speeds differ by less than this keep their range: there is no time of closest approach.
const NO_RELATIVE_SPEED_KN: f64 = 0.02;
/// A closest approach further off in time than this is taken from the straight line.
const CURVED_MAX_S: f64 = 6.0 * 3600.0;
/// Steps of the search for the closest approach on the curved earth; each gains about three digits.
const STEPS_MAX: usize = 6;

/// A vessel on a steady course and speed over ground from a known place and moment: she follows a rhumb line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motion {
    /// When she was there.
    pub at: Moment,
    /// Where.
    pub position: Position,
    /// Speed over ground toward true east.
    pub east_kn: f64,
    /// Speed over ground toward true north.
    pub north_kn: f64,
}

impl Motion {
    /// From course and speed over ground.
    pub fn steady(at: Moment, position: Position, sog_kn: f64, cog_deg: f64) -> Self {
        let (sin, cos) = cog_deg.to_radians().sin_cos();
        Self { at, position, east_kn: sog_kn * sin, north_kn: sog_kn * cos }
    }

    /// The same at rest.
    pub(crate) fn at_rest(self) -> Self {
        Self { east_kn: 0.0, north_kn: 0.0, ..self }
    }

    /// Speed over ground.
    pub fn sog_kn(&self) -> f64 {
        self.east_kn.hypot(self.north_kn)
    }

    /// Course over ground, true, in [0, 360); 0 when she does not move.
    pub fn cog_deg(&self) -> f64 {
        normal_deg(self.east_kn.atan2(self.north_kn).to_degrees())
    }

    /// Where she is this many seconds later, or was if negative.
    pub fn after(&self, seconds: f64) -> Position {
        shifted(self.position, self.east_kn * seconds / 3600.0, self.north_kn * seconds / 3600.0)
    }

    /// The same, carried to a moment.
    pub fn carried(&self, to: Moment) -> Self {
        if to == self.at {
            return *self;
        }
        Self { at: to, position: self.after(to.seconds_from(self.at)), ..*self }
    }
}

/// The position this many nautical miles east and north along one rhumb line, by the middle latitude.
pub(crate) fn shifted(from: Position, east_nm: f64, north_nm: f64) -> Position {
    let there = Plane::at(from).position(east_nm / 2.0, north_nm / 2.0);
    let middle = Position::new(there.latitude_deg(), from.longitude_deg()).unwrap_or(from);
    if middle.latitude_deg().abs() > 89.0 {
        return from.at(normal_deg(east_nm.atan2(north_nm).to_degrees()), east_nm.hypot(north_nm));
    }
    let end = Plane::at(middle).position(east_nm, north_nm);
    let latitude = (from.latitude_deg() + end.latitude_deg() - middle.latitude_deg()).clamp(-90.0, 90.0);
    Position::new(latitude, end.longitude_deg()).unwrap_or(end)
}

/// One position as seen from another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Sight {
    /// East and north in nautical miles, in the frame midway between the two.
    pub east_nm: f64,
    /// North in that frame.
    pub north_nm: f64,
    /// How far the meridians of the two differ in direction; half of it lies on either side of the middle.
    pub convergence_deg: f64,
}

impl Sight {
    /// By the middle latitude (Gauss): within 12 nm good to a metre up to 80° of latitude.
    pub fn of(from: Position, to: Position) -> Self {
        let difference_deg = turn_deg(from.longitude_deg(), to.longitude_deg());
        let middle_deg = (from.latitude_deg() + to.latitude_deg()) / 2.0;
        if difference_deg.abs() > MIDDLE_LATITUDE_MAX_DEG {
            return Self::by_geodesic(from, to);
        }
        let middle = Position::new(middle_deg, from.longitude_deg()).unwrap_or(from);
        let plane = Plane::at(middle);
        let (east_nm, north_to_nm) = plane.east_north(to);
        let (_, north_from_nm) = plane.east_north(from);
        Self {
            east_nm,
            north_nm: (north_to_nm - north_from_nm) * (difference_deg.to_radians() / 2.0).cos(),
            convergence_deg: difference_deg * middle_deg.to_radians().sin(),
        }
    }

    fn by_geodesic(from: Position, to: Position) -> Self {
        let (range_nm, leaves_deg) = from.range_and_bearing(to);
        let arrives_deg = normal_deg(to.range_and_bearing(from).1 + 180.0);
        let convergence_deg = turn_deg(leaves_deg, arrives_deg);
        let (sin, cos) = (leaves_deg + convergence_deg / 2.0).to_radians().sin_cos();
        Self { east_nm: range_nm * sin, north_nm: range_nm * cos, convergence_deg }
    }

    /// How far.
    pub fn range_nm(&self) -> f64 {
        self.east_nm.hypot(self.north_nm)
    }

    /// True bearing at the first of the two, in [0, 360).
    pub fn bearing_deg(&self) -> f64 {
        normal_deg(self.east_nm.atan2(self.north_nm).to_degrees() - self.convergence_deg / 2.0)
    }

    /// Speed of the second relative to the first, east and north in the middle frame.
    pub fn relative_kn(&self, from: &Motion, to: &Motion) -> (f64, f64) {
        let (sin, cos) = (self.convergence_deg.to_radians() / 2.0).sin_cos();
        // A direction of azimuth a at the first lies at a + c/2 in the middle, one of the second at a − c/2.
        let first = (from.east_kn * cos + from.north_kn * sin, from.north_kn * cos - from.east_kn * sin);
        let second = (to.east_kn * cos - to.north_kn * sin, to.north_kn * cos + to.east_kn * sin);
        (second.0 - first.0, second.1 - first.1)
    }
}

/// How one vessel lies and moves as seen from another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Closest {
    /// Range now.
    pub range_nm: f64,
    /// True bearing now.
    pub bearing_deg: f64,
    /// Range at the closest point of approach.
    pub cpa_nm: f64,
    /// Seconds until then; negative when it is past. Zero where the range does not change.
    pub tcpa_s: f64,
    /// True bearing at the closest point of approach.
    pub cpa_bearing_deg: f64,
    /// Speed of the other relative to own.
    pub relative_kn: f64,
}

/// The closest point of approach of another vessel, both carried to one moment. Within 12 nm it is good to a few
/// metres at any latitude up to 80° and across 180°.
pub fn closest(own: &Motion, other: &Motion, at: Moment) -> Closest {
    let (own, other) = (own.carried(at), other.carried(at));
    closest_of_two(&own, &other, Sight::of(own.position, other.position)).0
}

/// The same for two motions at one moment, `now` being the second as seen from the first; also its velocity relative to
/// the first.
pub(crate) fn closest_of_two(own: &Motion, other: &Motion, now: Sight) -> (Closest, (f64, f64)) {
    let (range_nm, bearing_deg) = (now.range_nm(), now.bearing_deg());
    let speed = now.relative_kn(own, other);
    let relative_kn = speed.0.hypot(speed.1);
    if relative_kn < NO_RELATIVE_SPEED_KN {
        let closest = Closest {
            range_nm,
            bearing_deg,
            cpa_nm: range_nm,
            tcpa_s: 0.0,
            cpa_bearing_deg: bearing_deg,
            relative_kn,
        };
        return (closest, speed);
    }
    let step_s = |sight: &Sight, v: (f64, f64)| {
        -(sight.east_nm * v.0 + sight.north_nm * v.1) / (v.0 * v.0 + v.1 * v.1) * 3600.0
    };
    let mut tcpa_s = step_s(&now, speed);
    let mut then = Sight {
        east_nm: now.east_nm + speed.0 * tcpa_s / 3600.0,
        north_nm: now.north_nm + speed.1 * tcpa_s / 3600.0,
        ..now
    };
    if tcpa_s.abs() <= CURVED_MAX_S {
        for _ in 0..STEPS_MAX {
            then = Sight::of(own.after(tcpa_s), other.after(tcpa_s));
            let step = step_s(&then, then.relative_kn(own, other));
            if !step.is_finite() || step.abs() < 0.05 {
                break;
            }
            tcpa_s = (tcpa_s + step).clamp(-2.0 * CURVED_MAX_S, 2.0 * CURVED_MAX_S);
        }
    }
    let closest = Closest {
        range_nm,
        bearing_deg,
        cpa_nm: then.range_nm(),
        tcpa_s,
        cpa_bearing_deg: then.bearing_deg(),
        relative_kn,
    };
    (closest, speed)
}
