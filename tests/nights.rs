//! Simulated nights: whole passages through the built binary, judged by the truth that their sentences were made from.

use crate::night::{BOAT, Draw, Event, NIGHT, Night, ORDERS, approach, replay, replay_text, spans};
use scenario::What;
use sentence::{Decoder, DecoderOptions, FramerOptions, Report, Sentence};
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::Path;
use std::sync::OnceLock;
use std::time::Duration;
use terms::{METRES_PER_NM, Mmsi, Moment};

/// The orders' limits, as `windlestraw-orders.toml` has them.
const CPA_NM: f64 = 1.0;
const TCPA_S: f64 = 1_200.0;

/// Between two reports that are surely both lost only by bad luck, and the order's own patience of 5 s.
const CLASS_A_LATE: Duration = Duration::from_secs(60);
const CLASS_B_LATE: Duration = Duration::from_secs(150);

/// An alert whose cause was over before a moment ends no later after it: 30 s by the order, and the next judgement.
const BEFORE: Duration = Duration::from_secs(40);

/// Every close approach is called in time, none is called without cause, and none ends while it lasts. Limits are taken
/// a little narrower for what must come and a little wider for what may, since courses are measured with noise and the
/// prudent TCPA comes up to two minutes sooner.
fn judge_approaches(night: &Night) {
    let s = &night.scenario;
    for mmsi in s.ships() {
        let both = |at: Moment| approach(&s.own(at), &s.ship(mmsi, at).unwrap());
        let must = spans(s, |at| {
            let (cpa, tcpa) = both(at);
            cpa < CPA_NM - 0.25 && (20.0..TCPA_S - 60.0).contains(&tcpa)
        });
        let may = spans(s, |at| {
            let (cpa, tcpa) = both(at);
            cpa < CPA_NM + 0.35 && (-60.0..TCPA_S + 180.0).contains(&tcpa)
        });
        let of_her = |e: &&Event| e.order() == "close approach" && e.target() == Some(mmsi.number().into());
        let events: Vec<&Event> = night.events.iter().filter(of_her).collect();
        for e in events.iter().filter(|e| e.what() == "raised") {
            let caused =
                may.iter().any(|(from, until)| *from <= e.at() && e.at() <= *until + Duration::from_secs(30));
            assert!(caused, "{mmsi} called without cause at {:?}: {} {:?}", e.at(), e.text(), both(e.at()));
        }
        let late = if is_class_b(night, mmsi) { CLASS_B_LATE } else { CLASS_A_LATE };
        let over = |e: &&&Event| matches!(e.what(), "cleared" | "rectified");
        for (from, until) in must.iter().filter(|(from, until)| *from + late < *until) {
            // An alert of a danger before this one may still end as this one begins, and calls again in time.
            let known = *from + late;
            let last = events.iter().take_while(|e| e.at() <= known).last();
            assert!(
                last.is_some_and(|e| !over(&e)),
                "{mmsi} not called in the danger from {from:?} to {until:?}: {events:#?}"
            );
            if let Some(e) = events.iter().filter(over).find(|e| *from + BEFORE < e.at() && e.at() <= *until)
            {
                panic!("{mmsi} ended at {:?} in the danger from {from:?} to {until:?}", e.at());
            }
        }
    }
}

fn is_class_b(night: &Night, mmsi: Mmsi) -> bool {
    // Class B ships among the made-up ones end in 6; those of the strait are of the second crowd.
    let number = mmsi.number();
    (number / 1_000_000 == 538 && night.scenario.ships().count() < 10 && number % 10 == 6)
        || (232_100_000..232_101_000).contains(&number)
}

/// The night passage of the demo, played once for all tests of this file.
fn passage() -> &'static Night {
    static NIGHT_ONCE: OnceLock<Night> = OnceLock::new();
    NIGHT_ONCE.get_or_init(|| replay(Path::new(NIGHT), &["--config", BOAT]))
}

