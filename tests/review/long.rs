//! Passages of days and of a month.

use crate::aboard::Folder;
use crate::records::{self, EVENING, at, record, settings};
use crate::review::night::{SHIP, event};
use middlewatch::logbook::{Logbook, LogbookSettings, Pace};
use middlewatch::review::{self, Span};
use nix::time::{ClockId, clock_gettime};
use record::OwnRow;
use rules::Priority;
use std::time::Duration;
use terms::{Position, Quantity, Utc};

/// Three days to the west at 5 kn; each noon something is called four times within a minute, and a ship is near.
fn a_long_passage(folder: &Folder) -> review::Night {
    let fast = LogbookSettings { pace: Pace::Replay, ..settings("a", 0) };
    let (logbook, _) = Logbook::open(folder.logbook(), fast).unwrap();
    let here = |s: i64| Position::new(45.0, -10.0).unwrap().at(270.0, 5.0 * s as f64 / 3600.0);
    let mut id = 0;
    for s in (0..=3 * 86_400).step_by(60) {
        logbook.own(at(s), OwnRow { position: Some(here(s)), sog_kn: Some(5.0), ..OwnRow::default() });
        logbook.instrument(at(s), Quantity::TrueWindSpeed, if s == 2 * 86_400 { 40.0 } else { 10.0 });
        if s % 86_400 == 43_200 {
            for ship in 0..3 {
                let mut t = records::target(SHIP + ship, 0.4 + f64::from(ship) * 0.1);
                (t.name, t.position) =
                    (Some(format!("SHIP {ship}").into()), Some(here(s).at(0.0, t.range_nm.unwrap())));
                logbook.target(at(s), t);
            }
            for _ in 0..4 {
                id += 1;
                let mut r = record(id, 1, Priority::Warning, s);
                let p = here(s);
                (r.own.latitude_deg, r.own.longitude_deg) = (Some(p.latitude_deg()), Some(p.longitude_deg()));
                event(&logbook, s, r);
            }
        }
    }
    logbook.close(at(3 * 86_400)).blocking_recv().unwrap().unwrap();
    review::read(folder.logbook(), Span { since: Some(Utc(EVENING)), until: None }).unwrap()
}

