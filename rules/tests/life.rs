//! The life of alerts by the published rules, across a restart, in a crowd, and under a limit of signals.

use crate::table::{SHIP, Table};
use rules::EventKind::*;
use rules::{Addressee, AlertState, Board, BoardSettings, BuiltIn, Priority, Refused, Snapshot};
use std::time::Duration;
use terms::{CasualtyId, FeedId, Mmsi, Moment, Quantity as Q, Subject};

const OWN: Subject = Subject::OwnVessel;
const FAST: &str = "[[order]]\nname = \"fast\"\npriority = \"alarm\"\nwhen = \"SOG is over 5 kn\"\n";

fn state(t: &Table) -> AlertState {
    t.board.alerts().next().unwrap().state
}

#[test]
fn a_silenced_alarm_sounds_again_after_30_s() {
    // IMO MSC.302(87) and MSC.252(83) 20.2.5.
    let mut t = Table::with(FAST);
    t.set(OWN, Q::Sog, 6.0);
    let id = t.first_alert();
    t.board.silence(t.at(), id).unwrap();
    assert_eq!(state(&t), AlertState::ActiveSilenced);
    assert_eq!(t.kinds(), [Raised, Silenced]);
    t.pass(29.9);
    assert_eq!(t.kinds(), []);
    t.pass(0.2);
    assert_eq!(t.kinds(), [Repeated]);
    assert_eq!(state(&t), AlertState::ActiveUnacknowledged);
}

#[test]
fn an_unacknowledged_warning_is_told_again_within_five_minutes() {
    // IMO MSC.302(87), from memory.
    let mut t = Table::with(&FAST.replace("alarm", "warning"));
    t.set(OWN, Q::Sog, 6.0).pass(300.0);
    assert_eq!(t.kinds(), [Raised, Repeated]);
}

#[test]
fn the_sound_of_an_alarm_stops_when_its_condition_ends() {
    // IMO MSC.302(87) 7.3.8. Nobody has acknowledged it, so it stays until somebody does.
    let mut t = Table::with(FAST);
    t.set(OWN, Q::Sog, 6.0).set(OWN, Q::Sog, 4.0);
    assert_eq!(state(&t), AlertState::RectifiedUnacknowledged);
    assert_eq!(t.kinds(), [Raised, Rectified]);
    t.pass(3600.0);
    assert_eq!(t.kinds(), [], "no sound, no escalation");
    t.board.acknowledge(t.at(), t.first_alert()).unwrap();
    assert_eq!(t.kinds(), [Acknowledged, Cleared]);
}

#[test]
fn an_alarm_that_nobody_acknowledges_goes_to_the_skipper_and_then_to_all_hands() {
    let mut t = Table::with(&format!("{FAST}escalates = \"2 min\"\n"));
    t.set(OWN, Q::Sog, 6.0).pass(1000.0);
    t.drain();
    let escalated: Vec<_> = t
        .events
        .iter()
        .filter(|e| e.kind == Escalated)
        .map(|e| (e.at, e.carry.level, e.carry.to.clone()))
        .collect();
    assert_eq!(
        escalated,
        [(Moment(120_000), 1, Addressee::Skipper(None)), (Moment(240_000), 2, Addressee::AllHands)]
    );
}

#[test]
fn a_transferred_warning_is_quiet_and_ends_without_a_word_an_emergency_cannot_be_passed_on() {
    let mut t = Table::with(FAST);
    t.set(OWN, Q::Sog, 6.0);
    t.board.transfer(t.at(), t.first_alert()).unwrap();
    t.pass(3600.0).set(OWN, Q::Sog, 4.0);
    assert_eq!(t.kinds(), [Raised, Transferred, Cleared]);
    let id = t.board.call(t.at(), BuiltIn::PersonOverboard, Subject::Casualty(CasualtyId(1)), "x".into());
    assert!(matches!(t.board.transfer(t.at(), id), Err(Refused::WrongState { .. })));
}

