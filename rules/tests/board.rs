//! Orders at work: held, hysteresis, unknown values, windows, and what is told.

use crate::table::{SHIP, Table};
use rules::EventKind::*;
use rules::{BuiltIn, Declared, Doing, Orders, SHIPPED};
use terms::{CasualtyId, Quantity as Q, Subject};

const OWN: Subject = Subject::OwnVessel;

const CLOSE: &str = r#"
[[order]]
name = "close approach"
each = "target"
priority = "alarm"
when = { all = ["CPA is under 1 nm", "TCPA is between 0 min and 20 min", "kind is vessel"] }
until = { any = ["CPA is over 1.3 nm", "TCPA is under 0 min"] }
held = "5 s"
text = "{name}: CPA {CPA} in {TCPA}, {range} off bearing {bearing}"
"#;

#[test]
fn the_shipped_orders_are_sound() {
    let orders = Orders::read("passage.toml", SHIPPED).unwrap_or_else(|p| panic!("{p}"));
    assert!(orders.len() > 15);
    assert!(orders.run_trials().unwrap_or_else(|p| panic!("{p}")) >= 10);
    for proof in orders.proofs() {
        assert_eq!(proof.unwatched().count(), 0, "{proof:?}");
    }
}

#[test]
fn a_close_approach_is_held_told_and_ends_only_beyond_its_second_limit() {
    let mut t = Table::with(CLOSE);
    t.word(SHIP, Q::Kind, "vessel").set(SHIP, Q::Range, 3.0).set(SHIP, Q::Bearing, 45.0);
    t.set(SHIP, Q::Tcpa, 600.0).set(SHIP, Q::Cpa, 0.4);
    t.pass(4.9);
    assert_eq!(t.kinds(), []);
    t.pass(0.2);
    assert_eq!(
        t.told(),
        ["Raised close approach: MV 230000001: CPA 0.40 nm in 10 min, 3.00 nm off bearing 045°"]
    );
    t.set(SHIP, Q::Cpa, 1.1);
    assert_eq!(t.kinds(), [], "between the limits it goes on");
    t.set(SHIP, Q::Cpa, 1.31);
    assert_eq!(t.kinds(), [Rectified]);
}

#[test]
fn a_short_dip_below_the_limit_does_not_call() {
    let mut t = Table::with(CLOSE);
    t.word(SHIP, Q::Kind, "vessel").set(SHIP, Q::Tcpa, 600.0).set(SHIP, Q::Cpa, 0.4);
    t.pass(3.0).set(SHIP, Q::Cpa, 1.2).pass(1.0).set(SHIP, Q::Cpa, 0.4).pass(4.0);
    assert_eq!(t.kinds(), []);
}

#[test]
fn what_is_not_known_neither_begins_nor_ends_an_alert() {
    let mut t = Table::with(CLOSE);
    t.set(SHIP, Q::Tcpa, 600.0).set(SHIP, Q::Cpa, 0.4).pass(60.0);
    assert_eq!(t.kinds(), [], "the kind is not known");
    t.word(SHIP, Q::Kind, "vessel").pass(6.0);
    assert_eq!(t.kinds(), [Raised]);
    t.lose(SHIP, Q::Cpa).lose(SHIP, Q::Tcpa).pass(20.0);
    assert_eq!(t.kinds(), [], "she is no less close for being heard badly");
}

#[test]
fn the_time_to_the_closest_point_runs_down_between_reports() {
    let mut t = Table::with(
        r#"
        [[order]]
        name = "soon"
        each = "target"
        priority = "warning"
        when = "TCPA is under 10 min"
        "#,
    );
    t.set(SHIP, Q::Tcpa, 660.0);
    // The picture counts down; the board asks to be woken when the limit is met.
    assert_eq!(t.board.next_wake(), Some(terms::Moment(60_001)));
}

#[test]
fn a_feed_that_says_nothing_is_missed_after_its_time() {
    let mut t = Table::with(
        r#"
        [[order]]
        name = "quiet"
        priority = "warning"
        when = "position is missing for 2 min"
        "#,
    );
    t.pass(100.0).put(OWN, Q::Fix, terms::Value::There).lose(OWN, Q::Fix);
    t.pass(119.0);
    assert_eq!(t.kinds(), []);
    t.pass(2.0);
    assert_eq!(t.kinds(), [Raised]);
    t.put(OWN, Q::Fix, terms::Value::There);
    assert_eq!(t.kinds(), [Rectified]);
}

