//! What acts do beside what they are for: the watch alarm is reset, and the answer says what was not done.

use super::*;
use crate::{Input, Numbers, Outside};
use record::{CasualtyQuestion, DepartureAct};

const BOAT: &str = "version = 1\n[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\n\
    [watch.alarm]\ndormant_period = \"12 min\"\nreset_from = [\"helm\"]\n";

fn s(s: i64) -> Moment {
    Moment(s * 1000)
}

fn watch() -> Watch {
    let boat = boat::read("boat.toml", BOAT).unwrap().0;
    let mut w = Watch::begun(s(0), &boat, &[], Numbers::default(), None);
    // Without orders nothing is watched, and she says so.
    let open: Vec<AlertId> = w.board.alerts().map(|a| a.id).collect();
    open.into_iter().for_each(|id| w.board.acknowledge(s(0), id).unwrap());
    w.pump(s(0));
    w
}

fn stage(w: &Watch) -> Stage {
    w.board.watch_alarm().unwrap().stage()
}

fn asks_s(w: &Watch) -> Option<u64> {
    w.board.watch_alarm().unwrap().asks_in(w.now).map(|d| d.as_secs())
}

fn call(w: &mut Watch, at: Moment, built_in: BuiltIn, subject: Subject) -> AlertId {
    let id = w.board.call(at, built_in, subject, "here".into());
    w.pump(at);
    id
}

fn all() -> Act {
    Act::Acknowledge { alert: None, order: None }
}

fn acts() -> Vec<Act> {
    let note = |text: &str| Act::Note { text: text.into() };
    vec![
        all(),
        Act::Acknowledge { alert: Some(AlertId(999)), order: None },
        Act::Silence { alert: None, order: None },
        Act::StandDown { casualty: None, reason: "test".into() },
        Act::Declare { what: "under sail".into(), metres: None, bearing_deg: None },
        Act::Declare { what: "flying".into(), metres: None, bearing_deg: None },
        Act::Handover { who: "Bo".into() },
        Act::ResetWatchAlarm { from: None },
        Act::ResetWatchAlarm { from: Some("helm".into()) },
        Act::WatchAlarm { switch: rules::Switch::On },
        Act::Passage { name: None, ends: false },
        Act::Drill { what: "fix".into() },
        note("all well"),
        note(""),
    ]
}

#[test]
fn whatever_somebody_does_resets_the_watch_alarm_at_every_stage() {
    for act in acts() {
        // Dormant, with a light, and at all hands.
        for at in [s(600), s(725), s(900)] {
            let mut w = watch();
            w.advance(at);
            let _ = w.take(at, Input::Act(act.clone()));
            assert_eq!((stage(&w), asks_s(&w)), (Stage::Dormant, Some(720)), "{act:?} at {at:?}");
            assert!(w.board.built_in(BuiltIn::WatchAlarm, Subject::Lookout).is_none(), "{act:?}");
        }
    }
}

#[test]
fn buttons_the_departure_check_a_search_and_a_bridge_reset_it_too_and_looks_do_not() {
    let after = |input: Input| {
        let mut w = watch();
        w.advance(s(725));
        let _ = w.take(s(725), input);
        stage(&w)
    };
    let button = |act| Input::Button { name: "rail".into(), act };
    assert_eq!(after(button(all())), Stage::Dormant);
    assert_eq!(after(Input::Departure(DepartureAct::Begin, Vec::new())), Stage::Dormant);
    let searched = CasualtyQuestion { searched: true, ..CasualtyQuestion::default() };
    assert_eq!(after(Input::Searched(searched)), Stage::Dormant);

    assert_eq!(after(button(Act::ResetWatchAlarm { from: Some("bunk".into()) })), Stage::Visual);
    assert_eq!(after(Input::Departure(DepartureAct::Look, Vec::new())), Stage::Visual);
    let waits = DepartureAct::Button { name: "rail".into() };
    assert_eq!(after(Input::Departure(waits, Vec::new())), Stage::Visual, "a client repeats it by itself");
    assert_eq!(after(Input::Clock { utc: terms::Utc(0) }), Stage::Visual);
    let mut w = watch();
    w.advance(s(725));
    let _ = (w.status(s(725), &Outside::default()), w.handover(s(725)));
    let _ = w.casualty_look(s(725), &CasualtyQuestion::default());
    assert_eq!(stage(&w), Stage::Visual);
}

