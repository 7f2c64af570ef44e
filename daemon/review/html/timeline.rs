//! The night from left to right: sun, watches, runs and blind spans, and a bar for each alert.

use super::axis::Axis;
use super::svg::Svg;
use super::symbols;
use crate::review::when::When;
use crate::review::{Alert, Night};
use lookout::sun_altitude_deg;
use maud::{Markup, html};
use rules::Priority;
use terms::ShipTime;
use terms::{Position, Utc};

const LEFT: f64 = 118.0;
const RIGHT: f64 = 990.0;
/// Most lanes for the bars of one priority; a bar that finds none free is drawn over the last.
const LANES: usize = 8;
const LANE: f64 = 15.0;
/// Room for the name of an alert beside its bar.
const NAME: f64 = 27.0;

/// The axis that time line and plots share.
pub(super) fn axis(night: &Night) -> Axis {
    Axis::new(night, LEFT, RIGHT)
}

/// Draws the time line.
pub(super) fn draw(night: &Night, axis: &Axis, ship: ShipTime) -> Markup {
    let lanes: Vec<(Priority, Vec<(usize, &Alert)>)> =
        [Priority::EmergencyAlarm, Priority::Alarm, Priority::Warning, Priority::Caution]
            .into_iter()
            .map(|p| (p, pack(axis, night.alerts.iter().filter(|a| a.priority == p))))
            .filter(|(_, alerts)| !alerts.is_empty())
            .collect();
    let deep = |alerts: &[(usize, &Alert)]| alerts.iter().map(|(lane, _)| lane + 1).max().unwrap_or(0) as f64;
    let height = 96.0 + lanes.iter().map(|(_, a)| deep(a) * LANE + 10.0).sum::<f64>();
    let text = format!(
        "From {} to {} UTC: {} alerts, {} gaps in the lookout. Each bar begins when its alert was raised, is full until it was acknowledged, hatched until its condition ended.",
        night.from.label(night.is_dated()),
        night.to.label(night.is_dated()),
        lanes.iter().map(|(_, a)| a.len()).sum::<usize>(),
        night.blind.len()
    );
    let mut svg = Svg::default();
    clock_rows(&mut svg, axis, ship, height);
    svg.text("row", (LEFT - 8.0, 36.0), "end", "sun");
    sun(&mut svg, night, axis);
    svg.text("row", (LEFT - 8.0, 56.0), "end", "watch");
    watches(&mut svg, night, axis);
    let mut y = 70.0;
    for (priority, alerts) in &lanes {
        svg.text("row", (LEFT - 8.0, y + 11.0), "end", &priority.to_string());
        // Where the last bar and name of each lane end: a crowded lane has no room for the next name.
        let mut ends = [f64::NEG_INFINITY; LANES];
        for (lane, alert) in alerts {
            bar(&mut svg, axis, alert, y + *lane as f64 * LANE, &mut ends[*lane]);
        }
        y += deep(alerts) * LANE + 10.0;
    }
    for b in &night.blind {
        let (x, to) = (axis.x(&b.from), axis.x(&b.to));
        let hint =
            format!("{} to {}: {}", b.from.label_s(night.is_dated()), b.to.label_s(night.is_dated()), b.why);
        svg.group("blind", &hint, |g| g.rect("o", (x, 44.0), (to - x).max(2.0), height - 72.0));
    }
    svg.finish("timeline", (1000.0, height), "Time line of the night", &text)
}

/// What the bars mean.
pub(super) fn key() -> Markup {
    let mut svg = Svg::default();
    svg.group("bar pa", "", |g| {
        g.rect("full", (0.0, 0.0), 32.0, 11.0);
        g.rect("hatch", (32.0, 0.0), 32.0, 11.0);
        g.rect("open", (64.0, 0.0), 31.0, 11.0);
    });
    html! {
        p.key {
            (svg.ornament("k", (96.0, 12.0)))
            " full: sounding until acknowledged; hatched: acknowledged while the condition lasts; open: rectified, not yet over. "
            "Crossed columns: middlewatch was not running. Letters: E emergency alarm, A alarm, W warning, C caution."
        }
    }
}

/// Hours of UTC below, of ship's time above, and a thin line for each.
fn clock_rows(svg: &mut Svg, axis: &Axis, ship: ShipTime, height: f64) {
    let zero = ShipTime { minutes: 0 };
    // Half of the first mark stands before the axis; with its date it is wider.
    let names = LEFT - if axis.needs_date() { 42.0 } else { 26.0 };
    svg.text("row", (names, 15.0), "end", &format!("ship {ship}"));
    svg.text("row", (names, height - 8.0), "end", "UTC");
    let text = |at: &When| if axis.needs_date() { at.day_hm() } else { at.hm() };
    let most = if axis.needs_date() { 8 } else { 13 };
    for (x, at) in axis.marks(most, ship) {
        svg.clock((x, 15.0), &text(&at.by(ship)));
    }
    for (x, at) in axis.marks(most, zero) {
        svg.line("graticule", (x, 22.0), (x, height - 22.0));
        svg.clock((x, height - 8.0), &text(&at));
    }
}