#[test]
fn pressure_that_falls_within_its_window() {
    let mut t = Table::with(
        r#"
        [[order]]
        name = "fall"
        priority = "warning"
        when = "pressure falls 3 hPa in 3 h"
        "#,
    );
    for i in 0..180 {
        t.set(OWN, Q::Pressure, 1013.0 - f64::from(i) / 60.0).pass(60.0);
    }
    assert_eq!(t.kinds(), [], "2.98 hPa");
    t.set(OWN, Q::Pressure, 1010.0);
    assert_eq!(t.kinds(), [Raised]);
    t.board.acknowledge(t.at(), t.first_alert()).unwrap();
    t.pass(4.0 * 3600.0);
    assert_eq!(t.kinds(), [Acknowledged, Cleared], "steady for three hours");
}

#[test]
fn wind_that_veers_through_north_and_a_heading_off_its_mean() {
    let mut t = Table::with(
        r#"
        [[order]]
        name = "veer"
        priority = "warning"
        when = "true wind direction veers 40 deg in 10 min"
        [[order]]
        name = "back"
        priority = "warning"
        when = "true wind direction backs 40 deg in 10 min"
        [[order]]
        name = "course"
        priority = "warning"
        when = "heading is off its mean over 5 min by 20 deg"
        "#,
    );
    for i in 0..10 {
        t.set(OWN, Q::TrueWindDirection, f64::from(340 + i * 5 % 360).rem_euclid(360.0)).pass(60.0);
        t.set(OWN, Q::Heading, if i % 2 == 0 { 355.0 } else { 5.0 });
    }
    assert_eq!(t.told(), ["Raised veer: veer: true wind direction 020°"]);
    t.set(OWN, Q::Heading, 24.0);
    assert_eq!(t.told(), ["Raised course: course: heading 024°"]);
}

#[test]
fn orders_apply_as_declared_and_undeclared_is_the_stricter() {
    let mut t = Table::with(
        r#"
        [[order]]
        name = "depth"
        priority = "alarm"
        except = ["at anchor"]
        when = "depth below keel is under 3 m"
        "#,
    );
    t.set(OWN, Q::DepthBelowKeel, 2.0);
    assert_eq!(t.kinds(), [Raised]);
    t.board.declare(t.at(), Declared::Doing(Doing::AtAnchor), &t.chart);
    assert_eq!(t.kinds(), [Rectified]);
    t.board.declare(t.at(), Declared::Doing(Doing::UnderSail), &t.chart);
    assert_eq!(t.kinds(), [Repeated], "it begins anew before anybody acknowledged");
}

#[test]
fn an_order_that_cannot_be_judged_says_so_once_after_its_patience() {
    let mut t = Table::with(
        r#"
        [[order]]
        name = "depth"
        priority = "alarm"
        when = "depth below keel is under 3 m"
        patience = "10 min"
        "#,
    );
    t.pass(599.0);
    assert_eq!(t.told(), [""; 0]);
    t.pass(3600.0);
    assert_eq!(t.told(), ["Raised depth: \"depth\" cannot be judged for 10 min: depth below keel not known"]);
    t.set(OWN, Q::DepthBelowKeel, 9.0);
    assert_eq!(t.kinds(), [Cleared]);
}

#[test]
fn a_lost_target_ends_its_alert_but_it_stays_until_acknowledged() {
    let mut t = Table::with(CLOSE);
    t.word(SHIP, Q::Kind, "vessel").set(SHIP, Q::Tcpa, 600.0).set(SHIP, Q::Cpa, 0.4).pass(6.0);
    let id = t.first_alert();
    t.board.gone(t.at(), SHIP);
    assert_eq!(t.kinds(), [Raised, Rectified]);
    t.board.acknowledge(t.at(), id).unwrap();
    assert_eq!(t.kinds(), [Acknowledged, Cleared]);
    assert_eq!(t.board.alerts().count(), 0);
}

