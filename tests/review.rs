//! The morning after: a night with a known truth is written into a logbook, and the review must tell it.

// A test may stop where its footing is missing.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
// Not every test file needs all of the desk.
#[allow(dead_code)]
mod desk;

use desk::{Desk, EVENING, at, open, record, settings};
use middlewatch::event::{CasualtyPart, EventRecord, TargetPart};
use middlewatch::logbook::{
    Entry, EntryKind, FeedRow, Logbook, LogbookSettings, OwnRow, Pace, Stamp, TargetRow,
};
use middlewatch::review::{self, ReviewError, Span};
use rules::{AlertState, EventKind, Priority};
use terms::{CasualtyId, Mmsi, Position, Quantity, Utc};

const SHIP: u32 = 235_000_017;
const BEACON: u32 = 972_000_001;

/// 50° N, 6.5° W at midnight, 5 kn to the north-east.
fn own_at(s: i64) -> Position {
    Position::new(50.0, -6.5).unwrap().at(45.0, 5.0 * s as f64 / 3600.0)
}

fn event(logbook: &Logbook, s: i64, record: EventRecord) {
    logbook.event(at(s), &record, Vec::new()).blocking_recv().unwrap().unwrap();
}

fn told(mut r: EventRecord, kind: EventKind, state: AlertState, order: &str, text: &str) -> EventRecord {
    r.event = kind;
    r.alert.state = Some(state);
    r.alert.order = order.to_owned();
    r.alert.text = text.to_owned();
    r
}

fn with_ship(mut r: EventRecord) -> EventRecord {
    r.target = Some(TargetPart {
        mmsi: Mmsi::new(SHIP).unwrap(),
        name: Some("TORDIS".to_owned()),
        kind: Some("vessel".to_owned()),
        latitude_deg: Some(50.1),
        longitude_deg: Some(-6.3),
        cog_deg: None,
        sog_kn: None,
        range_nm: Some(3.0),
        bearing_deg: None,
        relative_bearing_deg: None,
        relative_to: None,
        cpa_nm: Some(0.4),
        tcpa_s: Some(700.0),
        age_s: None,
    });
    r
}

fn with_casualty(mut r: EventRecord, position: Option<Position>, range_nm: Option<f64>) -> EventRecord {
    r.alert.priority = Priority::EmergencyAlarm;
    r.casualty = Some(CasualtyPart {
        id: CasualtyId(1),
        beacon_mmsi: Mmsi::new(BEACON),
        crew: Some("Ines".to_owned()),
        source: "ais".to_owned(),
        position: if position.is_some() { "reported" } else { "none" }.to_owned(),
        latitude_deg: position.map(Position::latitude_deg),
        longitude_deg: position.map(Position::longitude_deg),
        range_nm,
        bearing_deg: None,
        relative_bearing_deg: None,
        relative_to: None,
        elapsed_s: 0.0,
        elapsed_is: "exact".to_owned(),
        set_deg: None,
        drift_kn: None,
        radius95_nm: None,
    });
    r
}

/// Six hours from midnight. 02:00 a ship passes at 0.40 nm; 03:00 somebody goes overboard and is back at 03:30; the
/// wind rises to 34 kn at 04:00; from 04:10 to 04:25 the daemon is dead; 05:00 a feed is silent for ten minutes.
fn write_the_night(path: &std::path::Path) {
    let fast = |s| LogbookSettings { pace: Pace::Replay, ..settings("a", s) };
    let (logbook, _) = Logbook::open(path, fast(0)).unwrap();
    hours(&logbook, 0, 15_000);
    logbook.close(at(15_000)).blocking_recv().unwrap().unwrap();
    // As a power cut leaves it.
    let file = rusqlite::Connection::open(path).unwrap();
    file.execute("UPDATE run_rows SET stopped = 0", []).unwrap();
    drop(file);
    let (logbook, _) = Logbook::open(path, fast(15_900)).unwrap();
    hours(&logbook, 15_900, 21_600);
    logbook.close(at(21_600)).blocking_recv().unwrap().unwrap();
}

