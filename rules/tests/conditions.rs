//! Each kind of condition, on both sides of its limits.

use crate::table::{SHIP, Table};
use rules::{Declared, Doing, Waters};
use terms::{Dimension, FeedId, Position, Quantity as Q, Reading, Subject, Utc, Value};

const OWN: Subject = Subject::OwnVessel;

/// A table with one order that notes when its condition is true.
fn noting(each: &str, when: &str) -> Table {
    Table::with(&format!(
        "[[mark]]\nname = \"Gull Rock\"\nposition = \"50°00.00′N 005°00.00′W\"\n\
         [[order]]\nname = \"it\"\neach = \"{each}\"\npriority = \"notice\"\npatience = \"never\"\nwhen = {when}\n"
    ))
}

#[test]
fn numbers_at_just_below_and_just_above_their_limits() {
    // Condition, and whether it is true of 4.9, 5.0, 5.1 and 7.1.
    for (said, truths) in [
        ("is over 5", [false, false, true, true]),
        ("is under 5", [true, false, false, false]),
        ("is at least 5", [false, true, true, true]),
        ("is at most 5", [true, true, false, false]),
        ("is not over 5", [true, true, false, false]),
        ("is not under 5", [false, true, true, true]),
        ("is not at least 5", [true, false, false, false]),
        ("is not at most 5", [false, false, true, true]),
        ("is between 5 and 7", [false, true, true, false]),
        ("is not between 5 and 7", [true, false, false, true]),
        ("is outside 5 and 7", [true, false, false, true]),
        ("is not outside 5 and 7", [false, true, true, false]),
    ] {
        for (n, truth) in [4.9, 5.0, 5.1, 7.1].into_iter().zip(truths) {
            let mut t = noting("own vessel", &format!("\"SOG {said} kn\"").replace(" and", " kn and"));
            t.set(OWN, Q::Sog, n);
            assert_eq!(!t.kinds().is_empty(), truth, "{n} {said}");
        }
    }
}

#[test]
fn sectors_hold_their_edges_and_wrap_through_north() {
    for (said, deg, truth) in [
        ("is within 350 deg to 010 deg", 350.0, true),
        ("is within 350 deg to 010 deg", 10.0, true),
        ("is within 350 deg to 010 deg", 0.0, true),
        ("is within 350 deg to 010 deg", 11.0, false),
        ("is within 350 deg to 010 deg", 349.0, false),
        ("is not within 350 deg to 010 deg", 349.0, true),
        ("is not within 350 deg to 010 deg", 0.0, false),
    ] {
        let mut t = noting("own vessel", &format!("\"COG {said}\""));
        t.set(OWN, Q::Cog, deg);
        assert_eq!(!t.kinds().is_empty(), truth, "{deg} {said}");
    }
    // Off the bow: 20° either side.
    for (deg, truth) in [(-19.0, true), (19.0, true), (-21.0, false), (180.0, false)] {
        let mut t = noting("target", "\"relative bearing is within 340 deg to 020 deg\"");
        t.set(SHIP, Q::RelativeBearing, deg);
        assert_eq!(!t.kinds().is_empty(), truth, "{deg}");
    }
}

#[test]
fn words_and_identities() {
    for (said, word, truth) in [
        ("is cargo or tanker", "tanker", true),
        ("is cargo or tanker", "fishing", false),
        ("is not cargo", "cargo", false),
        ("is not cargo", "fishing", true),
    ] {
        let mut t = noting("target", &format!("\"ship type {said}\""));
        t.word(SHIP, Q::ShipType, word);
        assert_eq!(!t.kinds().is_empty(), truth, "{word} {said}");
    }
    for (said, truth) in [("is 230000001", true), ("is 230000002", false), ("is not 230000002", true)] {
        let mut t = noting("target", &format!("\"MMSI {said}\""));
        t.set(SHIP, Q::Identity, 230_000_001.0);
        assert_eq!(!t.kinds().is_empty(), truth, "{said}");
    }
}

