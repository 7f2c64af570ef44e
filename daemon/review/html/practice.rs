//! The crew's drills as a curve over time, and as a table.

use super::axis::ShipTime;
use super::svg::{Svg, esc};
use super::tables::table;
use crate::review::practice::Drilled;
use crate::review::{Night, When};
use record::words::exact;
use terms::METRES_PER_NM;

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

/// The curve and the table; nothing where there was no drill.
pub(super) fn draw(night: &Night, ship: ShipTime) -> String {
    if night.drills.is_empty() {
        return String::new();
    }
    let lines: String = night.practice_lines().iter().map(|l| format!("<li>{}</li>", esc(l))).collect();
    // Fetching somebody and answering an alarm are not compared.
    let fetched: Vec<Drilled> = night.drills.iter().filter(|d| d.fetches).cloned().collect();
    format!("<ul>{lines}</ul>{}{}", curve(&fetched, ship), list(&night.drills, ship))
}

fn day(at: &When, ship: ShipTime) -> String {
    let shown = ship.of(at);
    shown.utc.map_or_else(|| shown.hm(), |u| u.to_string()[..10].to_owned())
}

/// Where each drill lies from left to right: by its day, or evenly where a day is not known.
fn places(drills: &[Drilled]) -> Vec<f64> {
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

fn curve(drills: &[Drilled], ship: ShipTime) -> String {
    let all = drills.iter().flat_map(|d| CURVES.map(|(_, _, time)| time(d))).flatten();
    let Some(most) = all.reduce(f64::max).map(|m| m.max(10.0)) else { return String::new() };
    let step = STEPS_S.into_iter().find(|s| most / s <= 6.0).unwrap_or(most);
    let top = (most / step).ceil() * step;
    let y = |s: f64| BOTTOM - (s / top) * (BOTTOM - TOP);
    let told = "Seconds from the alarm to acknowledged, turned and alongside, drill by drill.";
    let mut svg = Svg::new("drills", 1000.0, 260.0, "Drills of person overboard over time", told);
    svg.rect("sea", LEFT, TOP, RIGHT - LEFT, BOTTOM - TOP);
    let marks = (top / step).round() as u32;
    for n in 0..=marks {
        let s = f64::from(n) * step;
        svg.line("graticule", (LEFT, y(s)), (RIGHT, y(s)));
        svg.text("degree", LEFT - 6.0, y(s) + 4.0, "end", &exact(s));
    }
    let xs = places(drills);
    let mut last_label = f64::MIN;
    for (d, x) in drills.iter().zip(&xs) {
        // Days that would lie upon each other are left out.
        if x - last_label >= 70.0 {
            svg.text("hour", *x, BOTTOM + 18.0, "middle", &day(&d.at, ship));
            last_label = *x;
        }
    }
    for (class, name, time) in CURVES {
        let points: Vec<(f64, f64, f64)> =
            drills.iter().zip(&xs).filter_map(|(d, x)| time(d).map(|s| (*x, y(s), s))).collect();
        let line: Vec<Option<(f64, f64)>> = points.iter().map(|(x, y, _)| Some((*x, *y))).collect();
        svg.track(class, &line);
        for (x, y, s) in &points {
            svg.group("", &format!("{name} after {}", exact(*s)));
            svg.circle("tick", *x, *y, 3.5);
            svg.end();
        }
        if let Some((x, y, s)) = points.last() {
            svg.text("name", x + 8.0, y + 4.0, "start", &format!("{name} {}", exact(*s)));
        }
    }
    svg.finish()
}

/// Minutes and seconds since the alarm, as a stop watch shows them.
fn clock(s: Option<f64>) -> String {
    s.map_or_else(|| "–".to_owned(), |s| format!("{}:{:02}", s.round() as u64 / 60, s.round() as u64 % 60))
}

fn list(drills: &[Drilled], ship: ShipTime) -> String {
    let metres = |nm: Option<f64>| nm.map_or("–".to_owned(), |nm| format!("{:.0} m", nm * METRES_PER_NM));
    let rows = drills.iter().rev().map(|d| {
        vec![
            day(&d.at, ship),
            format!("{}<br><small>{}</small>", esc(&d.title), esc(d.who.as_deref().unwrap_or(""))),
            clock(d.acknowledged_s),
            clock(d.spotter_told_s),
            clock(d.speed_off_s),
            clock(d.turned_s),
            clock(d.alongside_s),
            metres(d.greatest_nm),
            esc(&d.ended),
        ]
    });
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
    table("Drills, the newest first; times since the alarm in minutes and seconds", &heads, rows)
}