#[test]
fn a_caution_needs_nothing_and_a_notice_is_no_alert() {
    let mut t = Table::with(&FAST.replace("alarm", "caution"));
    t.set(OWN, Q::Sog, 6.0);
    assert_eq!(state(&t), AlertState::ActiveAcknowledged);
    assert!(t.board.acknowledge(t.at(), t.first_alert()).is_err());
    t.pass(7200.0).set(OWN, Q::Sog, 4.0);
    assert_eq!(t.kinds(), [Raised, Cleared]);
    t.orders(&FAST.replace("alarm", "notice"));
    t.set(OWN, Q::Sog, 6.0);
    t.drain();
    assert_eq!(t.events.last().map(|e| (e.kind, e.alert.state_told(), e.seq)), Some((Noted, None, 1)));
    assert_eq!(t.board.alerts().count(), 0);
}

#[test]
fn a_fix_that_stays_lost_becomes_an_alarm() {
    let mut t = Table::with("");
    t.board.call(t.at(), BuiltIn::FixLost, OWN, "no fix".into());
    t.pass(301.0);
    assert_eq!(t.board.alerts().next().unwrap().priority, Priority::Alarm);
    t.board.over(t.at(), BuiltIn::FixLost, OWN);
    assert_eq!(t.kinds().last(), Some(&Rectified));
}

#[test]
fn an_acknowledged_order_rests_before_it_calls_anew() {
    let mut t = Table::with(&format!("{FAST}rests = \"1 h\"\n"));
    t.set(OWN, Q::Sog, 6.0);
    t.board.acknowledge(t.at(), t.first_alert()).unwrap();
    t.set(OWN, Q::Sog, 4.0).set(OWN, Q::Sog, 6.0).pass(3599.0);
    assert_eq!(t.kinds(), [Raised, Acknowledged, Cleared]);
    t.pass(1.0);
    assert_eq!(t.kinds(), [Raised], "still so when the rest is over");
}

fn ship(n: u32) -> Subject {
    Subject::Target(Mmsi::new(200_000_000 + n).unwrap())
}

const NEAR: &str =
    "[[order]]\nname = \"near\"\neach = \"target\"\npriority = \"alarm\"\nwhen = \"range is under 1 nm\"\n";

#[test]
fn alerts_of_one_order_are_repeated_by_the_worst_of_them() {
    let mut t = Table::with(NEAR);
    for (n, range) in [(1, 0.9), (2, 0.3), (3, 0.5)] {
        t.set(ship(n), Q::Range, range);
    }
    assert_eq!(t.kinds(), [Raised, Raised, Raised]);
    t.set(ship(3), Q::Range, 0.2).pass(60.0);
    assert_eq!(t.told(), ["Repeated near: near: MV 200000003 range 0.20 nm; and 2 more"]);
}

#[test]
fn more_than_can_be_told_one_by_one_are_told_together_and_none_is_lost() {
    let mut t = Table::with(NEAR);
    for n in 0..80 {
        t.set(ship(n), Q::Range, 0.5 + f64::from(n) / 1000.0);
    }
    assert_eq!(t.board.alerts().count(), 9, "eight and the crowd");
    let crowd = t.board.alerts().find(|a| a.subject == Subject::Lookout).unwrap();
    let first = "MV 200000008, MV 200000009, MV 200000010";
    let words = format!("near: 72 more besides the 8 announced one by one, first of them {first}");
    assert_eq!((t.board.words(crowd, &t.chart), crowd.priority), (words.into(), Priority::Alarm));
    t.set(ship(3), Q::Range, 2.0);
    let id = t.board.alerts().find(|a| a.subject == ship(3)).unwrap().id;
    t.board.acknowledge(t.at(), id).unwrap();
    assert!(t.board.alerts().any(|a| a.subject == ship(8)), "the worst of the crowd takes the free place");
    // Nothing hides the worst: one that comes, and one of the crowd that turns toward us.
    t.told();
    t.set(ship(90), Q::Range, 0.2).set(ship(50), Q::Range, 0.1);
    assert_eq!(
        t.told(),
        ["Raised near: near: MV 200000090 range 0.20 nm", "Raised near: near: MV 200000050 range 0.10 nm"]
    );
    for n in 0..=90 {
        t.set(ship(n), Q::Range, 2.0);
    }
    let open: Vec<_> = t.board.alerts().map(|a| a.state).collect();
    assert!(open.iter().all(|s| *s == AlertState::RectifiedUnacknowledged), "{open:?}");
}

