//! The datum: where a casualty most likely is, and the region that holds it with 95 %.

use super::filter::{Filter, Motion, quadratic};
use super::matrix::{Matrix, inverse};
use super::surroundings::Surroundings;
use crate::casualty::SetDrift;
use crate::search::Searched;
use std::sync::OnceLock;
use terms::{Moment, Plane, Position};

/// Points drawn from each lobe; always the same ones.
const POINTS: u32 = 512;
/// Fewer are enough if only a radius is wanted.
const RADIUS_POINTS: u32 = 192;
/// How much the region holds.
const HELD: f64 = 0.95;

/// What drift and place are worked out from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DriftFrom {
    /// The beacon's own fixes.
    Beacon,
    /// Wind and current as own vessel knows them.
    WindAndCurrent,
    /// Nothing: the region grows by what is common.
    Nothing,
}

/// A point where the casualty may be, and how it moves there.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Point {
    weight: f64,
    place: [f64; 2],
}

/// The datum at a moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Datum {
    /// When.
    pub at: Moment,
    /// The middle of all the places it may be.
    pub place: Position,
    /// Circle around the middle that holds it with 95 %.
    pub radius95_nm: f64,
    /// The middles of drift to the left and to the right of downwind.
    pub diverging: [Position; 2],
    /// Where it drifts now.
    pub drift: SetDrift,
    /// Standard deviation of that drift, each way.
    pub drift_deviation_kn: f64,
    /// What that is worked out from.
    pub drift_from: DriftFrom,
    /// Area of the smallest region that holds it with 95 %, in square nautical miles.
    pub area95_nm2: f64,
    /// Area of the circle, for comparison.
    pub circle95_nm2: f64,
    plane: Plane,
    lobes: [Lobe; 2],
    searched: Vec<Searched>,
    least_density: f64,
}

/// What a state needs: the middle, and how it moves.
pub(crate) struct Outline {
    pub place: Position,
    pub drift: SetDrift,
}

/// The weighted mean of a quantity of both lobes.
fn mean(motions: &[Motion; 2], i: usize) -> f64 {
    motions.iter().map(|m| m.weight * m.mean[i]).sum()
}

impl Outline {
    /// Without searched areas.
    pub fn of(filter: &Filter, motions: &[Motion; 2]) -> Self {
        Self {
            place: filter.plane.position(mean(motions, 0), mean(motions, 1)),
            drift: SetDrift::from_components(mean(motions, 2), mean(motions, 3)),
        }
    }
}

/// Radius around a place that holds 95 % of both lobes.
pub(crate) fn radius95_nm(filter: &Filter, motions: &[Motion; 2], around: Position) -> f64 {
    let (east, north) = filter.plane.east_north(around);
    let points = points([&motions[0], &motions[1]], RADIUS_POINTS, |_, _| 1.0);
    quantile(points.iter().map(|p| ((p.place[0] - east).hypot(p.place[1] - north), p.weight)), HELD)
}

impl Datum {
    /// From the estimate, and what has been searched in vain since.
    pub(crate) fn new(
        filter: &Filter,
        surroundings: &Surroundings,
        searched: &[Searched],
        drift_from: DriftFrom,
    ) -> Self {
        let motions = filter.motions(surroundings);
        let outline = Outline::of(filter, &motions);
        let variance = |i: usize| {
            let mean = mean(&motions, i);
            motions.iter().map(|m| m.weight * (m.covariance[i][i] + (m.mean[i] - mean).powi(2))).sum::<f64>()
        };
        let mut datum = Self {
            at: filter.at,
            place: outline.place,
            radius95_nm: 0.0,
            diverging: [0, 1].map(|i| filter.plane.position(motions[i].mean[0], motions[i].mean[1])),
            drift: outline.drift,
            drift_deviation_kn: (0.5 * (variance(2) + variance(3))).sqrt(),
            drift_from,
            area95_nm2: 0.0,
            circle95_nm2: 0.0,
            plane: filter.plane,
            lobes: motions.map(Lobe::of),
            searched: searched.iter().filter(|s| s.at <= filter.at).copied().collect(),
            least_density: 0.0,
        };
        datum.measure();
        datum
    }

