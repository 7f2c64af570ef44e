//! The logbook on a real disk: power cuts, full disks, damaged files, and what is due after a restart.

use middlewatch::logbook::{Logbook, LogbookError, LogbookSettings, Pace, Trouble};
use record::{Entry, FeedRow, Stamp};
use rules::Priority;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::Stdio;
use std::time::Duration;
use terms::{Moment, Position, Quantity, Utc, UtcSource};

use crate::aboard::{Folder, alone, shim};
use crate::records::{EVENING, ask, at, log, open, own, record, settings, target, to, wait_for};

#[test]
fn an_event_is_on_disk_before_its_number_is_told() {
    let folder = Folder::new("number");
    let (logbook, recovered) = open(&folder.logbook(), "a", 0);
    assert_eq!((recovered.next_alert, recovered.next_casualty), (1, 1));
    assert!(recovered.stopped_in_order && recovered.last_sign.is_none() && !recovered.same_boot);
    assert_eq!(log(&logbook, 1, Priority::Alarm, 10), Ok(1));
    assert_eq!(log(&logbook, 2, Priority::Alarm, 11), Ok(2));
    // Another connection sees it while the daemon still has the file.
    let json: String = ask(&folder.logbook(), "SELECT record FROM event_rows WHERE id = 2");
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!((json["log_id"].as_i64(), json["alert"]["id"].as_i64()), (Some(2), Some(2)));
    assert_eq!(
        ask::<String>(&folder.logbook(), "SELECT utc FROM alerts WHERE log_id = 1"),
        "2026-11-01T00:00:10.000Z"
    );
    // What is due carries the number too.
    let due = logbook.due("shore", &at(11), None, 10);
    assert_eq!(due.len(), 2);
    assert!(due[1].body.contains("\"log_id\":2"), "{}", due[1].body);
    assert!(logbook.due("elsewhere", &at(11), None, 10).is_empty());
}

#[test]
fn a_second_daemon_is_refused() {
    let folder = Folder::new("second");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    assert_eq!(
        Logbook::open(folder.logbook(), settings("a", 0)).err(),
        Some(LogbookError::InUse { path: folder.logbook() })
    );
    logbook.close(at(5)).blocking_recv().unwrap().unwrap();
    open(&folder.logbook(), "a", 6);
}

#[test]
fn rows_are_thinned_and_written_when_the_minute_ends() {
    let folder = Folder::new("thin");
    // At the pace of a replay: live, so many rows at once would not wait for room.
    let fast = LogbookSettings { pace: Pace::Replay, ..settings("a", 0) };
    let (logbook, _) = Logbook::open(folder.logbook(), fast).unwrap();
    for s in 0..121 {
        logbook.own(at(s), own(50.0 + s as f64 * 1e-4));
        logbook.instrument(at(s), Quantity::Heading, if s % 2 == 0 { 355.0 } else { 15.0 });
        logbook.instrument(at(s), Quantity::ApparentWindSpeed, 10.0 + (s % 60) as f64);
        for n in 0..300u32 {
            // Every ship is nearest in the middle of the minute.
            logbook.target(at(s), target(200_000_000 + n, f64::from(n) + (s % 60 - 30).abs() as f64));
        }
    }
    logbook.flush().blocking_recv().unwrap().unwrap();
    let file = folder.logbook();
    let minutes = "SELECT count(*) FROM target_rows WHERE steady_ms < 120000";
    assert_eq!(ask::<i64>(&file, minutes), 400, "200 a minute");
    assert_eq!(ask::<i64>(&file, "SELECT count(DISTINCT mmsi) FROM targets"), 200, "the nearest");
    let farthest = "SELECT max(range_nm) FROM targets WHERE steady_s < 120";
    assert_eq!(ask::<f64>(&file, farthest), 199.0, "where it was nearest");
    assert_eq!(ask::<i64>(&file, "SELECT count(*) FROM own"), 13);
    let wind = "SELECT least || ' ' || mean || ' ' || greatest || ' ' || last || ' ' || readings
                FROM instruments WHERE quantity = 'apparent wind speed' LIMIT 1";
    assert_eq!(ask::<String>(&file, wind), "10.0 39.5 69.0 69.0 60");
    let heading = "SELECT least || ' ' || round(mean, 6) || ' ' || greatest FROM instruments WHERE quantity = 'heading'";
    assert_eq!(ask::<String>(&file, heading), "355.0 5.0 15.0", "through north");
}