#[test]
fn a_trusted_bridge_that_acknowledges_any_of_our_alerts_resets_it() {
    let mut w = watch();
    w.advance(s(725));
    let id = w.board.built_in(BuiltIn::WatchAlarm, Subject::Lookout).unwrap().id;
    let words = |instance: u32, command: char| sentence::DeviceAlert {
        instance: Some(instance),
        command: Some(command),
        ..sentence::DeviceAlert::default()
    };
    w.bridge(s(725), &words(id.0 + 7, 'A'));
    w.bridge(s(725), &words(id.0, 'Q'));
    assert_eq!(stage(&w), Stage::Visual, "another device's alert, and a question");
    w.bridge(s(725), &words(id.0, 'A'));
    assert_eq!((stage(&w), asks_s(&w)), (Stage::Dormant, Some(720)));
}

#[test]
fn a_real_emergency_suspends_it_until_it_is_stood_down() {
    let mut w = watch();
    w.advance(s(725));
    w.act(s(725), Act::Overboard { late_s: 0.0, who: Some("Ada".into()) }).unwrap();
    w.advance(s(727));
    assert_eq!(stage(&w), Stage::Suspended);
    w.act(s(730), all()).unwrap();
    w.advance(s(4000));
    assert_eq!(stage(&w), Stage::Suspended, "acknowledged, it is not over");
    let why = w.act(s(4000), Act::ResetWatchAlarm { from: None }).unwrap_err();
    assert_eq!(why.to_string(), "the watch alarm is suspended until the emergency is stood down");
    let status = w.status(s(4000), &Outside::default());
    assert_eq!(status.watch.alarm, Some(Stage::Suspended));
    assert_eq!(status.watch.alarm_words.as_deref(), Some("suspended until the emergency is stood down"));
    // It outlasts a restart.
    let kept = w.kept(s(4000));
    let mut again = watch();
    again
        .take(s(4010), Input::Begin(Box::new(crate::Begin { kept, gap: SAME, ..crate::Begin::default() })))
        .unwrap();
    again.advance(s(4012));
    assert_eq!(stage(&again), Stage::Suspended);

    w.act(s(4100), Act::StandDown { casualty: None, reason: "recovered".into() }).unwrap();
    w.advance(s(4102));
    assert_eq!(stage(&w), Stage::Dormant);
    w.advance(s(4100 + 722));
    assert_eq!(stage(&w), Stage::Visual, "a whole dormant period later");
}

const SAME: lookout::casualty::Gap = lookout::casualty::Gap::SameClock;

#[test]
fn an_exercise_and_a_vessel_in_distress_leave_it_on() {
    let mut w = watch();
    w.act(s(1), Act::Drill { what: "fender".into() }).unwrap();
    w.act(s(2), Act::Overboard { late_s: 0.0, who: None }).unwrap();
    w.advance(s(100));
    assert!(w.board.alerts().any(|a| a.exercise && a.priority == Priority::EmergencyAlarm));
    assert_eq!(stage(&w), Stage::Dormant);
    call(&mut w, s(100), BuiltIn::VesselInDistress, Subject::Casualty(CasualtyId(7)));
    w.advance(s(723));
    assert_eq!(stage(&w), Stage::Visual);
}

