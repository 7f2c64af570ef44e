//! The set and drift of the water, from own heading and speed through the water against the ground track.
//!
//! The difference of the two also includes own leeway and the errors of log and compass. All are fitted together with
//! what is known about each beforehand; on one tack they cannot be separated and the uncertainty says so, over two
//! tacks they can.

use super::matrix::Matrix;
use crate::casualty::{Known, OwnContext, SetDrift};
use std::time::Duration;
use terms::{Circular, Moment, turn_deg};

/// Unknowns: current east and north, leeway per knot of beam wind, error of the log, error of the compass.
const N: usize = 5;
/// Before anything is measured, all own choice: 0.7 kn of current each way, leeway of 2.5 ± 1.5 % of the wind
/// abeam, 5 % of the log, 3° of the compass.
const CURRENT_KN: f64 = 0.6;
const LEEWAY: f64 = 0.025;
const DEVIATIONS: [f64; N] = [CURRENT_KN, CURRENT_KN, 0.015, 0.05, 0.05];
/// How far each wanders in an hour: the tide turns, deviation and leeway vary with heading and sails (own choice).
const WANDER_PER_HOUR: [f64; N] = [0.3, 0.3, 0.005, 0.01, 0.01];
/// Standard deviation of a minute of measurements (waves and steering; own choice).
const MINUTE_KN: f64 = 0.2;
/// A change of heading by more than this begins a new leg, which is measured from its second minute on.
const TURN_DEG: f64 = 30.0;
const LEG_BEGINS_MINUTES: f64 = 2.0;
/// After a longer gap than this, a measurement finds the water as unknown as at the start.
const ALL_FORGOTTEN_S: f64 = 6.0 * 3600.0;
/// How long a lack of wind counts on.
const FORGOTTEN_AFTER_S: f64 = 3600.0;
/// Measurements come no closer together than this, and are no older.
const STEP: Duration = Duration::from_secs(10);
/// Leeway of own vessel if no wind is known to model it by.
const UNMODELLED_LEEWAY_KN: f64 = 0.2;
/// A wind older than this is no longer known.
const WIND_BELIEVED: Duration = Duration::from_secs(600);
/// How far a set and drift given by hand may be off (own choice).
const GIVEN_KN: f64 = 0.25;

/// How the current is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CurrentFrom {
    /// The skipper or the configuration.
    Given,
    /// Own heading and speed through the water against the ground track.
    Measured,
    /// Nothing: it may be anything common.
    Nothing,
}

/// The current and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Current {
    /// To the east and north in knots.
    pub east_kn: f64,
    /// To the north.
    pub north_kn: f64,
    /// Covariance of the two in knots squared.
    pub covariance: [[f64; 2]; 2],
    /// How it is known.
    pub from: CurrentFrom,
}

impl Current {
    /// As set and drift.
    pub fn set_drift(&self) -> SetDrift {
        SetDrift::from_components(self.east_kn, self.north_kn)
    }

    /// Anything common.
    pub(crate) fn unknown() -> Self {
        let v = CURRENT_KN * CURRENT_KN;
        Self { east_kn: 0.0, north_kn: 0.0, covariance: [[v, 0.0], [0.0, v]], from: CurrentFrom::Nothing }
    }

    /// As given by hand.
    pub(crate) fn given(current: SetDrift) -> Self {
        let (east_kn, north_kn) = current.components();
        let v = GIVEN_KN * GIVEN_KN;
        Self { east_kn, north_kn, covariance: [[v, 0.0], [0.0, v]], from: CurrentFrom::Given }
    }
}

/// Heading, speed and wind abeam since the last turn, averaged. These separate the errors of log and compass from the
/// current: with single measurements the noise of log and helm, which stands on both sides of the sum, would pass for
/// an instrument error.
#[derive(Debug, Clone, PartialEq, Default)]
struct Leg {
    heading: Circular,
    speed_minutes: f64,
    abeam_minutes: f64,
    minutes: f64,
}

