//! The awkward edges: where two conditions meet, where nothing is known, across a restart, and at the bounds.

use crate::table::{SHIP, Table};
use rules::EventKind::*;
use rules::{
    Board, BoardSettings, BuiltIn, DailyWatch, Priority, Roster, RosterError, Rotation, Stage, WatchAlarm,
    WatchAlarmError, WatchAlarmSettings,
};
use std::time::Duration;
use terms::{CasualtyId, FeedId, Hours, Mmsi, Quantity as Q, Subject, Utc};

const OWN: Subject = Subject::OwnVessel;

/// An order that ends on another quantity than it begins on, so that both may be met at once.
const FAST: &str = "[[order]]\nname = \"fast\"\npriority = \"alarm\"\nwhen = \"SOG is over 5 kn\"\n\
    until = \"heading is within 0 deg to 90 deg\"\nheld = \"10 s\"\npatience = \"never\"\n";

#[test]
fn while_its_end_is_met_already_an_order_does_not_call_and_its_hold_begins_afterwards() {
    let mut t = Table::with(FAST);
    t.set(OWN, Q::Heading, 45.0).set(OWN, Q::Sog, 6.0).pass(600.0);
    assert_eq!(t.kinds(), []);
    t.set(OWN, Q::Heading, 180.0).pass(9.9);
    assert_eq!(t.kinds(), [], "what passed before counts for nothing");
    t.pass(0.2);
    assert_eq!(t.kinds(), [Raised]);

    // Met in the midst of the hold: it begins again.
    let mut t = Table::with(FAST);
    t.set(OWN, Q::Heading, 180.0).set(OWN, Q::Sog, 6.0).pass(8.0);
    t.set(OWN, Q::Heading, 45.0).pass(5.0);
    t.set(OWN, Q::Heading, 180.0).pass(8.0);
    assert_eq!(t.kinds(), []);
    t.pass(2.1);
    assert_eq!(t.kinds(), [Raised]);

    // An end that nobody knows holds no call back.
    let mut t = Table::with(FAST);
    t.set(OWN, Q::Sog, 6.0).pass(10.1);
    assert_eq!(t.kinds(), [Raised]);
}

#[test]
fn time_in_which_nobody_knows_counts_neither_for_worse_nor_against_it() {
    let orders = "[[order]]\nname = \"close\"\neach = \"target\"\npriority = \"warning\"\nwhen = \"CPA is under 1 nm\"\n\
        worse = \"range is under 2 nm\"\nheld = \"10 s\"\npatience = \"never\"\n";
    let mut t = Table::with(orders);
    t.set(SHIP, Q::Range, 6.0).set(SHIP, Q::Cpa, 0.8).pass(10.1);
    assert_eq!(t.kinds(), [Raised]);
    t.board.acknowledge(t.at(), t.first_alert()).unwrap();
    t.kinds();
    t.set(SHIP, Q::Range, 1.5).pass(6.0);
    t.lose(SHIP, Q::Range).pass(60.0);
    assert_eq!(t.kinds(), [], "a minute of not knowing is no minute of worse");
    t.set(SHIP, Q::Range, 1.4).pass(3.9);
    assert_eq!(t.kinds(), []);
    t.pass(0.2);
    assert_eq!(t.kinds().len(), 1, "six seconds and four");
    t.pass(30.0);
    assert!(!t.kinds().contains(&Raised), "once");

    // What is false in between begins again.
    let mut t = Table::with(orders);
    t.set(SHIP, Q::Range, 6.0).set(SHIP, Q::Cpa, 0.8).pass(10.1);
    t.board.acknowledge(t.at(), t.first_alert()).unwrap();
    t.kinds();
    t.set(SHIP, Q::Range, 1.5).pass(6.0);
    t.set(SHIP, Q::Range, 3.0).pass(1.0);
    t.set(SHIP, Q::Range, 1.5).pass(9.0);
    assert_eq!(t.kinds(), []);
    t.pass(1.1);
    assert_eq!(t.kinds().len(), 1);
}

#[test]
fn what_is_worse_when_it_is_called_is_called_once() {
    let orders = "[[order]]\nname = \"close\"\neach = \"target\"\npriority = \"warning\"\nwhen = \"CPA is under 1 nm\"\n\
        worse = \"range is under 2 nm\"\nheld = \"10 s\"\npatience = \"never\"\n";
    let mut t = Table::with(orders);
    t.set(SHIP, Q::Range, 1.5).set(SHIP, Q::Cpa, 0.8).pass(10.1);
    assert_eq!(t.kinds(), [Raised]);
    t.board.acknowledge(t.at(), t.first_alert()).unwrap();
    t.kinds();
    t.set(SHIP, Q::Range, 1.4).pass(11.0);
    t.set(SHIP, Q::Range, 1.3).pass(11.0);
    assert_eq!(t.kinds(), []);
}