#[test]
fn all_any_and_none_with_what_is_not_known() {
    let (yes, no, unknown) =
        ("\"SOG is over 1 kn\"", "\"SOG is over 9 kn\"", "\"COG is within 0 deg to 90 deg\"");
    // Whether it calls, and whether it then cannot be judged.
    for (when, calls, unjudged) in [
        (format!("{{ all = [{yes}, {yes}] }}"), true, false),
        (format!("{{ all = [{yes}, {unknown}] }}"), false, true),
        (format!("{{ all = [{no}, {unknown}] }}"), false, false),
        (format!("{{ any = [{no}, {unknown}] }}"), false, true),
        (format!("{{ any = [{yes}, {unknown}] }}"), true, false),
        (format!("{{ any = [{no}, {no}] }}"), false, false),
        (format!("{{ none = [{no}, {no}] }}"), true, false),
        (format!("{{ none = [{yes}, {unknown}] }}"), false, false),
        (format!("{{ none = [{no}, {unknown}] }}"), false, true),
        (format!("{{ all = [{yes}], none = [{no}] }}"), true, false),
        (format!("{{ all = [{yes}], none = [{yes}] }}"), false, false),
        (format!("{{ all = [{{ any = [{no}, {yes}] }}, {yes}] }}"), true, false),
    ] {
        let mut t =
            Table::with(&format!("[[order]]\nname = \"it\"\npriority = \"warning\"\nwhen = {when}\n"));
        t.set(OWN, Q::Sog, 5.0).pass(601.0);
        let told = t.told();
        assert_eq!(told.iter().any(|s| s.starts_with("Raised it: it:")), calls, "{when}: {told:?}");
        assert_eq!(told.iter().any(|s| s.contains("cannot be judged")), unjudged, "{when}: {told:?}");
    }
}

#[test]
fn marks_by_own_position_and_only_while_that_is_known() {
    // A minute of latitude is a mile, near enough: 1843 m at the equator, 1862 m at the poles.
    for (said, calls) in [
        ("distance to \"Gull Rock\" is under 3.1 nm", true),
        ("distance to \"Gull Rock\" is under 2.9 nm", false),
        ("bearing to \"gull rock\" is within 355 deg to 5 deg", true),
        ("bearing to \"Gull Rock\" is within 175 deg to 185 deg", false),
    ] {
        let mut t = noting("own vessel", &format!("'{said}'"));
        t.chart.position = Some(Position::new(50.0 - 3.0 / 60.0, -5.0).unwrap());
        t.lose(OWN, Q::Fix);
        assert_eq!(t.kinds(), [], "no fix: {said}");
        t.put(OWN, Q::Fix, Value::There);
        assert_eq!(!t.kinds().is_empty(), calls, "{said}");
    }
}

#[test]
fn the_anchor_lies_where_she_was_declared_to_lie() {
    let mut t = noting("own vessel", "\"distance from anchor is over 50 m\"");
    let here = |metres_north: f64| Some(Position::new(50.0, -5.0).unwrap().at(0.0, metres_north / 1852.0));
    t.chart.position = here(0.0);
    t.put(OWN, Q::Fix, Value::There);
    t.chart.position = here(80.0);
    t.put(OWN, Q::Fix, Value::There);
    assert_eq!(t.kinds(), [], "no anchor is down");
    t.board.declare(t.at(), Declared::Doing(Doing::AtAnchor), &t.chart);
    t.chart.position = here(129.0);
    t.put(OWN, Q::Fix, Value::There);
    assert_eq!(t.kinds(), []);
    // Declared again, it stays where it lies.
    t.board.declare(t.at(), Declared::Doing(Doing::AtAnchor), &t.chart);
    t.chart.position = here(131.0);
    t.put(OWN, Q::Fix, Value::There);
    assert_eq!(t.kinds().len(), 1);
    t.board.declare(t.at(), Declared::Doing(Doing::UnderPower), &t.chart);
    t.chart.position = here(900.0);
    t.put(OWN, Q::Fix, Value::There);
    assert_eq!(t.kinds(), [], "weighed");
}

#[test]
fn an_order_that_ends_as_the_anchor_is_weighed_says_how_far_off_it_lay() {
    let mut t = Table::with(
        "[[order]]\nname = \"drags\"\npriority = \"alarm\"\nonly = [\"at anchor\"]\n\
         when = \"distance from anchor is over 50 m\"\ntext = \"She lies {distance from anchor} off\"\n",
    );
    let here = |metres_north: f64| Some(Position::new(50.0, -5.0).unwrap().at(0.0, metres_north / 1852.0));
    t.chart.position = here(0.0);
    t.board.declare(t.at(), Declared::Doing(Doing::AtAnchor), &t.chart);
    t.chart.position = here(80.0);
    t.put(OWN, Q::Fix, Value::There);
    assert_eq!(t.told(), ["Raised drags: She lies 80 m off"]);
    t.chart.position = here(90.0);
    t.board.declare(t.at(), Declared::Doing(Doing::UnderPower), &t.chart);
    assert_eq!(t.told(), ["Rectified drags: She lies 90 m off"]);
}

