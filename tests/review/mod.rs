//! The morning after: a night with a known truth is written into a logbook, and the review must tell it.
mod exports;
mod facts;
mod long;
mod looks;
mod night;
mod page;
mod practice;

use crate::aboard::Folder;
use crate::records::{EVENING, at, open, record, settings};
use crate::review::night::{SHIP, begin_without_utc, event, own_at, told, write_the_night};
use middlewatch::logbook::{Logbook, LogbookSettings, Pace};
use middlewatch::review::{self, ReviewError, Span};
use record::{Entry, OwnRow, Stamp};
use rules::{AlertState, EventKind, Priority};
use terms::{Quantity, Utc};

#[test]
fn the_night_is_told_as_it_was() {
    let folder = Folder::new("night");
    write_the_night(&folder.logbook());
    let night = review::read(folder.logbook(), Span::default()).unwrap();

    assert_eq!((night.from.hms().as_str(), night.to.hms().as_str()), ("00:00:00", "06:00:00"));
    // The truth: 5 kn for six hours but for the quarter of an hour nobody saw.
    let seen_h = (15_000.0 + 5_700.0) / 3600.0;
    assert!((night.passage.distance_nm - 5.0 * seen_h).abs() < 0.05, "{}", night.passage.distance_nm);
    assert!((night.passage.mean_sog_kn().unwrap() - 5.0).abs() < 0.01);
    let (fastest, sog) = night.passage.greatest_sog.unwrap();
    assert_eq!((fastest.hm().as_str(), sog), ("02:30", 7.5));

    assert_eq!(night.blind.len(), 1);
    assert_eq!((night.blind[0].from.hm().as_str(), night.blind[0].to.hm().as_str()), ("04:10", "04:25"));
    assert_eq!(night.blind[0].why, "the lookout was cut off");

    let nearest = &night.approaches[0];
    assert_eq!((nearest.mmsi.number(), nearest.at.hm().as_str(), nearest.range_nm), (SHIP, "02:00", 0.4));
    assert_eq!((nearest.foretold_cpa_nm, nearest.alert), (Some(0.4), Some(1)));
    // She goes east where we go north-east, and is due north at her closest. The call could have come with her first row.
    assert_eq!(nearest.geometry.as_deref(), Some("crossing from port, passed to port"));
    assert!(nearest.foretold_since.unwrap().steady.as_s() <= 300.0, "{:?}", nearest.foretold_since);

    let alert = night.alerts.iter().find(|a| a.id == 1).unwrap();
    assert_eq!(alert.acknowledged_after_s(), Some(40.0));
    assert_eq!(alert.over.unwrap().hms(), "02:01:40");

    let casualty = &night.casualties[0];
    assert_eq!((casualty.who.as_str(), casualty.raised.unwrap().hms().as_str()), ("Ines", "03:00:00"));
    let (first, position, how) = casualty.first_position.clone().unwrap();
    assert_eq!((first.hms().as_str(), how.as_str()), ("03:00:10", "reported"));
    assert!(position.range_and_bearing(own_at(10_800)).0 < 1e-6);
    assert_eq!(casualty.nearest.unwrap().1, 0.01);
    let (stood_down, why) = casualty.stood_down.clone().unwrap();
    assert_eq!((stood_down.hms().as_str(), why.as_str()), ("03:30:00", "recovered"));

    assert_eq!((night.feeds[0].sentences, night.feeds[0].refused), (20_700, 4));
    assert_eq!(night.unreadable, 0);
}