#[test]
fn what_was_not_delivered_is_due_after_a_restart_the_most_urgent_first() {
    let folder = Folder::new("outbox");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    log(&logbook, 1, Priority::Notice, 10).unwrap();
    log(&logbook, 2, Priority::Warning, 11).unwrap();
    log(&logbook, 3, Priority::EmergencyAlarm, 12).unwrap();
    log(&logbook, 4, Priority::Alarm, 13).unwrap();
    let due = logbook.due("shore", &at(14), None, 10);
    let arrived = due.iter().find(|d| d.priority == Priority::Alarm).unwrap();
    logbook.delivered(arrived.id);
    logbook.failed(due[0].id, Moment(60_000));
    assert!(logbook.due("shore", &at(14), None, 10).iter().all(|d| d.priority < Priority::Alarm));
    assert_eq!(logbook.due("shore", &at(61), None, 10)[0].tries, 1);
    logbook.close(at(20)).blocking_recv().unwrap().unwrap();

    // Two hours later in another boot: the notice is news to nobody, the others are.
    let later =
        Stamp { steady: Moment(3000), utc: Some((Utc(EVENING + 7_200_000), UtcSource::System)), feed: None };
    let (logbook, recovered) =
        Logbook::open(folder.logbook(), LogbookSettings { opened: later, ..settings("b", 0) }).unwrap();
    assert_eq!((recovered.pending_deliveries, recovered.next_alert, recovered.same_boot), (3, 5, false));
    assert!(recovered.stopped_in_order);
    assert_eq!(recovered.last_sign, Some(at(20)));
    let due = logbook.due("shore", &later, None, 10);
    assert_eq!(
        due.iter().map(|d| d.priority).collect::<Vec<_>>(),
        [Priority::EmergencyAlarm, Priority::Warning]
    );
    assert!(due[0].body.contains("\"log_id\":3") && !due[0].same_boot && due[0].at.utc == at(12).utc);
    due.iter().for_each(|d| logbook.delivered(d.id));
    logbook.flush().blocking_recv().unwrap().unwrap();
    assert_eq!(ask::<i64>(&folder.logbook(), "SELECT count(*) FROM delivery_rows"), 0);
}

#[test]
fn states_outlive_a_restart() {
    let folder = Folder::new("state");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    logbook.save_state(at(1), "casualty 1", "{\"id\":1}");
    logbook.save_state(at(1), "board", "1");
    logbook.save_state(at(2), "board", "2");
    log(&logbook, 1, Priority::Alarm, 2).unwrap();
    drop(logbook);
    // The last handle has gone: the file is closed soon.
    let mut opened = None;
    wait_for("the file", || {
        opened = Logbook::open(folder.logbook(), settings("a", 30)).ok();
        opened.is_some()
    });
    let (logbook, recovered) = opened.unwrap();
    assert_eq!(recovered.states.get("board").map(String::as_str), Some("2"));
    assert_eq!(recovered.states.len(), 2);
    assert!(recovered.same_boot && recovered.last_sign_same_boot);
    logbook.save_state(at(31), "board", "3");
    logbook.close(at(32)).blocking_recv().unwrap().unwrap();
    let states = open(&folder.logbook(), "b", 0).1.states;
    assert_eq!((states.len(), states["board"].as_str()), (2, "3"));
}

/// Runs in a process of its own, which is killed while it writes: `power_cut` starts it.
#[test]
#[ignore = "is the process that power_cut kills"]
fn writes_until_it_is_killed() {
    let Ok(path) = std::env::var("MIDDLEWATCH_TEST_LOGBOOK") else { return };
    let (logbook, _) = open(Path::new(&path), "a", 0);
    for n in 1..1_000_000 {
        let s = i64::from(n);
        logbook.own(at(s), own(50.0));
        logbook.save_state(at(s), "board", &n.to_string());
        let id = log(&logbook, n, Priority::Alarm, s).unwrap();
        println!("{id}");
        std::io::stdout().flush().unwrap();
    }
}