#[test]
fn a_transducer_must_measure_what_the_order_says() {
    let set = |t: &mut Table, dimension: Dimension, n: f64| {
        let reading = Reading { value: Some(Value::Number(n)), heard: Some(t.at()) };
        t.chart.transducers.insert("ENGROOM".to_owned(), (dimension, reading));
        t.board.changed(t.at(), OWN, Q::Transducers, &t.chart);
    };
    let mut t = noting("own vessel", "'transducer \"ENGROOM\" is over 140 °F'");
    set(&mut t, Dimension::Temperature, 59.9);
    assert_eq!(t.kinds(), []);
    set(&mut t, Dimension::Voltage, 70.0);
    assert_eq!(t.kinds(), [], "volts are no degrees");
    set(&mut t, Dimension::Temperature, 60.1);
    assert_eq!(t.kinds().len(), 1);
    let mut t = noting("own vessel", "'transducer \"ENGROOM\" is missing for 1 min'");
    set(&mut t, Dimension::Temperature, 20.0);
    t.pass(59.0);
    assert_eq!(t.kinds(), []);
    t.pass(2.0);
    assert_eq!(t.kinds().len(), 1, "its last value stays, but it is old");
}

#[test]
fn the_time_of_day_is_ships_time_and_runs_through_midnight() {
    for (said, minutes) in [
        ("is between 22:00 and 06:00", [120, 600]),
        // True until six in the evening before, so it begins at once.
        ("is outside 22:00 and 06:00", [0, 600]),
        ("is over 21:30", [90, 240]),
    ] {
        let mut t = noting("own vessel", &format!("\"time of day {said}\""));
        t.now_s = 1.0;
        t.chart.utc = Utc::from_date(2026, 11, 1, 20 * 3_600_000);
        t.orders(&format!(
            "[[order]]\nname = \"it\"\npriority = \"caution\"\nwhen = \"time of day {said}\"\n"
        ));
        t.kinds();
        let mut seen = Vec::new();
        for minute in 0..700 {
            let stands = t.board.alerts().next().is_some();
            if seen.last().map_or(stands, |(_, was)| *was != stands) {
                seen.push((minute, stands));
            }
            t.pass(60.0);
            t.chart.utc = t.chart.utc.map(|u| u.plus_ms(60_000));
        }
        let near = |a: i32, b: i32| (a - b).abs() <= 2;
        assert!(near(seen[0].0, minutes[0]), "{said}: {seen:?}");
        if said.starts_with("is between") {
            assert!(near(seen[1].0, minutes[1]), "{said}: {seen:?}");
        }
    }
}

#[test]
fn ages_grow_by_themselves_and_of_what_was_never_heard_from_the_beginning() {
    let mut t = noting("feed", "\"age of sentences is over 30 s\"");
    let feed = Subject::Feed(FeedId(1));
    t.put(feed, Q::Sentences, Value::There);
    t.pass(29.0).put(feed, Q::Sentences, Value::There);
    t.pass(30.0);
    assert_eq!(t.kinds(), []);
    t.pass(0.1);
    assert_eq!(t.kinds().len(), 1);
    let mut t = noting("own vessel", "\"age of position is over 30 s\"");
    t.pass(30.0);
    assert_eq!(t.kinds(), []);
    t.pass(1.0);
    assert_eq!(t.kinds().len(), 1);
}

#[test]
fn the_highest_the_lowest_and_the_mean_of_a_window() {
    let mut t = noting("own vessel", "\"highest true wind speed in 10 min is over 30 kn\"");
    t.set(OWN, Q::TrueWindSpeed, 31.0).set(OWN, Q::TrueWindSpeed, 20.0);
    assert_eq!(t.kinds().len(), 1, "a gust between two calm moments");
    let mut t = noting("own vessel", "\"lowest battery voltage in 1 min is under 11 V\"");
    t.set(OWN, Q::BatteryVoltage, 10.9).set(OWN, Q::BatteryVoltage, 12.0);
    assert_eq!(t.kinds().len(), 1);
    let mut t = noting("own vessel", "\"mean SOG in 10 min is over 5 kn\"");
    t.set(OWN, Q::Sog, 8.0).pass(299.0);
    assert_eq!(t.kinds(), [], "half the window is not yet filled");
    t.pass(12.0);
    assert_eq!(t.kinds().len(), 1);
    let mut t = noting("own vessel", "\"mean COG in 2 min is within 355 deg to 5 deg\"");
    for i in 0..12 {
        t.set(OWN, Q::Cog, if i % 2 == 0 { 340.0 } else { 20.0 }).pass(10.0);
    }
    assert_eq!(t.kinds().len(), 1, "the mean of directions about north is north");
}