#[test]
fn an_order_rests_about_each_who_was_acknowledged_and_no_longer_than_it_says() {
    let orders = "[[order]]\nname = \"close\"\neach = \"target\"\npriority = \"warning\"\nwhen = \"CPA is under 1 nm\"\n\
        rests = \"30 min\"\npatience = \"never\"\n";
    let other = Subject::Target(Mmsi::new(211_000_002).unwrap());
    let mut t = Table::with(orders);
    for ship in [SHIP, other] {
        t.set(ship, Q::Cpa, 0.5);
        let id = t.board.alerts().find(|a| a.subject == ship).unwrap().id;
        t.board.acknowledge(t.at(), id).unwrap();
        t.pass(1.0);
    }
    t.set(SHIP, Q::Cpa, 3.0).set(other, Q::Cpa, 3.0).pass(60.0);
    t.kinds();
    t.set(SHIP, Q::Cpa, 0.5).set(other, Q::Cpa, 0.5).pass(60.0);
    assert_eq!(t.kinds(), [], "it rests about both");
    t.pass(1800.0);
    assert_eq!(t.kinds(), [Raised, Raised]);
}

#[test]
fn a_window_forgets_while_nothing_is_known_too() {
    let mut t = Table::with(
        "[[order]]\nname = \"fast\"\npriority = \"warning\"\nwhen = \"highest SOG in 1 min is over 5 kn\"\npatience = \"1 min\"\n",
    );
    t.set(OWN, Q::Sog, 6.0);
    assert_eq!(t.kinds(), [Raised]);
    t.lose(OWN, Q::Sog).pass(110.0);
    assert_eq!(t.words().len(), 1, "{:?}", t.words());
    t.pass(30.0);
    assert!(t.words().iter().any(|w| w.contains("cannot be judged")), "{:?}", t.words());
}

#[test]
fn a_window_goes_on_over_a_gap_of_known_length_and_forgets_what_is_older() {
    let fall = "[[order]]\nname = \"fall\"\npriority = \"warning\"\nwhen = \"pressure falls 3 hPa in 3 h\"\n";
    let after = |gap: Option<Duration>| {
        let mut t = Table::with(fall);
        t.set(OWN, Q::Pressure, 1013.0).pass(60.0);
        let kept = t.board.snapshot();
        t.board = Board::new(BoardSettings::default());
        t.now_s = 7.0;
        t.chart.readings.clear();
        t.board.restore(t.at(), kept, gap);
        t.orders(fall);
        t.kinds();
        t.set(OWN, Q::Pressure, 1010.0);
        t.kinds()
    };
    let hours = |h: f64| Some(Duration::from_secs_f64(h * 3600.0));
    assert_eq!(after(hours(0.1)), [Raised]);
    assert_eq!(after(hours(2.9)), [Raised], "a fall across the gap");
    assert_eq!(after(hours(3.2)), [], "of more than three hours ago nothing counts");
    assert_eq!(after(None), [], "nobody knows in how long it fell");
}

#[test]
fn the_watch_alarm_over_a_restart_is_one_alert_that_begins_with_the_light() {
    let settings = || WatchAlarmSettings {
        dormant: Duration::from_secs(600),
        positions: vec!["helm".into()],
        during: Vec::new(),
        hours: Vec::new(),
    };
    let mut t = Table::with("");
    t.board.set_watch_alarm(t.at(), Some(WatchAlarm::new(settings()).unwrap()), &t.chart);
    t.pass(725.0);
    t.kinds();
    let kept = serde_json::to_string(&t.board.snapshot()).unwrap();
    let mut t = Table::with("");
    t.now_s = 40.0;
    t.board.restore(t.at(), serde_json::from_str(&kept).unwrap(), Some(Duration::from_secs(20)));
    assert_eq!(t.board.alerts().count(), 0, "that of the run before is not taken over");
    t.board.set_watch_alarm(t.at(), Some(WatchAlarm::new(settings()).unwrap()), &t.chart);
    let stage = |t: &Table| (t.board.watch_alarm().unwrap().stage(), t.board.watch_alarm().unwrap().missed());
    assert_eq!((t.kinds(), stage(&t)), (vec![Raised], (Stage::Visual, 1)));
    t.pass(120.1);
    assert_eq!((t.board.alerts().count(), stage(&t)), (1, (Stage::Third, 2)));
    t.board.is_awake(t.at());
    assert_eq!((t.board.alerts().count(), stage(&t)), (0, (Stage::Dormant, 2)));
}