#[test]
fn after_a_kill_every_number_told_is_there_with_its_delivery_and_state() {
    let folder = Folder::new("kill");
    for round in 0..5u64 {
        let mut child = alone("logbook::writes_until_it_is_killed")
            .env("MIDDLEWATCH_TEST_LOGBOOK", folder.logbook())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let mut numbers = lines.map_while(Result::ok).filter_map(|l| l.trim().parse::<i64>().ok());
        let first = numbers.next().unwrap();
        let mut told = numbers.nth(3 + round as usize * 7).unwrap();
        child.kill().unwrap();
        told = numbers.last().unwrap_or(told);
        child.wait().unwrap();
        assert!(told > first);

        let (logbook, recovered) = open(&folder.logbook(), "a", 1_000_000);
        let file = folder.logbook();
        let last: i64 = ask(&file, "SELECT max(id) FROM event_rows");
        assert!(last == told || last == told + 1, "told {told}, found {last}");
        assert_eq!(ask::<i64>(&file, "SELECT count(*) FROM event_rows"), last);
        assert_eq!(ask::<i64>(&file, "SELECT count(*) FROM delivery_rows"), last.min(4000));
        let alert: i64 = ask(&file, "SELECT alert FROM event_rows ORDER BY id DESC LIMIT 1");
        assert_eq!(recovered.states["board"].parse::<i64>().unwrap(), alert);
        assert!(!recovered.stopped_in_order);
        assert_eq!(ask::<String>(&file, "PRAGMA integrity_check"), "ok");
        logbook.close(at(1_000_001)).blocking_recv().unwrap().unwrap();
    }
}

#[test]
fn a_full_disk_loses_nothing_that_fits_in_memory() {
    let folder = Folder::new("full");
    // SQLite's own bound gives its own SQLITE_FULL, as a full disk does.
    let tight = LogbookSettings { limit_bytes: Some(150_000), ..settings("a", 0) };
    let (logbook, _) = Logbook::open(folder.logbook(), tight).unwrap();
    let mut health = logbook.health();
    let mut alert = 0;
    let error = loop {
        alert += 1;
        if let Err(error) = log(&logbook, alert, Priority::Alarm, i64::from(alert)) {
            break error;
        }
        assert!(alert < 10_000);
    };
    assert!(matches!(error, LogbookError::Disk { why: Trouble::Full, .. }), "{error}");
    assert!(health.borrow_and_update().failing.is_some());
    let fitted = i64::from(alert) - 1;
    // It is due all the same, without a number: the watch goes on.
    let now = at(i64::from(alert) + 1);
    let due = logbook.due("shore", &now, None, 10_000);
    assert!(due.iter().any(|d| d.body.contains("\"log_id\":null")));
    logbook.save_state(now, "board", "kept");

    // Room again, made by another process: the waiting record is written without being asked for.
    let other = rusqlite::Connection::open(folder.logbook()).unwrap();
    other.busy_timeout(Duration::from_secs(5)).unwrap();
    assert_eq!(other.query_row("SELECT count(*) FROM event_rows", [], |r| r.get(0)), Ok(fitted));
    other.execute("DELETE FROM event_rows WHERE id <= 20", []).unwrap();
    wait_for("the record", || logbook.health().borrow().is_good());
    assert_eq!(ask::<i64>(&folder.logbook(), "SELECT max(id) FROM event_rows"), fitted + 1);
    assert_eq!(ask::<String>(&folder.logbook(), "SELECT json FROM state_rows"), "kept");
    assert_eq!(logbook.health().borrow().dropped, 0);
    assert_eq!(ask::<String>(&folder.logbook(), "PRAGMA integrity_check"), "ok");
}

#[test]
fn what_waited_is_written_when_the_file_can_be_opened() {
    let folder = Folder::new("late");
    let path = folder.0.join("not-yet").join("logbook.db");
    let (logbook, recovered, error) = Logbook::open_or_wait(&path, settings("a", 0));
    assert!(matches!(error, Some(LogbookError::Disk { why: Trouble::CannotOpen, .. })), "{error:?}");
    assert_eq!(recovered.next_alert, 1);
    assert!(!logbook.health().borrow().is_good());
    logbook.save_state(at(1), "board", "kept");
    let waits = log(&logbook, 1, Priority::Alarm, 1);
    assert!(matches!(waits, Err(LogbookError::Disk { .. })), "{waits:?}");
    let due = logbook.due("shore", &at(1), None, 10);
    assert!(due.is_empty(), "waits 250 ms for the disk");
    let due = logbook.due("shore", &at(2), None, 10);
    assert!(due[0].body.contains("\"log_id\":null"));
    logbook.delivered(due[0].id);
    log(&logbook, 2, Priority::Alarm, 3).unwrap_err();

    std::fs::create_dir(path.parent().unwrap()).unwrap();
    // No event, no row: it is tried again by itself.
    wait_for("the file", || logbook.health().borrow().is_good());
    assert_eq!(ask::<i64>(&path, "SELECT count(*) FROM event_rows"), 2);
    assert_eq!(ask::<i64>(&path, "SELECT count(*) FROM delivery_rows"), 1, "one has been delivered");
    assert_eq!(ask::<String>(&path, "SELECT json FROM state_rows"), "kept");
    assert!(logbook.due("shore", &at(4), None, 10)[0].body.contains("\"log_id\":2"));
    assert_eq!(log(&logbook, 3, Priority::Alarm, 4), Ok(3));
}