#[test]
fn a_casualty_ends_by_a_person_alone_and_a_second_one_sounds_anew() {
    let mut t = Table::with("");
    let (first, second) = (CasualtyId(1), CasualtyId(2));
    let id = t.board.call(t.at(), BuiltIn::PersonOverboard, Subject::Casualty(first), "overboard".into());
    t.board.acknowledge(t.at(), id).unwrap();
    t.board.over(t.at(), BuiltIn::PersonOverboard, Subject::Casualty(first));
    assert_eq!(t.kinds(), [Raised, Acknowledged]);
    let other = t.board.call(t.at(), BuiltIn::PersonOverboard, Subject::Casualty(second), "another".into());
    assert_ne!(id, other);
    assert_eq!(t.kinds(), [Raised]);
    t.board.acknowledge(t.at(), other).unwrap();
    t.kinds();
    t.pass(300.0);
    assert_eq!(t.kinds(), [Repeated, Repeated], "acknowledged, they go on being told");
    t.board.stand_down(t.at(), first, &"recovered".into()).unwrap();
    assert_eq!(t.told(), ["Cleared person overboard: recovered"]);
    assert!(t.board.stand_down(t.at(), first, &"recovered".into()).is_err());
    assert_eq!(t.board.alerts().count(), 1);
}

#[test]
fn reloaded_orders_keep_what_did_not_change() {
    let keep = "[[order]]\nname = \"keep\"\npriority = \"alarm\"\nwhen = \"SOG is over 5 kn\"\n";
    let drop = "[[order]]\nname = \"drop\"\npriority = \"alarm\"\nwhen = \"SOG is over 6 kn\"\n";
    let mut t = Table::with(&format!("{drop}{keep}"));
    t.set(OWN, Q::Sog, 7.0);
    assert_eq!(t.kinds(), [Raised, Raised]);
    t.orders(keep);
    assert_eq!(t.told(), ["Cleared drop: drop: SOG 7.0 kn"]);
    t.set(OWN, Q::Sog, 1.0);
    assert_eq!(t.told(), ["Rectified keep: keep: SOG 1.0 kn"]);
}

#[test]
fn a_wind_that_backs_right_round_does_not_veer() {
    let order = |verb: &str| {
        format!(
            "[[order]]\nname = \"{verb}\"\npriority = \"notice\"\nwhen = \"true wind direction {verb} 90 deg in 30 min\"\n"
        )
    };
    let mut t = Table::with(&format!("{}{}{}", order("veers"), order("backs"), order("shifts")));
    for i in 0..60 {
        t.set(OWN, Q::TrueWindDirection, f64::from(360 - 6 * i)).pass(30.0);
    }
    let called: Vec<String> = t.told().into_iter().map(|s| s.split(':').next().unwrap().to_owned()).collect();
    assert_eq!(called, ["Noted backs", "Noted shifts"]);
}

#[test]
fn what_cannot_be_judged_is_told_of_all_ships_together_and_no_longer_when_they_are_gone() {
    let mut t = Table::with(CLOSE);
    let ship = |n: u32| Subject::Target(terms::Mmsi::new(230_000_000 + n).unwrap());
    for n in 1..=5 {
        t.word(ship(n), Q::Kind, "vessel");
    }
    t.word(ship(6), Q::Kind, "base").pass(601.0);
    let names = "MV 230000001, MV 230000002, MV 230000003 and 2 more";
    let missing = "CPA, TCPA not known";
    assert_eq!(
        t.told(),
        [format!(
            "Raised close approach: \"close approach\" cannot be judged for 10 min, for {names}: {missing}"
        )]
    );
    for n in 1..=5 {
        t.board.gone(t.at(), ship(n));
    }
    t.pass(1.0);
    assert_eq!(t.kinds(), [Cleared]);
}

#[test]
fn a_ship_out_of_range_is_no_failing() {
    let mut t = Table::with(CLOSE);
    let ship = Subject::Target(terms::Mmsi::new(230_000_001).unwrap());
    t.chart.unheard.insert(ship);
    t.word(ship, Q::Contact, "lost").word(ship, Q::Kind, "vessel").pass(3600.0);
    assert_eq!(t.told(), [""; 0]);
    // Heard again without a course, she is one.
    t.chart.unheard.remove(&ship);
    t.word(ship, Q::Contact, "held").word(ship, Q::Kind, "vessel").pass(601.0);
    assert_eq!(t.kinds(), [Raised]);
}

