//! The estimate from all pairs together: how likely each part of its horizon is for the next low beacon.

use super::{
    BEACON_M, BEACON_PART, BEACON_PART_OFF, CLASS_B_M, HEARD_FAR, HEARD_NEAR, STATIONS_DIFFER, STEP_NM,
    Station, horizon_nm,
};
use std::collections::BTreeSet;

/// Parts of the horizon that are weighed, spaced evenly in their logarithm.
const PARTS: usize = 72;
const LEAST_PART: f64 = 0.03;
const MOST_PART: f64 = 1.8;
/// How steeply hearing ends: the power of the range by which the odds fall. Fading of 2 dB to 10 dB where power falls
/// with the fourth power of range.
const STEEPNESS: [f64; 5] = [3.0, 5.0, 8.0, 12.0, 18.0];
/// Middles of seven equal parts of a normal distribution, in standard deviations (computed).
const SEVENTHS: [f64; 7] = [-1.4652, -0.7916, -0.3661, 0.0, 0.3661, 0.7916, 1.4652];

fn part(i: usize) -> f64 {
    let step = (MOST_PART / LEAST_PART).ln() / (PARTS - 1) as f64;
    LEAST_PART * (i as f64 * step).exp()
}

/// The logarithms of the chances that a message is heard and that it is missed, at one range from stations that reach so far.
fn chances(step: u16, reach_nm: f64, steepness: f64) -> [f64; 2] {
    let range = (f64::from(step) + 0.5) * STEP_NM;
    let open = 1.0 / (1.0 + (steepness * (range / reach_nm).ln()).exp());
    let p = HEARD_FAR + (HEARD_NEAR - HEARD_FAR) * open;
    [p.ln(), (1.0 - p).ln()]
}

/// How likely it is to hear one station as it was heard, by the chances at each step of range, once for each seventh.
fn likelihood(s: &Station, chances: &[Vec<[f64; 2]>]) -> f64 {
    let by_seventh = |chances: &Vec<[f64; 2]>| -> f64 {
        let pairs = s.steps.iter().filter_map(|(step, n)| Some((chances.get(usize::from(*step))?, n)));
        pairs.map(|([heard, missed], (yes, no))| f64::from(*yes) * heard + f64::from(*no) * missed).sum()
    };
    log_mean(&chances.iter().map(by_seventh).collect::<Vec<f64>>())
}

/// The logarithm of the mean of the numbers whose logarithms these are.
fn log_mean(log: &[f64]) -> f64 {
    let most = log.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    most + (log.iter().map(|l| (l - most).exp()).sum::<f64>() / log.len() as f64).ln()
}

fn normal(z: f64) -> f64 {
    (-0.5 * z * z).exp()
}

/// How likely each part of its horizon is for the next low beacon.
pub(super) fn posterior(stations: &[Station], antenna_m: f64) -> Vec<f64> {
    let horizons = [horizon_nm(antenna_m, CLASS_B_M), horizon_nm(antenna_m, BEACON_M)];
    // By steepness and part: how likely all of a kind are.
    let of = |beacon: bool, steepness: f64| -> Vec<f64> {
        let all: Vec<&Station> = stations.iter().filter(|s| s.beacon == beacon).collect();
        let steps: BTreeSet<u16> = all.iter().flat_map(|s| s.steps.keys().copied()).collect();
        let room = steps.last().map_or(0, |last| usize::from(*last) + 1);
        let horizon = horizons[usize::from(beacon)];
        let mut sums = vec![0.0; PARTS];
        // The chances are the same for all stations; to work them out is what takes the time.
        let mut table = vec![vec![[0.0; 2]; room]; SEVENTHS.len()];
        for (i, sum) in sums.iter_mut().enumerate() {
            for (chances_of, z) in table.iter_mut().zip(SEVENTHS) {
                let reach = part(i) * horizon * (z * STATIONS_DIFFER).exp();
                for step in &steps {
                    chances_of[usize::from(*step)] = chances(*step, reach, steepness);
                }
            }
            all.iter().for_each(|s| *sum += likelihood(s, &table));
        }
        sums
    };
    let mut log = vec![vec![0.0; STEEPNESS.len()]; PARTS];
    for (k, steepness) in STEEPNESS.iter().enumerate() {
        let (class_b, beacons) = (of(false, *steepness), of(true, *steepness));
        for i in 0..PARTS {
            // Beacons reach some part of what class B does; how much is poorly known.
            let by_class_b: Vec<f64> = (0..PARTS)
                .map(|j| {
                    let z = ((part(i) / part(j)).ln() - BEACON_PART.ln()) / BEACON_PART_OFF;
                    class_b[j] - 0.5 * z * z
                })
                .collect();
            log[i][k] = beacons[i] + log_mean(&by_class_b);
        }
    }
    let by_part: Vec<f64> = log.iter().map(|k| log_mean(k)).collect();
    let most = by_part.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = by_part.iter().map(|l| (l - most).exp()).collect();
    // The next beacon differs from the mean one, as stations do.
    let next = |i: usize| -> f64 {
        let of = |(j, w): (usize, &f64)| w * normal((part(i) / part(j)).ln() / STATIONS_DIFFER);
        weights.iter().enumerate().map(of).sum()
    };
    (0..PARTS).map(next).collect()
}

/// The part of the horizon below which this share of the likelihood lies.
pub(super) fn quantile_of(weights: &[f64], quantile: f64) -> f64 {
    let wanted = weights.iter().sum::<f64>() * quantile;
    let mut sum = 0.0;
    for (i, w) in weights.iter().enumerate() {
        if sum + w >= wanted && *w > 0.0 {
            let within = (wanted - sum) / w;
            let step = (MOST_PART / LEAST_PART).ln() / (PARTS - 1) as f64;
            return part(i) * ((within - 0.5) * step).exp();
        }
        sum += w;
    }
    part(PARTS - 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_radio_horizon_of_two_heights() {
        // 4.12·(√100 + √9) = 53.56 km, by hand; /1.852.
        assert!((horizon_nm(100.0, 9.0) - 28.92).abs() < 0.01);
        assert!((horizon_nm(0.0, 0.0)).abs() < 1e-9);
    }

    #[test]
    fn quantiles_of_an_even_weight_lie_where_the_logarithm_is_cut() {
        let even = vec![1.0; PARTS];
        let middle = (LEAST_PART * MOST_PART).sqrt();
        assert!((quantile_of(&even, 0.5) / middle - 1.0).abs() < 0.01);
    }
}