fn hours(logbook: &Logbook, from: i64, to: i64) {
    use AlertState as S;
    use EventKind as K;
    let casualty_at = own_at(10_800);
    for s in (from..=to).step_by(10) {
        logbook.own(
            at(s),
            OwnRow {
                position: Some(own_at(s)),
                cog_deg: Some(45.0),
                sog_kn: Some(if s == 9000 { 7.5 } else { 5.0 }),
                heading_deg: Some(47.0),
            },
        );
        logbook.instrument(at(s), Quantity::TrueWindSpeed, if s == 14_400 { 34.0 } else { 12.0 });
        logbook.instrument(at(s), Quantity::TrueWindDirection, if s % 20 == 0 { 350.0 } else { 10.0 });
        // 1018 hPa, falling by 2 hPa an hour.
        logbook.instrument(at(s), Quantity::Pressure, 1018.0 - s as f64 / 1800.0);
        logbook.instrument(at(s), Quantity::DepthBelowKeel, if s == 3600 { 4.2 } else { 60.0 });
        // Crosses the bow at 10 kn: 0.40 nm off at 02:00.
        let off = 10.0 * (s - 7200) as f64 / 3600.0;
        logbook.target(
            at(s),
            TargetRow {
                mmsi: Mmsi::new(SHIP).unwrap(),
                name: Some("TORDIS".into()),
                kind: Some("vessel".into()),
                position: Some(own_at(s).at(0.0, 0.4).at(90.0, off)),
                cog_deg: Some(90.0),
                sog_kn: Some(10.0),
                range_nm: Some(0.4_f64.hypot(off)),
                bearing_deg: Some(0.0),
                cpa_nm: Some(0.4),
                tcpa_s: Some((7200 - s) as f64),
            },
        );
        let fed = FeedRow {
            feed: "masthead".into(),
            bytes: (s - from) as u64 * 80,
            sentences: (s - from) as u64,
            refused: 2,
            dropped: 0,
        };
        logbook.feed(at(s), fed);
        match s {
            6600 => event(
                logbook,
                s,
                with_ship(told(
                    record(1, 1, Priority::Alarm, s),
                    K::Raised,
                    S::ActiveUnacknowledged,
                    "close approach",
                    "TORDIS will pass at 0.4 nm",
                )),
            ),
            6640 => event(
                logbook,
                s,
                with_ship(told(
                    record(1, 2, Priority::Alarm, s),
                    K::Acknowledged,
                    S::ActiveAcknowledged,
                    "close approach",
                    "TORDIS",
                )),
            ),
            7300 => event(
                logbook,
                s,
                with_ship(told(
                    record(1, 3, Priority::Alarm, s),
                    K::Cleared,
                    S::Normal,
                    "close approach",
                    "TORDIS is past",
                )),
            ),
            10_800 => event(
                logbook,
                s,
                with_casualty(
                    told(
                        record(2, 1, Priority::EmergencyAlarm, s),
                        K::Raised,
                        S::ActiveUnacknowledged,
                        "person overboard",
                        "Ines overboard",
                    ),
                    None,
                    None,
                ),
            ),
            10_810 => event(
                logbook,
                s,
                with_casualty(
                    told(
                        record(2, 2, Priority::EmergencyAlarm, s),
                        K::Acknowledged,
                        S::ActiveAcknowledged,
                        "person overboard",
                        "Ines overboard",
                    ),
                    Some(casualty_at),
                    Some(0.02),
                ),
            ),
            12_000 => event(
                logbook,
                s,
                with_casualty(
                    told(
                        record(2, 3, Priority::EmergencyAlarm, s),
                        K::Repeated,
                        S::ActiveAcknowledged,
                        "person overboard",
                        "Ines overboard",
                    ),
                    Some(casualty_at),
                    Some(0.30),
                ),
            ),
            12_300 => event(
                logbook,
                s,
                with_casualty(
                    told(
                        record(2, 4, Priority::EmergencyAlarm, s),
                        K::Repeated,
                        S::ActiveAcknowledged,
                        "person overboard",
                        "Ines overboard",
                    ),
                    Some(casualty_at),
                    Some(0.01),
                ),
            ),
            12_600 => {
                logbook.entry(
                    at(s),
                    Entry {
                        kind: EntryKind::StandDown,
                        who: Some("Jorn".to_owned()),
                        text: "recovered".to_owned(),
                        figures: None,
                    },
                );
                event(
                    logbook,
                    s,
                    with_casualty(
                        told(
                            record(2, 5, Priority::EmergencyAlarm, s),
                            K::Cleared,
                            S::Normal,
                            "person overboard",
                            "stood down",
                        ),
                        Some(casualty_at),
                        Some(0.02),
                    ),
                );
            }
            18_000 => event(
                logbook,
                s,
                told(
                    record(3, 1, Priority::Warning, s),
                    K::Raised,
                    S::ActiveUnacknowledged,
                    "feed silent",
                    "masthead says nothing",
                ),
            ),
            18_600 => event(
                logbook,
                s,
                told(
                    record(3, 2, Priority::Warning, s),
                    K::Rectified,
                    S::RectifiedUnacknowledged,
                    "feed silent",
                    "masthead is back",
                ),
            ),
            _ => {}
        }
    }
}

