//! Where something is at each moment: a course made of pieces, each with one turn rate and one acceleration.

use std::time::Duration;
use terms::{Moment, Plane, Position, normal_deg, turn_deg};

/// How something moves at a moment: the truth, before noise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motion {
    /// Where.
    pub position: Position,
    /// Course through the water, true; for ships, whose courses are given over the ground, the same as `cog_deg`.
    pub course_deg: f64,
    /// Speed through the water; for ships over the ground.
    pub speed_kn: f64,
    /// Course over ground, true.
    pub cog_deg: f64,
    /// Speed over ground.
    pub sog_kn: f64,
    /// Rate of turn, to starboard positive.
    pub turn_deg_min: f64,
}

/// The longest piece, so that a course stays a rhumb line and a plane stays true.
const LONGEST_S: f64 = 600.0;
/// The longest piece that turns and gathers way at the same time; its displacement is an approximation.
const LONGEST_MIXED_S: f64 = 5.0;

/// A stretch from one moment on.
#[derive(Debug, Clone)]
struct Piece {
    from: Moment,
    plane: Plane,
    course_deg: f64,
    speed_kn: f64,
    turn_deg_s: f64,
    gain_kn_s: f64,
    /// Current, east and north.
    current_kn: [f64; 2],
}

impl Piece {
    fn at(&self, at: Moment) -> Motion {
        let t = at.seconds_from(self.from);
        let course = self.course_deg + self.turn_deg_s * t;
        let speed = self.speed_kn + self.gain_kn_s * t;
        let way_nm = (self.speed_kn + self.gain_kn_s * t / 2.0) * t / 3600.0;
        // The chord of an arc lies halfway between the first and the last course; sin(x)/x is its shortening.
        let half = (self.turn_deg_s * t / 2.0).to_radians();
        let chord_nm = if half.abs() < 1e-9 { way_nm } else { way_nm * half.sin() / half };
        let (sin, cos) = (self.course_deg + self.turn_deg_s * t / 2.0).to_radians().sin_cos();
        let [current_east, current_north] = self.current_kn;
        let east = chord_nm * sin + current_east * t / 3600.0;
        let north = chord_nm * cos + current_north * t / 3600.0;
        let (sin, cos) = course.to_radians().sin_cos();
        let (ground_east, ground_north) = (speed * sin + current_east, speed * cos + current_north);
        let sog = ground_east.hypot(ground_north);
        Motion {
            position: self.plane.position(east, north),
            course_deg: normal_deg(course),
            speed_kn: speed.max(0.0),
            cog_deg: if sog > 1e-9 {
                normal_deg(ground_east.atan2(ground_north).to_degrees())
            } else {
                normal_deg(course)
            },
            sog_kn: sog,
            turn_deg_min: self.turn_deg_s * 60.0,
        }
    }
}

/// The whole track of one vessel, aid or person.
#[derive(Debug, Clone)]
pub struct Track {
    pieces: Vec<Piece>,
    /// Where the next piece begins.
    end: Moment,
    turn_deg_s: f64,
    gain_kn_s: f64,
}

impl Track {
    /// Starts at a position with a course and speed. It turns and gathers way at the given rates.
    pub fn new(
        from: Moment,
        position: Position,
        course_deg: f64,
        speed_kn: f64,
        turn_deg_min: f64,
        gain_kn_s: f64,
    ) -> Self {
        let first = Piece {
            from,
            plane: Plane::at(position),
            course_deg,
            speed_kn,
            turn_deg_s: 0.0,
            gain_kn_s: 0.0,
            current_kn: [0.0; 2],
        };
        Self { pieces: vec![first], end: from, turn_deg_s: turn_deg_min / 60.0, gain_kn_s }
    }

    /// How far it is laid.
    pub fn end(&self) -> Moment {
        self.end
    }

    /// The motion at a moment; before its beginning and past its end the first and last pieces go on.
    pub fn at(&self, at: Moment) -> Motion {
        let next = self.pieces.partition_point(|p| p.from <= at);
        // There is always a first piece: `new` makes one and none is ever taken away.
        self.pieces[next.saturating_sub(1)].at(at)
    }

    /// Steers this course and speed from its end until a moment, with a current (east and north, in knots)
    /// looked up at least every `every` on the way. The number of pieces is bounded by the time over the
    /// shortest of the steps, and ten for each turn of a minute.
    pub fn steer(
        &mut self,
        until: Moment,
        course_deg: f64,
        speed_kn: f64,
        every: Duration,
        current_kn: &dyn Fn(Moment) -> [f64; 2],
    ) {
        while self.end < until {
            let now = self.at(self.end);
            let turn = turn_deg(now.course_deg, course_deg);
            let gain = speed_kn - now.speed_kn;
            let turn_s = if turn.abs() < 1e-6 { 0.0 } else { turn.abs() / self.turn_deg_s };
            let gain_s = if gain.abs() < 1e-6 { 0.0 } else { gain.abs() / self.gain_kn_s };
            let mut longest_s = LONGEST_S.min(every.as_secs_f64());
            for s in [turn_s, gain_s] {
                if s > 0.0 {
                    longest_s = longest_s.min(s);
                }
            }
            if turn_s > 0.0 && gain_s > 0.0 {
                longest_s = longest_s.min(LONGEST_MIXED_S);
            }
            // At least 10 ms, so that a rest of a turn too small for the clock still ends.
            let wanted = self.end + Duration::from_millis(((longest_s * 1000.0).ceil() as u64).max(10));
            let next = wanted.min(until);
            let done_s = next.seconds_from(self.end);
            let piece = Piece {
                from: self.end,
                plane: Plane::at(now.position),
                course_deg: now.course_deg,
                speed_kn: now.speed_kn,
                turn_deg_s: if turn_s > 0.0 { turn / turn_s.max(done_s) } else { 0.0 },
                gain_kn_s: if gain_s > 0.0 { gain / gain_s.max(done_s) } else { 0.0 },
                current_kn: current_kn(self.end),
            };
            if self.pieces.last().is_some_and(|last| last.from == self.end) {
                self.pieces.pop();
            }
            self.pieces.push(piece);
            self.end = next;
        }
    }

