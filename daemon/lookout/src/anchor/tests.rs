//! Made nights at anchor: a boat that sheers about her rode, a wind that turns, a receiver whose errors wander.

use super::{Anchor, AnchorState, Lies, Said};
use terms::{METRES_PER_NM, Moment, Plane, Position, normal_deg};

#[allow(dead_code)]
#[path = "../../tests/dice/mod.rs"]
mod dice;
use dice::Dice;

/// A boat at anchor.
struct Boat {
    anchor: Anchor,
    plane: Plane,
    dice: Dice,
    now_s: f64,
    /// Where the anchor truly lies, east and north in metres.
    lies: [f64; 2],
    /// From the anchor to the antenna.
    scope_m: f64,
    wind_deg: f64,
    compass: bool,
    /// How far her compass is off.
    off_deg: f64,
    /// Her bow keeps to the wind as it was at first, while a stream carries her.
    stream: bool,
    /// Deviations of the receiver's error in one direction: what wanders over ten minutes, and what is new each second.
    gps_m: (f64, f64),
    wander: [f64; 2],
    /// The greatest of what she was said to have dragged at least.
    least_m: f64,
    /// When that was first over what is called for.
    called_s: Option<f64>,
}

/// What the shipped order calls for.
const CALLED_M: f64 = 6.0;

impl Boat {
    fn new(seed: u64, gps_m: (f64, f64)) -> Self {
        let mut boat = Self {
            anchor: Anchor::default(),
            plane: Plane::at(Position::new(46.97, -4.69).unwrap()),
            dice: Dice(seed),
            now_s: 0.0,
            lies: [0.0, 0.0],
            scope_m: 35.0,
            wind_deg: 290.0,
            compass: true,
            off_deg: 0.0,
            stream: false,
            gps_m,
            wander: [0.0; 2],
            least_m: 0.0,
            called_s: None,
        };
        // As if the receiver had been on for long.
        boat.wander = [(); 2].map(|()| boat.dice.normal(gps_m.0));
        boat
    }

    fn at(&self) -> Moment {
        Moment::from_s(self.now_s)
    }

    /// She sheers by fifteen degrees to each side; her bow leads by as much again, and the chain gives by a metre.
    fn look(&mut self) -> Lies {
        let phase = self.now_s / 80.0 * std::f64::consts::TAU;
        let lies_deg = self.wind_deg + 180.0 + 15.0 * phase.sin();
        let scope_m = self.scope_m + (phase * 2.0).cos();
        let (e, n) = lies_deg.to_radians().sin_cos();
        let keep = (-1.0f64 / 600.0).exp();
        let drive = self.gps_m.0 * (1.0 - keep * keep).sqrt();
        let error = [0, 1].map(|i| {
            self.wander[i] = keep * self.wander[i] + self.dice.normal(drive);
            self.wander[i] + self.dice.normal(self.gps_m.1)
        });
        let at = [self.lies[0] + scope_m * e + error[0], self.lies[1] + scope_m * n + error[1]];
        let points_deg = if self.stream { 290.0 } else { self.wind_deg };
        let heading = normal_deg(points_deg + 30.0 * phase.cos() + self.off_deg);
        Lies {
            position: self.plane.position(at[0] / METRES_PER_NM, at[1] / METRES_PER_NM),
            heading_deg: self.compass.then_some(heading),
            bow_m: Some(6.0),
        }
    }

    fn declared(mut self, said: Option<Said>) -> Self {
        let lies = self.look();
        self.anchor.lies(self.at(), Some(lies), said);
        self
    }

    /// A fix a second, while the wind turns and the anchor drags at a steady rate.
    fn pass(&mut self, minutes: f64, turns_deg: f64, drags_m: f64) -> AnchorState {
        let seconds = minutes * 60.0;
        for _ in 0..seconds as usize {
            self.now_s += 1.0;
            self.wind_deg += turns_deg / seconds;
            // To leeward.
            let (e, n) = (self.wind_deg + 180.0).to_radians().sin_cos();
            self.lies = [self.lies[0] + e * drags_m / seconds, self.lies[1] + n * drags_m / seconds];
            let lies = self.look();
            if self.anchor.hear(self.at(), lies) {
                let state = self.anchor.state(self.at()).unwrap();
                self.least_m = self.least_m.max(state.least_drag_m);
                if state.least_drag_m > CALLED_M {
                    self.called_s.get_or_insert(self.now_s);
                }
            }
        }
        self.anchor.state(self.at()).unwrap()
    }

    /// How far from the truth the anchor is believed to lie.
    fn astray_m(&self) -> f64 {
        let truth = self.plane.position(self.lies[0] / METRES_PER_NM, self.lies[1] / METRES_PER_NM);
        let state = self.anchor.state(self.at()).unwrap();
        state.position.range_and_bearing(truth).0 * METRES_PER_NM
    }
}

