//! The crew's drills as a curve over time, and as a table.

use super::svg::{Svg, Xy};
use super::tables::table;
use crate::review::Night;
use crate::review::practice::Drilled;
use crate::review::print::DASH;
use maud::{Markup, html};
use terms::METRES_PER_NM;
use terms::ShipTime;
use terms::exact;

const LEFT: f64 = 70.0;
const RIGHT: f64 = 860.0;
const TOP: f64 = 20.0;
const BOTTOM: f64 = 220.0;
/// Steps between marks of the time, in seconds.
const STEPS_S: [f64; 9] = [10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0];

/// One time of a drill.
type Time = fn(&Drilled) -> Option<f64>;

/// What is drawn: the class of the line, its name, and the time.
const CURVES: [(&str, &str, Time); 3] = [
    ("past", "acknowledged", |d| d.acknowledged_s),
    ("track", "turned", |d| d.turned_s),
    ("drift", "alongside", |d| d.alongside_s),
];

/// The curve and the table.
pub(super) fn draw(night: &Night, ship: ShipTime) -> Markup {
    // Recovering somebody and answering an alarm cannot be compared.
    let fetched: Vec<&Drilled> = night.drills.iter().filter(|d| d.fetches).collect();
    html! {
        ul { @for line in night.practice_lines() { li { (line) } } }
        @if let Some(curve) = curve(&fetched, ship) { (curve) }
        (list(&night.drills, ship))
    }
}

/// Where each drill lies from left to right: by its day, or evenly where a day is not known.
fn places(drills: &[&Drilled]) -> Vec<f64> {
    let times: Option<Vec<f64>> = drills.iter().map(|d| d.at.utc.map(|u| u.0 as f64)).collect();
    let at = |part: f64| LEFT + part * (RIGHT - LEFT - 90.0);
    if let Some(times) = times
        && let (Some(first), Some(last)) = (times.first(), times.last())
        && last > first
        && times.is_sorted()
    {
        return times.iter().map(|t| at((t - first) / (last - first))).collect();
    }
    let n = drills.len().saturating_sub(1).max(1) as f64;
    (0..drills.len()).map(|i| at(i as f64 / n)).collect()
}

fn curve(drills: &[&Drilled], ship: ShipTime) -> Option<Markup> {
    let all = drills.iter().flat_map(|d| CURVES.map(|(_, _, time)| time(d))).flatten();
    let most = all.reduce(f64::max)?.max(10.0);
    let step = STEPS_S.into_iter().find(|s| most / s <= 6.0).unwrap_or(most);
    let top = (most / step).ceil() * step;
    let y = |s: f64| BOTTOM - (s / top) * (BOTTOM - TOP);
    let text = "Seconds from the alarm to acknowledged, turned and alongside, drill by drill.";
    let mut svg = Svg::default();
    svg.rect("sea", (LEFT, TOP), RIGHT - LEFT, BOTTOM - TOP);
    let marks = (top / step).round() as u32;
    for n in 0..=marks {
        let s = f64::from(n) * step;
        svg.line("graticule", (LEFT, y(s)), (RIGHT, y(s)));
        svg.text("degree", (LEFT - 6.0, y(s) + 4.0), "end", &exact(s));
    }
    let xs = places(drills);
    let mut last_label = f64::MIN;
    for (d, x) in drills.iter().zip(&xs) {
        // Leaves out days that would overlap.
        if x - last_label >= 70.0 {
            svg.text("hour", (*x, BOTTOM + 18.0), "middle", &d.at.by(ship).day());
            last_label = *x;
        }
    }
    for (class, name, time) in CURVES {
        let points: Vec<(Xy, String)> =
            drills.iter().zip(&xs).filter_map(|(d, x)| time(d).map(|s| ((*x, y(s)), exact(s)))).collect();
        svg.track(class, &points.iter().map(|(xy, _)| Some(*xy)).collect::<Vec<_>>());
        for (xy, after) in &points {
            svg.group("", &format!("{name} after {after}"), |g| g.circle("tick", *xy, 3.5));
        }
        if let Some(((x, y), after)) = points.last() {
            svg.text("name", (x + 8.0, y + 4.0), "start", &format!("{name} {after}"));
        }
    }
    Some(svg.finish("drills", (1000.0, 260.0), "Drills of person overboard over time", text))
}

/// Minutes and seconds since the alarm, as a stop watch shows them.
fn clock(s: Option<f64>) -> String {
    s.map_or_else(|| DASH.to_owned(), |s| format!("{}:{:02}", s.round() as u64 / 60, s.round() as u64 % 60))
}

fn list(drills: &[Drilled], ship: ShipTime) -> Markup {
    let rows = html! {
        @for d in drills.iter().rev() {
            tr {
                th scope="row" { (d.at.by(ship).day()) }
                td { (d.title) br; small { (d.who.as_deref().unwrap_or_default()) } }
                @for s in [d.acknowledged_s, d.spotter_told_s, d.speed_off_s, d.turned_s, d.alongside_s] {
                    td { (clock(s)) }
                }
                td { (d.greatest_nm.map_or_else(|| DASH.to_owned(), |nm| format!("{:.0} m", nm * METRES_PER_NM))) }
                td { (d.ended) }
            }
        }
    };
    let heads = [
        "day",
        "exercise",
        "answered",
        "spotter told",
        "speed off",
        "turned",
        "alongside",
        "farthest",
        "ended",
    ];
    table("Drills, newest first; minutes and seconds since the alarm", &heads, rows)
}
