//! Hours of rest of a webhook: they put a post off and drop none, over a kill and a restart too.

use crate::aboard::{Daemon, Folder, until};
use crate::records::{EVENING, at, log, open, record, settings, to};
use crate::rough::{Does, Rough};
use crate::webhook::{Aboard, PATIENCE, check_keys, taken, webhook};
use boat::Rest;
use middlewatch::clock::Clock;
use middlewatch::logbook::{Logbook, LogbookSettings};
use record::{EventRecord, Stamp};
use rules::{AlertState, EventKind, Priority};
use std::path::Path;
use terms::{Moment, Utc, UtcSource};

const HOUR: i64 = 3600;

/// From ten to six.
fn rest() -> Option<Rest> {
    Some(Rest::new(22 * 60, 6 * 60))
}

/// Somebody acknowledges it.
fn acknowledged(alert: u32, seq: u32, priority: Priority, s: i64) -> EventRecord {
    let mut record = record(alert, seq, priority, s);
    record.event = EventKind::Acknowledged;
    record.alert.state = Some(AlertState::ActiveAcknowledged);
    record
}

fn put(logbook: &Logbook, record: &EventRecord, at: Stamp) {
    logbook.event(at, record, to("shore")).blocking_recv().unwrap().unwrap();
}

/// Alerts and numbers of the events that are due, each taken as delivered.
fn take(logbook: &Logbook, now: &Stamp) -> Vec<(u64, u64)> {
    let one = || {
        let due = logbook.due("shore", now, rest(), 1).pop()?;
        logbook.delivered(due.id);
        let v: serde_json::Value = serde_json::from_str(&due.body).unwrap();
        Some((v["alert"]["id"].as_u64()?, v["seq"].as_u64()?))
    };
    std::iter::from_fn(one).collect()
}

/// In another boot, whose steady time is its own: seconds since that evening began.
fn later(s: i64) -> Stamp {
    Stamp { steady: Moment(s * 10), utc: Some((Utc(EVENING + s * 1000), UtcSource::System)), feed: None }
}

#[test]
fn posts_wait_for_the_end_of_rest_or_an_alarm_of_their_alert_over_a_kill_too() {
    let folder = Folder::new("rest-kill");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    let night = HOUR;
    log(&logbook, 1, Priority::Warning, night).unwrap();
    put(&logbook, &acknowledged(1, 2, Priority::Warning, night), at(night + 60));
    log(&logbook, 2, Priority::Caution, night).unwrap();
    log(&logbook, 3, Priority::Notice, night).unwrap();
    log(&logbook, 4, Priority::Warning, night).unwrap();
    let now = at(night + 120);
    assert_eq!(take(&logbook, &now), []);
    assert_eq!(logbook.next_due("shore", &now, rest()), None, "nothing to wake for before rest ends");
    put(&logbook, &record(4, 2, Priority::Alarm, night), now);
    log(&logbook, 5, Priority::EmergencyAlarm, night).unwrap();
    assert_eq!(
        take(&logbook, &now),
        [(5, 1), (4, 1), (4, 2)],
        "an alarm takes along what its alert has waiting"
    );
    put(&logbook, &record(2, 2, Priority::Caution, night), now);
    logbook.flush().blocking_recv().unwrap().unwrap();

    // What a killed daemon leaves: its files as they are on disk.
    let left = Folder::new("rest-left");
    for name in ["logbook.db", "logbook.db-wal"] {
        std::fs::copy(folder.logbook().with_file_name(name), left.logbook().with_file_name(name)).unwrap();
    }
    let opened = later(2 * HOUR);
    let (logbook, recovered) =
        Logbook::open(left.logbook(), LogbookSettings { opened, ..settings("b", 0) }).unwrap();
    assert_eq!((recovered.pending_deliveries, recovered.stopped_in_order), (5, false));
    assert_eq!(take(&logbook, &later(6 * HOUR - 1)), [], "five hours old, and none has aged");
    assert_eq!(take(&logbook, &later(6 * HOUR)), [(1, 1), (1, 2), (2, 1), (2, 2), (3, 1)]);
}

#[test]
fn what_waits_does_not_age_while_its_signal_rests() {
    let folder = Folder::new("rest-age");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    for (alert, priority) in [(1, Priority::Notice), (2, Priority::Caution), (3, Priority::Warning)] {
        log(&logbook, alert, priority, HOUR).unwrap();
    }
    let due = |now: &Stamp| logbook.due("shore", now, rest(), 10).len();
    assert_eq!(due(&at(6 * HOUR)), 3);
    assert_eq!(due(&at(7 * HOUR)), 3);
    assert_eq!(due(&at(7 * HOUR + 1)), 2, "an hour in which it could have gone");
    assert_eq!(due(&at(12 * HOUR + 1)), 1);
}