/// Day, twilight and night by the sun's altitude at own vessel: civil twilight ends at −6°, nautical at −12°.
fn sun(svg: &mut Svg, night: &Night, axis: &Axis) {
    let mut known = night.own.iter().filter_map(|o| Some((o.at.utc?, o.position?))).peekable();
    let Some((_, mut place)) = known.peek().copied() else {
        svg.text("hour", (LEFT, 36.0), "start", "no position");
        return;
    };
    let (mut from, mut shade) = (LEFT, "");
    for (x, utc) in axis.samples(436) {
        while let Some((_, position)) = known.next_if(|(t, _)| *t <= utc) {
            place = position;
        }
        let now = sky(utc, place);
        if now != shade {
            if !shade.is_empty() {
                svg.rect(shade, (from, 26.0), x - from, 12.0);
            }
            (from, shade) = (x, now);
        }
    }
    svg.rect(shade, (from, 26.0), RIGHT - from, 12.0);
}

fn sky(utc: Utc, place: Position) -> &'static str {
    match sun_altitude_deg(utc, place) {
        Some(a) if a > -0.833 => "day",
        Some(a) if a > -6.0 => "civil",
        Some(a) if a > -12.0 => "nautical",
        Some(_) => "dark",
        None => "nautical",
    }
}

/// Runs of the daemon, and over them who had the watch as far as it was handed over.
fn watches(svg: &mut Svg, night: &Night, axis: &Axis) {
    for run in &night.runs {
        let (x, to) = (axis.x(&run.from), axis.x(&run.to));
        svg.rect("run", (x, 46.0), (to - x).max(1.0), 12.0);
    }
    let handed: Vec<_> = night.remarks.iter().filter(|r| r.kind == "handover").collect();
    for (n, r) in handed.iter().enumerate() {
        let x = axis.x(&r.at);
        let to = handed.get(n + 1).map_or(RIGHT, |next| axis.x(&next.at));
        let name = r.took_the_watch().unwrap_or("handed over");
        svg.group("watch", &format!("{} {name}: {}", r.at.label(night.is_dated()), r.text), |g| {
            g.line("o", (x, 44.0), (x, 60.0));
            if to - x > name.chars().count() as f64 * 6.5 {
                g.text("on", (x + 4.0, 56.0), "start", name);
            }
        });
    }
}

/// Gives each alert a free lane.
fn pack<'a>(axis: &Axis, alerts: impl Iterator<Item = &'a Alert>) -> Vec<(usize, &'a Alert)> {
    let mut ends = [f64::NEG_INFINITY; LANES];
    let mut packed = Vec::new();
    for alert in alerts {
        let (from, to) = (begins(axis, alert), ends_at(axis, alert));
        // Room for its number.
        let to = to.max(from + NAME + 6.0);
        let lane = ends.iter().position(|end| *end < from).unwrap_or(LANES - 1);
        ends[lane] = ends[lane].max(to + 4.0);
        packed.push((lane, alert));
    }
    packed
}

fn begins(axis: &Axis, alert: &Alert) -> f64 {
    alert.raised.map_or(LEFT, |t| axis.x(&t))
}

fn ends_at(axis: &Axis, alert: &Alert) -> f64 {
    alert.over.or(alert.rectified).map_or(RIGHT, |t| axis.x(&t))
}

fn bar(svg: &mut Svg, axis: &Axis, alert: &Alert, y: f64, taken: &mut f64) {
    let (from, to) = (begins(axis, alert), ends_at(axis, alert));
    let acknowledged = alert.acknowledged.map_or(to, |t| axis.x(&t)).clamp(from, to.max(from));
    let rectified = alert.rectified.map_or(to, |t| axis.x(&t)).clamp(from, to.max(from));
    let part = |name: &str, at: Option<When>| {
        at.map(|t| format!(", {name} {}", t.label_s(axis.needs_date()))).unwrap_or_default()
    };
    let hint = format!(
        "{} {} {}{}{}{}{}{}: {}",
        alert.priority,
        alert.id,
        alert.order,
        if alert.exercise { " (exercise)" } else { "" },
        part("raised", alert.raised),
        part("acknowledged", alert.acknowledged),
        part("rectified", alert.rectified),
        part("over", alert.over),
        alert.text()
    );
    let name = format!("{}{}", symbols::letter(alert.priority), alert.id);
    let right = to.max(from + 2.0) + 3.0;
    let wide = NAME + name.len() as f64;
    let (class, x, anchor, begins, ends) = if to - from > 120.0 {
        ("in", from + 4.0, "start", from, to)
    } else if right > RIGHT - wide {
        ("by", from - 3.0, "end", from - wide, right)
    } else {
        ("by", right, "start", from, right + wide)
    };
    let free = begins >= *taken;
    *taken = taken.max(if free { ends } else { right });
    svg.group(&format!("bar {}", symbols::class(alert.priority)), &hint, |g| {
        g.rect("full", (from, y), (acknowledged - from).max(2.0), 11.0);
        if rectified > acknowledged {
            g.rect("hatch", (acknowledged, y), rectified - acknowledged, 11.0);
        }
        let shown = rectified.max(acknowledged);
        if to > shown {
            g.rect("open", (shown, y), to - shown, 11.0);
        }
        if free {
            g.text(class, (x, y + 9.0), anchor, &name);
        }
    });
}