#[test]
fn the_night_is_told_as_it_was() {
    let desk = Desk::new("night");
    write_the_night(&desk.file());
    let night = review::read(desk.file(), Span::default()).unwrap();

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
    let desk = Desk::new("watches");
    let fast = LogbookSettings { pace: Pace::Replay, ..settings("a", 0) };
    let (logbook, _) = Logbook::open(desk.file(), fast).unwrap();
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
            let text = format!("{who} takes the watch");
            logbook.entry(at(s), Entry { kind: EntryKind::Handover, who: None, text, figures: None });
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
    let night = review::read(desk.file(), Span::default()).unwrap();
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

    let page = night.print().split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        "01:00 to 03:00 Ada: 10.0 nm, 3 alerts, the slowest acknowledged after 60 s",
        "blind: masthead 15 min, position 15 min",
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
    let desk = Desk::new("page");
    write_the_night(&desk.file());
    let page = review::read(desk.file(), Span::default()).unwrap().print();
    println!("{page}");
    let words = page.split_whitespace().collect::<Vec<_>>().join(" ");
    let mut rest = words.as_str();
    for part in [
        "From 1 Nov 2026 00:00 to 1 Nov 2026 06:00 UTC, 6 h 00 min",
        "Danger",
        "03:00:00 overboard: Ines (by ais); first position 03:00:10 50°",
        "nearest again 19 m at 03:25:00; stood down 03:30:00:",
        "1 alarm: 01:50 close approach TORDIS",
        "02:00 TORDIS passed at 0.40 nm in 000°, CPA foretold 0.40 nm, alert 1",
        "Watch",
        "2 alerts acknowledged",
        "slowest after 40 s (close approach at 01:50)",
        "1 alert never acknowledged: 05:00 feed silent",
        "Boat",
        "28.8 nm over the ground in 5 h 45 min, mean 5.0 kn, at most 7.5 kn at 02:30",
        "Weather",
        "true wind speed 12 kn from 000° in the mean, at most 34 kn at 04:00",
        "pressure 1018 to 1006 hPa, least 1006 at 06:00; at its fastest falling quickly (6.0 hPa in 3 h)",
        "depth below keel least 4.2 m at 01:00",
        "Failures",
        "05:00 feed silent for 10 min: masthead says nothing",
        "04:10 no lookout for 15 min: the lookout was cut off",
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
    let desk = Desk::new("span");
    write_the_night(&desk.file());
    let utc = |s: i64| Some(Utc(EVENING + s * 1000));
    let night = review::read(desk.file(), Span { since: utc(7000), until: utc(9000) }).unwrap();
    assert_eq!((night.from.hms().as_str(), night.to.hms().as_str()), ("01:56:40", "02:30:00"));
    assert_eq!(night.alerts.len(), 1);
    assert_eq!((night.alerts[0].raised, night.alerts[0].over.is_some()), (None, true));
    assert!((night.passage.distance_nm - 5.0 * 2000.0 / 3600.0).abs() < 0.03);
    assert!(night.casualties.is_empty() && night.blind.is_empty());
    let error = review::read(desk.file(), Span { since: utc(90_000), until: None }).unwrap_err();
    assert!(
        matches!(&error, ReviewError::Nothing { has, .. } if has.contains("2026-11-01T06:00:00.000Z")),
        "{error}"
    );
    assert!(matches!(review::read(desk.0.join("none"), Span::default()), Err(ReviewError::NoLogbook { .. })));
}

#[test]
fn a_night_that_began_without_utc_is_told_in_utc() {
    let desk = Desk::new("no-utc");
    let blind = |s: i64| Stamp { utc: None, ..at(s) };
    let (logbook, _) =
        Logbook::open(desk.file(), LogbookSettings { opened: blind(0), ..settings("a", 0) }).unwrap();
    logbook
        .event(blind(60), &record(1, 1, Priority::Alarm, 60), Vec::new())
        .blocking_recv()
        .unwrap()
        .unwrap();
    // The computer's own clock is a year off; then satellites tell.
    let wrong = Stamp { utc: Some((Utc(EVENING - 31_536_000_000), terms::UtcSource::System)), ..at(90) };
    logbook.event(wrong, &record(2, 1, Priority::Alarm, 90), Vec::new()).blocking_recv().unwrap().unwrap();
    logbook.event(at(120), &record(3, 1, Priority::Alarm, 120), Vec::new()).blocking_recv().unwrap().unwrap();
    logbook.close(at(180)).blocking_recv().unwrap().unwrap();
    let night = review::read(desk.file(), Span::default()).unwrap();
    let times: Vec<String> = night.alerts.iter().map(|a| a.raised.unwrap().hms()).collect();
    assert_eq!(times, ["00:01:00", "00:01:30", "00:02:00"]);
}

#[test]
fn a_review_reads_while_the_daemon_writes_and_leaves_the_file_alone() {
    let desk = Desk::new("beside");
    let (logbook, _) = open(&desk.file(), "a", 0);
    logbook.event(at(5), &record(1, 1, Priority::Alarm, 5), Vec::new()).blocking_recv().unwrap().unwrap();
    assert_eq!(review::read(desk.file(), Span::default()).unwrap().alerts.len(), 1);
    logbook.event(at(6), &record(2, 1, Priority::Alarm, 6), Vec::new()).blocking_recv().unwrap().unwrap();
    assert_eq!(review::read(desk.file(), Span::default()).unwrap().alerts.len(), 2);
    logbook.close(at(9)).blocking_recv().unwrap().unwrap();
    let before = std::fs::read(desk.file()).unwrap();
    review::read(desk.file(), Span::default()).unwrap();
    assert_eq!(std::fs::read(desk.file()).unwrap(), before);
}

/// A name from the air that tries to dress up the page.
const SLY: &str = "<script>x\u{202e}&\"'\u{7}";

fn a_sly_night(desk: &Desk) -> review::Night {
    let (logbook, _) = open(&desk.file(), "a", 0);
    for s in (0..=7200).step_by(10) {
        logbook.own(at(s), OwnRow { position: Some(own_at(s)), ..OwnRow::default() });
        let mut t = desk::target(SHIP, 0.5 + (s - 3600).abs() as f64 / 3600.0);
        (t.name, t.position) = (Some(SLY.into()), Some(own_at(s).at(90.0, 0.5)));
        logbook.target(at(s), t);
    }
    logbook.entry(
        at(60),
        Entry { kind: EntryKind::Note, who: Some(SLY.to_owned()), text: SLY.to_owned(), figures: None },
    );
    let mut r = record(1, 1, Priority::Alarm, 100);
    (r.alert.text, r.alert.order) = (SLY.to_owned(), SLY.to_owned());
    (r.own.latitude_deg, r.own.longitude_deg) = (Some(50.0), Some(-6.5));
    event(&logbook, 100, with_casualty(r, Some(own_at(100)), Some(0.1)));
    logbook.close(at(7200)).blocking_recv().unwrap().unwrap();
    review::read(desk.file(), Span::default()).unwrap()
}

#[test]
fn the_page_needs_nothing_else_and_no_name_leaves_its_place() {
    let desk = Desk::new("sly");
    let night = a_sly_night(&desk);
    let page = night.html(night.ship_time());
    assert!(page.contains("&lt;script&gt;x&amp;&quot;&#39;"), "the name is there");
    for (what, text) in [("page", &page), ("GPX", &night.gpx())] {
        assert!(!text.contains("<script"), "{what}");
        assert!(!text.contains('\u{202e}') && !text.contains('\u{7}'), "{what}");
    }
    for outward in ["http:", "https:", "src=", "@import", "url(h", "javascript"] {
        assert!(!page.contains(outward), "{outward}");
    }
    assert_eq!(page.matches("is an aid").count(), 1, "the caution once");
    // What is drawn is described, and tables have heads.
    assert_eq!(page.matches("role=\"img\"").count(), page.matches("<desc ").count());
    assert_eq!(page.matches("<table>").count(), page.matches("<caption>").count());
    assert!(page.matches("scope=\"col\"").count() > 10);
    // Whatever is opened is closed.
    for tag in ["g", "svg", "table", "tr", "section", "article", "td", "th", "li", "ul", "p", "div"] {
        let opened = page.matches(&format!("<{tag} ")).count() + page.matches(&format!("<{tag}>")).count();
        assert_eq!(opened, page.matches(&format!("</{tag}>")).count(), "{tag}");
    }
}

#[test]
fn the_page_of_the_known_night() {
    let desk = Desk::new("html");
    write_the_night(&desk.file());
    let night = review::read(desk.file(), Span::default()).unwrap();
    let page = night.html(review::ShipTime::parse("+2").unwrap());
    for part in [
        "03:00:00 <small>05:00</small>",
        "TORDIS 02:00 0.4 nm",
        "MOB 03:00 Ines",
        "the lookout was cut off",
        "34 at 04:00",
        "4.2 at 01:00",
        "stood down",
        "recovered",
        "UTC+2",
    ] {
        assert!(page.contains(part), "{part}");
    }
    if let Ok(path) = std::env::var("MIDDLEWATCH_TEST_PAGE") {
        std::fs::write(path, page).unwrap();
    }
}

#[test]
fn a_night_without_positions_instruments_or_utc_has_a_page_too() {
    let desk = Desk::new("bare");
    let blind = |s: i64| Stamp { utc: None, ..at(s) };
    let (logbook, _) =
        Logbook::open(desk.file(), LogbookSettings { opened: blind(0), ..settings("a", 0) }).unwrap();
    logbook
        .event(blind(60), &record(1, 1, Priority::Alarm, 60), Vec::new())
        .blocking_recv()
        .unwrap()
        .unwrap();
    logbook.close(blind(120)).blocking_recv().unwrap().unwrap();
    let night = review::read(desk.file(), Span::default()).unwrap();
    let page = night.html(night.ship_time());
    assert!(page.contains("No position was known.") && page.contains("No instrument was heard."));
    assert!(night.print().contains("start+0 h 01 min"), "{}", night.print());
    assert!(night.deck_log().is_empty());
    night.gpx();
    night.csv();
}

#[test]
fn the_deck_log_tells_each_hour() {
    let desk = Desk::new("deck");
    write_the_night(&desk.file());
    let night = review::read(desk.file(), Span::default()).unwrap();
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

/// The order of elements within each other by the schema of GPX 1.1 (topografix.com/GPX/1/1/gpx.xsd, from memory).
fn assert_gpx_in_order(gpx: &str) {
    let order = |parent: &str| -> &[&str] {
        match parent {
            "gpx" => &["metadata", "wpt", "rte", "trk", "extensions"],
            "wpt" | "trkpt" => &[
                "ele",
                "time",
                "magvar",
                "geoidheight",
                "name",
                "cmt",
                "desc",
                "src",
                "link",
                "sym",
                "type",
                "fix",
            ],
            "trk" => &["name", "cmt", "desc", "src", "link", "number", "type", "extensions", "trkseg"],
            "trkseg" => &["trkpt", "extensions"],
            _ => &[],
        }
    };
    let mut open: Vec<(&str, usize)> = Vec::new();
    for tag in gpx.split('<').skip(1).filter(|t| !t.starts_with('?')) {
        let inside = tag.split('>').next().unwrap();
        if let Some(name) = inside.strip_prefix('/') {
            assert_eq!(open.pop().map(|(n, _)| n), Some(name));
            continue;
        }
        let name = inside.split(' ').next().unwrap();
        if let Some((parent, reached)) = open.last_mut() {
            let place = order(parent).iter().position(|n| *n == name);
            let place = place.unwrap_or_else(|| panic!("<{name}> in <{parent}>"));
            assert!(place >= *reached, "<{name}> too late in <{parent}>");
            *reached = place;
        }
        if let Some(lon) = inside.split("lon=\"").nth(1) {
            let lon: f64 = lon.split('"').next().unwrap().parse().unwrap();
            assert!((-180.0..180.0).contains(&lon), "{inside}");
        }
        open.push((name, 0));
    }
    assert!(open.is_empty(), "{open:?}");
}

#[test]
fn a_track_over_the_180th_meridian_is_good_gpx() {
    let desk = Desk::new("180");
    let fast = LogbookSettings { pace: Pace::Replay, ..settings("a", 0) };
    let (logbook, _) = Logbook::open(desk.file(), fast).unwrap();
    for (s, lon) in [(0, 179.999), (10, 179.999_999_9), (20, -180.0), (30, -179.999)] {
        let position = Some(Position::new(-17.0, lon).unwrap());
        logbook.own(at(s), OwnRow { position, ..OwnRow::default() });
    }
    logbook.close(at(60)).blocking_recv().unwrap().unwrap();
    let gpx = review::read(desk.file(), Span::default()).unwrap().gpx();
    assert_gpx_in_order(&gpx);
    assert_eq!(gpx.matches("<trkpt").count(), 4);
}

#[test]
fn exports_hold_the_same_night() {
    let desk = Desk::new("exports");
    write_the_night(&desk.file());
    let night = review::read(desk.file(), Span::default()).unwrap();
    let gpx = night.gpx();
    assert_eq!(gpx.matches("<trkseg>").count(), 2, "the gap parts it");
    assert_gpx_in_order(&gpx);
    assert_eq!(gpx.matches("<trkpt").count(), night.own.len());
    assert!(gpx.contains("<time>2026-11-01T00:00:00.000Z</time>") && gpx.contains("<name>MOB Ines</name>"));
    let geo: serde_json::Value = serde_json::from_str(&night.geojson()).unwrap();
    let first = &geo["features"][0]["geometry"]["coordinates"][0];
    assert_eq!(
        (first[0].as_f64(), first[1].as_f64()),
        (Some(-6.5), Some(50.0)),
        "longitude first (RFC 7946)"
    );
    let csv = night.csv();
    let mut lines = csv.split("\r\n");
    let columns = lines.next().unwrap().split(',').count();
    assert!(lines.clone().filter(|l| !l.is_empty()).all(|l| l.split(',').count() == columns));
    assert_eq!(lines.filter(|l| !l.is_empty()).count(), night.own.len());
}

/// Three days to the west at 5 kn; each noon something is called four times within a minute, and a ship is near.
fn a_long_passage(desk: &Desk) -> review::Night {
    let fast = LogbookSettings { pace: Pace::Replay, ..settings("a", 0) };
    let (logbook, _) = Logbook::open(desk.file(), fast).unwrap();
    let here = |s: i64| Position::new(45.0, -10.0).unwrap().at(270.0, 5.0 * s as f64 / 3600.0);
    let mut id = 0;
    for s in (0..=3 * 86_400).step_by(60) {
        logbook.own(at(s), OwnRow { position: Some(here(s)), sog_kn: Some(5.0), ..OwnRow::default() });
        logbook.instrument(at(s), Quantity::TrueWindSpeed, if s == 2 * 86_400 { 40.0 } else { 10.0 });
        if s % 86_400 == 43_200 {
            for ship in 0..3 {
                let mut t = desk::target(SHIP + ship, 0.4 + f64::from(ship) * 0.1);
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
    review::read(desk.file(), Span { since: Some(Utc(EVENING)), until: None }).unwrap()
}

#[test]
fn a_span_of_days_tells_the_day_of_each_time() {
    let desk = Desk::new("days");
    let night = a_long_passage(&desk);
    let page = night.print();
    for part in [
        "warnings: 1 Nov 12:00 close approach",
        "at most 40 kn at 3 Nov 00:00",
        "1 Nov 12:00 SHIP 0 passed at 0.40 nm",
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
    let last = review::read(desk.file(), Span::default()).unwrap();
    assert!(!last.print().contains("Nov 00:00 kn") && !last.is_dated());
}

#[test]
fn marks_that_fall_on_one_another_are_gathered_and_counted() {
    let desk = Desk::new("marks");
    let page = a_long_passage(&desk).html(review::ShipTime::parse("0").unwrap());
    let chart = page.split("<svg id=\"chart\"").nth(1).unwrap().split("</svg>").next().unwrap();
    // Twelve warnings at three places, nine ships at three.
    assert_eq!(chart.matches("class=\"mark pw\"").count(), 3);
    for label in [">W1 +3<", ">W5 +3<", ">W9 +3<"] {
        assert!(chart.contains(label), "{label}");
    }
    assert!(chart.contains("warning 2: close approach at 1 Nov 12:00:00 UTC"), "each is told");
    assert_eq!(chart.matches("class=\"target\"").count(), 1, "one ship a place: the nearest of each name");
}

/// Thirty days, own track each ten seconds, 3,000 ships, twelve instruments. Run it optimised:
/// `cargo test --release --test review -- --ignored --nocapture a_month`.
#[test]
#[ignore = "is a bench, and wants an optimised build"]
fn a_month_is_reviewed_within_two_seconds_on_less_than_three_megabytes() {
    let desk = Desk::new("month");
    let days = 30;
    let fast = LogbookSettings { pace: Pace::Replay, ..settings("a", 0) };
    let (logbook, _) = Logbook::open(desk.file(), fast).unwrap();
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
    for s in (0..days * 86_400i64).step_by(10) {
        let wave = (s as f64 / 5000.0).sin();
        let here = start.at(265.0 + 5.0 * wave, 5.5 * s as f64 / 3600.0);
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
                let mut t = desk::target(ship, 1.0 + (s % 864) as f64 / 100.0);
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
    let before = std::time::Instant::now();
    let night = review::read(desk.file(), Span { since: Some(Utc(EVENING)), until: None }).unwrap();
    let read = before.elapsed();
    let page = night.html(night.ship_time());
    let all = before.elapsed();
    println!(
        "{} own rows, {} ships, {alerts} alerts: read {read:?}, page {:?}, {} kB",
        night.own.len(),
        night.approaches.len(),
        all - read,
        page.len() / 1000
    );
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
fn json_is_one_line_with_units_and_nulls() {
    let desk = Desk::new("json");
    write_the_night(&desk.file());
    let line = review::read(desk.file(), Span::default()).unwrap().json();
    assert_eq!(line.matches('\n').count(), 1);
    let night: serde_json::Value = serde_json::from_str(&line).unwrap();
    assert_eq!(night["casualties"][0]["nearest_nm"], 0.01);
    assert_eq!(night["casualties"][0]["first_position"]["at"], "2026-11-01T03:00:10.000Z");
    assert_eq!(night["alerts"][2]["acknowledged"], serde_json::Value::Null);
    assert_eq!(night["approaches"][0]["mmsi"], SHIP);
    let wind =
        night["weather"].as_array().unwrap().iter().find(|w| w["quantity"] == "true wind speed").unwrap();
    assert_eq!((wind["greatest"].as_f64(), wind["unit"].as_str()), (Some(34.0), Some("kn")));
}
