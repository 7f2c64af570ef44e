//! Somebody goes overboard in ways that are harder than the night passage's: no fix, no receiver, a button first.

use crate::night::{BOAT, Event, Night, ORDERS, replay_text};
use rules::Orders;
use scenario::{Scenario, What};
use std::sync::Arc;
use terms::{FeedId, METRES_PER_NM, Mmsi, Moment};
use watch::{Begin, FeedSetting, Input, Watch};

const BEACON: u32 = 972_990_412;
const FELL: Moment = Moment(600_000);

/// Half an hour under way with somebody overboard after ten minutes; feeds and beacon as each test wants them.
fn text(name: &str, gps: &str, ais: &str, overboard: &str, more: &str) -> String {
    format!(
        r#"version = 1
title = "{name}"
start = "2026-01-15T04:00:00Z"
duration = "30 min"
seed = 6
[own]
name = "WINDLESTRAW"
mmsi = "232990417"
position = "46°31.00′N 009°12.00′W"
course_deg = 215
speed_kn = 6
yaw_deg = 3
[[current]]
at = "0:00"
set_deg = 110
drift_kn = 0.5
[[wind]]
at = "0:00"
from_deg = 300
speed_kn = 15
[[feed]]
name = "gps"
talker = "GP"
gps_error_m = 4
sentences = {{ RMC = "1 s" }}
{gps}
[[feed]]
name = "instruments"
talker = "II"
sentences = {{ HDT = "1 s", VHW = "1 s", MWV = "1 s" }}
[[feed]]
name = "ais"
talker = "AI"
hears = {{ probability = 0.95, range_nm = 20 }}
{ais}
[[beacon]]
mmsi = "{BEACON}"
name = "Tobias Fenn"
range_nm = 5
[beacon.overboard]
at = "0:10"
{overboard}
{more}
"#
    )
}

/// The same, replayed.
fn sea(name: &str, gps: &str, ais: &str, overboard: &str, more: &str) -> Night {
    replay_text(name, &text(name, gps, ais, overboard, more), &["--config", BOAT])
}

fn of_person<'n>(night: &'n Night, what: &str) -> Vec<&'n Event> {
    night.events.iter().filter(|e| e.what() == what && e.order() == "person overboard").collect()
}

/// Miles between where an event puts the person and where the person is.
fn off_nm(night: &Night, e: &Event) -> f64 {
    let truth = night.scenario.casualty(Mmsi::new(BEACON).unwrap(), e.at()).unwrap();
    truth.position.range_and_bearing(e.casualty().unwrap()).0
}

#[test]
fn a_beacon_that_never_finds_itself_is_called_at_once_and_searched_by_drift() {
    let night = sea("no-fix", "", "", "activation = \"12 s\"\nfirst_fix = \"86400 s\"", "");
    let raised = of_person(&night, "raised");
    assert_eq!(raised.len(), 1);
    // Bursts of eight two seconds apart: half a minute without one heard would be a fault.
    assert!(raised[0].at() >= Moment(612_000) && raised[0].at() <= Moment(620_000), "{:?}", raised[0].at());
    let all: Vec<&Event> = night.events.iter().filter(|e| e.casualty().is_some()).collect();
    assert!(all.len() > 3);
    for e in all {
        assert_eq!(e.0["casualty"]["position"], "estimated", "{e:?}");
        let radius = e.0["casualty"]["radius95_nm"].as_f64().unwrap();
        assert!(off_nm(&night, e) < radius, "{} nm off, radius {radius} at {:?}", off_nm(&night, e), e.at());
    }
}

#[test]
fn own_fix_lost_before_the_fall_does_not_delay_the_call() {
    let night = sea("own-fix-lost", "no_fix = [{ from = \"0:05\" }]", "", "first_fix = \"45 s\"", "");
    let raised = of_person(&night, "raised");
    assert_eq!(raised.len(), 1);
    assert!(raised[0].at() <= FELL + std::time::Duration::from_secs(15), "{:?}", raised[0].at());
    let reported = night.events.iter().rfind(|e| e.0["casualty"]["position"] == "reported").unwrap();
    assert!(off_nm(&night, reported) * METRES_PER_NM < 150.0);
}

