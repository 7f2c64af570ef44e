//! What a report costs the lookout at 10, 100, 1,000 and 10,000 targets:
//! `cargo run --release -p lookout --example cost`.
#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    clippy::unwrap_used,
    reason = "an example takes the time and prints"
)]

use lookout::{Lookout, Settings};
use sentence::ais::AisReport;
use sentence::{Fix, Report};
use std::time::Instant;
use terms::{FeedId, Mmsi, Moment, Position};

fn main() {
    println!("{:>8} {:>14} {:>20} {:>14}", "targets", "µs a report", "ms a second of all", "kB a target");
    for count in [10u32, 100, 1_000, 10_000] {
        measure(count);
    }
}

fn measure(count: u32) {
    let before = resident_kb();
    let mut lookout = Lookout::new(Settings { targets_max: 20_000, ..Settings::default() });
    let centre = Position::new(50.0, -5.0).unwrap();
    // Ships on a spiral within 30 nm, each reporting every ten seconds; own fix each second.
    let place =
        |n: u32| centre.at(f64::from(n) * 137.5, 30.0 * f64::from(n + 1).sqrt() / f64::from(count).sqrt());
    // The median of the seconds: whatever else the machine does now and then is not the lookout's cost.
    let (mut a_report, mut whole) = (Vec::new(), Vec::new());
    for s in 0..60u32 {
        let began = Instant::now();
        let at = Moment::from_s(f64::from(s));
        lookout.advance(at);
        let position = Some(centre.at(0.0, 6.0 * f64::from(s) / 3600.0));
        let fix = Fix { position, sog_kn: Some(6.0), cog_deg: Some(0.0), ..Fix::default() };
        lookout.hear(at, FeedId(0), &Report::Fix(fix));
        let (mut reports, mut in_reports) = (0u32, 0.0);
        for n in (0..count).filter(|n| n % 10 == s % 10) {
            let report = AisReport {
                position: Some(place(n).at(90.0, 12.0 * f64::from(s) / 3600.0)),
                sog_kn: Some(12.0),
                cog_deg: Some(90.0),
                ..AisReport::new(1, 0, Mmsi::new(211_000_000 + n).unwrap())
            };
            let report = Report::Ais(Box::new(report));
            let heard = Instant::now();
            lookout.hear(at, FeedId(1), &report);
            in_reports += heard.elapsed().as_secs_f64();
            reports += 1;
        }
        lookout.take_findings();
        // The first ten seconds fill the table.
        if s >= 10 {
            a_report.push(in_reports / f64::from(reports) * 1e6);
            whole.push(began.elapsed().as_secs_f64() * 1e3);
        }
    }
    let kb =
        resident_kb().zip(before).map_or(f64::NAN, |(after, before)| (after - before) / f64::from(count));
    println!("{count:>8} {:>14.2} {:>20.3} {kb:>14.2}", median(a_report), median(whole));
}

/// Memory of this process in kilobytes; with few targets it means nothing, since freed memory is reused.
fn resident_kb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    status.lines().find_map(|l| l.strip_prefix("VmRSS:"))?.split_whitespace().next()?.parse().ok()
}

fn median(mut all: Vec<f64>) -> f64 {
    all.sort_by(f64::total_cmp);
    all.get(all.len() / 2).copied().unwrap_or(f64::NAN)
}