    /// Works out middle, circle and region from the points.
    fn measure(&mut self) {
        let points = self.points();
        let whole: f64 = points.iter().map(|p| p.weight).sum();
        if whole > 0.0 {
            let mut middle =
                [0, 1].map(|i| self.lobes.iter().map(|l| l.motion.weight * l.motion.mean[i]).sum());
            if !self.searched.is_empty() {
                middle = [0, 1].map(|i| points.iter().map(|p| p.weight * p.place[i]).sum::<f64>() / whole);
                self.place = self.plane.position(middle[0], middle[1]);
            }
            let distance = |p: &Point| (p.place[0] - middle[0]).hypot(p.place[1] - middle[1]);
            self.radius95_nm = quantile(points.iter().map(|p| (distance(p), p.weight)), HELD);
        }
        self.circle95_nm2 = std::f64::consts::PI * self.radius95_nm * self.radius95_nm;
        let densities: Vec<f64> = points.iter().map(|p| self.density(p.place)).collect();
        let weighted = densities.iter().zip(&points).map(|(d, p)| (*d, p.weight));
        self.least_density = quantile(weighted, 1.0 - HELD);
        // Points are drawn by the density before the search; the inverse of that measures the area.
        let inside = densities.iter().zip(&points).filter(|(d, _)| **d >= self.least_density);
        self.area95_nm2 =
            inside.map(|(_, p)| 1.0 / self.drawn_by(p.place)).sum::<f64>() / points.len() as f64;
    }

    /// Whether the region holds a place.
    pub fn holds(&self, place: Position) -> bool {
        let (east, north) = self.plane.east_north(place);
        self.density([east, north]) >= self.least_density
    }

    /// Probability that the searches so far would have missed the casualty.
    pub fn missed_so_far(&self) -> f64 {
        let points = self.points();
        // Weights of a lobe's points add up to its own weight where nothing is searched.
        points.iter().map(|p| p.weight).sum()
    }

    /// Points of both lobes with their weights after the search.
    fn points(&self) -> Vec<Point> {
        let [left, right] = &self.lobes;
        points([&left.motion, &right.motion], POINTS, |place, velocity| self.missed(place, velocity))
    }

    /// Density before the search.
    fn drawn_by(&self, place: [f64; 2]) -> f64 {
        self.lobes.iter().map(|l| l.density(place)).sum::<f64>().max(1e-300)
    }

    /// Density after the search, not normalised.
    fn density(&self, place: [f64; 2]) -> f64 {
        if self.searched.is_empty() {
            return self.drawn_by(place);
        }
        self.lobes.iter().map(|l| l.density(place) * self.missed(place, l.velocity(place))).sum()
    }

    /// Probability that the searches would have missed a casualty that is now here and moved like this.
    fn missed(&self, place: [f64; 2], velocity: [f64; 2]) -> f64 {
        let mut missed = 1.0;
        for s in &self.searched {
            let hours = self.at.since(s.at).as_secs_f64() / 3600.0;
            let then = [0, 1].map(|i| place[i] - velocity[i] * hours);
            missed *= s.missed(self.plane.position(then[0], then[1]));
        }
        missed
    }
}

/// Points of both lobes with their weights times `kept`, which judges place and velocity.
fn points(motions: [&Motion; 2], count: u32, kept: impl Fn([f64; 2], [f64; 2]) -> f64) -> Vec<Point> {
    let table = NORMALS.get_or_init(|| (1..=POINTS).map(normals).collect());
    let mut out = Vec::with_capacity(2 * count as usize);
    for m in motions {
        let root = cholesky(&m.covariance);
        for z in table.iter().take(count as usize) {
            let x: [f64; 4] =
                std::array::from_fn(|r| m.mean[r] + root[r].iter().zip(z).map(|(c, z)| c * z).sum::<f64>());
            let weight = m.weight / f64::from(count) * kept([x[0], x[1]], [x[2], x[3]]);
            out.push(Point { weight, place: [x[0], x[1]] });
        }
    }
    out
}

