//! Where a drifting thing is and how it moves: a sum of Gaussians, two for each place it may have started from, one for
//! leeway to either side of downwind, carried on by wind and current and corrected by every fix.
//!
//! The state of each is the position, the error of the assumed current, and how the thing's own leeway differs
//! from the table. The error of the current fades back over hours, that of the leeway belongs to the thing and
//! stays. So the beacon's own drift overrides what was assumed, and goes on doing so for a while after it falls
//! silent.

use super::leeway::{Leeway, Posture, SPREAD_CROSSWIND_KN, SPREAD_DOWNWIND_KN, spread_factor};
use super::matrix::{Matrix, inverse, product, sum, transposed};
use super::surroundings::{Spell, Surroundings};
use std::time::Duration;
use terms::{Moment, Plane, Position};

/// Position, error of the current, own leeway's deviation; two of each.
const N: usize = 6;
/// Longest step, and the most steps of one carry.
const STEP: Duration = Duration::from_secs(300);
const STEPS: u32 = 512;
/// The current at the casualty, and over hours, differs from the one known at own vessel by this much each way.
const CURRENT_DIFFERS_KN: f64 = 0.1;
/// Time over which the error of the current changes (own choice: half a tide).
const CURRENT_CHANGES_S: f64 = 4.0 * 3600.0;
/// Spread by eddies and waves, nautical miles after an hour, growing with the root of time (own choice).
const EDDIES_NM: f64 = 0.03;
/// If no wind is known: the spread from any common wind (own choice: that of 15 kn from anywhere).
const UNKNOWN_WIND_FACTOR: f64 = 1.2;
/// A fix this many standard deviations off is trusted less, in proportion.
const ROBUST_DEVIATIONS: f64 = 3.0;
/// A fix further off than this and than [`FITS_DEVIATIONS`] does not fit (own choice: twice the error of a small
/// receiver awash, and what no normal error reaches).
const FITS_NM: f64 = 0.1;
const FITS_DEVIATIONS: f64 = 5.0;
/// A Gaussian this much less likely than the best, by the logarithm, is dropped: one in a million.
const NEGLIGIBLE: f64 = 14.0;

/// What drifts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Drifter {
    pub leeway: Leeway,
    /// How much individuals differ, as a multiple of the spread of people.
    pub spread: f64,
}

impl Drifter {
    /// A person in the water about whom nothing more is known.
    pub const PERSON: Self = Self { leeway: Posture::Unknown.leeway(), spread: 1.0 };
    /// A raft or a disabled boat (own choice: 3 % of the wind, with wide differences).
    pub const CRAFT: Self =
        Self { leeway: Leeway { multiplier: 0.03, modifier_kn: 0.1, divergence_deg: 20.0 }, spread: 2.0 };
}

/// One of the Gaussians.
#[derive(Debug, Clone, PartialEq)]
struct Lobe {
    /// When it started.
    began: Moment,
    /// +1 to the right of downwind, −1 to the left.
    side: f64,
    /// Logarithm of its weight.
    log_weight: f64,
    state: [f64; N],
    covariance: Matrix<N, N>,
}

/// Position and velocity of one Gaussian: east, north in nautical miles; east, north in knots.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Motion {
    /// When it started.
    pub began: Moment,
    /// Whether its leeway is to the right of downwind.
    pub right: bool,
    pub weight: f64,
    pub mean: [f64; 4],
    pub covariance: Matrix<4, 4>,
}

/// The estimate.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Filter {
    pub plane: Plane,
    pub at: Moment,
    drifter: Drifter,
    /// Two, or two for each place it may have started from.
    lobes: Vec<Lobe>,
}

/// A place where it may have started.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Start {
    pub at: Moment,
    pub place: Position,
    /// To the east and north, in square nautical miles.
    pub covariance: Matrix<2, 2>,
    /// How likely it started here, in any unit.
    pub weight: f64,
}

/// What makes up velocity in a spell: the known part of each side, and the directions of the unknown parts.
struct Push {
    base_kn: [f64; 2],
    cross_kn: [f64; 2],
    downwind: [f64; 2],
    right: [f64; 2],
    spread: f64,
}

