//! The circles that could be hers, each with its weight. All lengths in metres, all places east and north of where she lay
//! when it began.

use super::{ROUND, along, distance};
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// Directions of the centre, where nobody has said where it lies.
const DIRECTIONS: u32 = 48;
/// Distances of the centre there: the number of steps, and their length in metres.
const STEPS: std::ops::RangeInclusive<u32> = 3..=26;
const STEP_M: f64 = 5.0;
/// Small craft lie to 35 m, more or less by half of it (own choice; chain of four times 6 m of water, and a boat).
const USUAL_M: f64 = 35.0;
const USUAL_SPREAD: f64 = 0.5;
/// What she may still have in hand of chain that is not stretched, and how likely that is.
const SLACK: [(f64, f64); 6] =
    [(0.0, 0.45), (4.0, 0.25), (8.0, 0.15), (12.0, 0.08), (18.0, 0.05), (25.0, 0.02)];
/// A place said is tried so far on each side, in parts of its deviation.
const SAID: [f64; 9] = [-2.4, -1.8, -1.2, -0.6, 0.0, 0.6, 1.2, 1.8, 2.4];
/// Deviation of a place from the circle's edge: the error of fixes, and how much the chain gives.
const EDGE_M: f64 = 4.0;
/// How likely she is to lie well within the circle, beside lying on its edge.
const WITHIN: f64 = 0.15;
/// The same for outside it: a fix may be quite wrong.
const OUTSIDE: f64 = 1e-3;
/// How well the bow points at the anchor: as a von Mises distribution of this concentration, some 27 degrees …
const BOW: f64 = 5.0;
/// … unless a stream or the rudder holds it elsewhere, which is this likely.
const ELSEWHERE: f64 = 0.03;
/// The mean of the directions in which the centre may lie is at least this long where its side is known.
const SIDE: f64 = 0.7;
/// A circle of less than this part of the weight changes nothing.
const NOTHING: f64 = 1e-8;
/// Nearer than this the bow says nothing.
const BOW_BEYOND_M: f64 = 10.0;

/// A place where she lay.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Spot {
    pub at: [f64; 2],
    /// How often she was found there.
    pub times: f64,
    /// East and north part of where the bow pointed, if known.
    pub bow: Option<[f64; 2]>,
}

impl Spot {
    /// She is found there again.
    pub fn add(&mut self, at: [f64; 2], bow: Option<[f64; 2]>) {
        self.times += 1.0;
        let part = 1.0 / self.times;
        let mean = |was: [f64; 2], new: [f64; 2]| [0, 1].map(|i| was[i] + part * (new[i] - was[i]));
        self.at = mean(self.at, at);
        self.bow = match (self.bow, bow) {
            (Some(was), Some(new)) => Some(mean(was, new)),
            (was, new) => was.or(new),
        };
    }
}

#[derive(Debug, Clone, Copy)]
struct Circle {
    centre: [f64; 2],
    radius_m: f64,
    /// Logarithm of its weight.
    weight: f64,
    /// Its part of the whole weight.
    part: f64,
}

impl Circle {
    /// How well it explains that she lay there, as a logarithm.
    fn explains(&self, spot: &Spot) -> f64 {
        let off_m = distance(spot.at, self.centre);
        let beyond = (off_m - self.radius_m) / EDGE_M;
        let edge = (-0.5 * beyond * beyond).exp();
        let place = if beyond > 0.0 { edge + OUTSIDE } else { edge + WITHIN }.ln();
        let bow = spot.bow.filter(|_| off_m > BOW_BEYOND_M).map_or(0.0, |bow| {
            let toward = [0, 1].map(|i| (self.centre[i] - spot.at[i]) / off_m);
            ((BOW * (along(toward, bow) - 1.0)).exp() + ELSEWHERE).ln()
        });
        let times = spot.times.ln();
        // A compass is wrong the same way all night, and a stream holds her off for hours: the bow counts for less.
        place * (1.0 + times) + bow * (1.0 + 0.5 * times)
    }
}

/// Where the anchor lies by all of them.
#[derive(Debug, Clone, Copy)]
pub(super) struct Found {
    pub centre: [f64; 2],
    /// 95 %.
    pub error_m: f64,
    /// Whether it is known on which side of where she lay at first.
    pub knows_side: bool,
}

/// The circles, and what they say together.
#[derive(Debug, Clone)]
pub(super) struct Circles {
    all: Vec<Circle>,
    pub found: Found,
}