#[test]
fn each_watch_has_its_figures_and_each_sense_its_blind_time() {
    let folder = Folder::new("watches");
    let fast = LogbookSettings { pace: Pace::Replay, ..settings("a", 0) };
    let (logbook, _) = Logbook::open(folder.logbook(), fast).unwrap();
    let trouble = |id, s, seq, kind, state, order: &str, text: &str| {
        event(&logbook, s, told(record(id, seq, Priority::Warning, s), kind, state, order, text));
    };
    use {AlertState as S, EventKind as K};
    // Four hours: one with nobody named, two of Ada's, one of Bo's; 5 kn over the ground, 4.5 through the water.
    for s in (0..=14_400).step_by(10) {
        logbook.own(at(s), OwnRow { position: Some(own_at(s)), sog_kn: Some(5.0), ..OwnRow::default() });
        logbook.instrument(at(s), Quantity::SpeedThroughWater, 4.5);
        logbook.instrument(at(s), Quantity::Pressure, 1020.0 - s as f64 / 3600.0);
        let takes = |who: &str| {
            logbook.entry(at(s), Entry::Handover { who: who.to_owned(), from: None });
        };
        match s {
            3600 => takes("Ada"),
            10_800 => takes("Bo"),
            4000 => trouble(1, s, 1, K::Raised, S::ActiveUnacknowledged, "shoal", "shoal"),
            4060 => trouble(1, s, 2, K::Acknowledged, S::ActiveAcknowledged, "shoal", "shoal"),
            4500 => trouble(1, s, 3, K::Cleared, S::Normal, "shoal", "shoal"),
            // The masthead is silent for ten minutes and for five; the position is lost for a quarter of an hour.
            5000 => {
                trouble(2, s, 1, K::Raised, S::ActiveUnacknowledged, "feed silent", "masthead: no sentence")
            }
            5600 => trouble(2, s, 2, K::Rectified, S::RectifiedUnacknowledged, "feed silent", "masthead"),
            8000 => {
                trouble(3, s, 1, K::Raised, S::ActiveUnacknowledged, "feed silent", "masthead: no sentence")
            }
            8300 => trouble(3, s, 2, K::Rectified, S::RectifiedUnacknowledged, "feed silent", "masthead"),
            // A drill of the same is no blindness.
            9000 => {
                let mut r = record(5, 1, Priority::Warning, s);
                r.alert.exercise = true;
                event(
                    &logbook,
                    s,
                    told(r, K::Raised, S::ActiveUnacknowledged, "feed silent", "masthead: no sentence"),
                );
            }
            13_500 => trouble(4, s, 1, K::Raised, S::ActiveUnacknowledged, "fix lost", "Position lost"),
            _ => {}
        }
    }
    logbook.close(at(14_400)).blocking_recv().unwrap().unwrap();
    let night = review::read(folder.logbook(), Span::default()).unwrap();
    let watches = night.watches();
    let names: Vec<_> = watches.iter().map(|w| w.who.as_deref()).collect();
    assert_eq!(names, [None, Some("Ada"), Some("Bo")]);
    for (w, miles) in watches.iter().zip([5.0, 10.0, 5.0]) {
        assert!((w.distance_nm - miles).abs() < 0.005 * miles + 0.015, "{w:?}");
    }
    let ada = &watches[1];
    assert_eq!((ada.alerts, ada.never, ada.median_s, ada.slowest_s), (3, 2, Some(60.0), Some(60.0)));
    assert!((ada.pressure_hpa.unwrap() + 2.0).abs() < 0.05, "{ada:?}");
    assert!((night.passage.water_nm.unwrap() - 18.0).abs() < 0.1, "{:?}", night.passage.water_nm);
    let blind: Vec<_> = night.blindness().into_iter().map(|b| (b.sense, b.total_s)).collect();
    assert_eq!(blind, [("masthead".to_owned(), 900.0), ("position".to_owned(), 900.0)]);

    let rests: Vec<_> = night.rests().into_iter().map(|r| (r.who, r.off_day_s, r.of_week_s)).collect();
    assert_eq!(rests, [("Ada".to_owned(), 7200.0, 14_400.0), ("Bo".to_owned(), 10_800.0, 14_400.0)]);

    let page = night.print().split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "01:00 to 03:00 Ada: 10.0 nm, 3 alerts, the slowest acknowledged after 60 s",
        "blind: masthead 15 min, position 15 min",
        "off watch in the last 4 h 00 min: Ada 2 h 00 min, Bo 3 h 00 min",
        "20.0 nm over the ground, 18.1 nm through the water in 4 h 00 min",
        "made good 20.0 nm in 045°",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let html = night.html(night.ship_time());
    assert!(
        html.contains("<th scope=\"row\">Ada</th>")
            && html.contains("<th scope=\"row\">masthead</th><td>15 min</td>")
    );
}