#[test]
fn a_damaged_file_is_set_aside_and_what_can_be_read_is_carried_over() {
    let folder = Folder::new("damaged");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    logbook.save_state(at(1), "casualty 1", "{}");
    for n in 1..50 {
        log(&logbook, n, Priority::Alarm, i64::from(n)).unwrap();
    }
    logbook.close(at(60)).blocking_recv().unwrap().unwrap();
    let before = std::fs::read(folder.logbook()).unwrap();
    let damages = [("header", 0, 16, 49), ("all of it", 0, before.len(), 0), ("first page", 16, 4096, 49)];
    for (damage, from, to, readable) in damages {
        let mut bytes = before.clone();
        bytes[from..to].fill(0x5a);
        std::fs::write(folder.logbook(), &bytes).unwrap();
        let (logbook, recovered) = open(&folder.logbook(), "b", 0);
        let aside = recovered.set_aside.clone().unwrap_or_else(|| panic!("{damage}"));
        assert!(std::fs::read(aside.to.as_ref().unwrap()).unwrap() == bytes, "{damage}: kept as it was");
        assert_eq!(logbook.health().borrow().set_aside, Some(aside));
        let carried = logbook.health().borrow().set_aside.as_ref().unwrap().carried;
        assert_eq!((carried.events, recovered.states.len() as u64), (readable, readable.min(1)), "{damage}");
        assert_eq!(i64::from(recovered.next_alert), readable as i64 + 1, "{damage}");
        assert_eq!(log(&logbook, 50, Priority::Alarm, 1), Ok(readable as i64 + 1), "{damage}");
        logbook.close(at(2)).blocking_recv().unwrap().unwrap();
    }
}

#[test]
fn a_file_damaged_while_it_is_open_is_replaced_and_the_record_written() {
    let folder = Folder::new("rot");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    logbook.save_state(at(1), "casualty 1", "{}");
    // More than SQLite keeps in memory, so that it must read old pages again.
    for n in 1..600 {
        let mut long = record(n, 1, Priority::Alarm, i64::from(n));
        long.alert.text = "x".repeat(8000);
        logbook.event(at(i64::from(n)), &long, to("shore")).blocking_recv().unwrap().unwrap();
    }
    let due = logbook.due("shore", &at(600), None, 1000);
    // Spoil the file and the write-ahead log beside it.
    for part in ["logbook.db", "logbook.db-wal"] {
        let path = folder.0.join(part);
        let len = std::fs::metadata(&path).unwrap().len() as usize;
        let mut f = std::fs::File::options().write(true).open(&path).unwrap();
        f.write_all(&vec![0x5a; len]).unwrap();
    }
    let mut n = 600;
    wait_for("a new file", || {
        n += 1;
        logbook.delivered(due[n as usize % due.len()].id);
        let _ = log(&logbook, n, Priority::Alarm, i64::from(n));
        logbook.health().borrow().set_aside.is_some()
    });
    assert!(log(&logbook, n + 1, Priority::Alarm, 500).is_ok());
    assert!(logbook.health().borrow().is_good());
    assert_eq!(ask::<String>(&folder.logbook(), "PRAGMA integrity_check"), "ok");
    assert_eq!(
        ask::<String>(&folder.logbook(), "SELECT json FROM state_rows"),
        "{}",
        "states are in the new file"
    );
    assert!(
        ask::<i64>(&folder.logbook(), "SELECT count(*) FROM delivery_rows") > 300,
        "what was due still is"
    );
}