/// The numbers all points are drawn by, worked out once.
static NORMALS: OnceLock<Vec<[f64; 4]>> = OnceLock::new();

/// Four independent normal numbers from the n-th point of Halton's sequence (bases 2, 3, 5, 7) by Box and Muller.
fn normals(n: u32) -> [f64; 4] {
    let pair = |a: u32, b: u32| {
        let radius = (-2.0 * radical_inverse(n, a).max(1e-12).ln()).sqrt();
        let (sin, cos) = (std::f64::consts::TAU * radical_inverse(n, b)).sin_cos();
        (radius * cos, radius * sin)
    };
    let ((a, b), (c, d)) = (pair(2, 3), pair(5, 7));
    [a, b, c, d]
}

/// The digits of a number in a base, mirrored at the point.
fn radical_inverse(mut n: u32, base: u32) -> f64 {
    let (mut value, mut place) = (0.0, 1.0);
    while n > 0 {
        place /= f64::from(base);
        value += place * f64::from(n % base);
        n /= base;
    }
    value
}

/// Lower triangular root of a covariance; a direction without spread gives zeros.
fn cholesky(m: &Matrix<4, 4>) -> Matrix<4, 4> {
    let mut root = [[0.0; 4]; 4];
    for r in 0..4 {
        for c in 0..=r {
            let dot: f64 = (0..c).map(|k| root[r][k] * root[c][k]).sum();
            let rest = m[r][c] - dot;
            root[r][c] = if r == c {
                rest.max(0.0).sqrt()
            } else if root[c][c] > 0.0 {
                rest / root[c][c]
            } else {
                0.0
            };
        }
    }
    root
}

/// A lobe with what its density needs worked out once.
#[derive(Debug, Clone, PartialEq)]
struct Lobe {
    motion: Motion,
    inverted: Matrix<2, 2>,
    /// Its weight by the density at its middle, per square nautical mile.
    height: f64,
}

impl Lobe {
    fn of(motion: Motion) -> Self {
        let p = &motion.covariance;
        let c = [[p[0][0], p[0][1]], [p[1][0], p[1][1]]];
        let determinant = c[0][0] * c[1][1] - c[0][1] * c[1][0];
        let inverted = inverse(&c).filter(|_| determinant > 0.0);
        let height = motion.weight / (std::f64::consts::TAU * determinant.max(1e-300).sqrt());
        Self {
            height: if inverted.is_some() { height } else { 0.0 },
            inverted: inverted.unwrap_or_default(),
            motion,
        }
    }

    /// How far a place is from its middle.
    fn off(&self, place: [f64; 2]) -> [f64; 2] {
        [place[0] - self.motion.mean[0], place[1] - self.motion.mean[1]]
    }

    /// Its part of the density at a place, per square nautical mile.
    fn density(&self, place: [f64; 2]) -> f64 {
        self.height * (-0.5 * quadratic(&self.inverted, self.off(place))).exp()
    }

    /// Its most likely velocity at a place.
    fn velocity(&self, place: [f64; 2]) -> [f64; 2] {
        let (i, off, m) = (&self.inverted, self.off(place), &self.motion);
        let scaled = [0, 1].map(|r| i[r][0] * off[0] + i[r][1] * off[1]);
        [2, 3].map(|r| m.mean[r] + m.covariance[r][0] * scaled[0] + m.covariance[r][1] * scaled[1])
    }
}

/// The value below which a part of the weight lies; 0 of nothing.
fn quantile(values: impl Iterator<Item = (f64, f64)>, part: f64) -> f64 {
    let mut sorted: Vec<(f64, f64)> = values.collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let whole: f64 = sorted.iter().map(|v| v.1).sum();
    let mut below = 0.0;
    for (value, weight) in &sorted {
        below += weight;
        if below >= part * whole {
            return *value;
        }
    }
    sorted.last().map_or(0.0, |v| v.0)
}
