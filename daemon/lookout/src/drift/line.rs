//! The datum line: where a casualty may be whose fall nobody can date.

use super::filter::Motion;
use terms::{Moment, Plane, Position};

/// A place on the datum line: where the casualty is if the fall was at that moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnLine {
    /// The moment of the fall.
    pub fell: Moment,
    /// Where that is now.
    pub place: Position,
    /// How likely it is about here, from 0 to 1; all places of a line together make 1.
    pub share: f64,
}

/// Places of a datum line that is handed on.
pub const LINE_POINTS: usize = 9;
/// A line handed on goes no further aside than this from the whole of it, as far as so few places allow.
const LINE_BENDS_NM: f64 = 0.02;

/// A line cut down to the places that show its course best; what is left out counts for the nearest that stays.
fn cut_down(line: &[OnLine]) -> Vec<OnLine> {
    let Some((first, last)) = line.first().zip(line.last()) else { return Vec::new() };
    let plane = Plane::at(first.place);
    let points: Vec<[f64; 2]> = line.iter().map(|p| plane.east_north(p.place).into()).collect();
    let mut kept = vec![0, line.len() - 1];
    while kept.len() < LINE_POINTS {
        let aside = |i: usize| {
            let from = kept.iter().filter(|k| **k <= i).max().map_or(first.place, |k| line[*k].place);
            let to = kept.iter().filter(|k| **k >= i).min().map_or(last.place, |k| line[*k].place);
            aside_nm(points[i], plane.east_north(from).into(), plane.east_north(to).into())
        };
        let furthest = (0..line.len()).map(|i| (i, aside(i))).max_by(|a, b| a.1.total_cmp(&b.1));
        match furthest.filter(|f| f.1 > LINE_BENDS_NM) {
            Some((i, _)) => kept.push(i),
            None => break,
        }
    }
    kept.sort_unstable();
    kept.dedup();
    let mut out: Vec<OnLine> = kept.iter().map(|k| OnLine { share: 0.0, ..line[*k] }).collect();
    for (point, on) in points.iter().zip(line) {
        let off = |o: &&mut OnLine| {
            let (east, north) = plane.east_north(o.place);
            (east - point[0]).hypot(north - point[1])
        };
        if let Some(nearest) = out.iter_mut().min_by(|a, b| off(a).total_cmp(&off(b))) {
            nearest.share += on.share;
        }
    }
    out
}

/// How far a point lies from the stretch between two others.
pub(crate) fn aside_nm(point: [f64; 2], from: [f64; 2], to: [f64; 2]) -> f64 {
    let way = [to[0] - from[0], to[1] - from[1]];
    let off = [point[0] - from[0], point[1] - from[1]];
    let length2 = way[0] * way[0] + way[1] * way[1];
    let part =
        if length2 > 0.0 { ((off[0] * way[0] + off[1] * way[1]) / length2).clamp(0.0, 1.0) } else { 0.0 };
    (off[0] - part * way[0]).hypot(off[1] - part * way[1])
}

/// The line that Gaussians of several starts make, each with the weight given for it; empty of one start.
pub(super) fn line_of<'m>(plane: &Plane, motions: impl Iterator<Item = (&'m Motion, f64)>) -> Vec<OnLine> {
    // Weight, and the sums of the places by weight; the ends of a line weigh next to nothing.
    let mut all: Vec<(Moment, f64, [f64; 2], f64)> = Vec::new();
    for (m, after) in motions {
        let (sum, w) = ([m.weight * m.mean[0], m.weight * m.mean[1]], m.weight);
        match all.last_mut().filter(|l| l.0 == m.began) {
            Some(l) => *l = (l.0, l.1 + w, [l.2[0] + sum[0], l.2[1] + sum[1]], l.3 + after),
            None => all.push((m.began, w, sum, after)),
        }
    }
    if all.len() < 2 {
        return Vec::new();
    }
    let whole: f64 = all.iter().map(|l| l.3).sum::<f64>().max(1e-300);
    let on = |(fell, w, sum, after): (Moment, f64, [f64; 2], f64)| OnLine {
        fell,
        place: plane.position(sum[0] / w, sum[1] / w),
        share: after / whole,
    };
    cut_down(&all.into_iter().map(on).collect::<Vec<_>>())
}