impl Leg {
    /// Takes a measurement; a turn begins a new leg. Returns how long the leg has lasted.
    fn follow(&mut self, heading_deg: f64, speed_kn: f64, abeam_kn: f64, minutes: f64) -> f64 {
        if self.heading.mean_deg().is_some_and(|m| turn_deg(m, heading_deg).abs() > TURN_DEG) {
            *self = Self::default();
        }
        self.heading.add(heading_deg, minutes);
        self.speed_minutes += speed_kn * minutes;
        self.abeam_minutes += abeam_kn * minutes;
        self.minutes += minutes;
        self.minutes
    }

    /// Way through the water, the direction to starboard, and the wind abeam.
    fn means(&self) -> ([f64; 2], [f64; 2], f64) {
        let (sin, cos) = self.heading.mean_deg().unwrap_or(0.0).to_radians().sin_cos();
        let speed_kn = self.speed_minutes / self.minutes;
        ([speed_kn * sin, speed_kn * cos], [cos, -sin], self.abeam_minutes / self.minutes)
    }
}

/// The running fit.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Water {
    state: [f64; N],
    covariance: Matrix<N, N>,
    leg: Leg,
    minutes: f64,
    unmodelled_minutes: f64,
    last: Option<Moment>,
}

impl Default for Water {
    fn default() -> Self {
        let mut covariance = [[0.0; N]; N];
        for (i, d) in DEVIATIONS.iter().enumerate() {
            covariance[i][i] = d * d;
        }
        let state = [0.0, 0.0, LEEWAY, 0.0, 0.0];
        Self { state, covariance, leg: Leg::default(), minutes: 0.0, unmodelled_minutes: 0.0, last: None }
    }
}

impl Water {
    /// Takes own motion, at most every ten seconds.
    pub fn follow(&mut self, at: Moment, own: &OwnContext) {
        if self.last.is_some_and(|l| at < l + STEP) {
            return;
        }
        let fresh = |k: Known<f64>| at.since(k.at) <= STEP && k.value.is_finite();
        let (Some(sog), Some(cog), Some(heading), Some(stw)) = (
            own.sog_kn.filter(|&k| fresh(k)),
            own.cog_deg.filter(|&k| fresh(k)),
            own.heading_deg.filter(|&k| fresh(k)),
            own.speed_through_water_kn.filter(|&k| fresh(k)),
        ) else {
            return;
        };
        let elapsed_s = self.last.map_or(0.0, |l| at.since(l).as_secs_f64());
        let minutes = (elapsed_s / 60.0).clamp(1.0 / 6.0, 1.0);
        self.wander(elapsed_s);
        self.last = Some(at);
        // Leeway is to the side away from the wind, in proportion to the wind abeam.
        let wind = own.wind.filter(|w| at.since(w.at) <= WIND_BELIEVED && w.value.speed_kn.is_finite());
        let abeam_kn = wind
            .map_or(0.0, |w| w.value.speed_kn * turn_deg(heading.value, w.value.from_deg).to_radians().sin());
        let leg_minutes = self.leg.follow(heading.value, stw.value, abeam_kn, minutes);
        if leg_minutes < LEG_BEGINS_MINUTES {
            return;
        }
        self.unmodelled_minutes += if wind.is_none() { minutes } else { 0.0 };
        self.minutes += minutes;
        let (through_east, through_north) =
            SetDrift { set_deg: heading.value, drift_kn: stw.value }.components();
        let (east_kn, north_kn) = SetDrift { set_deg: cog.value, drift_kn: sog.value }.components();
        let difference = [east_kn - through_east, north_kn - through_north];
        let (through, starboard, abeam_kn) = self.leg.means();
        for axis in 0..2 {
            let row = [
                f64::from(u8::from(axis == 0)),
                f64::from(u8::from(axis == 1)),
                -starboard[axis] * abeam_kn,
                through[axis],
                starboard[axis] * through[0].hypot(through[1]),
            ];
            self.correct(row, difference[axis], MINUTE_KN * MINUTE_KN / minutes);
        }
    }

