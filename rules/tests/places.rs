//! Whose alert is an own one where there are more than can be announced one by one: the worst now, not who came first.

use crate::table::Table;
use terms::{Mmsi, Quantity as Q, Subject};

fn ship(n: u32) -> Subject {
    Subject::Target(Mmsi::new(200_000_000 + n).unwrap())
}

const CLOSE: &str = "[[order]]\nname = \"close\"\neach = \"target\"\npriority = \"alarm\"\n\
    when = { all = [\"CPA is under 0.5 nm\", \"TCPA is between 0 min and 12 min\"] }\nuntil = \"CPA is over 0.7 nm\"\n";

fn meets(t: &mut Table, n: u32, tcpa_s: f64) {
    t.set(ship(n), Q::Cpa, 0.1).set(ship(n), Q::Tcpa, tcpa_s);
}

fn has(t: &Table, n: u32) -> bool {
    t.board.alerts().any(|a| a.subject == ship(n) && a.is_active())
}

fn crowd(t: &Table) -> String {
    let alert = t.board.alerts().find(|a| a.subject == Subject::Lookout).unwrap();
    t.board.words(alert, &t.chart).written
}

#[test]
fn one_who_comes_sooner_than_one_of_the_eight_is_announced_by_herself() {
    let mut t = Table::with(CLOSE);
    for n in 0..8 {
        meets(&mut t, n, 100.0 + 50.0 * f64::from(n));
    }
    meets(&mut t, 8, 600.0);
    assert!(!has(&t, 8), "the eight are sooner");
    // Not the soonest of all, but sooner than the last of the eight.
    meets(&mut t, 9, 420.0);
    assert!(has(&t, 9) && !has(&t, 8));
    meets(&mut t, 8, 110.0);
    assert!(has(&t, 8), "and so is one of the crowd who comes on");
}

#[test]
fn those_who_are_past_keep_no_place_and_are_never_announced_from_the_crowd() {
    let mut t = Table::with(CLOSE);
    for n in 0..12 {
        meets(&mut t, n, 100.0 + 10.0 * f64::from(n));
    }
    assert!(!has(&t, 8) && !has(&t, 11));
    // One of the crowd is past first: hers is the lowest TCPA, and no reason to call.
    meets(&mut t, 8, -20.0);
    meets(&mut t, 0, -5.0);
    assert!(!has(&t, 8), "past");
    assert!(has(&t, 9), "the place of one who is past belongs to the soonest of the others");
    t.told();
    // When an alert ends the place is free, and still not for her who is past.
    t.set(ship(1), Q::Cpa, 2.0);
    assert!(!has(&t, 8) && has(&t, 10));
}

#[test]
fn a_hundred_that_lie_still_take_no_place_from_one_under_way() {
    let mut t = Table::with(CLOSE);
    t.chart.still.extend((0..100).map(ship));
    for n in 0..100 {
        meets(&mut t, n, 60.0);
    }
    meets(&mut t, 100, 700.0);
    assert!(has(&t, 100));
    assert_eq!((0..100).filter(|n| has(&t, *n)).count(), 8);
    // One of them sets off: she counts with those who move from then on.
    t.chart.still.remove(&ship(50));
    meets(&mut t, 50, 600.0);
    assert!(has(&t, 50));
}

#[test]
fn where_as_many_stand_as_may_the_least_gives_way_and_not_oftener_than_each_five_seconds() {
    let mut t = Table::with(CLOSE);
    for n in 0..40 {
        meets(&mut t, n, 700.0 - 10.0 * f64::from(n));
    }
    // The first 32 each came sooner than those before; then one gave way, and the others wait in the crowd.
    let stand = |t: &Table| (0..60).filter(|n| has(t, *n)).collect::<Vec<_>>();
    assert_eq!(stand(&t), (1..33).collect::<Vec<_>>());
    t.told();
    t.pass(5.0);
    meets(&mut t, 50, 30.0);
    assert_eq!(stand(&t), (2..33).chain([50]).collect::<Vec<_>>());
    let told = t.told();
    let gave_way = told.iter().find(|t| t.starts_with("Cleared")).unwrap();
    assert!(gave_way.ends_with("others are worse, it now counts with the rest"), "{gave_way}");
    assert!(crowd(&t).contains("9 more besides the 32"), "{}", crowd(&t));
}

#[test]
fn the_crowd_names_who_becomes_worse_in_it() {
    let mut t = Table::with(&format!("{CLOSE}worse = \"CPA is under 0.05 nm\"\n"));
    for n in 0..12 {
        meets(&mut t, n, 300.0 + f64::from(n));
    }
    t.pass(60.0);
    t.told();
    t.set(ship(11), Q::Cpa, 0.01).pass(50.0);
    let told = t.told();
    assert!(
        told.iter().any(|t| t.contains("more besides") && t.contains("first of them MV 200000011")),
        "{told:?}"
    );
}

#[test]
fn a_ship_out_of_hearing_is_nothing_that_cannot_be_judged() {
    let mut t = Table::with(CLOSE);
    let unjudged = |t: &Table| t.board.alerts().any(|a| a.subject == Subject::Lookout && a.is_active());
    t.set(ship(1), Q::Range, 20.0).set(ship(1), Q::Tcpa, 100.0);
    t.chart.unheard.insert(ship(1));
    t.pass(700.0);
    assert!(!unjudged(&t));
    // She who is heard and cannot be judged is one.
    t.set(ship(2), Q::Tcpa, 100.0).pass(700.0);
    assert!(unjudged(&t));
    t.chart.unheard.insert(ship(2));
    t.set(ship(2), Q::Range, 20.0).pass(1.0);
    assert!(!unjudged(&t), "and no more once she is out of hearing");
}

#[test]
fn one_acknowledged_as_close_is_not_called_for_being_near() {
    let near = "[[order]]\nname = \"near\"\neach = \"target\"\npriority = \"warning\"\nwhen = \"range is under 1 nm\"\n\
        rests = \"15 min\"\nunless = [\"close\"]\n";
    let mut t = Table::with(&format!("{CLOSE}{near}"));
    meets(&mut t, 1, 60.0);
    let id = t.board.alerts().next().unwrap().id;
    t.board.acknowledge(t.at(), id).unwrap();
    // The close approach is over, and she is still near.
    t.set(ship(1), Q::Range, 0.8).set(ship(1), Q::Cpa, 0.75).pass(60.0);
    t.told();
    t.set(ship(1), Q::Range, 0.79).pass(60.0);
    assert_eq!(t.told(), [""; 0]);
    t.pass(900.0);
    t.set(ship(1), Q::Range, 0.78);
    assert_eq!(t.told().len(), 1, "a quarter of an hour later she is");
}

#[test]
fn that_more_than_can_be_watched_are_heard_is_told_though_none_of_them_is_called() {
    let mut t = Table::with(CLOSE);
    for n in 0..4096 {
        t.set(ship(n), Q::Cpa, 5.0);
    }
    assert_eq!(t.kinds(), []);
    t.set(ship(4096), Q::Cpa, 5.0);
    assert!(crowd(&t).contains("more than 4096 cannot be watched"), "{}", crowd(&t));
}

#[test]
fn many_feeds_together_have_no_more_than_64_alerts_of_one_order() {
    let mut t = Table::with(CLOSE);
    for n in 0..72 {
        t.chart.feeds.insert(ship(n), terms::FeedId((n / 8) as u16));
        meets(&mut t, n, 300.0);
    }
    assert_eq!((0..72).filter(|n| has(&t, *n)).count(), 64);
    assert!(crowd(&t).contains("8 more besides the 64 announced one by one"), "{}", crowd(&t));
}
