//! A leg from one position to another along the geodesic, and where a vessel lies beside it.

use crate::angle::turn_deg;
use crate::position::{METRES_PER_NM, Position};

/// Mean radius of the earth in nautical miles (IUGG: 6,371,008.8 m), for the first guess only.
const EARTH_NM: f64 = 6_371_008.8 / METRES_PER_NM;
/// The foot is found when a step is shorter than this: a centimetre, in miles.
const CLOSE_ENOUGH_NM: f64 = 0.01 / METRES_PER_NM;
/// Most steps; four are usual, and those who lie a quarter round the earth off need not be exact.
const STEPS: usize = 20;

/// Where a vessel lies beside a leg.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beside {
    /// Length of the shortest geodesic to the leg's line drawn out at both ends, nautical miles; right of it positive.
    pub off_nm: f64,
    /// From the leg's beginning to the foot of that geodesic; negative before it.
    pub along_nm: f64,
    /// That foot.
    pub foot: Position,
}

impl Position {
    /// Where this position lies beside the leg between two others; `None` if they are the same.
    ///
    /// The foot is approached along the geodesic, each step by the right-angled triangle on a sphere (after Baselga and
    /// Martínez-Llario 2018), so that the result is that of the ellipsoid.
    pub fn beside(self, from: Self, to: Self) -> Option<Beside> {
        let (length_nm, bearing_deg) = from.range_and_bearing(to);
        if length_nm < CLOSE_ENOUGH_NM {
            return None;
        }
        let (mut along_nm, mut foot) = (0.0, from);
        for _ in 0..STEPS {
            // The course of the line at the foot, forward.
            let ahead = from.at(bearing_deg, along_nm + 1.0);
            let course_deg = foot.range_and_bearing(ahead).1;
            let (range_nm, at_deg) = foot.range_and_bearing(self);
            let angle = turn_deg(course_deg, at_deg).to_radians();
            let step_nm =
                EARTH_NM * ((range_nm / EARTH_NM).sin() * angle.cos()).atan2((range_nm / EARTH_NM).cos());
            along_nm += step_nm;
            foot = from.at(bearing_deg, along_nm);
            if step_nm.abs() < CLOSE_ENOUGH_NM {
                break;
            }
        }
        let ahead = from.at(bearing_deg, along_nm + 1.0);
        let (range_nm, at_deg) = foot.range_and_bearing(self);
        let right = turn_deg(foot.range_and_bearing(ahead).1, at_deg) >= 0.0;
        Some(Beside { off_nm: if right { range_nm } else { -range_nm }, along_nm, foot })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(latitude_deg: f64, longitude_deg: f64) -> Position {
        Position::new(latitude_deg, longitude_deg).unwrap()
    }

    /// Worked examples; the first is of Baselga and Martínez-Llario 2018 (from memory, recomputed), the others recomputed
    /// with GeographicLib by a minimisation.
    #[test]
    fn beside_a_leg_on_the_ellipsoid() {
        let b = at(52.0, 5.5).beside(at(52.0, 5.0), at(51.4, 6.0)).unwrap();
        assert!((b.off_nm * METRES_PER_NM + 23_767.724).abs() < 0.02, "{}", b.off_nm * METRES_PER_NM);
        assert!((b.along_nm * METRES_PER_NM - 24_784.29).abs() < 0.02, "{}", b.along_nm * METRES_PER_NM);
        assert!((b.foot.latitude_deg() - 51.846_089).abs() < 1e-5);
        assert!((b.foot.longitude_deg() - 5.260_428).abs() < 1e-5);
        let (los_angeles, new_york) = (at(33.95, -118.4), at(40.0 + 38.0 / 60.0, -(73.0 + 47.0 / 60.0)));
        let b = at(34.5, -116.5).beside(los_angeles, new_york).unwrap();
        assert!((b.off_nm - 7.5406).abs() < 2e-4 && (b.along_nm - 99.818).abs() < 2e-3, "{b:?}");
        // Across 180°.
        let b = at(-17.2, -179.5).beside(at(-17.0, 178.0), at(-18.5, -176.0)).unwrap();
        assert!((b.off_nm + 26.023).abs() < 2e-3 && (b.along_nm - 141.796).abs() < 2e-3, "{b:?}");
        // A sample log's: 1.29 nm to its waypoint, 0.67 nm to the right of the leg.
        let minutes = |lat: f64, lon: f64| at(49.0 + lat / 60.0, -(123.0 + lon / 60.0));
        let b = minutes(16.45, 11.12).beside(minutes(17.16, 10.64), minutes(17.24, 9.57)).unwrap();
        assert!((b.off_nm - 0.67).abs() < 0.01 && b.along_nm < 0.0, "{b:?}");
        assert_eq!(at(1.0, 1.0).beside(at(0.0, 0.0), at(0.0, 0.0)), None);
    }

    /// Against the definition: no point of the line is nearer than the foot.
    #[test]
    fn the_foot_is_the_nearest_point_of_the_line() {
        for (lat, lon) in [(10.0, 2.0), (-35.0, 170.0), (60.0, -30.0), (75.0, 10.0)] {
            let (from, to) = (at(lat, lon), at(lat, lon).at(63.0, 200.0));
            let bearing = from.range_and_bearing(to).1;
            for (course, off) in [(10.0, 30.0), (200.0, 90.0), (63.0, 400.0), (243.0, 40.0), (300.0, 5.0)] {
                let p = from.at(course, off);
                let b = p.beside(from, to).unwrap();
                for d in [-1.0, -0.1, 0.1, 1.0] {
                    let beside = from.at(bearing, b.along_nm + d);
                    assert!(p.range_and_bearing(beside).0 + 1e-7 >= b.off_nm.abs(), "{lat} {course} {d}");
                }
            }
        }
    }
}
