//! Angles on the circle, in degrees clockwise.

/// The same direction in [0, 360).
pub fn normal_deg(deg: f64) -> f64 {
    let r = deg.rem_euclid(360.0);
    // rem_euclid of a tiny negative number rounds up to 360 itself.
    if r >= 360.0 { 0.0 } else { r }
}

/// The shorter turn from one direction to another in (−180, 180], positive to starboard.
pub fn turn_deg(from_deg: f64, to_deg: f64) -> f64 {
    let t = normal_deg(to_deg - from_deg);
    if t > 180.0 { t - 360.0 } else { t }
}

/// Whether a direction lies in the sector clockwise from one edge to the other, edges included. A sector from 350 to
/// 10 contains north; equal edges contain that one direction only.
pub fn in_sector(deg: f64, from_deg: f64, to_deg: f64) -> bool {
    normal_deg(deg - from_deg) <= normal_deg(to_deg - from_deg)
}

/// A direction as written and spoken: 007, 350, and 000 for 359.7.
pub fn three_digits(deg: f64) -> String {
    format!("{:03}", (deg.round() as i64).rem_euclid(360))
}

/// A mean of directions, as the direction of the sum of unit vectors.
#[derive(Debug, Clone, Copy, Default, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Circular {
    north: f64,
    east: f64,
    weight: f64,
}

impl Circular {
    /// Adds a direction; a negative weight removes one.
    pub fn add(&mut self, deg: f64, weight: f64) {
        let (sin, cos) = deg.to_radians().sin_cos();
        self.north += weight * cos;
        self.east += weight * sin;
        self.weight += weight;
    }

    /// The mean in [0, 360), or `None` if the directions cancel out or there are none.
    pub fn mean_deg(&self) -> Option<f64> {
        (self.steadiness() > 1e-6).then(|| normal_deg(self.east.atan2(self.north).to_degrees()))
    }

    /// Length of the mean vector: 1 when all agree, 0 when they cancel out or there are none.
    pub fn steadiness(&self) -> f64 {
        if self.weight > 0.0 { self.north.hypot(self.east) / self.weight } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn directions_have_three_digits() {
        let written = [7.4, 359.4, 359.7, 360.0, -90.0].map(three_digits);
        assert_eq!(written, ["007", "359", "000", "000", "270"]);
    }

    #[test]
    fn turns_and_sectors_wrap_through_north() {
        assert_eq!(turn_deg(350.0, 10.0), 20.0);
        assert_eq!(turn_deg(10.0, 350.0), -20.0);
        assert_eq!(turn_deg(0.0, 180.0), 180.0);
        assert!(
            in_sector(0.0, 350.0, 10.0) && in_sector(350.0, 350.0, 10.0) && !in_sector(180.0, 350.0, 10.0)
        );
        assert!(in_sector(180.0, 10.0, 350.0));
    }

    #[test]
    fn mean_of_directions_either_side_of_north() {
        let mut c = Circular::default();
        c.add(350.0, 1.0);
        c.add(20.0, 1.0);
        assert!((c.mean_deg().unwrap() - 5.0).abs() < 1e-9);
        let mut opposed = Circular::default();
        opposed.add(0.0, 1.0);
        opposed.add(180.0, 1.0);
        assert_eq!(opposed.mean_deg(), None);
    }

    proptest! {
        #[test]
        fn a_turn_leads_from_one_to_the_other(from in -720.0..720.0f64, to in -720.0..720.0f64) {
            let t = turn_deg(from, to);
            prop_assert!(t > -180.0 && t <= 180.0);
            prop_assert!(turn_deg(normal_deg(from + t), to).abs() < 1e-9);
        }

        #[test]
        fn normal_is_in_range(a in -1e9..1e9f64) {
            prop_assert!((0.0..360.0).contains(&normal_deg(a)));
        }
    }
}
