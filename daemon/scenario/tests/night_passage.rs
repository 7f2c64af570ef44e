//! The night passage of the demo: what it promises, by its truth and by its lines.

use scenario::{Scenario, Timed, Verb, What};
use std::collections::BTreeMap;
use terms::{Mmsi, Moment};

const FILE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/night-passage.toml");

fn night() -> Scenario {
    Scenario::read("night-passage.toml", &std::fs::read_to_string(FILE).unwrap())
        .unwrap_or_else(|p| panic!("{p}"))
}

fn minutes(m: f64) -> Moment {
    Moment::from_s(m * 60.0)
}

/// The least range to a ship over the whole passage, and when.
fn closest(scenario: &Scenario, mmsi: u32) -> (f64, Moment) {
    let mmsi = Mmsi::new(mmsi).unwrap();
    (0..=7_200)
        .map(|s| {
            let at = Moment(s * 1000);
            let ship = scenario.ship(mmsi, at).unwrap();
            (scenario.own(at).position.range_and_bearing(ship.position).0, at)
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .unwrap()
}

#[test]
fn the_same_file_gives_the_same_lines_in_order_of_time() {
    let (a, b) = (night(), night());
    let first: Vec<Timed<'_>> = a.play().collect();
    assert!(first.len() > 40_000, "{}", first.len());
    assert!(first.is_sorted_by_key(|t| t.at));
    assert!(first.iter().eq(b.play().collect::<Vec<_>>().iter()));
    assert!(first.iter().all(|t| t.utc.0 - a.start().0 == t.at.0 && t.at <= a.end()));
}

#[test]
fn another_seed_gives_other_noise_and_the_same_truth() {
    let text = std::fs::read_to_string(FILE).unwrap();
    let other = Scenario::read("other", &text.replace("seed = 20260914", "seed = 1")).unwrap();
    let night = night();
    assert_eq!(night.own(minutes(85.0)), other.own(minutes(85.0)));
    assert!(night.play().take(100).ne(other.play().take(100)));
}

#[test]
fn ships_pass_as_the_file_says() {
    let night = night();
    let (crossing, at) = closest(&night, 636_990_158);
    assert!(crossing < 0.25 && at > minutes(45.0) && at < minutes(48.0), "{crossing} {at:?}");
    let (overtaking, at) = closest(&night, 538_990_271);
    assert!(
        (0.4..0.46).contains(&overtaking) && at > minutes(67.0) && at < minutes(70.0),
        "{overtaking} {at:?}"
    );
    let (small, _) = closest(&night, 227_990_336);
    assert!((1.0..1.3).contains(&small), "{small}");
    let (far, _) = closest(&night, 244_990_583);
    assert!(far > 7.0, "{far}");
}

#[test]
fn the_person_overboard_is_found() {
    let night = night();
    let (beacon, name, fell) = night.casualties().next().unwrap();
    assert_eq!((name, fell), ("Tobias Fenn", minutes(90.0)));
    assert_eq!(night.casualty(beacon, minutes(89.9)), None);
    let range = |m: f64| {
        let person = night.casualty(beacon, minutes(m)).unwrap();
        night.own(minutes(m)).position.range_and_bearing(person.position).0
    };
    assert!(range(90.0) < 1e-6 && range(91.0) > 0.09, "{}", range(91.0));
    for m in [96, 99, 102, 105, 108] {
        assert!(range(f64::from(m)) < 45.0 / 1852.0, "{m}: {}", range(f64::from(m)));
        assert!(night.own(minutes(f64::from(m))).speed_kn < 2.5);
    }
    let stood_down = night.play().find_map(|t| match t.what {
        What::Act(act) if act.verb == Verb::StandDown => Some((t.at, act.words.clone())),
        _ => None,
    });
    assert_eq!(stood_down, Some((minutes(106.5), "recovered".to_owned())));
}

#[test]
fn every_feed_speaks_at_its_pace_and_is_silent_in_its_outage() {
    let night = night();
    let mut counts: BTreeMap<(&str, String), usize> = BTreeMap::new();
    for timed in night.play() {
        let What::Line { feed, line } = timed.what else { continue };
        if feed == "instruments" {
            assert!(!(minutes(55.0)..minutes(56.5)).contains(&timed.at), "{line}");
        }
        let kind = line.split_once('$').map_or("AIS", |(_, rest)| &rest[2..5]).to_owned();
        *counts.entry((feed, kind)).or_default() += 1;
    }
    let count = |feed, kind: &str| counts.get(&(feed, kind.to_owned())).copied().unwrap_or(0);
    assert_eq!(count("gps", "RMC"), 7_200);
    assert_eq!(count("gps", "GGA"), 1_440);
    // 7,200 s less the outage of 90 s.
    assert_eq!(count("instruments", "MWV"), 7_110);
    assert!(count("ais-stern", "AIS") > 500 && count("ais-stern", "AIS") < count("ais", "AIS"));
}
