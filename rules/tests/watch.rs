//! The watch: roster, watch alarm, handover.

use crate::table::Table;
use rules::EventKind::*;
use rules::{
    Addressee, BuiltIn, DailyWatch, Priority, Refused, Roster, Switch, WatchAlarm, WatchAlarmSettings,
};
use std::time::Duration;
use terms::{Hours, Moment, Quantity as Q, Subject, Utc};

fn at_hour(t: &mut Table, hour: f64) {
    t.chart.utc = Utc::from_date(2026, 11, 1, (hour * 3_600_000.0) as i64);
}

/// Lets the hours pass with the clock of the day.
fn pass_with_clock(t: &mut Table, seconds: f64) {
    let end_s = t.now_s + seconds;
    while t.now_s < end_s {
        t.pass(60.0);
        t.chart.utc = t.chart.utc.map(|u| u.plus_ms(60_000));
    }
}

fn roster() -> Roster {
    let watch = |who: &str, hours: &str| DailyWatch { who: who.into(), hours: Hours::parse(hours).unwrap() };
    Roster::daily(Some("Cy".into()), &[watch("Ada", "20:00 to 00:00"), watch("Bo", "00:00 to 04:00")])
        .unwrap()
}

#[test]
fn alerts_go_to_the_one_on_watch_and_the_roster_changes_on_time() {
    let long =
        "[[order]]\nname = \"long watch\"\npriority = \"caution\"\nwhen = \"time on watch is over 3 h\"\n";
    let mut t = Table::with(long);
    at_hour(&mut t, 22.0);
    t.board.set_roster(t.at(), roster(), &t.chart);
    assert_eq!(t.board.on_watch(), Some(("Ada", Moment::from_s(-7200.0))));
    assert_eq!(t.told(), ["Noted watch: Ada takes the watch"]);
    t.board.call(t.at(), BuiltIn::FixLost, Subject::OwnVessel, "no fix".into());
    t.drain();
    assert_eq!(t.events.pop().unwrap().carry.to, Addressee::Watch(Some("Ada".into())));
    pass_with_clock(&mut t, 3660.0);
    assert!(t.told().iter().any(|s| s == "Raised long watch: long watch: time on watch 3 h"));
    pass_with_clock(&mut t, 3600.0);
    assert_eq!(t.board.on_watch().map(|(who, _)| who), Some("Bo"));
    assert!(t.told().contains(&"Cleared long watch: long watch: time on watch 0 s".to_owned()));
}

#[test]
fn a_watch_taken_by_hand_holds_until_the_roster_changes() {
    let mut t = Table::with("");
    at_hour(&mut t, 22.0);
    t.board.set_roster(t.at(), roster(), &t.chart);
    t.board.take_watch(t.at(), "Cy", &t.chart);
    pass_with_clock(&mut t, 6600.0);
    assert_eq!(t.board.on_watch().map(|(who, _)| who), Some("Cy"));
    pass_with_clock(&mut t, 720.0);
    assert_eq!(t.board.on_watch().map(|(who, _)| who), Some("Bo"));
}