#[test]
fn a_reset_outlasts_a_restart_and_a_restart_gives_no_fresh_period() {
    let mut w = watch();
    w.act(s(300), Act::Note { text: "all well".into() }).unwrap();
    w.settle(s(300));
    // What the last act left behind is enough: the daemon may be killed at any moment after it.
    let mut last = w.effects().filter_map(|e| match e {
        crate::Effect::Keep(_, kept) => Some(*kept),
        _ => None,
    });
    let kept = last.next_back().unwrap();
    let mut again = watch();
    again
        .take(s(800), Input::Begin(Box::new(crate::Begin { kept, gap: SAME, ..crate::Begin::default() })))
        .unwrap();
    assert_eq!(asks_s(&again), Some(220));
    again.advance(s(1021));
    assert_eq!(stage(&again), Stage::Visual);
}

#[test]
fn acknowledge_says_what_it_could_not_do() {
    let mut w = watch();
    let said = |w: &mut Watch, act| match w.act(s(10), act) {
        Ok(words) => words,
        Err(why) => format!("refused: {why}"),
    };
    assert_eq!(said(&mut w, all()), "refused: nothing to acknowledge");
    assert_eq!(said(&mut w, Act::Silence { alert: None, order: None }), "refused: nothing to silence");
    let caution = call(&mut w, s(10), BuiltIn::InstrumentDoubtful, Subject::OwnVessel);
    let one = format!("alert {} is a caution, which needs none", caution.0);
    assert_eq!(said(&mut w, all()), format!("refused: nothing to acknowledge; {one}"));
    let lost = call(&mut w, s(10), BuiltIn::FixLost, Subject::OwnVessel);
    call(&mut w, s(10), BuiltIn::LogbookFailing, Subject::Logbook);
    assert_eq!(said(&mut w, Act::Silence { alert: None, order: None }), "2 silenced for 30 s");
    assert_eq!(said(&mut w, all()), format!("2 acknowledged; {one}"));
    assert_eq!(
        said(&mut w, all()),
        format!("refused: nothing to acknowledge; {one}"),
        "they are acknowledged"
    );
    let number = |id| Act::Acknowledge { alert: Some(id), order: None };
    assert_eq!(
        said(&mut w, number(caution)),
        format!("refused: alert {} is a caution, which needs no acknowledgement", caution.0)
    );
    assert_eq!(said(&mut w, number(lost)), format!("refused: alert {} is acknowledged already", lost.0));
    assert_eq!(said(&mut w, number(AlertId(999))), "refused: no alert 999 stands");
    let other = call(&mut w, s(10), BuiltIn::GearDue, Subject::OwnVessel);
    assert_eq!(
        said(&mut w, all()),
        format!(
            "refused: nothing to acknowledge; alerts {}, {} are cautions, which need none",
            caution.0, other.0
        )
    );
}

#[test]
fn to_acknowledge_the_watch_alarm_is_to_reset_it() {
    for of in [None, Some("watch alarm")] {
        let mut w = watch();
        w.advance(s(740));
        let act = Act::Acknowledge { alert: None, order: of.map(str::to_owned) };
        // The order about depth cannot be judged by then, which is a caution.
        let caution = if of.is_none() { "; alert 1 is a caution, which needs none" } else { "" };
        assert_eq!(w.act(s(740), act), Ok(format!("watch alarm reset{caution}")));
    }
    let mut w = watch();
    w.advance(s(740));
    call(&mut w, s(740), BuiltIn::FixLost, Subject::OwnVessel);
    assert_eq!(
        w.act(s(740), all()),
        Ok("watch alarm reset; 1 acknowledged; alert 1 is a caution, which needs none".to_owned())
    );
    w.advance(s(1500));
    let id = w.board.built_in(BuiltIn::WatchAlarm, Subject::Lookout).unwrap().id;
    let done = w.act(s(1500), Act::Acknowledge { alert: Some(id), order: None });
    assert_eq!(done, Ok("watch alarm reset: it asks again in 12 min".to_owned()));
}

