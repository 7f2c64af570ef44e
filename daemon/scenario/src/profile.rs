//! Numbers that change over time along straight lines between the given moments.

use terms::Moment;

/// Points in order of time, each with `N` numbers; the first and last values hold before and after.
#[derive(Debug, Clone)]
pub struct Profile<const N: usize> {
    points: Vec<(Moment, [f64; N])>,
}

impl<const N: usize> Default for Profile<N> {
    fn default() -> Self {
        Self { points: Vec::new() }
    }
}

impl<const N: usize> Profile<N> {
    /// From points in any order.
    pub fn new(mut points: Vec<(Moment, [f64; N])>) -> Self {
        points.sort_by_key(|p| p.0);
        Self { points }
    }

    /// Whether anything was given.
    pub fn is_empty(&self) -> bool {
        self.points.is_empty()
    }

    /// The numbers at a moment, `None` if nothing was given.
    pub fn at(&self, at: Moment) -> Option<[f64; N]> {
        let next = self.points.partition_point(|p| p.0 <= at);
        let before = next.checked_sub(1).and_then(|i| self.points.get(i));
        match (before, self.points.get(next)) {
            (Some((t0, a)), Some((t1, b))) => {
                let share = at.seconds_from(*t0) / t1.seconds_from(*t0);
                Some(std::array::from_fn(|i| a[i] + (b[i] - a[i]) * share))
            }
            (Some((_, v)), None) | (None, Some((_, v))) => Some(*v),
            (None, None) => None,
        }
    }
}

/// A direction and a speed as east and north.
pub fn east_north(direction_deg: f64, speed: f64) -> [f64; 2] {
    let (sin, cos) = direction_deg.to_radians().sin_cos();
    [speed * sin, speed * cos]
}

/// East and north as a direction in [0, 360) and a speed.
pub fn direction_speed([east, north]: [f64; 2]) -> (f64, f64) {
    (terms::normal_deg(east.atan2(north).to_degrees()), east.hypot(north))
}