#[test]
fn half_a_page_says_it_in_the_order_of_need() {
    let folder = Folder::new("page");
    write_the_night(&folder.logbook());
    let page = review::read(folder.logbook(), Span::default()).unwrap().print();
    println!("{page}");
    let words = page.split_whitespace().collect::<Vec<_>>().join(" ");
    let mut rest = words.as_str();
    for part in [
        "From 1 Nov 2026 00:00 to 1 Nov 2026 06:00 UTC, 6 h 00 min",
        "Danger",
        "03:00:00 overboard: Ines (by ais); first position 03:00:10 50°",
        "nearest again 19 m at 03:25:00; stood down 03:30:00:",
        "1 alarm: 01:50 close approach TORDIS",
        "02:00 TORDIS passed 0.40 nm off, bearing 000°, predicted CPA 0.40 nm, alert 1",
        "Watch",
        "2 alerts acknowledged",
        "slowest after 40 s (close approach at 01:50)",
        "1 alert never acknowledged: 05:00 feed silent",
        "Boat",
        "28.8 nm over the ground in 5 h 45 min, mean 5.0 kn, at most 7.5 kn at 02:30",
        "Weather",
        "true wind speed: mean 12 kn from 000°, at most 34 kn at 04:00",
        "pressure 1018 to 1006 hPa, lowest 1006 at 06:00; fastest: falling quickly (6.0 hPa in 3 h)",
        "depth below keel least 4.2 m at 01:00",
        "Failures",
        "05:00 feed silent for 10 min: masthead says nothing",
        "04:10 middlewatch was not running for 15 min: the lookout was cut off",
        "This lookout is an aid.",
    ] {
        let at = rest.find(part).unwrap_or_else(|| panic!("{part:?} is missing or out of order in\n{page}"));
        rest = &rest[at + part.len()..];
    }
    assert!(page.lines().count() <= 35, "half a page");
    assert_eq!(page.matches("is an aid").count(), 1);
}

#[test]
fn a_span_cuts_the_night() {
    let folder = Folder::new("span");
    write_the_night(&folder.logbook());
    let utc = |s: i64| Some(Utc(EVENING + s * 1000));
    let night = review::read(folder.logbook(), Span { since: utc(7000), until: utc(9000) }).unwrap();
    assert_eq!((night.from.hms().as_str(), night.to.hms().as_str()), ("01:56:40", "02:30:00"));
    assert_eq!(night.alerts.len(), 1);
    assert_eq!((night.alerts[0].raised, night.alerts[0].over.is_some()), (None, true));
    assert!((night.passage.distance_nm - 5.0 * 2000.0 / 3600.0).abs() < 0.03);
    assert!(night.casualties.is_empty() && night.blind.is_empty());
    let error = review::read(folder.logbook(), Span { since: utc(90_000), until: None }).unwrap_err();
    assert!(
        matches!(&error, ReviewError::Nothing { has, .. } if has.contains("2026-11-01T06:00:00.000Z")),
        "{error}"
    );
    assert!(matches!(
        review::read(folder.0.join("none"), Span::default()),
        Err(ReviewError::NoLogbook { .. })
    ));
}