#[test]
fn a_crowd_on_one_feed_takes_neither_the_places_nor_the_signals_of_another() {
    let mut t = Table::with(NEAR);
    t.chart.feeds.extend((0..100).map(|n| (ship(n), FeedId(1))));
    t.chart.feeds.extend((100..120).map(|n| (ship(n), FeedId(2))));
    // Each nearer than all before: as many as one feed may have alerts, and more than the minute has room for.
    for n in 0..100 {
        t.set(ship(n), Q::Range, 0.5 - f64::from(n) / 1000.0);
    }
    assert_eq!(t.board.alerts().count(), 33, "32 and the crowd");
    t.drain();
    t.events.clear();
    t.set(ship(100), Q::Range, 0.9);
    t.drain();
    let told: Vec<_> = t.events.iter().map(|e| (e.alert.subject, e.kind, e.carry.aloud)).collect();
    assert_eq!(told, [(ship(100), Raised, true)]);
    // It has eight places like the other, and the worst of its own crowd takes one that becomes free.
    for n in 101..110 {
        t.set(ship(n), Q::Range, 0.9 + f64::from(n) / 10_000.0);
    }
    let has = |t: &Table, n| t.board.alerts().any(|a| a.subject == ship(n));
    assert_eq!((100..110).filter(|n| has(&t, *n)).collect::<Vec<_>>(), (100..108).collect::<Vec<_>>());
    t.set(ship(103), Q::Range, 2.0);
    assert!(has(&t, 108) && !has(&t, 109));
}

#[test]
fn another_of_a_crowd_costs_no_more_in_a_great_crowd_than_in_a_small_one() {
    // Each farther than all before, so that none of them takes the place of one told alone.
    let mut t = Table::with(NEAR);
    let mut come = |from: u32, to: u32| {
        let before = t.chart.read.get();
        for n in from..to {
            t.set(ship(n), Q::Range, 0.5 + f64::from(n) / 10_000.0);
        }
        t.chart.read.get() - before
    };
    come(0, 100);
    let small = come(100, 200);
    come(200, 3900);
    let great = come(3900, 4000);
    assert!(small > 0 && great <= small, "{small} readings for a hundred, {great} where there are thousands");
}

#[test]
fn beyond_the_limit_of_signals_a_minute_only_emergencies_sound_and_the_rest_is_told_later() {
    let mut t = Table::with(NEAR);
    // Each nearer than all before.
    for n in 0..30 {
        t.set(ship(n), Q::Range, 0.5 - f64::from(n) / 1000.0);
    }
    t.drain();
    assert_eq!(t.events.iter().filter(|e| e.carry.aloud).count(), 20);
    assert_eq!(t.events.iter().filter(|e| !e.carry.aloud).count(), 10, "written down all the same");
    t.board.call(t.at(), BuiltIn::Epirb, Subject::Casualty(CasualtyId(1)), "EPIRB".into());
    t.drain();
    assert!(t.events.last().unwrap().carry.aloud);
    t.events.clear();
    t.pass(60.0);
    assert!(
        t.events.iter().any(|e| e.alert.order == "near" && e.carry.aloud),
        "told when the minute has room"
    );
}