#[test]
fn a_receiver_that_dies_after_the_first_message_leaves_the_case_open() {
    let outage = "outages = [{ from = \"0:10:07\" }]";
    let night = sea("receiver-dies", "", outage, "activation = \"5 s\"\nfirst_fix = \"60 s\"", "");
    assert_eq!(of_person(&night, "raised").len(), 1);
    assert!(of_person(&night, "cleared").is_empty() && of_person(&night, "rectified").is_empty());
    let told: Vec<&Event> =
        of_person(&night, "repeated").into_iter().filter(|e| e.at() > Moment(1_500_000)).collect();
    assert!(!told.is_empty(), "nobody is told of the person any more");
    let last = told[told.len() - 1];
    let radius = last.0["casualty"]["radius95_nm"].as_f64().unwrap();
    assert!(off_nm(&night, last) < radius, "{} nm off, radius {radius}", off_nm(&night, last));
    let deaf = night.events.iter().find(|e| e.what() == "raised" && e.text().contains("ais")).unwrap();
    assert!(deaf.at() < Moment(607_000 + 90_000), "{:?}", deaf.at());
}

#[test]
fn the_button_and_the_beacon_that_follows_are_one_person() {
    let act = "[[act]]\nat = \"0:10:02\"\ndo = \"overboard Tobias\"";
    let night = sea("button-first", "", "", "activation = \"20 s\"\nfirst_fix = \"50 s\"", act);
    let raised = of_person(&night, "raised");
    assert_eq!(raised.len(), 1, "{raised:#?}");
    assert_eq!(raised[0].at(), Moment(602_000));
    // Two seconds at six knots, and the fix's error.
    assert!(off_nm(&night, raised[0]) * METRES_PER_NM < 30.0);
    let reported = night.events.iter().any(|e| e.0["casualty"]["position"] == "reported");
    assert!(reported, "the beacon's own position is not taken up");
}

#[test]
fn a_test_of_a_beacon_calls_nobody() {
    let night = sea("only-a-test", "", "", "activation = \"80000 s\"", "");
    assert!(of_person(&night, "raised").is_empty());
    let text = "[[beacon]]\nmmsi = \"972990411\"\nname = \"Ilse Marrow\"\ntest = [{ at = \"0:04\" }, { at = \"0:20\" }]";
    let night = sea("tests", "", "", "activation = \"80000 s\"", text);
    assert!(of_person(&night, "raised").is_empty());
    let noted = night
        .events
        .iter()
        .filter(|e| e.what() == "noted" && e.text().contains("test of the beacon"))
        .count();
    assert_eq!(noted, 2);
}

/// A timer that stays due once it has been served wakes the watch again and again: the processor runs hot and, on a
/// small computer, nothing else gets its turn.
#[test]
fn no_timer_stays_behind_whatever_fails() {
    let boat = boat::read("windlestraw.toml", &std::fs::read_to_string(BOAT).unwrap()).unwrap().0;
    for (gps, ais) in [
        ("", ""),
        ("no_fix = [{ from = \"0:05\" }]", ""),
        (
            "outages = [{ from = \"0:04\", until = \"0:20\" }]",
            "outages = [{ from = \"0:06\", until = \"0:25\" }]",
        ),
    ] {
        let text = text("timers", gps, ais, "first_fix = \"45 s\"\nuntil = \"0:20\"", "");
        let scenario = Scenario::read("timers", &text).unwrap();
        let feeds: Vec<FeedSetting> = boat.feeds.iter().map(FeedSetting::of).collect();
        let orders = std::fs::read_to_string(ORDERS).unwrap();
        let orders = Arc::new(Orders::read("orders", &orders).unwrap());
        let begin = Begin { feeds: feeds.clone(), orders, ..Begin::default() };
        let mut watch = Watch::new(&boat);
        watch.take(Moment::ZERO, Input::Begin(Box::new(begin))).unwrap();
        for timed in scenario.play() {
            watch.advance(timed.at);
            let next = watch.next_wake();
            assert!(
                next.is_none_or(|next| next > timed.at),
                "{next:?} is due after {:?} was served",
                timed.at
            );
            let What::Line { feed, line } = timed.what else { continue };
            let id = FeedId(feeds.iter().position(|f| f.name == feed).unwrap() as u16);
            watch.take(timed.at, Input::Line(id, line.parse().unwrap())).unwrap();
            drop(watch.effects());
        }
    }
}