#[test]
fn a_rise_counts_from_the_lowest_of_the_window_and_ends_when_that_is_past() {
    let orders =
        "[[order]]\nname = \"it\"\npriority = \"caution\"\nwhen = \"depth below keel rises 5 m in 10 min\"\n";
    let mut t = Table::with(orders);
    t.set(OWN, Q::DepthBelowKeel, 20.0).pass(60.0).set(OWN, Q::DepthBelowKeel, 10.0).pass(60.0);
    t.set(OWN, Q::DepthBelowKeel, 14.9);
    assert_eq!(t.kinds(), []);
    t.set(OWN, Q::DepthBelowKeel, 15.0);
    assert_eq!(t.kinds(), [rules::EventKind::Raised]);
    t.pass(530.0);
    assert_eq!(t.kinds(), []);
    t.pass(100.0);
    assert_eq!(t.kinds(), [rules::EventKind::Cleared]);
}

#[test]
fn a_speed_off_its_mean_either_way() {
    for (now, calls) in [(3.9, true), (8.1, true), (4.2, false), (7.8, false)] {
        let mut t = noting("own vessel", "\"SOG is off its mean over 5 min by 2 kn\"");
        for _ in 0..60 {
            t.set(OWN, Q::Sog, 6.0).pass(10.0);
        }
        t.set(OWN, Q::Sog, now);
        assert_eq!(!t.kinds().is_empty(), calls, "{now}");
    }
}

#[test]
fn a_hold_does_not_count_time_in_which_nothing_is_known() {
    let orders = "[[order]]\nname = \"it\"\npriority = \"caution\"\nwhen = \"SOG is over 5 kn\"\nheld = \"10 s\"\nover_for = \"10 s\"\n";
    let mut t = Table::with(orders);
    t.set(OWN, Q::Sog, 6.0).pass(6.0).lose(OWN, Q::Sog).pass(100.0);
    assert_eq!(t.kinds(), []);
    t.set(OWN, Q::Sog, 6.0).pass(3.9);
    assert_eq!(t.kinds(), []);
    t.pass(0.2);
    assert_eq!(t.kinds(), [rules::EventKind::Raised]);
    t.set(OWN, Q::Sog, 4.0).pass(6.0).lose(OWN, Q::Sog).pass(100.0).set(OWN, Q::Sog, 4.0).pass(3.9);
    assert_eq!(t.kinds(), []);
    t.pass(0.2);
    assert_eq!(t.kinds(), [rules::EventKind::Cleared]);
}

#[test]
fn by_night_and_by_waters_and_what_is_not_known_is_the_stricter() {
    let order = |only: &str| {
        format!(
            "[[order]]\nname = \"it\"\npriority = \"caution\"\nonly = {only}\nwhen = \"SOG is over 5 kn\"\n"
        )
    };
    let mut t = Table::with(&order("[\"by night\", \"ocean\"]"));
    t.set(OWN, Q::Sog, 6.0);
    assert_eq!(t.kinds().len(), 1, "nobody can tell: it applies");
    t.word(OWN, Q::Sun, "up");
    assert_eq!(t.kinds(), [rules::EventKind::Cleared]);
    t.word(OWN, Q::Sun, "down");
    assert_eq!(t.kinds(), [rules::EventKind::Raised]);
    t.board.declare(t.at(), Declared::Waters(Waters::Coastal), &t.chart);
    assert_eq!(t.kinds(), [rules::EventKind::Cleared]);
    t.board.declare(t.at(), Declared::Waters(Waters::Ocean), &t.chart);
    assert_eq!(t.kinds(), [rules::EventKind::Raised]);
    assert_eq!(t.board.declared().waters, Some(Waters::Ocean));
    let mut t = Table::with(&order("[\"by day\", \"under sail\", \"hove to\"]"));
    t.word(OWN, Q::Sun, "down").set(OWN, Q::Sog, 6.0);
    assert_eq!(t.kinds(), []);
    t.word(OWN, Q::Sun, "up");
    assert_eq!(t.kinds().len(), 1);
    t.board.declare(t.at(), Declared::Doing(Doing::UnderPower), &t.chart);
    assert_eq!(t.kinds().len(), 1);
    t.board.declare(t.at(), Declared::Doing(Doing::HoveTo), &t.chart);
    assert_eq!(t.kinds().len(), 1);
}