#[test]
fn status_and_handover_say_how_it_is_reset_and_a_reset_says_what_it_met() {
    let mut w = watch();
    w.advance(s(60));
    let line = |w: &Watch| {
        let lines = w.handover(w.now).lines;
        lines.into_iter().find(|l| l.starts_with("Watch alarm")).unwrap()
    };
    assert_eq!(
        line(&w),
        "Watch alarm: on, asks in 11 min, unanswered 0 times. Whatever you do here resets it, and so does \
         `middlewatch watch-alarm reset`"
    );
    assert_eq!(w.status(s(60), &Outside::default()).watch.alarm_asks_s, Some(660.0));
    w.advance(s(740));
    assert!(line(&w).starts_with("Watch alarm: ASKS FOR A RESET, unanswered 1 time."), "{}", line(&w));
    assert_eq!(w.status(s(740), &Outside::default()).watch.alarm_asks_s, None);
    w.act(s(741), Act::WatchAlarm { switch: rules::Switch::Off }).unwrap();
    assert_eq!(line(&w), "Watch alarm: off, unanswered 1 time");
    let reset = |w: &mut Watch| w.act(s(742), Act::ResetWatchAlarm { from: None }).unwrap_err().to_string();
    assert_eq!(reset(&mut w), "the watch alarm is off");
    let boat = boat::read("boat.toml", "version = 1\n").unwrap().0;
    let mut w = Watch::begun(s(0), &boat, &[], Numbers::default(), None);
    assert_eq!(reset(&mut w), "boat.toml has no watch alarm");
    assert_eq!(w.status(s(742), &Outside::default()).watch.alarm_words, None);
}

/// Two people in turn from 20:00 on the first of November, and ship's time as UTC.
const ROTATION: &str = "version = 1\n[watch.rotation]\npeople = [\"Ada\", \"Bo\"]\nwatches = [\"4 h\"]\nfrom_day = 2026-11-01\n\
    from = \"20:00\"\n";

/// A watch with the rotation that begins at an hour of the second of November by the computer's clock.
fn rotating(hour: i64, kept: crate::Kept) -> Watch {
    let boat = boat::read("boat.toml", ROTATION).unwrap().0;
    let utc = terms::Utc::from_date(2026, 11, 2, hour * 3_600_000);
    let mut w = Watch::new(&boat);
    let begin = crate::Begin { utc, kept, gap: lookout::casualty::Gap::Unknown, ..crate::Begin::default() };
    w.take(s(0), Input::Begin(Box::new(begin))).unwrap();
    w
}

fn entries(w: &mut Watch) -> Vec<String> {
    let entry = |e| match e {
        crate::Effect::Entry(_, entry) => Some(entry),
        _ => None,
    };
    let entries = w.effects().filter_map(entry);
    let of = |e: &Entry| matches!(e, Entry::Handover { .. } | Entry::ShipTime { .. });
    entries.filter(of).map(|e| e.text()).collect()
}

#[test]
fn the_roster_is_kept_and_entered_from_the_first_second() {
    let mut w = rotating(1, crate::Kept::default());
    assert_eq!(w.on_watch().as_deref(), Some("Bo"));
    assert_eq!(entries(&mut w), ["Bo takes the watch"]);
    w.advance(s(3 * 3600));
    assert_eq!(entries(&mut w), ["Ada takes the watch"]);
    w.act(s(3 * 3600 + 60), Act::Handover { who: "Bo".into() }).unwrap();
    w.settle(w.now);
    assert_eq!(entries(&mut w), ["Bo takes the watch"], "once");
    // After a restart the same goes on, and nothing is entered again.
    let kept = w.kept(w.now);
    let mut again = rotating(5, kept);
    assert_eq!(again.on_watch().as_deref(), Some("Bo"), "by hand");
    assert_eq!(entries(&mut again), [""; 0]);
}