#[test]
fn what_only_a_declaration_gives_is_missed_only_once_it_is_declared() {
    let mut t = Table::with(
        r#"
        [[order]]
        name = "anchor drags"
        priority = "alarm"
        only = ["at anchor"]
        when = "distance from anchor is over 45 m"
        until = "distance from anchor is under 40 m"
        text = "She lies {distance from anchor} off"
        patience = "2 min"
        "#,
    );
    t.pass(600.0);
    assert_eq!(t.told(), [""; 0], "nobody has said that she lies at anchor");
    t.board.declare(t.at(), Declared::Doing(Doing::AtAnchor), &t.chart);
    t.pass(119.0);
    assert_eq!(t.told(), [""; 0]);
    t.pass(2.0);
    assert_eq!(t.kinds(), [Raised], "declared, and still nobody knows where the anchor lies");
}

#[test]
fn an_end_is_told_with_the_values_of_the_end_and_what_is_past_is_ago() {
    let mut t = Table::with(
        r#"
        [[order]]
        name = "close"
        each = "target"
        priority = "warning"
        when = { all = ["CPA is under 1 nm", "TCPA is between 0 min and 20 min"] }
        until = "TCPA is under 0 min"
        over_for = "30 s"
        text = "CPA {CPA} in {TCPA}"
        "#,
    );
    t.set(SHIP, Q::Cpa, 0.4).set(SHIP, Q::Tcpa, 300.0);
    t.set(SHIP, Q::Tcpa, -10.0).pass(31.0);
    assert_eq!(t.told(), ["Raised close: CPA 0.40 nm in 5 min", "Rectified close: CPA 0.40 nm 10 s ago"]);
}

#[test]
fn what_an_order_asks_for_and_nothing_heard_gives_is_named() {
    let mut t = Table::with(
        "[[order]]\nname = \"shoal\"\npriority = \"alarm\"\nwhen = \"depth below keel is under 3 m\"\n\
         [[order]]\nname = \"close\"\neach = \"target\"\npriority = \"alarm\"\nwhen = { all = [\"CPA is under 1 nm\", \"SOG is over 2 kn\"] }\n\
         [[order]]\nname = \"deaf\"\neach = \"feed\"\npriority = \"warning\"\nwhen = \"sentences are missing for 60 s\"\n",
    );
    let told = |t: &Table| -> Vec<(String, Vec<String>, bool)> {
        t.board.possible(&t.chart).into_iter().map(|p| (p.name, p.missing, p.no_target)).collect()
    };
    let line = |name: &str, missing: &[&str], no_target| {
        (name.to_owned(), missing.iter().map(|m| (*m).to_owned()).collect::<Vec<_>>(), no_target)
    };
    assert_eq!(
        told(&t),
        [
            line("shoal", &["depth below keel"], false),
            line("close", &["SOG"], true),
            line("deaf", &[], false)
        ]
    );
    t.set(OWN, Q::DepthBelowKeel, 8.0).set(OWN, Q::Sog, 6.0);
    assert_eq!(told(&t), [line("shoal", &[], false), line("close", &[], true), line("deaf", &[], false)]);
    t.set(SHIP, Q::Range, 5.0);
    assert_eq!(told(&t)[1], line("close", &["CPA"], false));
    t.set(SHIP, Q::Cpa, 0.5);
    assert_eq!(told(&t)[1], line("close", &[], false));
}

