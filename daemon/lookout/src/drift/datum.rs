//! The datum: where a casualty most likely is, and the region that holds it with 95 %.

use super::filter::{Filter, Motion, quadratic};
use super::line::{OnLine, line_of};
use super::matrix::{Matrix, inverse};
use super::surroundings::Surroundings;
use crate::casualty::SetDrift;
use crate::search::Searched;
use std::f64::consts::PI;
use std::sync::OnceLock;
use terms::{Moment, Plane, Position};

/// Points drawn in all, and at least from each Gaussian; always the same ones.
const POINTS: usize = 1024;
const LEAST_POINTS: usize = 16;
/// Fewer are enough if only a radius is wanted.
const RADIUS_POINTS: usize = 384;
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

/// A point where the casualty may be.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Point {
    /// How likely, before and after the search.
    before: f64,
    weight: f64,
    place: [f64; 2],
}

/// One explanation of where the casualty is: an estimate, how likely it is the right one, and what it comes from.
pub(crate) struct Explanation<'a> {
    pub filter: &'a Filter,
    pub weight: f64,
    pub drift_from: DriftFrom,
}

/// A further region that may hold the casualty: by reports that do not fit the rest, or by own track.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Further {
    /// Its middle.
    pub place: Position,
    /// Circle around it that holds the casualty with 95 %, if it is here at all.
    pub radius95_nm: f64,
    /// How likely it is here, from 0 to 1.
    pub share: f64,
}

/// The datum at a moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Datum {
    /// When.
    pub at: Moment,
    /// The middle of all the places it may be, by the most likely explanation.
    pub place: Position,
    /// Circle around the middle that holds it with 95 %, if that explanation is right.
    pub radius95_nm: f64,
    /// The middles of drift to the left and to the right of downwind.
    pub diverging: [Position; 2],
    /// Where it drifts now.
    pub drift: SetDrift,
    /// Standard deviation of that drift, each way.
    pub drift_deviation_kn: f64,
    /// What that is worked out from.
    pub drift_from: DriftFrom,
    /// Area of the smallest region that holds it with 95 %, in square nautical miles; of all explanations together.
    pub area95_nm2: f64,
    /// Area of the circles, for comparison.
    pub circle95_nm2: f64,
    /// The other regions that may hold it, the likeliest first.
    pub further: Vec<Further>,
    /// The line on which it lies, in the order of the moments of the fall; empty where the moment is known.
    pub line: Vec<OnLine>,
    parts: Vec<Part>,
    searched: Vec<Searched>,
}

/// What a state needs: the middle, and how it moves.
pub(crate) struct Outline {
    pub place: Position,
    pub drift: SetDrift,
    pub line: Vec<OnLine>,
}

/// The weighted mean of a quantity of all Gaussians.
fn mean(motions: &[Motion], i: usize) -> f64 {
    motions.iter().map(|m| m.weight * m.mean[i]).sum()
}

impl Outline {
    /// Without searched areas.
    pub fn of(filter: &Filter, motions: &[Motion]) -> Self {
        Self {
            place: filter.plane.position(mean(motions, 0), mean(motions, 1)),
            drift: SetDrift::from_components(mean(motions, 2), mean(motions, 3)),
            line: line_of(&filter.plane, motions.iter().map(|m| (m, m.weight))),
        }
    }
}

/// Radius around a place that holds 95 % of all Gaussians.
pub(crate) fn radius95_nm(filter: &Filter, motions: &[Motion], around: Position) -> f64 {
    let (east, north) = filter.plane.east_north(around);
    let points = points(motions.iter(), RADIUS_POINTS, |_, _| 1.0);
    quantile(points.iter().map(|p| ((p.place[0] - east).hypot(p.place[1] - north), p.weight)), HELD)
}