#[test]
fn handover_tells_what_stands_what_was_told_and_what_does_not_watch() {
    let orders = "
        [[order]]
        name = \"fast\"
        priority = \"warning\"
        when = \"SOG is over 5 kn\"
        [[order]]
        name = \"drags\"
        priority = \"alarm\"
        only = [\"at anchor\"]
        when = \"distance from anchor is over 40 m\"
        ";
    let mut t = Table::with(orders);
    at_hour(&mut t, 23.0);
    t.board.set_roster(t.at(), roster(), &t.chart);
    t.board.declare(t.at(), rules::Declared::named("under sail").unwrap(), &t.chart);
    t.set(Subject::OwnVessel, Q::Sog, 6.0);
    t.board.call(t.at(), BuiltIn::ClockNotKnown, Subject::Lookout, "no clock".into());
    let h = t.board.handover(&t.chart);
    assert_eq!(h.on_watch.as_deref(), Some("Ada"));
    assert_eq!(h.next, Some(("Bo".into(), Duration::from_secs(3600))));
    assert_eq!(
        h.standing.iter().map(|a| a.priority).collect::<Vec<_>>(),
        [Priority::Warning, Priority::Caution]
    );
    assert_eq!(h.out_of_force, ["drags"]);
    t.board.take_watch(t.at(), "Bo", &t.chart);
    assert_eq!(t.board.handover(&t.chart).on_watch.as_deref(), Some("Bo"));
}

#[test]
fn the_watch_alarm_goes_from_a_light_to_all_hands_and_only_a_lookout_position_answers() {
    // IMO MSC.128(75) 4.1.2 and 4.1.3.1.
    let mut t = Table::with("");
    let settings = WatchAlarmSettings {
        dormant: Duration::from_secs(12 * 60),
        positions: vec!["helm button".into()],
        during: Vec::new(),
        hours: Vec::new(),
    };
    t.board.set_watch_alarm(t.at(), Some(WatchAlarm::new(settings).unwrap()), &t.chart);
    t.pass(850.0);
    t.drain();
    let steps: Vec<_> =
        t.events.iter().map(|e| (e.at.as_s(), e.kind, e.alert.priority, e.carry.level)).collect();
    assert_eq!(
        steps,
        [
            (720.0, Raised, Priority::Caution, 0),
            (735.0, Escalated, Priority::Warning, 0),
            (750.0, Escalated, Priority::Alarm, 1),
            (810.0, Repeated, Priority::Alarm, 1),
            (840.0, Escalated, Priority::Alarm, 2),
        ]
    );
    let id = t.first_alert();
    assert_eq!(t.board.acknowledge(t.at(), id), Err(Refused::ResetIt));
    assert_eq!(t.board.silence(t.at(), id), Err(Refused::ResetIt));
    assert!(t.board.reset_watch_alarm(t.at(), "chart table").is_err());
    t.board.reset_watch_alarm(t.at(), "helm button").unwrap();
    assert_eq!(t.kinds().last(), Some(&Cleared));
    t.board.switch_watch_alarm(t.at(), Switch::Off, &t.chart);
    t.pass(7200.0);
    assert_eq!(t.kinds(), []);
}

#[test]
fn the_hours_of_the_watch_alarm_are_looked_at_each_minute_whatever_else_comes() {
    let mut t = Table::with("");
    at_hour(&mut t, 21.9);
    let settings = WatchAlarmSettings {
        dormant: Duration::from_secs(600),
        positions: vec!["helm".into()],
        during: Vec::new(),
        hours: vec![(22.0 * 3600.0, 6.0 * 3600.0)],
    };
    t.board.set_watch_alarm(t.at(), Some(WatchAlarm::new(settings).unwrap()), &t.chart);
    let due = t.board.next_wake();
    assert_eq!(due, Some(Moment(60_000)));
    t.set(Subject::OwnVessel, Q::Sog, 5.0);
    t.now_s = 30.0;
    t.set(Subject::OwnVessel, Q::Sog, 6.0);
    assert_eq!(t.board.next_wake(), due, "news does not put it off");
    pass_with_clock(&mut t, 3600.0);
    assert_eq!(t.board.watch_alarm().map(WatchAlarm::stage), Some(rules::Stage::Third));
}

#[test]
fn a_watch_taken_by_hand_outlasts_a_restart() {
    let mut t = Table::with("");
    at_hour(&mut t, 22.0);
    t.board.set_roster(t.at(), roster(), &t.chart);
    t.board.take_watch(t.at(), "Cy", &t.chart);
    let snapshot = t.board.snapshot();
    t.board = rules::Board::new(rules::BoardSettings::default());
    t.board.restore(t.at(), snapshot, Some(Duration::ZERO));
    t.board.set_roster(t.at(), roster(), &t.chart);
    t.pass(120.0);
    assert_eq!(t.board.on_watch().map(|(who, _)| who), Some("Cy"));
}

#[test]
fn the_hours_of_the_watch_alarm_by_their_edges_by_day_and_through_midnight() {
    let hours = |from: f64, to: f64| WatchAlarmSettings {
        dormant: Duration::from_secs(12 * 60),
        positions: vec!["helm button".into()],
        during: Vec::new(),
        hours: vec![(from * 3600.0, to * 3600.0)],
    };
    for (from, to, on) in [
        (8.0, 20.0, [(7.99, false), (8.0, true), (19.99, true), (20.0, false), (2.0, false)]),
        (22.0, 6.0, [(21.99, false), (22.0, true), (5.99, true), (6.0, false), (12.0, false)]),
    ] {
        for (hour, wanted) in on {
            let mut keeper = WatchAlarm::new(hours(from, to)).unwrap();
            keeper.advance(terms::Moment(0), None, Some(hour * 3600.0));
            assert_eq!(keeper.stage() != rules::Stage::Off, wanted, "{from} to {to} at {hour}");
        }
        // Nobody knows the time: the stricter.
        let mut keeper = WatchAlarm::new(hours(from, to)).unwrap();
        keeper.advance(terms::Moment(0), None, None);
        assert_ne!(keeper.stage(), rules::Stage::Off);
    }
}