#[test]
fn every_unfinished_alert_outlasts_a_restart_with_its_clock() {
    let pressure =
        "[[order]]\nname = \"fall\"\npriority = \"warning\"\nwhen = \"pressure falls 3 hPa in 3 h\"\n";
    let orders = format!("{FAST}{NEAR}{pressure}");
    let mut t = Table::with(&orders);
    t.set(OWN, Q::Sog, 6.0).set(ship(1), Q::Range, 0.5).set(OWN, Q::Pressure, 1013.0);
    let fast = t.first_alert();
    t.board.acknowledge(t.at(), fast).unwrap();
    let overboard =
        t.board.call(t.at(), BuiltIn::PersonOverboard, Subject::Casualty(CasualtyId(7)), "Ada".into());
    t.board.acknowledge(t.at(), overboard).unwrap();
    t.board.call(t.at(), BuiltIn::FeedSilent, Subject::Feed(FeedId(2)), "feed 2".into());
    t.pass(100.0);
    let kept = serde_json::to_string(&t.board.snapshot()).unwrap();

    // Ten minutes later another boot: steady time begins anew, and the ship is out of sight.
    let snapshot: Snapshot = serde_json::from_str(&kept).unwrap();
    t.board = Board::new(BoardSettings::default());
    t.now_s = 5.0;
    t.kinds();
    t.chart.readings.remove(&(ship(1), Q::Range as u8));
    t.board.restore(t.at(), snapshot, Some(Duration::from_secs(600)));
    t.orders(&orders);
    assert_eq!(t.board.alerts().count(), 4);
    let alert = t.board.alerts().find(|a| a.id == fast).unwrap().clone();
    assert_eq!((alert.state, alert.began), (AlertState::ActiveAcknowledged, Moment(-695_000)));
    assert!(!alert.began_at_least);
    t.pass(0.1);
    assert_eq!(
        t.kinds(),
        [Escalated, Repeated, Escalated],
        "what nobody acknowledged went further meanwhile"
    );
    t.set(OWN, Q::Pressure, 1009.9);
    assert_eq!(t.kinds(), [Raised], "it fell across the restart");
    t.pass(300.0);
    let texts: Vec<String> = t.told().into_iter().filter(|s| s.starts_with("Rectified")).collect();
    assert_eq!(
        texts,
        [
            "Rectified near: near: MV 200000001 range 0.50 nm; not met again since the restart",
            "Rectified feed silent: feed 2; not met again since the restart",
        ]
    );
    t.set(OWN, Q::Sog, 4.0);
    assert_eq!(t.told(), ["Cleared fast: fast: SOG 4.0 kn"]);
    let open: Vec<_> = t.board.alerts().map(|a| (a.id, a.state)).collect();
    assert!(open.contains(&(overboard, AlertState::ActiveAcknowledged)), "a person ends it: {open:?}");
    let next = t.board.call(t.at(), BuiltIn::FixLost, OWN, "no fix".into());
    assert!(open.iter().all(|(id, _)| *id < next), "numbers are never used twice");
}

#[test]
fn over_an_unknown_gap_durations_are_at_least() {
    let mut t = Table::with(FAST);
    t.set(OWN, Q::Sog, 6.0).pass(100.0);
    let snapshot = t.board.snapshot();
    t.board = Board::new(BoardSettings::default());
    t.now_s = 3.0;
    t.board.restore(t.at(), snapshot, None);
    t.orders(FAST);
    let alert = t.board.alerts().next().unwrap();
    assert!(alert.began_at_least);
    assert_eq!(t.at().since(alert.began), Duration::from_secs(100));
}

#[test]
fn a_lost_ship_that_comes_back_is_the_same_alert_until_acknowledged() {
    let mut t = Table::with(NEAR);
    t.set(SHIP, Q::Range, 0.5);
    let id = t.first_alert();
    t.board.gone(t.at(), SHIP);
    t.set(SHIP, Q::Range, 0.4);
    assert_eq!(t.kinds(), [Raised, Rectified, Repeated]);
    assert_eq!(t.first_alert(), id);
}

#[test]
fn a_season_of_ships_that_nobody_acknowledged_does_not_fill_the_memory() {
    let mut t = Table::with(NEAR);
    for n in 0..200 {
        t.set(ship(n), Q::Range, 0.5).pass(600.0);
        t.board.gone(t.at(), ship(n));
    }
    assert_eq!(t.board.alerts().count(), 64);
    t.drain();
    let cleared = t.events.iter().filter(|e| e.kind == Cleared).count();
    assert_eq!(cleared, 136, "and each one that went says so");
}

#[test]
fn orders_name_their_signals_until_nobody_acknowledges() {
    let mut t = Table::with(&format!("{FAST}signals = [\"cabin\"]\n"));
    t.set(OWN, Q::Sog, 6.0).pass(121.0);
    let signals: Vec<_> = t.events.iter().map(|e| (e.kind, e.carry.signals.clone())).collect();
    let cabin = Some(vec!["cabin".to_owned()]);
    assert_eq!(signals, [(Raised, cabin.clone()), (Repeated, cabin), (Escalated, None)]);
}