impl Datum {
    /// From what explains the clues, the likeliest first, and what has been searched in vain since. `None` of no
    /// explanation.
    pub(crate) fn new(
        explanations: &[Explanation<'_>],
        surroundings: &Surroundings,
        searched: &[Searched],
    ) -> Option<Self> {
        let at = explanations.first()?.filter.at;
        let searched: Vec<Searched> = searched.iter().filter(|s| s.at <= at).copied().collect();
        let part = |e: &Explanation<'_>| (Part::new(e, surroundings, &searched, at), e.drift_from);
        let mut parts: Vec<(Part, DriftFrom)> = explanations.iter().map(part).collect();
        let whole: f64 = parts.iter().map(|p| p.0.mass).sum();
        // A search in vain where it most likely was makes the other explanation the likelier one.
        parts.sort_by(|a, b| b.0.mass.total_cmp(&a.0.mass));
        let share = |p: &Part| if whole > 0.0 { p.mass / whole } else { 0.0 };
        let further = parts.iter().skip(1).map(|(p, _)| Further {
            place: p.place,
            radius95_nm: p.radius95_nm,
            share: share(p),
        });
        let further = further.collect();
        let drift_from = parts.first()?.1;
        let parts: Vec<Part> = parts.into_iter().map(|p| p.0).collect();
        let first = parts.first()?;
        Some(Self {
            at,
            place: first.place,
            radius95_nm: first.radius95_nm,
            diverging: first.diverging(),
            drift: SetDrift::from_components(first.mean(2), first.mean(3)),
            drift_deviation_kn: (0.5 * (first.variance(2) + first.variance(3))).sqrt(),
            drift_from,
            area95_nm2: parts.iter().map(|p| p.area95_nm2).sum(),
            circle95_nm2: parts.iter().map(|p| PI * p.radius95_nm * p.radius95_nm).sum(),
            further,
            line: first.line.clone(),
            parts,
            searched,
        })
    }

    /// Whether the region holds a place. It holds what each explanation that still stands holds, so that it is right
    /// whichever of them is.
    pub fn holds(&self, place: Position) -> bool {
        self.parts.iter().any(|p| p.holds(place, &self.searched, self.at))
    }

    /// How likely the casualty is at places like these, after the searches so far, from 0 to 1.
    pub fn share(&self, of: impl Fn(Position) -> bool) -> f64 {
        let (mut inside, mut whole) = (0.0, 0.0);
        for part in &self.parts {
            for point in part.points(&self.searched, self.at) {
                let weight = part.weight * point.weight;
                whole += weight;
                if of(part.plane.position(point.place[0], point.place[1])) {
                    inside += weight;
                }
            }
        }
        if whole > 0.0 { inside / whole } else { 0.0 }
    }

    /// Probability that the searches so far would have missed the casualty.
    pub fn missed_so_far(&self) -> f64 {
        let before: f64 = self.parts.iter().map(|p| p.weight).sum();
        let after: f64 = self.parts.iter().map(|p| p.mass).sum();
        if before > 0.0 { after / before } else { 1.0 }
    }
}

/// One explanation with its region.
#[derive(Debug, Clone, PartialEq)]
struct Part {
    plane: Plane,
    lobes: Vec<Lobe>,
    line: Vec<OnLine>,
    /// How likely it is right, before and after the search.
    weight: f64,
    mass: f64,
    place: Position,
    radius95_nm: f64,
    area95_nm2: f64,
    least_density: f64,
}

impl Part {
    /// Works out middle, circle and region from points.
    fn new(e: &Explanation<'_>, surroundings: &Surroundings, searched: &[Searched], at: Moment) -> Self {
        let motions = e.filter.motions(surroundings);
        let outline = Outline::of(e.filter, &motions);
        let mut part = Self {
            plane: e.filter.plane,
            lobes: motions.into_iter().map(Lobe::of).collect(),
            line: outline.line,
            weight: e.weight,
            mass: e.weight,
            place: outline.place,
            radius95_nm: 0.0,
            area95_nm2: 0.0,
            least_density: 0.0,
        };
        let points = part.points(searched, at);
        let whole: f64 = points.iter().map(|p| p.weight).sum();
        // The weights of all points add up to one where nothing is searched.
        part.mass *= whole;
        if whole > 0.0 {
            let mut middle = [part.mean(0), part.mean(1)];
            if !searched.is_empty() {
                // As many points of each Gaussian, in their order.
                let each = points.len() / part.lobes.len();
                let after = points.chunks(each).map(|c| c.iter().map(|p| p.weight).sum());
                part.line = line_of(&part.plane, part.lobes.iter().map(|l| &l.motion).zip(after));
                middle = [0, 1].map(|i| points.iter().map(|p| p.weight * p.place[i]).sum::<f64>() / whole);
                part.place = part.plane.position(middle[0], middle[1]);
            }
            let distance = |p: &Point| (p.place[0] - middle[0]).hypot(p.place[1] - middle[1]);
            part.radius95_nm = quantile(points.iter().map(|p| (distance(p), p.weight)), HELD);
        }
        let densities: Vec<f64> = points.iter().map(|p| part.density(p.place, searched, at)).collect();
        part.least_density = quantile(densities.iter().zip(&points).map(|(d, p)| (*d, p.weight)), 1.0 - HELD);
        // Points are drawn by the density before the search; the inverse of that measures the area.
        let inside = densities.iter().zip(&points).filter(|(d, _)| **d >= part.least_density);
        part.area95_nm2 = inside.map(|(_, p)| p.before / part.drawn_by(p.place)).sum();
        part
    }

