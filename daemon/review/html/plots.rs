//! Speed, depth, wind, pressure and directions over the night. A line is the mean, the band around it reaches from
//! the least to the greatest: thinning keeps every extreme.

use super::axis::Axis;
use super::svg::{STEPS, Svg, Xy, short};
use super::tables::unit;
use crate::review::weather::{DEPTHS, WINDS};
use crate::review::{Minute, Night};
use maud::{Markup, html};
use terms::ShipTime;
use terms::{Circular, Dimension, Quantity, turn_deg};

const LEFT: f64 = 118.0;
const RIGHT: f64 = 990.0;
const TOP: f64 = 22.0;
const TALL: f64 = 108.0;
const SIZE: Xy = (1000.0, TOP + TALL + 22.0);
/// Columns that a plot is thinned to: one for two units of the paper.
const COLUMNS: usize = 436;

/// What is plotted, each by the first quantity that was measured.
const PLOTS: [(&str, &[Quantity]); 4] = [
    ("Speed over ground", &[Quantity::Sog]),
    ("Depth", &DEPTHS),
    ("Wind speed", &WINDS),
    ("Pressure", &[Quantity::Pressure]),
];

/// One column of a plot.
#[derive(Debug, Clone, Copy)]
struct Column {
    least: f64,
    mean: f64,
    greatest: f64,
}

/// All plots that have something to show.
pub(super) fn draw(night: &Night, axis: &Axis, ship: ShipTime) -> Markup {
    let of = |q: &Quantity| night.instruments.get(q);
    html! {
        @for (n, (title, quantities)) in PLOTS.iter().enumerate() {
            @if let Some((quantity, minutes)) = quantities.iter().find_map(|q| Some((*q, of(q)?))) {
                @if let Some(plot) = value_plot(&format!("plot{n}"), title, quantity, minutes, axis, ship) { (plot) }
            }
        }
        @if let (Some(heading), Some(cog)) = (of(&Quantity::Heading), of(&Quantity::Cog)) {
            (directions(heading, cog, axis, ship))
        }
    }
}

fn column_of(axis: &Axis, m: &Minute) -> usize {
    let part = (axis.x(&m.at) - LEFT) / (RIGHT - LEFT);
    ((part * COLUMNS as f64) as usize).min(COLUMNS - 1)
}

fn x_of(column: usize) -> f64 {
    LEFT + (column as f64 + 0.5) * (RIGHT - LEFT) / COLUMNS as f64
}

fn columns(minutes: &[Minute], axis: &Axis) -> Vec<Option<Column>> {
    let mut columns: Vec<Option<(Column, f64)>> = vec![None; COLUMNS];
    for m in minutes {
        let mean = m.mean.unwrap_or(m.last);
        let Some(slot) = columns.get_mut(column_of(axis, m)) else { continue };
        match slot {
            Some((c, n)) => {
                c.least = c.least.min(m.least);
                c.greatest = c.greatest.max(m.greatest);
                c.mean += mean;
                *n += 1.0;
            }
            None => *slot = Some((Column { least: m.least, mean, greatest: m.greatest }, 1.0)),
        }
    }
    columns.into_iter().map(|c| c.map(|(c, n)| Column { mean: c.mean / n, ..c })).collect()
}

/// The columns that have something, in pieces without a gap.
fn pieces(columns: &[Option<Column>], axis: &Axis) -> Vec<Vec<(f64, Column)>> {
    let (mut pieces, mut before): (Vec<Vec<(f64, Column)>>, Option<usize>) = (Vec::new(), None);
    for (n, column) in columns.iter().enumerate() {
        let Some(c) = column else { continue };
        let joined = before.is_some_and(|b| n - b <= reach(axis));
        match pieces.last_mut().filter(|_| joined) {
            Some(piece) => piece.push((x_of(n), *c)),
            None => pieces.push(vec![(x_of(n), *c)]),
        }
        before = Some(n);
    }
    pieces
}

/// Columns that two and a half minutes take; a longer distance is a gap.
fn reach(axis: &Axis) -> usize {
    (axis.part_of(150_000) * COLUMNS as f64).ceil().max(1.0) as usize
}

/// Where values lie: from the least mark to the greatest.
struct Scale {
    low: f64,
    high: f64,
    step: f64,
    /// Depth grows downward.
    down: bool,
}

impl Scale {
    fn new(least: f64, greatest: f64, down: bool) -> Self {
        let span = (greatest - least).max(0.3);
        let step = STEPS.into_iter().find(|s| span / s <= 4.0).unwrap_or(span);
        let (low, high) = ((least / step).floor() * step, (greatest / step).ceil() * step);
        Self { low, high: high.max(low + step), step, down }
    }

    fn y(&self, v: f64) -> f64 {
        let part = (v - self.low) / (self.high - self.low);
        TOP + TALL * if self.down { part } else { 1.0 - part }
    }

    fn marks(&self) -> impl Iterator<Item = f64> {
        let n = ((self.high - self.low) / self.step).round() as i64;
        (0..=n.min(12)).map(move |i| self.low + i as f64 * self.step)
    }
}