/// Deviations of 3 m and of 5 m in each direction.
const GOOD: (f64, f64) = (2.5, 1.5);
const POOR: (f64, f64) = (3.0, 4.0);
/// 29 m from the bow and 6 m more to the antenna, which is right.
const RIGHT: Said = Said { metres: 29.0, bearing_deg: Some(290.0) };

#[test]
fn a_swing_through_half_a_circle_is_no_drag_and_shows_where_the_anchor_lies() {
    for seed in 0..4 {
        let mut b = Boat::new(seed, GOOD).declared(None);
        let before = b.pass(40.0, 0.0, 0.0);
        // On one heading only the direction is known well.
        assert!(
            before.error_m > 15.0 && b.astray_m() < before.error_m,
            "{seed}: {before:?} {}",
            b.astray_m()
        );
        let after = b.pass(25.0, 180.0, 0.0);
        assert_eq!(b.called_s, None, "{seed}: {after:?}");
        assert!(after.error_m < 10.0 && b.astray_m() < 10.0, "{seed}: {after:?} {}", b.astray_m());
        // A drag of fifteen metres after that.
        b.pass(8.0, 0.0, 15.0);
        let dragged = b.pass(20.0, 0.0, 0.0);
        assert!(b.called_s.is_some(), "{seed}: {dragged:?}");
        assert!((8.0..22.0).contains(&dragged.drag_m), "{seed}: {dragged:?}");
    }
}

#[test]
fn where_the_anchor_was_said_to_lie_swing_and_drag_are_told_apart_at_once() {
    for (seed, compass) in [(0, true), (1, true), (2, false), (3, false)] {
        let mut b = Boat { compass, ..Boat::new(seed, GOOD) }.declared(Some(RIGHT));
        let state = b.pass(10.0, 0.0, 0.0);
        assert!(b.astray_m() < 10.0, "{seed}: {state:?} {}", b.astray_m());
        b.pass(4.0, 180.0, 0.0);
        b.pass(30.0, 0.0, 0.0);
        assert_eq!(b.called_s, None, "{seed}: {:?}", b.least_m);
        let dragged = b.pass(5.0, 0.0, 20.0);
        assert!(b.called_s.is_some_and(|s| s > 44.0 * 60.0), "{seed}: {dragged:?}");
        assert!((10.0..30.0).contains(&dragged.drag_m), "{seed}: {dragged:?}");
    }
}

#[test]
fn a_drag_straight_to_leeward_is_called_though_the_circle_is_not_known() {
    for seed in 0..4 {
        let mut b = Boat::new(100 + seed, GOOD).declared(None);
        b.pass(120.0, 20.0, 0.0);
        assert_eq!(b.called_s, None);
        b.pass(8.0, 0.0, 18.0);
        let dragged = b.pass(15.0, 0.0, 0.0);
        assert!(b.called_s.is_some(), "{seed}: {dragged:?}");
        // So slow that a tide goes by meanwhile.
        let mut b = Boat::new(200 + seed, GOOD).declared(None);
        b.pass(120.0, 20.0, 0.0);
        let dragged = b.pass(120.0, 0.0, 30.0);
        assert!(b.called_s.is_some(), "{seed}: {dragged:?}");
    }
}

#[test]
fn a_long_drag_is_called_though_her_bow_points_away_from_the_anchor() {
    for (seed, off_deg) in [(0, 180.0), (1, 180.0), (2, 150.0), (3, 150.0)] {
        let new = |seed: u64| Boat { off_deg, ..Boat::new(400 + seed, GOOD) }.declared(None);
        let mut b = new(seed);
        b.pass(180.0, 20.0, 0.0);
        b.pass(6.0, 0.0, 90.0);
        let dragged = b.pass(1.0, 0.0, 0.0);
        assert!(b.called_s.is_some_and(|s| s > 180.0 * 60.0), "{seed}: {dragged:?}");
    }
    // A swing right across is none, though a bow that keeps to the wind while a stream carries her shows nothing of it.
    for seed in 0..4 {
        let mut b = Boat { stream: true, ..Boat::new(410 + seed, GOOD) }.declared(None);
        b.pass(60.0, 0.0, 0.0);
        b.pass(25.0, 180.0, 0.0);
        b.pass(30.0, 0.0, 0.0);
        assert_eq!(b.called_s, None, "{seed}: {}", b.least_m);
    }
}

#[test]
fn where_the_anchor_was_said_to_lie_a_long_way_across_is_a_swing() {
    // On sixty metres, with a bow that keeps to the wind while a stream carries her across.
    let said = Said { metres: 54.0, bearing_deg: Some(290.0) };
    let mut b = Boat { stream: true, scope_m: 60.0, ..Boat::new(420, GOOD) }.declared(Some(said));
    b.pass(30.0, 0.0, 0.0);
    b.pass(20.0, 180.0, 0.0);
    b.pass(20.0, 0.0, 0.0);
    assert_eq!(b.called_s, None, "{}", b.least_m);
}