#[test]
fn a_night_that_began_without_utc_is_told_in_utc() {
    let folder = Folder::new("no-utc");
    let logbook = begin_without_utc(&folder.logbook());
    // The computer's own clock is a year off; then satellites tell.
    let wrong = Stamp { utc: Some((Utc(EVENING - 31_536_000_000), terms::UtcSource::System)), ..at(90) };
    logbook.event(wrong, &record(2, 1, Priority::Alarm, 90), Vec::new()).blocking_recv().unwrap().unwrap();
    logbook.event(at(120), &record(3, 1, Priority::Alarm, 120), Vec::new()).blocking_recv().unwrap().unwrap();
    logbook.close(at(180)).blocking_recv().unwrap().unwrap();
    let night = review::read(folder.logbook(), Span::default()).unwrap();
    let times: Vec<String> = night.alerts.iter().map(|a| a.raised.unwrap().hms()).collect();
    assert_eq!(times, ["00:01:00", "00:01:30", "00:02:00"]);
}

#[test]
fn a_review_reads_while_the_daemon_writes_and_leaves_the_file_alone() {
    let folder = Folder::new("beside");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    logbook.event(at(5), &record(1, 1, Priority::Alarm, 5), Vec::new()).blocking_recv().unwrap().unwrap();
    assert_eq!(review::read(folder.logbook(), Span::default()).unwrap().alerts.len(), 1);
    logbook.event(at(6), &record(2, 1, Priority::Alarm, 6), Vec::new()).blocking_recv().unwrap().unwrap();
    assert_eq!(review::read(folder.logbook(), Span::default()).unwrap().alerts.len(), 2);
    logbook.close(at(9)).blocking_recv().unwrap().unwrap();
    let before = std::fs::read(folder.logbook()).unwrap();
    review::read(folder.logbook(), Span::default()).unwrap();
    assert_eq!(std::fs::read(folder.logbook()).unwrap(), before);
}

#[test]
fn the_deck_log_tells_each_hour() {
    let folder = Folder::new("deck");
    write_the_night(&folder.logbook());
    let night = review::read(folder.logbook(), Span::default()).unwrap();
    let hours = night.deck_log();
    assert_eq!(hours.len(), 7);
    // The truth: 5 kn from 50° N 6.5° W to the north-east, 1018 hPa falling by 2 an hour, 12 kn from the north.
    let three = &hours[3];
    assert_eq!(three.at.hm(), "03:00");
    assert!(three.position.unwrap().range_and_bearing(own_at(10_800)).0 < 0.02);
    assert!((three.log_nm.unwrap() - 15.0).abs() < 0.03);
    assert!((three.course_deg.unwrap() - 45.0).abs() < 0.1);
    assert!((three.pressure_hpa.unwrap() - 1012.0).abs() < 0.1);
    assert!((three.wind_kn.unwrap() - 12.0).abs() < 0.1);
    assert!(terms::turn_deg(three.wind_from_deg.unwrap(), 0.0).abs() < 1.0);
    assert!(hours[2].remarks.iter().any(|r| r.contains("01:50 alarm: TORDIS")), "{:?}", hours[2].remarks);
    assert!(
        hours[4].remarks.iter().any(|r| r.contains("stand-down: recovered (Jorn)")),
        "{:?}",
        hours[4].remarks
    );
}

#[test]
fn json_is_one_line_with_units_and_nulls() {
    let folder = Folder::new("json");
    write_the_night(&folder.logbook());
    let line = review::read(folder.logbook(), Span::default()).unwrap().json();
    assert_eq!(line.matches('\n').count(), 1);
    let night: serde_json::Value = serde_json::from_str(&line).unwrap();
    assert_eq!(night["casualties"][0]["nearest_nm"], 0.01);
    assert_eq!(night["casualties"][0]["first_position"]["at"], "2026-11-01T03:00:10.000Z");
    assert_eq!(night["alerts"][2]["acknowledged"], serde_json::Value::Null);
    assert_eq!(night["approaches"][0]["mmsi"], SHIP);
    let remark: Vec<_> = night["remarks"][0].as_object().unwrap().keys().cloned().collect();
    assert_eq!(remark, ["at", "kind", "text", "who"]);
    let wind =
        night["weather"].as_array().unwrap().iter().find(|w| w["quantity"] == "true wind speed").unwrap();
    assert_eq!((wind["greatest"].as_f64(), wind["unit"].as_str()), (Some(34.0), Some("kn")));
}