    /// As time passes everything is known a little less well, but never less well than before any measurement.
    fn wander(&mut self, elapsed_s: f64) {
        if elapsed_s > ALL_FORGOTTEN_S {
            *self = Self::default();
        }
        let kept = (-elapsed_s / FORGOTTEN_AFTER_S).exp();
        self.minutes *= kept;
        self.unmodelled_minutes *= kept;
        for (i, (wander, most)) in WANDER_PER_HOUR.iter().zip(DEVIATIONS).enumerate() {
            let grown = self.covariance[i][i] + wander * wander * elapsed_s / 3600.0;
            self.covariance[i][i] = grown.min(most * most).max(self.covariance[i][i]);
        }
    }

    /// Takes one measured component.
    fn correct(&mut self, row: [f64; N], measured: f64, variance: f64) {
        let spread: [f64; N] = std::array::from_fn(|r| dot(&self.covariance[r], &row));
        let total = dot(&spread, &row) + variance;
        let off = measured - dot(&self.state, &row);
        for r in 0..N {
            self.state[r] += spread[r] * off / total;
            for c in 0..N {
                self.covariance[r][c] -= spread[r] * spread[c] / total;
            }
        }
    }

    /// The current now.
    pub fn current(&self, own: &OwnContext) -> Current {
        if let Some(given) = own.current {
            return Current::given(given);
        }
        if self.minutes < 1.0 {
            return Current::unknown();
        }
        let p = &self.covariance;
        let extra = UNMODELLED_LEEWAY_KN * UNMODELLED_LEEWAY_KN * self.unmodelled_minutes / self.minutes;
        Current {
            east_kn: self.state[0],
            north_kn: self.state[1],
            covariance: [[p[0][0] + extra, p[0][1]], [p[1][0], p[1][1] + extra]],
            from: CurrentFrom::Measured,
        }
    }
}

/// The scalar product.
fn dot(a: &[f64; N], b: &[f64; N]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::casualty::WindFrom;
    use terms::normal_deg;

    /// Own vessel at 5 kn through the water on a heading, in a current, making leeway by 3 % of the wind abeam.
    fn own(at: Moment, heading: f64, current: (f64, f64)) -> OwnContext {
        let known = |v: f64| Some(Known::new(v, at));
        let (sin, cos) = heading.to_radians().sin_cos();
        let beam = 0.03 * 20.0 * turn_deg(heading, 270.0).to_radians().sin();
        let ground = (5.0 * sin - beam * cos + current.0, 5.0 * cos + beam * sin + current.1);
        OwnContext {
            sog_kn: known(ground.0.hypot(ground.1)),
            cog_deg: known(normal_deg(ground.0.atan2(ground.1).to_degrees())),
            heading_deg: known(heading),
            speed_through_water_kn: known(5.0),
            wind: Some(Known::new(WindFrom { from_deg: 270.0, speed_kn: 20.0 }, at)),
            ..OwnContext::default()
        }
    }

    #[test]
    fn two_tacks_tell_current_from_leeway_and_one_says_that_it_cannot() {
        let current = (0.8, -0.4);
        let mut one = Water::default();
        let mut two = Water::default();
        for minute in 0..60 {
            let at = Moment::from_s(f64::from(minute) * 60.0);
            one.follow(at, &own(at, 315.0, current));
            two.follow(at, &own(at, if minute % 20 < 10 { 315.0 } else { 225.0 }, current));
        }
        let now = own(Moment::from_s(3600.0), 315.0, current);
        let (one, two) = (one.current(&now), two.current(&now));
        let off = |c: Current| (c.east_kn - current.0).hypot(c.north_kn - current.1);
        let spread = |c: Current| c.covariance[0][0] + c.covariance[1][1];
        assert!(off(two) < 0.15, "{two:?}");
        assert!(off(one) * off(one) < 4.0 * spread(one), "{one:?}");
        assert!(spread(two) < 0.5 * spread(one));
    }
}