#[test]
fn a_span_of_days_tells_the_day_of_each_time() {
    let folder = Folder::new("days");
    let night = a_long_passage(&folder);
    let page = night.print();
    for part in [
        "warnings: 1 Nov 12:00 close approach",
        "at most 40 kn at 3 Nov 00:00",
        "1 Nov 12:00 SHIP 0 passed 0.40 nm off",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let words: Vec<&str> = page.split_whitespace().collect();
    let clock = |w: &str| w.len() >= 5 && w.as_bytes()[2] == b':' && w.as_bytes()[0].is_ascii_digit();
    let undated = words.windows(2).find(|w| clock(w[1]) && !["Nov", "2026"].contains(&w[0]));
    assert_eq!(undated, None);
    let html = night.html(night.ship_time());
    assert!(
        html.contains("40 at 3 Nov 00:00") && html.contains("SHIP 0 1 Nov 12:00 0.4 nm +2"),
        "the page too"
    );
    // Within a day the hour says enough.
    let last = review::read(folder.logbook(), Span::default()).unwrap();
    assert!(!last.print().contains("Nov 00:00 kn") && !last.is_dated());
}

#[test]
fn marks_that_fall_on_one_another_are_gathered_and_counted() {
    let folder = Folder::new("marks");
    let page = a_long_passage(&folder).html(terms::ShipTime::parse("0").unwrap());
    let chart = page.split("<svg id=\"chart\"").nth(1).unwrap().split("</svg>").next().unwrap();
    // Twelve warnings at three places, nine ships at three.
    assert_eq!(chart.matches("class=\"mark pw\"").count(), 3);
    for label in [">W1 +3<", ">W5 +3<", ">W9 +3<"] {
        assert!(chart.contains(label), "{label}");
    }
    assert!(chart.contains("warning 2: close approach at 1 Nov 12:00:00 UTC"), "each is told");
    assert_eq!(chart.matches("class=\"target\"").count(), 1, "one ship a place: the nearest of each name");
}

/// A passage of so many days: own track each ten seconds, twelve instruments, a hundred ships and twelve alerts a day.
/// The number of alerts.
pub fn write_days(folder: &Folder, days: i64) -> u32 {
    let fast = LogbookSettings { pace: Pace::Replay, ..settings("a", 0) };
    let (logbook, _) = Logbook::open(folder.logbook(), fast).unwrap();
    let quantities = [
        Quantity::Sog,
        Quantity::Cog,
        Quantity::Heading,
        Quantity::DepthBelowKeel,
        Quantity::Pressure,
        Quantity::TrueWindSpeed,
        Quantity::TrueWindDirection,
        Quantity::ApparentWindSpeed,
        Quantity::ApparentWindAngle,
        Quantity::WaterTemperature,
        Quantity::BatteryVoltage,
        Quantity::SpeedThroughWater,
    ];
    let start = Position::new(28.0, -17.0).unwrap();
    let mut alerts = 0;
    for s in (0..days * 86_400).step_by(10) {
        let wave = (s as f64 / 5000.0).sin();
        let here = start.at(265.0, 5.5 * s as f64 / 3600.0).at(355.0, 2.0 * wave);
        logbook.own(
            at(s),
            OwnRow {
                position: Some(here),
                cog_deg: Some(265.0),
                sog_kn: Some(5.5 + wave),
                heading_deg: Some(268.0),
            },
        );
        if s % 60 == 0 {
            let extreme = if s == 777_600 { 50.0 } else { 0.0 };
            quantities.iter().for_each(|q| logbook.instrument(at(s), *q, 20.0 + 5.0 * wave + extreme));
        }
        // Each ship is heard for an hour: 3,000 in thirty days.
        if s % 60 == 0 {
            for n in 0..5 {
                let ship = 200_000_000 + (s / 864 + n) as u32;
                let mut t = records::target(ship, 1.0 + (s % 864) as f64 / 100.0);
                t.position = Some(here.at(30.0, t.range_nm.unwrap()));
                logbook.target(at(s), t);
            }
        }
        if s % 7200 == 60 {
            alerts += 1;
            let mut r = record(alerts, 1, Priority::Warning, s);
            (r.own.latitude_deg, r.own.longitude_deg) =
                (Some(here.latitude_deg()), Some(here.longitude_deg()));
            event(&logbook, s, r);
        }
    }
    logbook.close(at(days * 86_400)).blocking_recv().unwrap().unwrap();
    alerts
}

/// What this thread has had of the processor, which is the same beside other work.
fn spent() -> Duration {
    clock_gettime(ClockId::CLOCK_THREAD_CPUTIME_ID).unwrap().into()
}

/// How long it takes to read so many days and to make their page.
fn reviewed(days: i64) -> (Duration, review::Night, String, u32) {
    let folder = Folder::new(&format!("days-{days}"));
    let alerts = write_days(&folder, days);
    let before = spent();
    let night = review::read(folder.logbook(), Span { since: Some(Utc(EVENING)), until: None }).unwrap();
    let read = spent() - before;
    let page = night.html(night.ship_time());
    let all = spent() - before;
    println!(
        "{days} days: {} own rows, {} ships, {alerts} alerts: read {read:?}, page {:?}, {} kB",
        night.own.len(),
        night.approaches.len(),
        all - read,
        page.len() / 1000
    );
    (all, night, page, alerts)
}

/// Run it optimised: `cargo test --release --test all -- --ignored --nocapture a_month`.
#[test]
#[ignore = "is a bench, and wants an optimised build"]
fn a_month_is_reviewed_within_two_seconds_on_less_than_three_megabytes() {
    let (all, night, page, alerts) = reviewed(30);
    if let Ok(path) = std::env::var("MIDDLEWATCH_TEST_PAGE") {
        std::fs::write(path, &page).unwrap();
    }
    assert!(night.own.len() > 259_000 && night.approaches.len() >= 3000);
    assert_eq!(page.matches("<span id=\"alert").count(), alerts as usize, "every alert");
    assert!(page.contains("75 at 00:00") || page.contains("at 9 Nov"), "every extreme");
    assert!(page.len() < 3_000_000);
    assert!(all.as_secs_f64() < 2.0, "{all:?}");
}

#[test]
#[ignore = "is a bench, and wants an optimised build"]
fn a_review_takes_as_long_as_its_passage_is() {
    reviewed(4);
    let per_day = [8, 16, 32, 64].map(|days| reviewed(days).0.as_secs_f64() / days as f64);
    println!("milliseconds a day of 8, 16, 32 and 64 days: {:?}", per_day.map(|s| (s * 1e4).round() / 10.0));
    assert!(per_day[3] < 1.5 * per_day[0], "{per_day:?}");
}