#[test]
fn a_newer_or_foreign_file_is_left_as_it_is() {
    let folder = Folder::new("newer");
    drop(open(&folder.logbook(), "a", 0));
    wait_for("the file", || Logbook::open(folder.logbook(), settings("a", 1)).is_ok());
    wait_for("the close", || !folder.0.join("logbook.db-wal").exists());
    let c = rusqlite::Connection::open(folder.logbook()).unwrap();
    c.pragma_update(None, "user_version", 999).unwrap();
    drop(c);
    let before = std::fs::read(folder.logbook()).unwrap();
    let error = Logbook::open(folder.logbook(), settings("a", 2)).unwrap_err();
    assert!(matches!(error, LogbookError::Newer { found: 999, .. }), "{error}");
    assert_eq!(std::fs::read(folder.logbook()).unwrap(), before);

    let foreign = folder.0.join("other.db");
    rusqlite::Connection::open(&foreign)
        .unwrap()
        .execute_batch("CREATE TABLE t (a); PRAGMA user_version = 1")
        .unwrap();
    let error = Logbook::open(&foreign, settings("a", 3)).unwrap_err();
    assert_eq!(error, LogbookError::NotALogbook { path: foreign });
}

#[test]
fn a_file_of_a_form_before_the_first_release_is_set_aside() {
    let folder = Folder::new("old");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    log(&logbook, 7, Priority::Alarm, 1).unwrap();
    logbook.close(at(2)).blocking_recv().unwrap().unwrap();
    rusqlite::Connection::open(folder.logbook()).unwrap().pragma_update(None, "user_version", 5).unwrap();
    let before = std::fs::read(folder.logbook()).unwrap();
    let refused = middlewatch::review::read(folder.logbook(), middlewatch::review::Span::default());
    assert!(refused.unwrap_err().to_string().contains("has form 5, from before the first release"));

    let (logbook, recovered) = open(&folder.logbook(), "b", 3);
    let aside = recovered.set_aside.unwrap();
    assert_eq!(
        (aside.to.clone(), std::fs::read(aside.to.as_ref().unwrap()).unwrap()),
        (Some(folder.0.join("logbook.db.old-1")), before)
    );
    assert!(matches!(aside.why, LogbookError::TooOld { found: 5, .. }), "{:?}", aside.why);
    assert_eq!((recovered.next_alert, recovered.states.len(), recovered.pending_deliveries), (1, 0, 0));
    assert_eq!(log(&logbook, 1, Priority::Alarm, 4), Ok(1), "the new one is written");
}

#[test]
fn a_replay_waits_for_room_and_drops_nothing() {
    let folder = Folder::new("replay");
    let fast = LogbookSettings { boot: None, pace: Pace::Replay, ..settings("", 0) };
    let (logbook, _) = Logbook::open(folder.logbook(), fast).unwrap();
    for s in 0..100_000 {
        logbook.own(at(s * 10), own(50.0));
    }
    log(&logbook, 1, Priority::Alarm, 1_000_000).unwrap();
    logbook.close(at(1_000_000)).blocking_recv().unwrap().unwrap();
    assert!(middlewatch::review::was_replayed(folder.logbook()).unwrap());
    let left: Vec<_> = std::fs::read_dir(&folder.0).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(left, ["logbook.db"], "nothing is left beside it");
    assert_eq!(ask::<i64>(&folder.logbook(), "SELECT count(*) FROM own"), 100_000);
    open(&folder.logbook(), "at sea", 0).0.close(at(1)).blocking_recv().unwrap().unwrap();
    assert!(!middlewatch::review::was_replayed(folder.logbook()).unwrap());
    assert_eq!(logbook.health().borrow().dropped, 0);
}

#[test]
fn steady_time_orders_the_log_whatever_utc_does() {
    let folder = Folder::new("steady");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    let odd = |s: i64, utc_s: i64| Stamp {
        steady: Moment(s * 1000),
        utc: (utc_s >= 0).then(|| (Utc(EVENING + utc_s * 1000), UtcSource::System)),
        feed: None,
    };
    for (s, utc) in [(1, -1), (2, 5000), (3, 10), (4, 4), (5, -1)] {
        logbook.entry(odd(s, utc), Entry::Note { who: None, text: s.to_string() });
    }
    logbook.flush().blocking_recv().unwrap().unwrap();
    let c = rusqlite::Connection::open(folder.logbook()).unwrap();
    let texts: Vec<String> = c
        .prepare("SELECT text FROM entries")
        .unwrap()
        .query_map([], |r| r.get(0))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    assert_eq!(texts, ["1", "2", "3", "4", "5"]);
}