    /// The same track, begun elsewhere so that it passes through `position` at `at`.
    pub fn through(self, at: Moment, position: Position) -> Self {
        let mut track = self;
        // Moving a track changes its shape a little by the curve of the earth: three rounds come within a metre
        // for a track of a few hundred miles.
        for _ in 0..3 {
            let (range_nm, bearing_deg) = track.at(at).position.range_and_bearing(position);
            let start = track.pieces[0].plane.origin().at(bearing_deg, range_nm);
            track = track.begun_at(start);
        }
        track
    }

    /// The same pieces from another start.
    fn begun_at(mut self, start: Position) -> Self {
        let mut position = start;
        for i in 0..self.pieces.len() {
            self.pieces[i].plane = Plane::at(position);
            if let Some(next) = self.pieces.get(i + 1) {
                position = self.pieces[i].at(next.from).position;
            }
        }
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SLACK: fn(Moment) -> [f64; 2] = |_| [0.0; 2];

    fn lay(course_deg: f64, speed_kn: f64) -> Track {
        Track::new(Moment::ZERO, Position::new(46.0, -9.0).unwrap(), course_deg, speed_kn, 60.0, 0.05)
    }

    #[test]
    fn ten_knots_for_six_minutes_is_a_mile() {
        // Common practice, and arithmetic.
        let mut track = lay(30.0, 10.0);
        track.steer(Moment(360_000), 30.0, 10.0, Duration::MAX, &SLACK);
        let (range, bearing) =
            track.at(Moment::ZERO).position.range_and_bearing(track.at(Moment(360_000)).position);
        assert!((range - 1.0).abs() < 1e-4 && (bearing - 30.0).abs() < 0.01, "{range} {bearing}");
    }

    #[test]
    fn a_turn_runs_round_its_circle() {
        // 180° at 60°/min takes 3 min; the diameter is 2·v/ω = 2 · 6 kn / (π/3 rad/min) = 0.19099 nm.
        let mut track = lay(0.0, 6.0);
        track.steer(Moment(180_000), 180.0, 6.0, Duration::MAX, &SLACK);
        let (range, bearing) =
            track.at(Moment::ZERO).position.range_and_bearing(track.at(Moment(180_000)).position);
        assert!((range - 0.190_99).abs() < 1e-4 && (bearing - 90.0).abs() < 0.1, "{range} {bearing}");
        assert_eq!(track.at(Moment(90_000)).turn_deg_min, 60.0);
    }

    #[test]
    fn current_is_added_by_the_triangle_of_velocities() {
        // 090/5 with a set of 210° and 2 kn: made good 113.4°, 4.359 kn by the exact triangle
        // (east 5 + 2·sin 210° = 4, north 2·cos 210° = −1.732).
        let mut track = lay(90.0, 5.0);
        let current = |_| crate::profile::east_north(210.0, 2.0);
        track.steer(Moment(3_600_000), 90.0, 5.0, Duration::from_secs(60), &current);
        let end = track.at(Moment(3_599_000));
        assert!((end.cog_deg - 113.413).abs() < 0.001 && (end.sog_kn - 4.3589).abs() < 0.001, "{end:?}");
        let (range, bearing) =
            track.at(Moment::ZERO).position.range_and_bearing(track.at(Moment(3_600_000)).position);
        assert!((range - 4.3589).abs() < 0.002 && (bearing - 113.413).abs() < 0.05, "{range} {bearing}");
    }

    #[test]
    fn velocity_is_the_derivative_of_position_through_turns_and_stops() {
        let mut track = lay(0.0, 8.0);
        let current = |_| [0.5, -0.3];
        track.steer(Moment(60_000), 0.0, 8.0, Duration::MAX, &current);
        track.steer(Moment(400_000), 200.0, 1.0, Duration::from_secs(60), &current);
        track.steer(Moment(800_000), 20.0, 0.0, Duration::from_secs(60), &current);
        for s in (0..790).step_by(7) {
            let at = Moment(s * 1000 + 300);
            let (before, now, after) =
                (track.at(Moment(at.0 - 200)), track.at(at), track.at(Moment(at.0 + 200)));
            let (east, north) = Plane::at(before.position).east_north(after.position);
            let (sog, cog) = (east.hypot(north) * 9000.0, normal_deg(east.atan2(north).to_degrees()));
            assert!((sog - now.sog_kn).abs() < 0.1, "{s}: {sog} {}", now.sog_kn);
            assert!(now.sog_kn < 0.3 || turn_deg(cog, now.cog_deg).abs() < 2.0, "{s}: {cog} {}", now.cog_deg);
        }
    }

    #[test]
    fn a_track_moved_passes_through_its_place() {
        let mut track = lay(100.0, 20.0);
        track.steer(Moment(3_600_000), 100.0, 20.0, Duration::MAX, &SLACK);
        track.steer(Moment(7_200_000), 10.0, 12.0, Duration::MAX, &SLACK);
        let place = Position::new(47.5, -6.0).unwrap();
        let there = track.through(Moment(5_000_000), place).at(Moment(5_000_000)).position;
        assert!(place.range_and_bearing(there).0 < 1.0 / 1852.0);
    }
}