#[test]
fn a_ship_acknowledged_that_turns_toward_us_calls_again_once() {
    let mut t = Table::with(
        r#"
        [[order]]
        name = "close"
        each = "target"
        priority = "alarm"
        when = "CPA is under 2 nm"
        until = "CPA is over 2.5 nm"
        worse = "CPA is under 0.5 nm"
        held = "10 s"
        text = "CPA {CPA}"
        "#,
    );
    t.set(SHIP, Q::Cpa, 1.5).pass(11.0);
    let id = t.first_alert();
    t.board.acknowledge(t.at(), id).unwrap();
    assert_eq!(t.kinds(), [Raised, Acknowledged]);
    // A moment's noise is not worse, and what lasts is; once.
    t.set(SHIP, Q::Cpa, 0.4).pass(5.0);
    t.set(SHIP, Q::Cpa, 0.6).pass(5.0);
    assert_eq!(t.kinds(), [] as [rules::EventKind; 0]);
    t.set(SHIP, Q::Cpa, 0.3).pass(11.0);
    assert_eq!(t.told(), ["Repeated close: CPA 0.30 nm"]);
    assert_eq!(t.board.alerts().next().unwrap().state, rules::AlertState::ActiveUnacknowledged);
    t.board.acknowledge(t.at(), id).unwrap();
    t.set(SHIP, Q::Cpa, 0.7).pass(20.0);
    t.set(SHIP, Q::Cpa, 0.2).pass(20.0);
    assert_eq!(t.kinds(), [Acknowledged]);
    // Past and clear, another meeting begins anew; what is so when it is called needs no second call.
    t.set(SHIP, Q::Cpa, 3.0).pass(1.0);
    t.set(SHIP, Q::Cpa, 0.1).pass(30.0);
    assert_eq!(t.kinds(), [Cleared, Raised]);
}

#[test]
fn one_who_keeps_beside_us_is_not_judged_without_end() {
    // Two that keep course and speed together have no closest point ahead: the time to it stays nothing.
    let mut t = Table::with(CLOSE);
    t.word(SHIP, Q::Kind, "vessel").set(SHIP, Q::Cpa, 0.1).set(SHIP, Q::Tcpa, 0.0);
    let before = t.chart.read.get();
    t.pass(60.0);
    let judged = t.chart.read.get() - before;
    // Once a second, a handful of quantities each time.
    assert!(judged < 60 * 10, "{judged} readings in a minute");
}

#[test]
fn whoever_looks_or_acts_has_the_words_of_now() {
    let mut t = Table::with(
        "[[order]]\nname = \"fast\"\npriority = \"alarm\"\nwhen = \"SOG is over 5 kn\"\ntext = \"{SOG}\"\n",
    );
    t.set(OWN, Q::Sog, 6.0).set(OWN, Q::Sog, 9.0);
    let id = t.first_alert();
    assert_eq!(t.told(), ["Raised fast: 6.0 kn"]);
    assert_eq!(t.words(), ["9.0 kn"]);
    t.board.acknowledge(t.at(), id).unwrap();
    assert_eq!(t.told(), ["Acknowledged fast: 9.0 kn"]);
}

#[test]
fn a_ship_whose_reports_have_stopped_is_never_shown_as_current() {
    let mut t = Table::with(
        "[[order]]\nname = \"close\"\neach = \"target\"\npriority = \"alarm\"\nwhen = \"CPA is under 1 nm\"\n\
         text = \"CPA {CPA}, now {range} off\"\n",
    );
    t.set(SHIP, Q::Range, 2.0).set(SHIP, Q::Cpa, 0.5);
    assert_eq!(t.told(), ["Raised close: CPA 0.50 nm, now 2.00 nm off"]);
    t.chart.last_heard.insert(SHIP, std::time::Duration::from_secs(240));
    assert_eq!(t.words(), ["Last heard 4 min ago: CPA 0.50 nm, 2.00 nm off"]);
    let id = t.first_alert();
    t.board.acknowledge(t.at(), id).unwrap();
    assert_eq!(t.told(), ["Acknowledged close: Last heard 4 min ago: CPA 0.50 nm, 2.00 nm off"]);
}

#[test]
fn what_instruments_give_is_missed_though_nothing_is_declared() {
    let mut t = Table::with(
        r#"
        [[order]]
        name = "shoals at anchor"
        priority = "alarm"
        only = ["at anchor"]
        when = "depth below keel is under 1 m"
        patience = "2 min"
        "#,
    );
    t.pass(121.0);
    assert_eq!(
        t.told(),
        [
            "Raised shoals at anchor: \"shoals at anchor\" cannot be judged for 2 min: depth below keel not known"
        ]
    );
}