#[test]
fn ships_time_is_set_at_sea_entered_shown_kept_and_followed_at_once() {
    let mut w = rotating(1, crate::Kept::default());
    entries(&mut w);
    let set = |w: &mut Watch, h| w.take(w.now, Input::Act(Act::ShipTime { ship_time_h: h }));
    assert_eq!(
        set(&mut w, Some(3.5)).map(crate::Answer::words),
        Ok("ship's time is UTC+3:30, 04:30".to_owned())
    );
    assert_eq!(w.on_watch().as_deref(), Some("Ada"), "the morning watch by the ship's clock");
    assert_eq!(entries(&mut w), ["Ship's time is UTC+3:30", "Ada takes the watch"]);
    let status = w.status(w.now, &Outside::default());
    assert_eq!(status.watch.ship_time_h, 3.5);
    assert_eq!(status.watch.rest.iter().map(|r| r.who.as_str()).collect::<Vec<_>>(), ["Ada", "Bo"]);
    let lines = w.handover(w.now).lines;
    assert!(lines.contains(&"Ship's time: UTC+3:30, 04:30".to_owned()), "{lines:?}");
    for hours in [f64::NAN, 14.1, -15.0] {
        assert!(set(&mut w, Some(hours)).is_err());
    }
    assert!(set(&mut w, None).is_err(), "no position, no zone");
    let again = rotating(1, w.kept(w.now));
    assert_eq!(again.ship_time(), ShipTime { minutes: 210 });
}

#[test]
fn the_zone_follows_the_longitude_and_the_handover_says_when_it_is_another() {
    let boat = boat::read("boat.toml", "version = 1\n[[feed]]\nname = \"bus\"\ntcp = \"a:1\"\n").unwrap().0;
    let feeds: Vec<crate::FeedSetting> = boat.feeds.iter().map(crate::FeedSetting::of).collect();
    let mut w = Watch::begun(s(0), &boat, &feeds, Numbers::default(), None);
    let fix = sentence::Fix {
        time: Some(sentence::SentTime::Utc(terms::Utc(1_793_491_200_000))),
        position: terms::Position::new(47.0, -9.0 - 19.0 / 60.0).ok(),
        sog_kn: Some(5.0),
        cog_deg: Some(90.0),
        ..sentence::Fix::default()
    };
    w.hear(s(1), terms::FeedId(0), &sentence::encode::rmc("GP", &fix).parse().unwrap());
    w.advance(s(1));
    let line =
        |w: &Watch| w.handover(w.now).lines.into_iter().find(|l| l.starts_with("Ship's time")).unwrap();
    assert!(line(&w).ends_with("; the zone here is UTC−1"), "{}", line(&w));
    w.act(s(1), Act::ShipTime { ship_time_h: None }).unwrap();
    assert_eq!(w.ship_time(), ShipTime { minutes: -60 });
    assert!(line(&w).starts_with("Ship's time: UTC−1") && !line(&w).contains("zone"), "{}", line(&w));
}

#[test]
fn the_handover_says_what_rest_each_had_and_where_it_was_little() {
    let mut w = rotating(1, crate::Kept::default());
    let said = |w: &Watch| -> Vec<String> {
        w.handover(w.now).lines.into_iter().filter(|l| l.contains("off watch")).collect()
    };
    w.advance(s(3600));
    assert_eq!(
        said(&w),
        ["Ada was off watch for 2 h of the last 2 h", "Bo was off watch for 0 s of the last 2 h"]
    );
    // The relief is ill: Ada stands on.
    for hour in 3..28 {
        w.take(s(hour * 3600 + 60), Input::Act(Act::Handover { who: "Ada".into() })).unwrap();
    }
    w.advance(s(28 * 3600));
    assert_eq!(
        said(&w),
        [
            "Ada was off watch for 3 min of the last 24 h, less than the 10 h of ships' crews, 4 h 3 min of the last 29 h",
            "Bo was off watch for 23 h 57 min of the last 24 h, 24 h 57 min of the last 29 h"
        ]
    );
}