/// Runs in a process of its own, whose writes are counted: twelve hours, four busy feeds, more ships than are kept.
#[test]
#[ignore = "is the process that the write volume is measured of"]
fn a_busy_night() {
    let Ok(path) = std::env::var("MIDDLEWATCH_TEST_LOGBOOK") else { return };
    let (logbook, _) = open(Path::new(&path), "a", 0);
    let quantities = [
        Quantity::Sog,
        Quantity::Cog,
        Quantity::Heading,
        Quantity::SpeedThroughWater,
        Quantity::DepthBelowTransducer,
        Quantity::DepthBelowKeel,
        Quantity::WaterTemperature,
        Quantity::Pressure,
        Quantity::ApparentWindSpeed,
        Quantity::ApparentWindAngle,
        Quantity::TrueWindSpeed,
        Quantity::TrueWindDirection,
        Quantity::BatteryVoltage,
    ];
    let hours: i64 = std::env::var("MIDDLEWATCH_TEST_HOURS").map_or(12, |h| h.parse().unwrap());
    for s in 0..hours * 3600 {
        let wobble = (s % 97) as f64 / 7.0;
        logbook.own(at(s), own(50.0 + s as f64 * 1e-5));
        quantities.iter().for_each(|q| logbook.instrument(at(s), *q, 100.0 + wobble));
        if s % 10 == 0 {
            for n in 0..250u32 {
                let mut t = target(200_000_000 + n, 2.0 + f64::from(n) * 0.1 + wobble);
                (t.cpa_nm, t.tcpa_s) = (Some(f64::from(n) * 0.1), Some(900.0));
                t.position = Some(Position::new(50.0 + wobble * 0.013, -6.0 + f64::from(n) * 1e-3).unwrap());
                logbook.target(at(s), t);
            }
        }
        for feed in ["a", "b", "c", "d"] {
            logbook.feed(
                at(s),
                FeedRow {
                    feed: feed.into(),
                    bytes: s as u64 * 900,
                    sentences: s as u64 * 11,
                    refused: 0,
                    dropped: 0,
                },
            );
        }
        if s % 120 == 59 && s > 120 {
            // Faster than the disk would be no night: what ended a minute ago is written before more comes.
            wait_for("the disk", || {
                let signed = "SELECT max(to_ms) FROM run_rows";
                ask::<i64>(Path::new(&path), signed) >= (s - 59) * 1000
            });
        }
    }
    logbook.close(at(hours * 3600)).blocking_recv().unwrap().unwrap();
    assert_eq!(logbook.health().borrow().dropped, 0);
    println!("written {}", std::fs::read_to_string("/proc/self/io").unwrap().replace('\n', " "));
}

#[test]
fn a_busy_night_stays_under_20_megabytes_and_2000_syncs() {
    // Two hours stand for twelve; in the deep run all twelve are taken.
    let hours: u64 = std::env::var("MIDDLEWATCH_TEST_HOURS").map_or(2, |h| h.parse().unwrap());
    let folder = Folder::new("volume");
    let counted = folder.0.join("syncs");
    let child = alone("logbook::a_busy_night")
        .env("MIDDLEWATCH_TEST_LOGBOOK", folder.logbook())
        .env("MIDDLEWATCH_TEST_HOURS", hours.to_string())
        .env("LD_PRELOAD", shim("power", &folder.0))
        .env("SYNC_COUNT", &counted)
        .output()
        .unwrap();
    assert!(child.status.success(), "{}", String::from_utf8_lossy(&child.stderr));
    let out = String::from_utf8(child.stdout).unwrap();
    let field = out.split_once("wchar: ").unwrap().1.split(' ').next().unwrap();
    let written: u64 = field.parse().unwrap();
    // Bytes passed to the write calls, the write-ahead log's included.
    let (written, syncs) = (written * 12 / hours, std::fs::metadata(&counted).unwrap().len() * 12 / hours);
    println!("in 12 h: {:.1} MB written, {syncs} syncs", written as f64 / 1e6);
    assert!(written < 20_000_000, "{} MB in 12 h", written / 1_000_000);
    assert!(syncs > 100 && syncs < 2000, "{syncs} syncs in 12 h");
    assert!(
        ask::<i64>(&folder.logbook(), "SELECT count(*) FROM target_rows") > 5_000,
        "and yet it is all there"
    );
}
