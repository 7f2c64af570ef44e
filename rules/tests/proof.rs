//! What orders watch under every declaration, found by playing each danger to them.

use rules::{Danger, Declarations, Declared, Doing, Orders, Priority, Proof, Waters};
use std::time::{Duration, Instant};

fn orders(text: &str) -> Orders {
    Orders::read("orders.toml", &format!("version = 1\n{text}")).unwrap_or_else(|e| panic!("{e}"))
}

fn declared(words: &[&str]) -> Declarations {
    let mut all = Declarations::default();
    words.iter().for_each(|w| all.take(Declared::named(w).unwrap()));
    all
}

fn by(proof: &Proof, danger: Danger) -> Option<&str> {
    proof.dangers[&danger].as_ref().map(|by| by.order.as_str())
}

const SHIPS: &str = "[[order]]\nname = \"traffic\"\neach = \"target\"\npriority = \"alarm\"\n\
                     when = { all = [\"CPA is under 1 nm\", \"TCPA is between 0 min and 20 min\"] }\n";

#[test]
fn a_ship_is_watched_by_what_calls_in_time_whatever_it_is_called() {
    let proof = orders(SHIPS).proof(declared(&[]));
    let by = proof.dangers[&Danger::Ships].as_ref().unwrap();
    assert_eq!((by.order.as_str(), by.priority), ("traffic", Priority::Alarm));
    // Values are heard every ten seconds.
    assert!((by.before_s.unwrap() - 1200.0).abs() <= 10.0, "{by:?}");
    assert_eq!(proof.unwatched().collect::<Vec<_>>(), [Danger::Depth]);
    assert_eq!(proof.words(), "ships and position are watched; no order watches depth");
}

#[test]
fn what_calls_too_late_too_softly_or_half_the_time_watches_nothing() {
    let unwatched = |from: &str, to: &str| {
        assert!(SHIPS.contains(from));
        let proof = orders(&SHIPS.replace(from, to)).proof(declared(&["under sail", "ocean"]));
        proof.unwatched().any(|d| d == Danger::Ships)
    };
    assert!(!unwatched("alarm", "warning"));
    assert!(unwatched("alarm", "caution"), "nobody wakes by a caution");
    assert!(unwatched("20 min", "2 min"), "too late to wake, look and act");
    assert!(unwatched("CPA is under 1 nm", "CPA is under 0.05 nm"));
    assert!(unwatched("when", "only = [\"by night\"]\nwhen"), "who watches by day?");
    assert!(unwatched("when", "only = [\"restricted visibility\"]\nwhen"), "who watches in clear air?");
    assert!(unwatched("when", "only = [\"coastal\"]\nwhen"));
    assert!(unwatched("when", "except = [\"under sail\"]\nwhen"));
    assert!(unwatched("when", "held = \"1 h\"\nwhen"));
}

#[test]
fn by_night_and_by_day_together_are_the_whole_day() {
    let night = SHIPS.replace("when", "only = [\"by night\"]\nwhen");
    let day = SHIPS.replace("when", "only = [\"by day\"]\nwhen").replace("traffic", "traffic by day");
    let proof = orders(&(night + &day.replace("20 min", "10 min"))).proof(declared(&[]));
    assert_eq!(by(&proof, Danger::Ships), Some("traffic by day"), "the one that calls later");
}

#[test]
fn at_anchor_the_anchor_counts_and_made_fast_nothing_does() {
    let anchor =
        "[[order]]\nname = \"drags\"\npriority = \"alarm\"\nwhen = \"distance from anchor is over 60 m\"\n";
    let shoal =
        "[[order]]\nname = \"shoal\"\npriority = \"alarm\"\nwhen = \"depth below keel is under 2 m\"\n";
    let all = orders(&[SHIPS, anchor, shoal].concat());
    let proof = all.proof(declared(&["at anchor"]));
    assert_eq!(by(&proof, Danger::Anchor), Some("drags"));
    assert_eq!(proof.words(), "ships, depth, anchor and position are watched");
    assert!(!all.proof(declared(&["under sail"])).dangers.contains_key(&Danger::Anchor));
    assert!(orders(SHIPS).proof(declared(&["moored"])).dangers.is_empty());
    let swings = "[[order]]\nname = \"leaves her circle\"\npriority = \"alarm\"\nwhen = \"least anchor drag is over 6 m\"\n";
    let proof = orders(&[SHIPS, swings, shoal].concat()).proof(declared(&["at anchor"]));
    assert_eq!(by(&proof, Danger::Anchor), Some("leaves her circle"));
    let proof = orders(&[SHIPS, shoal].concat()).proof(declared(&["at anchor"]));
    assert_eq!(proof.unwatched().collect::<Vec<_>>(), [Danger::Anchor]);
}

#[test]
fn an_order_waits_while_another_says_enough_and_calls_when_that_is_over() {
    let far = SHIPS.replace("traffic", "far").replace("when", "only = [\"ocean\"]\nwhen");
    let near = SHIPS
        .replace("traffic", "near")
        .replace("1 nm", "0.5 nm")
        .replace("when", "unless = [\"far\"]\nwhen");
    let trial = "[[trial]]\nname = \"one call\"\nsteps = [\n\
        { at = \"0:00\", position = \"known\", kind = \"vessel\", CPA = \"0.3 nm\", TCPA = \"30 min\" },\n\
        { at = \"0:11\", standing = [\"far\"] },\n\
        { at = \"0:12\", declare = [\"coastal\"] },\n\
        { at = \"0:13\", standing = [\"near\"] },\n]\ncalls = { far = 1, near = 1 }\n";
    assert_eq!(orders(&[&far, &near, trial].concat()).run_trials().unwrap(), 1);
    let wrong = |unless: &str| {
        let text = near.replace("[\"far\"]", unless);
        Orders::read("orders.toml", &format!("version = 1\n{far}{text}")).unwrap_err().to_string()
    };
    assert!(
        wrong("[\"fat\"]").contains("no order is named \"fat\"; did you mean \"far\"?"),
        "{}",
        wrong("[\"fat\"]")
    );
}

/// How long the proof of so many orders about depth takes, the shortest of three.
fn takes(orders_of_depth: usize, when: &str) -> Duration {
    let order =
        |n: usize| format!("[[order]]\nname = \"depth {n}\"\npriority = \"alarm\"\nwhen = \"{when}\"\n");
    let all = orders(&(0..orders_of_depth).map(order).collect::<String>());
    let took = || {
        let began = Instant::now();
        all.proof(declared(&["under sail"]));
        began.elapsed()
    };
    (0..3).map(|_| took()).min().unwrap()
}

#[test]
fn orders_that_are_judged_often_are_proved_as_soon_as_others() {
    let (plain, often) =
        (takes(150, "depth below keel is under 2 m"), takes(150, "depth below keel falls 2 m in 1 s"));
    println!("150 orders: {plain:?}, with windows of a second {often:?}");
    assert!(often < plain * 8, "150 orders take {plain:?}, with windows of a second {often:?}");
}

#[test]
fn every_declaration_is_proved_and_shown() {
    let proofs = orders(SHIPS).proofs();
    let doings = Doing::ALL.len() + 1;
    assert_eq!(proofs.len(), doings * (Waters::ALL.len() + 1));
    let table = rules::table_of_proofs(&proofs);
    assert!(table.starts_with("declared"), "{table}");
    assert!(
        table.lines().any(|l| l.starts_with("ocean, at anchor") && l.matches("NOT WATCHED").count() == 2),
        "{table}"
    );
    assert!(!table.contains("moored"), "{table}");
}