#[test]
fn the_night_passage_calls_for_what_happens_in_it() {
    let night = passage();
    judge_approaches(night);
    let s = &night.scenario;
    let first = |what: &str, order: &str| {
        let found = night.events.iter().find(|e| e.what() == what && e.order() == order);
        found.unwrap_or_else(|| panic!("{order} was not {what}"))
    };

    // Shoal: draught 1.8 m less the transducer's 0.5 m, by the boat's file; the order's limit is 10 m below the keel,
    // held 10 s, sounded every 2 s with 0.05 m and half a percent of noise.
    let shoal = spans(s, |at| s.depth_below_transducer_m(at).unwrap() - 1.3 < 10.0);
    let called = first("raised", "shoal water").at();
    assert_eq!(shoal.len(), 1);
    assert!(called >= shoal[0].0 && called <= shoal[0].0 + Duration::from_secs(25), "{called:?} {shoal:?}");

    // The instruments' wire is dead from 0:55 to 0:56:30; the boat's file gives it 30 s.
    let dead =
        night.events.iter().find(|e| e.what() == "raised" && e.text().starts_with("instruments")).unwrap();
    assert!((3_325.0..3_332.0).contains(&dead.at().as_s()), "{:?}", dead.at());

    // One person overboard, called with the first message that any receiver heard.
    let raised: Vec<&Event> =
        night.events.iter().filter(|e| e.what() == "raised" && e.order() == "person overboard").collect();
    let (beacon, _, fell) = s.casualties().next().unwrap();
    assert_eq!(raised.len(), 1);
    assert_eq!(raised[0].at(), first_heard(night, beacon, fell));
    assert_eq!(raised[0].0["alert"]["priority"], "emergency alarm");
    judge_places(night);
    let stood_down = first("cleared", "person overboard").at();
    assert_eq!(stood_down, Moment(6_390_000));
}

/// When a beacon's first message after the fall came in by any feed.
fn first_heard(night: &Night, beacon: Mmsi, fell: Moment) -> Moment {
    let mut decoder = Decoder::new(DecoderOptions::default());
    let options = FramerOptions::default();
    let heard = night.scenario.play().find(|t| {
        let What::Line { line, .. } = &t.what else { return false };
        let sentence = Sentence::check(line.as_bytes(), &options).unwrap();
        let report = decoder.read(t.at, &sentence);
        t.at >= fell && matches!(report, Ok(Report::Ais(r)) if r.mmsi == beacon)
    });
    heard.unwrap().at
}

/// Where the events put own vessel and the casualty, and where they were.
fn judge_places(night: &Night) {
    let s = &night.scenario;
    let fallen: Vec<(Mmsi, Moment)> = s.casualties().map(|(mmsi, _, fell)| (mmsi, fell)).collect();
    for e in &night.events {
        if let Some(own) = e.own() {
            // The last fix may be seconds old, and 4 m of error are six standard deviations at most off.
            let off_m = s.own(e.at()).position.range_and_bearing(own).0 * METRES_PER_NM;
            assert!(off_m < 45.0, "own vessel {off_m:.0} m off at {:?}", e.at());
        }
        let Some(place) = e.casualty() else { continue };
        let truth = s.casualty(fallen[0].0, e.at()).unwrap();
        let off_nm = truth.position.range_and_bearing(place).0;
        let radius = e.0["casualty"]["radius95_nm"].as_f64();
        match e.0["casualty"]["position"].as_str() {
            Some("reported") => assert!(off_nm * METRES_PER_NM < 150.0, "{off_nm} nm off at {:?}", e.at()),
            _ => assert!(
                radius.is_some_and(|r| off_nm < r),
                "{off_nm} nm off, radius {radius:?} at {:?}",
                e.at()
            ),
        }
    }
}

#[test]
fn the_same_night_gives_the_same_events() {
    let (a, b) =
        (replay(Path::new(NIGHT), &["--config", BOAT]), replay(Path::new(NIGHT), &["--config", BOAT]));
    assert!(!a.output.is_empty());
    assert_eq!(a.output, b.output);
}

#[test]
fn the_events_of_an_alert_are_counted_without_a_gap_and_follow_each_other() {
    let night = passage();
    let mut seqs: BTreeMap<u64, u64> = BTreeMap::new();
    for e in &night.events {
        let (id, seq) = (e.0["alert"]["id"].as_u64().unwrap(), e.0["seq"].as_u64().unwrap());
        let last = seqs.insert(id, seq).unwrap_or(0);
        // Guidance is said between the events of an alert and is none of them.
        assert_eq!(seq, last + u64::from(e.what() != "guidance"), "{e:?}");
        let utc = terms::Utc::parse(e.0["at"].as_str().unwrap()).unwrap();
        assert_eq!(utc, night.scenario.utc(e.at()), "{e:?}");
    }
    assert!(night.events.is_sorted_by_key(Event::at));
}

