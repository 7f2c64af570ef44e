//! What orders cost the watch, by kind: `cargo run --profile deep -p watch --example orders`. The weights in
//! `rules/src/cost.rs` come from it.
#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    clippy::unwrap_used,
    reason = "an example takes the time and prints"
)]

use rules::{MOST_COST, Orders};
use sentence::ais::AisReport;
use std::sync::Arc;
use std::time::{Duration, Instant};
use terms::{FeedId, Mmsi, Moment, Position, Utc};
use watch::{Begin, Effect, FeedSetting, Input, Silence, Watch};

fn main() {
    println!(
        "{:<58} {:>7} {:>6} {:>11} {:>11} {:>8}",
        "orders", "count", "ships", "µs a fix", "µs a report", "MB"
    );
    let own = |when: &str| format!("when = {when}\n");
    let each = |when: &str| format!("each = \"target\"\nwhen = {when}\n");
    let repeated = own("\"SOG is over 1 kn\"") + "repeats = \"5 s\"\n";
    let wavers = each(&all(21, "range is under 1000 nm", "SOG is over 5 kn"));
    measure("none", "", 0, 0);
    measure("own, false", &own("\"SOG is over 50 kn\""), 900, 0);
    measure("own, false: 8 tests", &own(&all(8, "SOG is over 1 kn", "SOG is over 50 kn")), 900, 0);
    measure("own, true", &own("\"SOG is over 1 kn\""), 900, 0);
    measure("own, true, repeated every 5 s", &repeated, 900, 0);
    measure("own, window of 1 s", &own("\"SOG rises 20 kn in 1 s\""), 900, 0);
    measure("own, window of 10 min", &own("\"SOG rises 20 kn in 10 min\""), 900, 0);
    for ships in [1000, 4000] {
        measure("none", "", 0, ships);
        measure("target, false: range", &each("\"range is under 0.01 nm\""), 900, ships);
        measure("target, true: range", &each("\"range is under 1000 nm\""), 900, ships);
        measure("target, 20 tests and one of own vessel that wavers", &wavers, 900, ships);
        measure("target, window of 2 s", &each("\"range rises 20 nm in 2 s\""), 900, ships);
        measure("target, window of 10 min", &each("\"range rises 20 nm in 10 min\""), 900, ships);
        measure("target, TCPA", &each("\"prudent TCPA is under 60 min\""), 900, ships);
    }
}

fn all(count: usize, first: &str, last: &str) -> String {
    let mut tests = vec![format!("\"{first}\""); count - 1];
    tests.push(format!("\"{last}\""));
    format!("{{ all = [{}] }}", tests.join(", "))
}

fn measure(name: &str, order: &str, count: usize, ships: u32) {
    let before = resident_kb();
    let order =
        |i| format!("[[order]]\nname = \"order {i}\"\npriority = \"alarm\"\npatience = \"never\"\n{order}");
    // Or as many as are allowed.
    let one = Orders::read("one", &format!("version = 1\n{}", order(0))).map_or(1, |one| one.cost());
    let count = count.min(usize::try_from(MOST_COST / one.max(1)).unwrap());
    let mut text = "version = 1\n".to_owned();
    for i in 0..count {
        text += &order(i);
    }
    let orders = Orders::read("orders", &text).unwrap();
    let boat = boat::read("boat.toml", "version = 1\n").unwrap().0;
    let mut watch = Watch::new(&boat);
    let feed = FeedSetting {
        name: "bus".to_owned(),
        checksum_optional: false,
        simulator: false,
        trusted: false,
        silent_after: Silence::Never,
    };
    let begin = Begin {
        utc: Some(Utc(1_793_491_200_000)),
        not_before: Some(Utc(0)),
        feeds: vec![feed],
        orders: Arc::new(orders),
        ..Begin::default()
    };
    watch.take(Moment::ZERO, Input::Begin(Box::new(begin))).unwrap();
    let centre = Position::new(50.0, -5.0).unwrap();
    // Each order is judged by the passing of time too, so a fix stands for a second of the watch.
    let (mut in_fixes, mut in_reports, mut reports) = (0.0, 0.0, 0u32);
    let seconds = 120;
    for s in 0..seconds {
        let at = Moment(s * 1000);
        let knots = 4.0 + (s % 3) as f64;
        let body = format!(
            "GPRMC,{:02}{:02}{:02}.00,A,5000.000,N,00500.000,W,{knots:.1},090.0,011126,,,A",
            s / 3600,
            s / 60 % 60,
            s % 60
        );
        let began = Instant::now();
        put(&mut watch, at, &sentence(&body));
        if s >= 60 {
            in_fixes += began.elapsed().as_secs_f64();
        }
        for n in (0..ships).filter(|n| i64::from(*n) % 10 == s % 10) {
            let place =
                centre.at(f64::from(n) * 137.5, 30.0 * f64::from(n + 1).sqrt() / f64::from(ships).sqrt());
            let report = AisReport {
                position: Some(place.at(90.0, 12.0 * s as f64 / 3600.0)),
                sog_kn: Some(12.0),
                cog_deg: Some(90.0),
                ..AisReport::new(1, 0, Mmsi::new(211_000_000 + n).unwrap())
            };
            let line = sentence::encode::ais(&report, "AI", 'A', 0).concat();
            let began = Instant::now();
            put(&mut watch, at + Duration::from_millis(u64::from(n % 100) * 9 + 10), &line);
            if s >= 60 {
                in_reports += began.elapsed().as_secs_f64();
                reports += 1;
            }
        }
    }
    let fixes = f64::from(u32::try_from(seconds - 60).unwrap());
    println!(
        "{name:<58} {count:>7} {ships:>6} {:>11.0} {:>11.1} {:>8.1}",
        in_fixes / fixes * 1e6,
        in_reports / f64::from(reports.max(1)) * 1e6,
        resident_kb().saturating_sub(before) as f64 / 1e3
    );
}

fn sentence(body: &str) -> String {
    format!("${body}*{:02X}", body.bytes().fold(0, |a, b| a ^ b))
}

/// Hands the watch a line, and writes down what comes out, as the logbook does.
fn put(watch: &mut Watch, at: Moment, line: &str) {
    watch.take(at, Input::Line(FeedId(0), line.parse().unwrap())).unwrap();
    for effect in watch.effects() {
        match effect {
            Effect::Keep(_, kept) => drop(serde_json::to_string(&kept.alerts)),
            Effect::Event(_, record, _) => drop(serde_json::to_string(&record)),
            _ => {}
        }
    }
}

fn resident_kb() -> usize {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmRSS"));
    line.and_then(|l| l.split_whitespace().nth(1)?.parse().ok()).unwrap_or(0)
}