    /// Points with their weights after the search.
    fn points(&self, searched: &[Searched], at: Moment) -> Vec<Point> {
        let motions = self.lobes.iter().map(|l| &l.motion);
        points(motions, POINTS, |place, velocity| self.missed(place, velocity, searched, at))
    }

    fn mean(&self, i: usize) -> f64 {
        self.lobes.iter().map(|l| l.motion.weight * l.motion.mean[i]).sum()
    }

    fn variance(&self, i: usize) -> f64 {
        let mean = self.mean(i);
        let of = |m: &Motion| m.weight * (m.covariance[i][i] + (m.mean[i] - mean).powi(2));
        self.lobes.iter().map(|l| of(&l.motion)).sum()
    }

    /// The middles of drift to the left and to the right of downwind; the whole middle if a side is out of question.
    fn diverging(&self) -> [Position; 2] {
        [false, true].map(|right| {
            let side = || self.lobes.iter().map(|l| &l.motion).filter(|m| m.right == right);
            let weight: f64 = side().map(|m| m.weight).sum();
            let middle = [0, 1].map(|i| side().map(|m| m.weight * m.mean[i]).sum::<f64>() / weight);
            if weight > 0.0 { self.plane.position(middle[0], middle[1]) } else { self.place }
        })
    }

    fn holds(&self, place: Position, searched: &[Searched], at: Moment) -> bool {
        let (east, north) = self.plane.east_north(place);
        self.density([east, north], searched, at) >= self.least_density
    }

    /// Density before the search.
    fn drawn_by(&self, place: [f64; 2]) -> f64 {
        self.lobes.iter().map(|l| l.density(place)).sum::<f64>().max(1e-300)
    }

    /// Density after the search, not normalised.
    fn density(&self, place: [f64; 2], searched: &[Searched], at: Moment) -> f64 {
        if searched.is_empty() {
            return self.drawn_by(place);
        }
        let left = |l: &Lobe| l.density(place) * self.missed(place, l.velocity(place), searched, at);
        self.lobes.iter().map(left).sum()
    }

    /// Probability that the searches would have missed a casualty that is now here and moved like this.
    fn missed(&self, place: [f64; 2], velocity: [f64; 2], searched: &[Searched], at: Moment) -> f64 {
        let mut missed = 1.0;
        for s in searched {
            let hours = at.since(s.at).as_secs_f64() / 3600.0;
            let then = [0, 1].map(|i| place[i] - velocity[i] * hours);
            missed *= s.missed(self.plane.position(then[0], then[1]));
        }
        missed
    }
}

/// About so many points of all Gaussians, with their weights and these times `kept`, which judges place and velocity.
fn points<'m>(
    motions: impl ExactSizeIterator<Item = &'m Motion>,
    count: usize,
    kept: impl Fn([f64; 2], [f64; 2]) -> f64,
) -> Vec<Point> {
    let table = NORMALS.get_or_init(|| (1..=NUMBERS).map(normals).collect());
    let each = (count / motions.len().max(1)).clamp(LEAST_POINTS, table.len());
    let mut out = Vec::with_capacity(motions.len() * each);
    for (n, m) in motions.enumerate() {
        let root = cholesky(&m.covariance);
        // Each takes up where the last left off, so that many Gaussians of few points do not all have the same ones.
        for z in table.iter().cycle().skip(n * each % table.len()).take(each) {
            let x: [f64; 4] =
                std::array::from_fn(|r| m.mean[r] + root[r].iter().zip(z).map(|(c, z)| c * z).sum::<f64>());
            let (place, velocity) = ([x[0], x[1]], [x[2], x[3]]);
            let before = m.weight / each as f64;
            out.push(Point { before, weight: before * kept(place, velocity), place });
        }
    }
    out
}

/// How many numbers points are drawn by: those of one Gaussian of two.
const NUMBERS: u32 = 512;

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