fn frame(svg: &mut Svg, axis: &Axis, ship: ShipTime, title: &str) {
    svg.rect("sea", (LEFT, TOP), RIGHT - LEFT, TALL);
    svg.text("name", (LEFT, TOP - 8.0), "start", title);
    for (x, at) in axis.marks(8, ShipTime { minutes: 0 }) {
        svg.line("graticule", (x, TOP), (x, TOP + TALL));
        let text =
            if axis.needs_date() { at.day_hm() } else { format!("{} ({})", at.hm(), at.by(ship).hm()) };
        svg.clock((x, TOP + TALL + 15.0), &text);
    }
}

fn value_plot(
    id: &str,
    title: &str,
    quantity: Quantity,
    minutes: &[Minute],
    axis: &Axis,
    ship: ShipTime,
) -> Option<Markup> {
    let unit = unit(quantity);
    let columns = columns(minutes, axis);
    let known = || columns.iter().flatten();
    let least = known().map(|c| c.least).fold(f64::INFINITY, f64::min);
    let greatest = known().map(|c| c.greatest).fold(f64::NEG_INFINITY, f64::max);
    if least > greatest {
        return None;
    }
    let scale = Scale::new(least, greatest, quantity.dimension() == Dimension::Length);
    let text = format!("{quantity} from {} to {} {unit}.", short(least), short(greatest));
    let mut svg = Svg::default();
    frame(&mut svg, axis, ship, &format!("{title}: {quantity}, {unit}"));
    for mark in scale.marks() {
        svg.line("graticule", (LEFT, scale.y(mark)), (RIGHT, scale.y(mark)));
        svg.text("hour", (LEFT - 8.0, scale.y(mark) + 4.0), "end", &short(mark));
    }
    let mut mean = Vec::new();
    for piece in pieces(&columns, axis) {
        let upper = piece.iter().map(|(x, c)| (*x, scale.y(c.greatest)));
        let lower = piece.iter().rev().map(|(x, c)| (*x, scale.y(c.least)));
        svg.area("band", upper.chain(lower));
        mean.extend(piece.iter().map(|(x, c)| Some((*x, scale.y(c.mean)))));
        mean.push(None);
    }
    svg.track("mean", &mean);
    extremes(&mut svg, axis, &scale, minutes);
    Some(svg.finish(id, SIZE, title, &text))
}

/// The night's least and greatest, each with its time.
fn extremes(svg: &mut Svg, axis: &Axis, scale: &Scale, minutes: &[Minute]) {
    let least = minutes.iter().min_by(|a, b| a.least.total_cmp(&b.least)).map(|m| (m, m.least));
    let greatest = minutes.iter().max_by(|a, b| a.greatest.total_cmp(&b.greatest)).map(|m| (m, m.greatest));
    for (m, v) in [least, greatest].into_iter().flatten() {
        let (x, y) = (axis.x(&m.at), scale.y(v));
        svg.circle("tick", (x, y), 3.0);
        let (dx, anchor) = if x > RIGHT - 90.0 { (-6.0, "end") } else { (6.0, "start") };
        let dy = if y < TOP + 14.0 { 12.0 } else { -5.0 };
        let text = format!("{} at {}", short(v), m.at.label(axis.needs_date()));
        svg.text("hour strong halo", (x + dx, y + dy), anchor, &text);
    }
}

/// Heading as a line, course over ground as dots: what lies between them is leeway and stream.
fn directions(heading: &[Minute], cog: &[Minute], axis: &Axis, ship: ShipTime) -> Markup {
    let text = "Mean heading and course over ground by the column, in degrees true; the distance between them is leeway and stream.";
    let mut svg = Svg::default();
    frame(&mut svg, axis, ship, "Heading (line) against course over ground (dots), degrees true");
    let y = |deg: f64| TOP + TALL * (1.0 - deg / 360.0);
    for mark in [0, 90, 180, 270, 360] {
        let at = y(f64::from(mark));
        svg.line("graticule", (LEFT, at), (RIGHT, at));
        svg.text("hour", (LEFT - 8.0, at + 4.0), "end", &format!("{mark:03}°"));
    }
    let mut line = Vec::new();
    let mut before: Option<(usize, f64)> = None;
    for (n, mean) in mean_directions(heading, axis).into_iter().enumerate() {
        let Some(deg) = mean else { continue };
        // Through north the line is broken: the other way round it would cross the plot.
        if before.is_some_and(|(b, was)| n - b > reach(axis) || (was + turn_deg(was, deg) - deg).abs() > 1.0)
        {
            line.push(None);
        }
        line.push(Some((x_of(n), y(deg))));
        before = Some((n, deg));
    }
    svg.track("mean", &line);
    for (n, mean) in mean_directions(cog, axis).into_iter().enumerate() {
        if let Some(deg) = mean {
            svg.circle("dot", (x_of(n), y(deg)), 1.3);
        }
    }
    svg.finish("plot-directions", SIZE, "Heading against course over ground", text)
}

fn mean_directions(minutes: &[Minute], axis: &Axis) -> Vec<Option<f64>> {
    let mut columns = vec![Circular::default(); COLUMNS];
    for m in minutes {
        if let (Some(c), Some(deg)) = (columns.get_mut(column_of(axis, m)), m.mean) {
            c.add(deg, 1.0);
        }
    }
    columns.iter().map(Circular::mean_deg).collect()
}