impl Circles {
    /// The circles about a place that was said, with its deviation, or about any.
    pub fn about(said: Option<([f64; 2], f64)>) -> Self {
        let centres: Vec<([f64; 2], f64)> = match said {
            Some((at, deviation_m)) => {
                let offsets = SAID.into_iter().flat_map(|e| SAID.into_iter().map(move |n| (e, n)));
                let centre = |(e, n): (f64, f64)| {
                    ([at[0] + e * deviation_m, at[1] + n * deviation_m], -0.5 * (e * e + n * n))
                };
                offsets.map(centre).collect()
            }
            None => {
                let steps = STEPS.map(|s| STEP_M * f64::from(s));
                let all = steps.flat_map(|m| (0..DIRECTIONS).map(move |d| (m, d)));
                let centre = |(m, d): (f64, u32)| {
                    let (e, n) = (TAU * f64::from(d) / f64::from(DIRECTIONS)).sin_cos();
                    let usual = (m / USUAL_M).ln() / USUAL_SPREAD;
                    ([m * e, m * n], -0.5 * usual * usual - m.ln())
                };
                all.map(centre).collect()
            }
        };
        let circle = |(centre, weight): ([f64; 2], f64)| {
            SLACK.map(|(slack_m, likely)| Circle {
                centre,
                radius_m: distance(centre, [0.0; 2]) + slack_m,
                weight: weight + likely.ln(),
                part: 0.0,
            })
        };
        let all = centres.into_iter().flat_map(circle).collect();
        let mut circles = Self { all, found: Found { centre: [0.0; 2], error_m: 0.0, knows_side: false } };
        circles.sum_up();
        circles
    }

    /// Adds what a place says, or takes back with −1 what it said. Sum up after that.
    pub fn weigh(&mut self, spot: &Spot, sign: f64) {
        self.all.iter_mut().for_each(|c| c.weight += sign * c.explains(spot));
    }

    /// Works out what they say together.
    pub fn sum_up(&mut self) {
        let most = self.all.iter().map(|c| c.weight).fold(f64::NEG_INFINITY, f64::max);
        self.all.iter_mut().for_each(|c| c.part = (c.weight - most).exp());
        let whole: f64 = self.all.iter().map(|c| c.part).sum();
        let (mut mean, mut square, mut side) = ([0.0; 2], 0.0, [0.0; 2]);
        for c in &mut self.all {
            c.part /= whole;
            let off_m = distance(c.centre, [0.0; 2]).max(1e-9);
            for i in [0, 1] {
                mean[i] += c.part * c.centre[i];
                side[i] += c.part * c.centre[i] / off_m;
            }
            square += c.part * off_m * off_m;
        }
        let variance = (square - mean[0] * mean[0] - mean[1] * mean[1]).max(0.0);
        let error_m = ROUND * (variance / 2.0).sqrt();
        self.found = Found { centre: mean, error_m, knows_side: side[0].hypot(side[1]) > SIDE };
    }

    /// How far a place lies outside, and the least that is with 95 %, given the error of the place itself. Negative within.
    pub fn outside(&self, at: [f64; 2], place_error_m: f64) -> (f64, f64) {
        const BINS: usize = 1024;
        const BIN_M: f64 = 0.5;
        const LEAST_M: f64 = -256.0;
        let mut bins = [0.0; BINS];
        for c in self.all.iter().filter(|c| c.part > NOTHING) {
            let outside = distance(at, c.centre) - c.radius_m;
            // Saturates at both ends.
            let bin = ((outside - LEAST_M) / BIN_M) as usize;
            bins[bin.min(BINS - 1)] += c.part;
        }
        let quantile = |q: f64| {
            let mut sum = 0.0;
            let bin = bins.iter().position(|part| {
                sum += part;
                sum >= q
            });
            LEAST_M + BIN_M * (bin.unwrap_or(BINS - 1) as f64 + 0.5)
        };
        let median = quantile(0.5);
        (median, median - (median - quantile(0.05)).hypot(place_error_m))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_far_outside_a_circle_speaks_against_it_and_one_well_within_hardly() {
        let circle = Circle { centre: [0.0; 2], radius_m: 40.0, weight: 0.0, part: 0.0 };
        let explains = |m: f64| circle.explains(&Spot { at: [m, 0.0], times: 1.0, bow: None });
        assert!(explains(40.0) > explains(36.0) && explains(36.0) > explains(20.0));
        assert!(explains(20.0) > explains(60.0) + 3.0, "{} {}", explains(20.0), explains(60.0));
    }
}