impl Push {
    fn of(spell: &Spell, drifter: &Drifter) -> Self {
        let wind = spell.wind_kn.map(|w| (w, w[0].hypot(w[1])));
        let direction = wind.filter(|w| w.1 > 0.1).map_or([0.0, 1.0], |(w, kn)| [w[0] / kn, w[1] / kn]);
        let right = [direction[1], -direction[0]];
        let (down, cross) = wind.map_or((0.0, 0.0), |w| drifter.leeway.components(w.1));
        let factor = wind.map_or(UNKNOWN_WIND_FACTOR, |w| spread_factor(w.1));
        Self {
            base_kn: [0, 1].map(|i| spell.current_kn[i] + down * direction[i]),
            cross_kn: right.map(|r| cross * r),
            downwind: direction,
            right,
            spread: factor * drifter.spread,
        }
    }

    /// How the deviations of the leeway turn into velocity.
    fn leeway_deviation(&self, axis: usize) -> [f64; 2] {
        [self.spread * self.downwind[axis], self.spread * self.right[axis]]
    }
}

/// What a length of time does to a state, and to its error.
struct Passage {
    transition: Matrix<N, N>,
    noise: Matrix<N, N>,
    /// The known part of the way made, and that of leeway to the right of downwind.
    base_nm: [f64; 2],
    cross_nm: [f64; 2],
}

impl Passage {
    /// No time at all.
    fn none() -> Self {
        let mut transition = [[0.0; N]; N];
        for (i, row) in transition.iter_mut().enumerate() {
            row[i] = 1.0;
        }
        Self { transition, noise: [[0.0; N]; N], base_nm: [0.0; 2], cross_nm: [0.0; 2] }
    }

    /// From one moment to a later one, spell by spell; nothing if it is not later.
    fn over(from: Moment, to: Moment, drifter: &Drifter, surroundings: &Surroundings) -> Self {
        let longest = STEP.max(to.since(from) / STEPS);
        let (mut whole, mut at) = (Self::none(), from);
        while at < to {
            let (spell, next) = surroundings.spell(at);
            let end = next.filter(|n| *n > at).unwrap_or(to).min(to).min(at + longest);
            whole = whole.then(&Self::within(&spell, end.since(at).as_secs_f64(), drifter));
            at = end;
        }
        whole
    }

    /// So many seconds within a spell.
    fn within(spell: &Spell, seconds: f64, drifter: &Drifter) -> Self {
        let hours = seconds / 3600.0;
        let push = Push::of(spell, drifter);
        let kept = (-seconds / CURRENT_CHANGES_S).exp();
        let Self { mut transition, mut noise, .. } = Self::none();
        for axis in 0..2 {
            transition[2 + axis][2 + axis] = kept;
            transition[axis][2 + axis] = hours;
            let [down, cross] = push.leeway_deviation(axis);
            transition[axis][4] = down * hours;
            transition[axis][5] = cross * hours;
            noise[axis][axis] = EDDIES_NM * EDDIES_NM * hours;
            for other in 0..2 {
                noise[2 + axis][2 + other] = (1.0 - kept * kept) * spell.covariance[axis][other];
            }
            noise[2 + axis][2 + axis] += (1.0 - kept * kept) * CURRENT_DIFFERS_KN * CURRENT_DIFFERS_KN;
        }
        let way = |kn: [f64; 2]| kn.map(|kn| kn * hours);
        Self { transition, noise, base_nm: way(push.base_kn), cross_nm: way(push.cross_kn) }
    }

    /// This one, and then a later one. No passage moves a position by where it is, so that the ways add up.
    fn then(&self, later: &Self) -> Self {
        let spread = product(&product(&later.transition, &self.noise), &transposed(&later.transition));
        Self {
            transition: product(&later.transition, &self.transition),
            noise: sum(&spread, &later.noise),
            base_nm: [0, 1].map(|i| self.base_nm[i] + later.base_nm[i]),
            cross_nm: [0, 1].map(|i| self.cross_nm[i] + later.cross_nm[i]),
        }
    }