#[test]
fn an_answer_to_a_call_that_has_gone_out_does_not_rest() {
    let folder = Folder::new("rest-answer");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    let night = 22 * HOUR;
    log(&logbook, 1, Priority::Warning, night - 60).unwrap();
    assert_eq!(take(&logbook, &at(night - 30)), [(1, 1)]);
    put(&logbook, &record(1, 2, Priority::Warning, night), at(night));
    assert_eq!(take(&logbook, &at(night)), [], "a repeat is a call");
    assert_eq!(take(&logbook, &at(night + 8 * HOUR)), [(1, 2)]);
    put(&logbook, &acknowledged(1, 3, Priority::Warning, night), at(night + 24 * HOUR));
    assert_eq!(take(&logbook, &at(night + 24 * HOUR)), [(1, 3)]);
}

#[test]
fn while_the_time_is_not_known_no_post_rests() {
    let folder = Folder::new("rest-unknown");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    log(&logbook, 1, Priority::Warning, HOUR).unwrap();
    assert_eq!(take(&logbook, &at(HOUR)), []);
    assert_eq!(take(&logbook, &Stamp { utc: None, ..at(HOUR) }), [(1, 1)]);
}

const THREE_HOURS: i64 = 3 * 3_600_000;

/// Hours of rest round about a moment: the computer's clock and the test agree about them.
fn rest_about(now: Utc) -> String {
    let hour = |ms: i64| {
        let minutes = (now.0 + ms).rem_euclid(86_400_000) / 60_000;
        format!("{:02}:{:02}", minutes / 60, minutes % 60)
    };
    format!("rest = \"{} to {}\"\n", hour(-THREE_HOURS), hour(THREE_HOURS))
}

#[test]
fn the_daemon_keeps_its_hours_by_the_computer_s_clock_until_satellites_tell() {
    let folder = Folder::new("rest-daemon");
    let lamp = folder.0.join("lamp");
    let daemon = Daemon::start_in(
        folder,
        &format!(
            "[[feed]]\nname = \"mux\"\nudp = \"127.0.0.1:0\"\nsilent_after = \"1 s\"\n\
             [[signal]]\nname = \"cabin\"\nlamp = {{ recorded = {lamp:?} }}\n{}",
            rest_about(Clock.utc())
        ),
    );
    assert_eq!(daemon.alert("feed silent")["priority"], "warning");
    assert!(daemon.tell(&["acknowledge"]).status.success());
    let told = Clock.now();
    assert!(daemon.tell(&["overboard"]).status.success());
    let first = until("light", || {
        let text = std::fs::read_to_string(&lamp).ok()?;
        text.lines().next()?.split_once(' ')?.0.parse::<i64>().ok()
    });
    assert!(first >= told.0, "lit {} ms before there was an emergency", told.0 - first);
}

#[test]
fn an_acknowledgement_in_hours_of_rest_is_not_posted_before_its_call_and_neither_is_lost_by_a_restart() {
    let folder = Folder::new("rest-webhook");
    let receiver = Rough::start(|_| Does::Good);
    let now = Clock.utc();
    let signal = webhook(receiver.address, &rest_about(now));
    let start = || Aboard::start(Path::new("boat.toml"), &signal, &folder.logbook());

    let mut aboard = start();
    aboard.signals.beat(Some(now), terms::ShipTime::default());
    aboard.tell(1, 1, Priority::Warning);
    aboard.tell_record(acknowledged(1, 2, Priority::Warning, 0), false);
    aboard.tell(2, 1, Priority::Alarm);
    let posts = receiver.wait("the alarm", PATIENCE, |p| !p.is_empty());
    assert_eq!(posts[0].event(), (2, 1), "the acknowledgement before its call, or in hours of rest");
    aboard.wait_until_left(2);
    aboard.stop();

    let mut aboard = start();
    aboard.tell(3, 1, Priority::Alarm);
    let posts = receiver.wait("another alarm", PATIENCE, |p| p.len() > 1);
    assert_eq!(posts[1].event(), (3, 1));
    aboard.signals.beat(Some(now.plus_ms(THREE_HOURS + 60_000)), terms::ShipTime::default());
    let posts = receiver.wait("what waited", PATIENCE, |p| taken(p).len() == 4);
    assert_eq!([posts[2].event(), posts[3].event()], [(1, 1), (1, 2)]);
    check_keys(&posts);
    aboard.stop();
}