#[test]
fn values_are_told_with_the_digits_that_mean_something_at_sea() {
    let text = "{SOG}|{COG}|{apparent wind angle}|{rate of turn}|{pressure}|{water temperature}|{battery voltage}|{depth below keel}|{cross-track error}|{time of day}|{number of targets}|{sun}|{heading}";
    let mut t = Table::with(&format!(
        "[[order]]\nname = \"it\"\npriority = \"notice\"\nwhen = \"SOG is over 5 kn\"\ntext = \"{text}\"\n"
    ));
    t.chart.utc = Utc::from_date(2026, 11, 1, (2 * 3600 + 14 * 60) * 1000);
    t.set(OWN, Q::Cog, 359.7).set(OWN, Q::ApparentWindAngle, -42.0).set(OWN, Q::RateOfTurn, -3.25);
    t.set(OWN, Q::Pressure, 1012.34).set(OWN, Q::WaterTemperature, 17.0).set(OWN, Q::BatteryVoltage, 12.345);
    t.set(OWN, Q::DepthBelowKeel, 4.04).set(OWN, Q::CrossTrackError, 12.345).set(OWN, Q::TargetCount, 7.0);
    t.word(OWN, Q::Sun, "down").set(OWN, Q::Sog, 6.0);
    assert_eq!(
        t.told(),
        [
            "Noted it: 6.0 kn|000°|42° to port|-3.2°/min|1012.3 hPa|17.0 °C|12.35 V|4.0 m|12.3 nm|02:14|7|down|not known"
        ]
    );
    for (seconds, told) in [
        (0.4, "0 s"),
        (119.0, "119 s"),
        (120.0, "2 min"),
        (7199.0, "120 min"),
        (7200.0, "2 h"),
        (9000.0, "2 h 30 min"),
        (-30.0, "30 s ago"),
    ] {
        let mut t = noting("target", "\"TCPA is under 9 h\"");
        t.set(SHIP, Q::Tcpa, seconds);
        assert_eq!(t.told(), [format!("Noted it: it: MV 230000001 TCPA {told}")]);
    }
}

#[test]
fn hours_of_the_day_by_their_edges() {
    // Written as hours and minutes: what stands at that minute of the day.
    for (said, stands) in [
        (
            "is between 08:00 and 20:00",
            [(7, 59, false), (8, 0, true), (20, 0, true), (20, 1, false), (3, 0, false)],
        ),
        (
            "is between 22:00 and 06:00",
            [(21, 59, false), (22, 0, true), (6, 0, true), (6, 1, false), (12, 0, false)],
        ),
        (
            "is outside 08:00 and 20:00",
            [(7, 59, true), (8, 0, false), (20, 0, false), (20, 1, true), (12, 0, false)],
        ),
        (
            "is outside 22:00 and 06:00",
            [(21, 59, true), (22, 0, false), (6, 0, false), (6, 1, true), (2, 0, false)],
        ),
    ] {
        for (h, m, wanted) in stands {
            let mut t = Table::with("");
            t.chart.utc = Utc::from_date(2026, 11, 1, (h * 60 + m) * 60_000);
            t.orders(&format!(
                "[[order]]\nname = \"it\"\npriority = \"caution\"\nwhen = \"time of day {said}\"\n"
            ));
            assert_eq!(t.board.alerts().next().is_some(), wanted, "{said} at {h}:{m:02}");
        }
    }
}

#[test]
fn what_is_no_number_is_not_known() {
    let mut t = noting("own vessel", "{ none = [\"SOG is over 5 kn\"] }");
    t.set(OWN, Q::Sog, f64::NAN);
    assert_eq!(t.kinds(), []);
    t.set(OWN, Q::Sog, 4.0);
    assert_eq!(t.kinds().len(), 1);
}

#[test]
fn a_report_is_missed_by_its_age_and_a_value_by_its_absence() {
    // Sentences stay "there" for ever: what counts is when the last one came.
    let mut t = noting("feed", "\"sentences are missing for 1 min\"");
    t.put(Subject::Feed(FeedId(1)), Q::Sentences, Value::There);
    t.pass(59.0);
    assert_eq!(t.kinds(), []);
    t.pass(2.0);
    assert_eq!(t.kinds().len(), 1);
    // A depth that the picture still believes is not missing, however long ago it was heard.
    let mut t = noting("own vessel", "\"depth below keel is missing for 1 min\"");
    t.set(OWN, Q::DepthBelowKeel, 9.0);
    t.pass(600.0);
    assert_eq!(t.kinds(), []);
    t.lose(OWN, Q::DepthBelowKeel);
    t.pass(61.0);
    assert_eq!(t.kinds().len(), 1);
}