    /// Takes a Gaussian through it.
    fn take(&self, lobe: &mut Lobe) {
        let moved = product(&self.transition, &lobe.state.map(|x| [x]));
        for (cell, moved) in lobe.state.iter_mut().zip(moved) {
            *cell = moved[0];
        }
        for axis in 0..2 {
            lobe.state[axis] += self.base_nm[axis] + lobe.side * self.cross_nm[axis];
        }
        let spread = product(&product(&self.transition, &lobe.covariance), &transposed(&self.transition));
        lobe.covariance = sum(&spread, &self.noise);
    }
}

impl Filter {
    /// Starts at a place known with a standard deviation each way.
    pub fn start(
        place: Position,
        at: Moment,
        deviation_nm: f64,
        drifter: Drifter,
        surroundings: &Surroundings,
    ) -> Self {
        let v = deviation_nm * deviation_nm;
        let start = Start { at, place, covariance: [[v, 0.0], [0.0, v]], weight: 1.0 };
        let plane = Plane::at(place);
        Self { plane, at, drifter, lobes: lobes(&plane, &start, surroundings).into() }
    }

    /// Starts at one of several places, each at its own moment, and is carried on to the last of these moments. `None`
    /// of no place. The starts are in the order of time.
    pub fn along(starts: &[Start], drifter: Drifter, surroundings: &Surroundings) -> Option<Self> {
        let plane = Plane::at(starts.get(starts.len() / 2)?.place);
        let at = starts.last()?.at;
        // Backward, so that each stretch of time is worked out once for all that started before it.
        let (mut rest, mut from) = (Passage::none(), at);
        let mut all = Vec::with_capacity(2 * starts.len());
        for start in starts.iter().rev() {
            rest = Passage::over(start.at, from, &drifter, surroundings).then(&rest);
            from = start.at;
            for mut lobe in lobes(&plane, start, surroundings) {
                rest.take(&mut lobe);
                all.push(lobe);
            }
        }
        all.reverse();
        Some(Self { plane, at, drifter, lobes: all })
    }

    /// Carries it on to a moment; does nothing for one in the past.
    pub fn carry(&mut self, to: Moment, surroundings: &Surroundings) {
        if to <= self.at {
            return;
        }
        let passage = Passage::over(self.at, to, &self.drifter, surroundings);
        self.lobes.iter_mut().for_each(|lobe| passage.take(lobe));
        self.at = to;
    }

    /// Whether a present fix with a standard deviation each way can be of this thing.
    pub fn fits(&self, place: Position, deviation_nm: f64) -> bool {
        let (east, north) = self.plane.east_north(place);
        let variance = deviation_nm * deviation_nm;
        let best = self.lobes.iter().map(|l| l.log_weight).fold(f64::NEG_INFINITY, f64::max);
        self.lobes.iter().filter(|l| l.log_weight >= best - NEGLIGIBLE).any(|lobe| {
            let p = &lobe.covariance;
            let off = [east - lobe.state[0], north - lobe.state[1]];
            let spread = [[p[0][0] + variance, p[0][1]], [p[1][0], p[1][1] + variance]];
            off[0].hypot(off[1]) <= FITS_NM
                || inverse(&spread).is_some_and(|i| quadratic(&i, off) <= FITS_DEVIATIONS * FITS_DEVIATIONS)
        })
    }