/// A thousand ships, each judged like the few of the other nights. The ten minutes are too short for the class B ships'
/// patience, and not for the others.
#[test]
#[ignore = "sixty thousand sentences take a minute without optimisation"]
fn a_thousand_ships_are_told_apart() {
    let file = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/busy-strait.toml");
    let night = replay(Path::new(file), &["--orders", ORDERS]);
    assert_eq!(night.scenario.ships().count(), 1_000);
    judge_approaches(&night);
    let called =
        night.events.iter().filter(|e| e.what() == "raised" && e.order() == "close approach").count();
    // A swath two miles wide and five long in front of each of them, out of a disc of 25 miles: about seven.
    assert!(called >= 4, "{called}");
}

/// Six ships about own vessel in half an hour, some of which turn, as does own vessel.
fn made_up(seed: u64) -> String {
    let mut d = Draw::seeded(seed);
    let mut text = format!(
        r#"version = 1
title = "Made-up night {seed}"
start = "2026-03-01T23:50:00Z"
duration = "32 min"
seed = {seed}
[own]
name = "WINDLESTRAW"
mmsi = "232990417"
position = "{:.0}°{:.2}′{} {:03.0}°{:.2}′W"
course_deg = {:.1}
speed_kn = {:.1}
yaw_deg = 3
[[own.leg]]
at = "0:{:.0}"
course_deg = {:.1}
[[current]]
at = "0:00"
set_deg = {:.0}
drift_kn = {:.1}
[[feed]]
name = "gps"
talker = "GP"
gps_error_m = 4
sentences = {{ RMC = "1 s" }}
[[feed]]
name = "compass"
talker = "HC"
sentences = {{ HDT = "1 s" }}
[[feed]]
name = "ais"
talker = "AI"
hears = {{ probability = 0.9, range_nm = 25 }}
sentences = {{ VDO = "5 s" }}
"#,
        d.from(0.0, 60.0).trunc(),
        d.from(0.0, 59.9),
        if d.from(0.0, 1.0) < 0.5 { "N" } else { "S" },
        d.from(0.0, 178.0).trunc(),
        d.from(0.0, 59.9),
        d.from(0.0, 360.0),
        d.from(3.0, 8.0),
        d.from(14.0, 20.0).trunc(),
        d.from(0.0, 360.0),
        d.from(0.0, 360.0),
        d.from(0.0, 1.5),
    );
    for i in 1..=6 {
        let class = if i == 6 { "B" } else { "A" };
        let fastest = if i == 6 { 12.0 } else { 24.0 };
        let _ = write!(
            text,
            r#"[[ship]]
mmsi = "53899{:03}{i}"
name = "SHIP {i}"
ship_type = 70
class = "{class}"
course_deg = {:.1}
speed_kn = {:.1}
place = {{ at = "0:{:.0}", bearing_deg = {:.0}, range_nm = {:.2} }}
"#,
            seed % 1_000,
            d.from(0.0, 360.0),
            d.from(2.5, fastest),
            d.from(10.0, 31.0).trunc(),
            d.from(0.0, 360.0),
            d.from(0.0, 3.0),
        );
        if i % 3 == 0 {
            let (at, course) = (d.from(10.0, 25.0).trunc(), d.from(0.0, 360.0));
            let _ = write!(text, "[[ship.leg]]\nat = \"0:{at:.0}\"\ncourse_deg = {course:.0}\n");
        }
    }
    text
}

#[test]
fn no_close_approach_is_missed_or_made_up_on_made_up_nights() {
    let nights: u64 = std::env::var("MIDDLEWATCH_NIGHTS").ok().and_then(|n| n.parse().ok()).unwrap_or(8);
    let mut calls = 0;
    for seed in 0..nights {
        let night = replay_text(&format!("made-up-{seed}"), &made_up(seed), &["--orders", ORDERS]);
        println!("made-up night {seed}: {} events", night.events.len());
        calls +=
            night.events.iter().filter(|e| e.what() == "raised" && e.order() == "close approach").count();
        judge_approaches(&night);
        judge_places(&night);
    }
    // A generator whose ships all pass far off would prove nothing.
    assert!(calls as u64 > nights, "{calls} calls");
}