#[test]
fn the_noise_of_fixes_calls_nobody_all_night() {
    for (seed, gps, said) in
        [(0, GOOD, None), (1, POOR, None), (2, GOOD, Some(RIGHT)), (3, POOR, Some(RIGHT))]
    {
        let mut b = Boat::new(300 + seed, gps).declared(said);
        b.pass(8.0 * 60.0, 40.0, 0.0);
        assert_eq!(b.called_s, None, "{seed}: {}", b.least_m);
    }
}

#[test]
fn from_the_drop_she_falls_back_and_then_lies_to_it() {
    let mut b = Boat::new(5, GOOD);
    b.scope_m = 0.0;
    let lies = b.look();
    let dropped = b.anchor.drops(b.at(), lies).position;
    assert!(b.anchor.state(b.at()).is_none(), "she is not declared at anchor");
    b.anchor.lies(b.at(), Some(lies), None);
    for _ in 0..35 {
        b.scope_m += 1.0;
        b.pass(0.25, 0.0, 0.0);
    }
    b.pass(20.0, 0.0, 0.0);
    assert_eq!(b.called_s, None, "chain that runs out is no drag");
    let state = b.pass(3.0, 180.0, 0.0);
    assert_eq!(b.called_s, None, "{state:?}");
    // It dropped from the bow, six metres from the antenna.
    assert!(state.position.range_and_bearing(dropped).0 * METRES_PER_NM < 12.0, "{state:?} {dropped}");
    // Dropped again elsewhere, the circle begins again.
    b.lies = [300.0, 0.0];
    b.scope_m = 0.0;
    let lies = b.look();
    b.anchor.drops(b.at(), lies);
    b.pass(1.0, 0.0, 0.0);
    assert_eq!(b.called_s, None);
}

#[test]
fn what_is_known_outlasts_a_restart() {
    let mut b = Boat::new(7, GOOD).declared(None);
    b.pass(40.0, 0.0, 0.0);
    let known = b.pass(25.0, 180.0, 0.0);
    let kept = serde_json::to_string(&b.anchor.keep()).unwrap();
    b.anchor = Anchor::default();
    b.anchor.take_up(b.at(), serde_json::from_str(&kept).unwrap());
    let again = b.pass(1.0, 0.0, 0.0);
    assert!((again.error_m - known.error_m).abs() < 1.0, "{known:?} {again:?}");
    assert!(again.position.range_and_bearing(known.position).0 * METRES_PER_NM < 2.0, "{known:?} {again:?}");
    b.pass(8.0, 0.0, 20.0);
    b.pass(10.0, 0.0, 0.0);
    assert!(b.called_s.is_some());
}

#[test]
fn what_is_said_later_of_where_it_lies_begins_her_circle_again() {
    let mut b = Boat::new(11, GOOD).declared(None);
    let before = b.pass(30.0, 0.0, 0.0);
    assert!(before.error_m > 15.0, "{before:?}");
    let lies = b.look();
    b.anchor.lies(b.at(), Some(lies), None);
    assert_eq!(b.anchor.state(b.at()), Some(before), "with nothing new said it goes on");
    b.anchor.lies(b.at(), Some(lies), Some(RIGHT));
    let after = b.pass(5.0, 0.0, 0.0);
    assert!(after.error_m < before.error_m && b.astray_m() < 10.0, "{after:?} {}", b.astray_m());
}

#[test]
fn a_drop_far_from_where_she_is_declared_was_another() {
    for (off_m, meant) in [(30.0, true), (400.0, false)] {
        let mut b = Boat::new(12, GOOD);
        b.scope_m = 6.0;
        let lies = b.look();
        b.anchor.drops(b.at(), lies);
        b.scope_m = 35.0;
        b.lies = if meant { [0.0, 0.0] } else { [off_m, 0.0] };
        let state = b.declared(None).pass(20.0, 0.0, 0.0);
        assert_eq!(state.error_m < 15.0, meant, "{off_m}: {state:?}");
    }
}

#[test]
fn without_fixes_nothing_is_known_of_it_after_a_minute() {
    let mut b = Boat::new(13, GOOD).declared(Some(RIGHT));
    let state = b.pass(5.0, 0.0, 0.0);
    let after = |s| state.at + std::time::Duration::from_secs(s);
    let drag = |at| b.anchor.reading(at, terms::Quantity::AnchorDrag);
    assert_eq!(b.anchor.state(after(60)), Some(state));
    assert!(drag(after(60)).value.is_some() && drag(after(61)).value.is_none());
    assert_eq!((b.anchor.state(after(61)), drag(after(61)).heard), (None, Some(state.at)));
}

#[test]
fn declared_before_any_fix_it_begins_with_the_first_and_ends_when_weighed() {
    let mut b = Boat::new(9, GOOD);
    b.anchor.lies(b.at(), None, Some(RIGHT));
    assert_eq!(b.anchor.state(b.at()), None);
    b.pass(1.0, 0.0, 0.0);
    assert!(b.astray_m() < 12.0);
    b.anchor.weighed();
    let lies = b.look();
    assert!(!b.anchor.hear(b.at(), lies));
    assert_eq!(b.anchor.state(b.at()), None);
}