#[test]
fn an_exercise_takes_no_room_from_what_is_real() {
    // Not of the signals a minute.
    let mut t = Table::with("");
    for n in 0..30 {
        t.board.exercise(t.at(), &format!("drill {n}"), OWN, Priority::Warning, "drill".into());
    }
    t.drain();
    assert!(t.events.iter().all(|e| e.alert.exercise && e.carry.aloud));
    t.events.clear();
    for n in 0..20 {
        t.board.call(t.at(), BuiltIn::FeedSilent, Subject::Feed(FeedId(n)), "silent".into());
    }
    t.drain();
    assert_eq!(t.events.iter().filter(|e| e.carry.aloud).count(), 20);

    // Not of the places of built-in alerts, and an emergency has a place beyond them.
    for n in 20..511 {
        t.board.call(t.at(), BuiltIn::FeedSilent, Subject::Feed(FeedId(n)), "silent".into());
    }
    let priority = |t: &Table, id| t.board.alerts().find(|a| a.id == id).map(|a| a.priority);
    let last = t.board.call(t.at(), BuiltIn::FixLost, OWN, "lost".into());
    assert_eq!(priority(&t, last), Some(Priority::Warning), "the 512th of the real ones");
    let beyond = t.board.call(t.at(), BuiltIn::LogbookFailing, Subject::Logbook, "full".into());
    assert_eq!(priority(&t, beyond), None, "only noted");
    let again = t.board.call(t.at(), BuiltIn::FixLost, OWN, "lost".into());
    assert_eq!((again, priority(&t, again)), (last, Some(Priority::Warning)), "what stands is called again");
    let beacon = t.board.call(t.at(), BuiltIn::Epirb, Subject::Casualty(CasualtyId(1)), "EPIRB".into());
    assert_eq!(priority(&t, beacon), Some(Priority::EmergencyAlarm));
    t.board.end_exercise(t.at(), &"over".into());
    assert!(t.board.alerts().all(|a| !a.exercise));
}

#[test]
fn the_call_of_a_crowd_goes_on_over_a_restart_as_one_alert() {
    let near = "[[order]]\nname = \"near\"\neach = \"target\"\npriority = \"alarm\"\nwhen = \"range is under 1 nm\"\n";
    let ship = |n: u32| Subject::Target(Mmsi::new(200_000_000 + n).unwrap());
    let crowd = |t: &Table| -> Vec<_> {
        t.board.alerts().filter(|a| a.subject == Subject::Lookout).map(|a| (a.id, a.is_active())).collect()
    };
    let mut t = Table::with(near);
    for n in 0..12 {
        t.set(ship(n), Q::Range, 0.5);
    }
    let before = crowd(&t);
    assert_eq!(before.len(), 1);
    let kept = serde_json::to_string(&t.board.snapshot()).unwrap();
    t.board = Board::new(BoardSettings::default());
    t.board.restore(t.at(), serde_json::from_str(&kept).unwrap(), Some(Duration::from_secs(5)));
    t.orders(near);
    t.kinds();
    for n in 0..12 {
        t.set(ship(n), Q::Range, 0.5);
    }
    t.pass(400.0);
    assert_eq!(crowd(&t), before, "met again, it does not end after five minutes");
    assert_eq!(t.board.alerts().count(), 9);
    // Not met again, it does end.
    t.board = Board::new(BoardSettings::default());
    t.board.restore(t.at(), serde_json::from_str(&kept).unwrap(), Some(Duration::from_secs(5)));
    t.orders("");
    for n in 0..12 {
        t.chart.readings.remove(&(ship(n), Q::Range as u8));
    }
    t.kinds();
    t.pass(301.0);
    assert!(crowd(&t).iter().all(|(_, active)| !active));
}