#[test]
fn notices_and_cautions_never_take_the_place_of_an_alarm() {
    let mut t = Table::with(FAST);
    for n in 0..100 {
        t.board.note(t.at(), "talk", OWN, format!("{n}").into());
    }
    t.set(OWN, Q::Sog, 6.0);
    assert!(t.events.last().unwrap().carry.aloud);
    assert_eq!(t.events.iter().filter(|e| e.carry.aloud).count(), 21);
}

#[test]
fn part_of_an_exercise_is_marked_so_while_the_watch_goes_on() {
    let mut t = Table::with("");
    let (drill, real) = (Subject::Casualty(CasualtyId(1)), Subject::Casualty(CasualtyId(2)));
    t.board.exercise(t.at(), "person overboard", drill, Priority::EmergencyAlarm, "drill".into());
    t.board.call(t.at(), BuiltIn::PersonOverboard, real, "real".into());
    // The same thing at the same place is two alerts.
    t.board.exercise(t.at(), "fix lost", OWN, Priority::Warning, "drill".into());
    t.board.call(t.at(), BuiltIn::FixLost, OWN, "real".into());
    assert_eq!(t.board.alerts().map(|a| a.exercise).collect::<Vec<_>>(), [true, false, true, false]);
    t.board.over(t.at(), BuiltIn::FixLost, OWN);
    t.board.end_exercise(t.at(), &"over".into());
    let left: Vec<(bool, String)> = t.board.alerts().map(|a| (a.exercise, a.order.clone())).collect();
    assert_eq!(left, [(false, "person overboard".to_owned()), (false, "fix lost".to_owned())]);
}

#[test]
fn news_of_a_casualty_is_told_in_its_state_and_new_words_wait_for_the_next_telling() {
    let mut t = Table::with("");
    let subject = Subject::Casualty(terms::CasualtyId(1));
    let id = t.board.call(t.at(), BuiltIn::PersonOverboard, subject, "no position yet".into());
    t.board.acknowledge(t.at(), id).unwrap();
    t.told();
    t.board.retell(t.at(), BuiltIn::PersonOverboard, subject, "found".into());
    assert_eq!(t.told(), ["Repeated person overboard: found"]);
    assert_eq!(t.board.alerts().next().unwrap().state, rules::AlertState::ActiveAcknowledged);
    t.chart.says.insert(subject, "two miles off".to_owned());
    assert_eq!(t.told(), [""; 0]);
    assert_eq!(t.words(), ["two miles off"]);
    t.pass(300.0);
    assert_eq!(t.told(), ["Repeated person overboard: two miles off"]);
    // Of what does not stand nothing is told.
    t.board.retell(t.at(), BuiltIn::FixLost, Subject::OwnVessel, "x".into());
    assert_eq!(t.told(), [""; 0]);
}

#[test]
fn those_told_together_call_again_when_another_comes_though_acknowledged_and_not_oftener_than_each_fifty_seconds()
 {
    let mut t = Table::with(NEAR);
    for n in 0..12 {
        t.set(ship(n), Q::Range, 0.5 + f64::from(n) / 1000.0);
    }
    t.pass(61.0);
    let all: Vec<_> = t.board.alerts().map(|a| a.id).collect();
    all.into_iter().for_each(|id| t.board.acknowledge(t.at(), id).unwrap());
    t.told();
    t.pass(300.0);
    t.set(ship(20), Q::Range, 0.8);
    let [told] = &t.told()[..] else { panic!() };
    assert!(told.starts_with("Repeated near: near: 5 more besides the 8 announced one by one"), "{told}");
    // Others within fifty seconds are announced at their end, together, and by name.
    t.set(ship(21), Q::Range, 0.8).pass(30.0).set(ship(22), Q::Range, 0.8).pass(19.0);
    assert_eq!(t.told(), [""; 0]);
    t.pass(2.0);
    let told = t.told();
    let crowd = told.iter().find(|t| t.starts_with("Repeated near: near: 7 more")).unwrap();
    assert!(crowd.contains("first of them MV 200000021, MV 200000022,"), "{crowd}");
}