    /// Corrects it with a present fix that has a standard deviation each way.
    pub fn correct(&mut self, place: Position, deviation_nm: f64) {
        let (east, north) = self.plane.east_north(place);
        for lobe in &mut self.lobes {
            let p = &lobe.covariance;
            let off = [east - lobe.state[0], north - lobe.state[1]];
            let mut variance = deviation_nm * deviation_nm;
            let spread = |v: f64| [[p[0][0] + v, p[0][1]], [p[1][0], p[1][1] + v]];
            let Some(first) = inverse(&spread(variance)) else { continue };
            let distance2 = quadratic(&first, off);
            variance *= (distance2 / (ROBUST_DEVIATIONS * ROBUST_DEVIATIONS)).max(1.0);
            let total = spread(variance);
            let Some(inverted) = inverse(&total) else { continue };
            let determinant = (total[0][0] * total[1][1] - total[0][1] * total[1][0]).max(1e-300);
            lobe.log_weight -= 0.5 * (quadratic(&inverted, off) + determinant.ln());
            let columns: Matrix<N, 2> = std::array::from_fn(|r| [p[r][0], p[r][1]]);
            let gain = product(&columns, &inverted);
            let taken = product(&gain, &transposed(&columns));
            for (cell, gain) in lobe.state.iter_mut().zip(&gain) {
                *cell += gain[0] * off[0] + gain[1] * off[1];
            }
            for (cell, taken) in lobe.covariance.iter_mut().flatten().zip(taken.iter().flatten()) {
                *cell -= taken;
            }
        }
        if self.lobes.len() > 2 {
            let best = self.lobes.iter().map(|l| l.log_weight).fold(f64::NEG_INFINITY, f64::max);
            self.lobes.retain(|l| l.log_weight >= best - NEGLIGIBLE);
        }
    }

    /// Position and velocity of each Gaussian now, in the order of their starts; weights add up to one.
    pub fn motions(&self, surroundings: &Surroundings) -> Vec<Motion> {
        let (spell, _) = surroundings.spell(self.at);
        let push = Push::of(&spell, &self.drifter);
        let mut look = [[0.0; N]; 4];
        for axis in 0..2 {
            look[axis][axis] = 1.0;
            look[2 + axis][2 + axis] = 1.0;
            let [down, cross] = push.leeway_deviation(axis);
            look[2 + axis][4] = down;
            look[2 + axis][5] = cross;
        }
        let best = self.lobes.iter().map(|l| l.log_weight).fold(f64::NEG_INFINITY, f64::max);
        let all: f64 = self.lobes.iter().map(|l| (l.log_weight - best).exp()).sum();
        let motion = |lobe: &Lobe| {
            let seen = product(&look, &lobe.state.map(|x| [x]));
            let mut mean = [seen[0][0], seen[1][0], seen[2][0], seen[3][0]];
            for axis in 0..2 {
                mean[2 + axis] += push.base_kn[axis] + lobe.side * push.cross_kn[axis];
            }
            Motion {
                began: lobe.began,
                right: lobe.side > 0.0,
                weight: (lobe.log_weight - best).exp() / all,
                mean,
                covariance: product(&product(&look, &lobe.covariance), &transposed(&look)),
            }
        };
        self.lobes.iter().map(motion).collect()
    }
}

/// The two Gaussians of a start, at its moment: leeway to the left of downwind, and to the right.
fn lobes(plane: &Plane, start: &Start, surroundings: &Surroundings) -> [Lobe; 2] {
    let (spell, _) = surroundings.spell(start.at);
    let mut covariance = [[0.0; N]; N];
    for i in 0..2 {
        for j in 0..2 {
            covariance[i][j] = start.covariance[i][j];
            covariance[2 + i][2 + j] = spell.covariance[i][j];
        }
        covariance[2 + i][2 + i] += CURRENT_DIFFERS_KN * CURRENT_DIFFERS_KN;
    }
    covariance[4][4] = SPREAD_DOWNWIND_KN * SPREAD_DOWNWIND_KN;
    covariance[5][5] = SPREAD_CROSSWIND_KN * SPREAD_CROSSWIND_KN;
    let (east, north) = plane.east_north(start.place);
    let state = [east, north, 0.0, 0.0, 0.0, 0.0];
    let log_weight = start.weight.max(1e-12).ln();
    [-1.0, 1.0].map(|side| Lobe { began: start.at, side, log_weight, state, covariance })
}

/// A quadratic form of a vector.
pub(crate) fn quadratic(m: &Matrix<2, 2>, v: [f64; 2]) -> f64 {
    v[0] * (m[0][0] * v[0] + m[0][1] * v[1]) + v[1] * (m[1][0] * v[0] + m[1][1] * v[1])
}