#[test]
fn an_order_about_what_is_missing_or_old_can_always_be_judged_and_a_measure_is_named_once() {
    let t = Table::with(
        "[[order]]\nname = \"deaf\"\npriority = \"warning\"\nwhen = \"depth below keel is missing for 60 s\"\n\
         [[order]]\nname = \"old\"\npriority = \"warning\"\nwhen = \"age of position is over 60 s\"\n\
         [[order]]\nname = \"both\"\npriority = \"warning\"\nonly = [\"at anchor\"]\n\
         when = { any = [\"depth below keel is under 3 m\", \"depth below keel is over 50 m\", \"SOG is over 3 kn\"] }\n\
         [[order]]\nname = \"mixed\"\npriority = \"warning\"\n\
         when = { any = [\"heading is missing for 60 s\", \"SOG is over 3 kn\"] }\n",
    );
    let of = |t: &Table| -> Vec<(String, Vec<String>)> {
        t.board.possible(&t.chart).into_iter().map(|p| (p.name, p.missing)).collect()
    };
    let line = |name: &str, missing: &[&str]| {
        (name.to_owned(), missing.iter().map(|m| (*m).to_owned()).collect::<Vec<_>>())
    };
    assert_eq!(
        of(&t),
        [
            line("deaf", &[]),
            line("old", &[]),
            line("both", &["depth below keel", "SOG"]),
            line("mixed", &["SOG"])
        ]
    );
    let in_force: Vec<bool> = t.board.possible(&t.chart).into_iter().map(|p| p.in_force).collect();
    assert_eq!(in_force, [true; 4], "undeclared is the stricter");
    let mut t = t;
    // What one ship of several gives is at hand.
    let ships = "[[order]]\nname = \"fast\"\neach = \"target\"\npriority = \"warning\"\nwhen = \"CPA is under 3 nm\"\n";
    let mut two = Table::with(ships);
    two.set(SHIP, Q::Range, 5.0);
    two.set(Subject::Target(Mmsi::new(200_000_001).unwrap()), Q::Cpa, 9.0);
    assert_eq!(of(&two), [line("fast", &[])]);
    t.board.declare(t.at(), rules::Declared::named("under sail").unwrap(), &t.chart);
    let in_force: Vec<bool> = t.board.possible(&t.chart).into_iter().map(|p| p.in_force).collect();
    assert_eq!(in_force, [true, true, false, true]);
}

#[test]
fn settings_at_their_bounds_and_just_beyond() {
    let alarm = |s: u64| {
        WatchAlarm::new(WatchAlarmSettings {
            dormant: Duration::from_secs(s),
            positions: vec!["helm".into()],
            during: Vec::new(),
            hours: Vec::new(),
        })
    };
    for (s, allowed, standard) in [
        (59, false, false),
        (60, true, false),
        (179, true, false),
        (180, true, true),
        (720, true, true),
        (721, true, false),
        (3600, true, false),
        (3601, false, false),
    ] {
        let made = alarm(s);
        assert_eq!(made.is_ok(), allowed, "{s}");
        assert_eq!(made.is_ok_and(|a| a.within_standard()), standard, "{s}");
    }
    assert_eq!(alarm(1), Err(WatchAlarmError::Dormant));
    let positions = vec!["helm".into(), "mast".into()];
    let two =
        WatchAlarmSettings { dormant: Duration::from_secs(60), positions, during: vec![], hours: vec![] };
    let two = WatchAlarm::new(two).unwrap();
    assert_eq!(["helm", "mast", "bunk"].map(|p| two.resets_from(p)), [true, true, false]);

    let rotation = |people: usize, watches: usize, length: u64| {
        let rotation = Rotation {
            start: Utc(0),
            lengths: vec![Duration::from_secs(length); watches],
            people: vec!["Ada".into(); people],
        };
        Roster::rotating(None, rotation).is_ok()
    };
    for (people, watches, length, good) in [
        (1, 1, 60, true),
        (48, 48, 7 * 86_400, true),
        (0, 1, 60, false),
        (1, 0, 60, false),
        (49, 1, 60, false),
        (1, 49, 60, false),
        (1, 1, 59, false),
        (1, 1, 7 * 86_400 + 1, false),
    ] {
        assert_eq!(rotation(people, watches, length), good, "{people} {watches} {length}");
    }
    let half_hours = |n: u32| -> Vec<DailyWatch> {
        let at = |m: u32| format!("{:02}:{:02}", m / 60 % 24, m % 60);
        let hours = |i: u32| Hours::parse(&format!("{} to {}", at(i * 30), at(i * 30 + 30))).unwrap();
        (0..n).map(|i| DailyWatch { who: format!("{i}"), hours: hours(i) }).collect()
    };
    assert!(Roster::daily(None, &half_hours(48)).is_ok());
    assert_eq!(Roster::daily(None, &half_hours(49)), Err(RosterError::TooMany));
}
