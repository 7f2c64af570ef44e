//! Keeping the logbook over the years: copies, what makes room, and damage that nobody stumbles over.

use crate::aboard::Folder;
use crate::records::{Disk, ask, at, log, open, own, record, settings, target, wait_for};
use middlewatch::logbook::{Logbook, LogbookError, LogbookSettings, Trouble};
use middlewatch::review::{self, Span};
use record::{Entry, Removed, Stamp};
use rules::{EventKind, Priority};
use terms::{Utc, UtcSource};

#[test]
fn a_copy_is_whole_while_the_log_goes_on() {
    let folder = Folder::new("copy");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    for n in 1..50 {
        log(&logbook, n, Priority::Alarm, i64::from(n)).unwrap();
    }
    let to = folder.0.join("copy.db");
    logbook.backup(&to).blocking_recv().unwrap().unwrap();
    // Over yesterday's.
    let copied = logbook.backup(&to);
    for n in 50..60 {
        log(&logbook, n, Priority::Alarm, i64::from(n)).unwrap();
    }
    let bytes = copied.blocking_recv().unwrap().unwrap();
    assert_eq!(std::fs::metadata(&to).unwrap().len(), bytes);
    assert_eq!(ask::<String>(&to, "PRAGMA integrity_check"), "ok");
    let events: i64 = ask(&to, "SELECT count(*) FROM alerts");
    assert!((49..60).contains(&events));
    // The copy is a logbook like any other.
    let (copy, recovered) = open(&to, "b", 0);
    assert_eq!(i64::from(recovered.next_alert), events + 1);
    copy.close(at(1)).blocking_recv().unwrap().unwrap();
    assert!(logbook.backup(folder.logbook()).blocking_recv().unwrap().is_err(), "not onto itself");
    let nowhere = logbook.backup(folder.0.join("none").join("copy.db")).blocking_recv().unwrap();
    assert!(matches!(nowhere, Err(LogbookError::Disk { .. })));
    assert_eq!(log(&logbook, 60, Priority::Alarm, 100), Ok(60));
}

#[test]
fn old_rows_go_by_age_and_alerts_stay() {
    let folder = Folder::new("age");
    let day = 86_400;
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    let write = |s: i64| {
        logbook.own(at(s), own(50.0));
        logbook.target(at(s), target(200_000_001, 1.0));
        let mut notice = record(7, 1, Priority::Notice, s);
        notice.event = EventKind::Noted;
        logbook.event(at(s), &notice, Vec::new()).blocking_recv().unwrap().unwrap();
    };
    log(&logbook, 1, Priority::Alarm, 5).unwrap();
    write(10);
    write(70);
    // Within ten minutes room is made.
    (0..12).for_each(|minute| write(390 * day + minute * 60));
    let old = |table: &str| {
        ask::<i64>(&folder.logbook(), &format!("SELECT count(*) FROM {table} WHERE steady_s < 100"))
    };
    wait_for("the old target", || old("targets") == 0);
    assert!(ask::<i64>(&folder.logbook(), "SELECT count(*) FROM targets") > 0);
    assert_eq!(old("own"), 2, "own track stays longer");
    (0..12).for_each(|minute| write(410 * day + minute * 60));
    wait_for("the old track", || old("own") == 0);
    assert_eq!(old("alerts"), 1, "alerts stay, notices do not");
    let health = logbook.health().borrow().clone();
    assert_eq!(health.removed.rows.get("own track"), Some(&2), "{}", health.removed);
    // One entry for each day on which something went.
    let said = "SELECT group_concat(text, '|') FROM (SELECT text FROM entries WHERE kind = 'removed' ORDER BY steady_s)";
    let said = ask::<String>(&folder.logbook(), said);
    let said: Vec<&str> = said.split('|').collect();
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(said[0].contains("within its bounds: 2 of targets; the latest of 2026-11-01"), "{said:?}");
    assert!(said[1].contains(" 2 of events, 2 of own track; "), "{said:?}");
}

/// Waits until the writing thread has taken everything and has cared for the file after it.
fn settled(logbook: &Logbook) {
    for _ in 0..2 {
        logbook.flush().blocking_recv().unwrap().unwrap();
    }
}

const DAY_S: i64 = 86_400;

#[test]
fn no_date_however_late_removes_anything() {
    let folder = Folder::new("late");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    for s in (0..17 * DAY_S).step_by(600) {
        logbook.own(at(s), own(50.0));
        logbook.target(at(s), target(200_000_001, 1.0));
    }
    settled(&logbook);
    let rows = || {
        let count = |table: &str| {
            ask::<i64>(
                &folder.logbook(),
                &format!("SELECT count(*) FROM {table} WHERE steady_s < 17 * 86400"),
            )
        };
        (count("own"), count("targets"))
    };
    let before = rows();
    assert_eq!(before, (17 * 144, 17 * 144));
    // Twelve hours in which a satellite says 2099.
    for s in (17 * DAY_S..17 * DAY_S + DAY_S / 2).step_by(60) {
        let in_2099 = Stamp { utc: Some((Utc(4_070_908_800_000 + s * 1000), UtcSource::Satellite)), ..at(s) };
        logbook.own(in_2099, own(50.0));
        logbook.target(in_2099, target(200_000_001, 1.0));
        if s % 1200 == 0 {
            settled(&logbook);
        }
    }
    settled(&logbook);
    assert_eq!(rows(), before);
    assert_eq!(logbook.health().borrow().removed, Removed::default());
}

#[test]
fn age_is_the_time_that_the_watch_has_stood_over_all_boots() {
    let folder = Folder::new("stood");
    let stand = |boot: &str, days: i64| {
        let (logbook, _) = open(&folder.logbook(), boot, 0);
        for s in (0..days * DAY_S).step_by(DAY_S as usize / 2) {
            logbook.target(at(s), target(200_000_001, 1.0));
        }
        (0..25).for_each(|minute| logbook.own(at(days * DAY_S + minute * 60), own(50.0)));
        settled(&logbook);
        logbook.close(at(days * DAY_S + 1500)).blocking_recv().unwrap().unwrap();
    };
    let left = || ask::<i64>(&folder.logbook(), "SELECT count(*) FROM targets");
    stand("a", 20);
    assert_eq!(left(), 40);
    // Nobody knows how long the computer was off in between: it does not count.
    stand("b", 30);
    assert_eq!(left(), 100);
    // After 65 days at least the first five are older than sixty, and none of the sixth.
    stand("c", 15);
    let first: f64 = ask(&folder.logbook(), "SELECT min(steady_s) FROM targets WHERE boot = 1");
    assert_eq!(first, 5.0 * 86_400.0 + 43_200.0, "half an hour more than 65 days");
}

#[test]
fn a_flood_of_events_pushes_out_neither_the_night_nor_alarms_nor_what_people_wrote() {
    let folder = Folder::new("flood");
    let tight = LogbookSettings { limit_bytes: Some(3_000_000), ..settings("a", 0) };
    let (logbook, _) = Logbook::open(folder.logbook(), tight).unwrap();
    let event = |n: u32, priority: Priority, order: &str, s: i64| {
        let mut r = record(n, 1, priority, s);
        r.alert.order = order.to_owned();
        r.alert.text = "x".repeat(300);
        drop(logbook.event(at(s), &r, Vec::new()));
    };
    for n in 0..300_u32 {
        let s = i64::from(n) * 60;
        logbook.own(at(s), own(50.0));
        logbook.target(at(s), target(200_000_001, 1.0));
        if n % 10 == 0 {
            event(n + 1, Priority::Alarm, "shoal", s);
            event(n + 2, Priority::Warning, "wind", s);
            logbook.entry(at(s), Entry::Note { who: None, text: format!("note {n}") });
        }
    }
    settled(&logbook);
    for n in 0..8_000_u32 {
        event(1000 + n, Priority::Warning, "flood", 18_000 + i64::from(n));
        if n % 200 == 0 {
            logbook.own(at(18_000 + i64::from(n)), own(50.0));
            settled(&logbook);
        }
    }
    settled(&logbook);
    assert!(logbook.health().borrow().is_good(), "{:?}", logbook.health().borrow());
    assert_eq!(logbook.health().borrow().dropped, 0);
    let count = |what: &str| {
        ask::<i64>(&folder.logbook(), &format!("SELECT count(*) FROM {what} AND steady_s < 18000"))
    };
    assert_eq!(count("own WHERE TRUE"), 300);
    assert_eq!(count("targets WHERE TRUE"), 300);
    assert_eq!(count("alerts WHERE order_name = 'shoal'"), 30);
    assert_eq!(count("alerts WHERE order_name = 'wind'"), 30);
    assert_eq!(count("entries WHERE kind = 'note'"), 30);
    let flood: i64 = ask(&folder.logbook(), "SELECT count(*) FROM alerts WHERE order_name = 'flood'");
    let newest: i64 = ask(&folder.logbook(), "SELECT max(alert) FROM alerts");
    assert!(flood > 500 && newest == 8_999, "{flood} {newest}");
    let removed = logbook.health().borrow().removed.clone();
    assert_eq!(removed.rows.get("events"), Some(&(8_000 - flood as u64)), "{removed}");
    assert_eq!(ask::<i64>(&folder.logbook(), "SELECT count(*) FROM entries WHERE kind = 'removed'"), 1);
    assert!(
        ask::<String>(&folder.logbook(), "SELECT text FROM entries WHERE kind = 'removed'")
            .contains(&format!("{} of events", 8_000 - flood))
    );
    logbook.close(at(30_000)).blocking_recv().unwrap().unwrap();
    assert!(std::fs::metadata(folder.logbook()).unwrap().len() <= 3_000_000);
}

#[test]
fn entries_and_names_beyond_their_share_make_room_for_themselves() {
    let folder = Folder::new("notes");
    let tight = LogbookSettings { limit_bytes: Some(3_000_000), ..settings("a", 0) };
    let (logbook, _) = Logbook::open(folder.logbook(), tight).unwrap();
    let read = |n: i64| Entry::OrdersRead { from: format!("{n} {}", "x".repeat(300)) };
    for n in 0..300_i64 {
        logbook.own(at(n * 60), own(50.0));
        logbook.entry(
            at(n * 60),
            if n % 10 == 0 { read(n) } else { Entry::Note { who: None, text: n.to_string() } },
        );
    }
    settled(&logbook);
    for n in 0..10_000_i64 {
        logbook.entry(at(18_000 + n), read(n));
        if n % 500 == 0 {
            logbook.own(at(18_000 + n), own(50.0));
            settled(&logbook);
        }
    }
    settled(&logbook);
    assert!(logbook.health().borrow().is_good(), "{:?}", logbook.health().borrow());
    let count = |what: &str| ask::<i64>(&folder.logbook(), &format!("SELECT count(*) FROM {what}"));
    assert_eq!(count("own WHERE steady_s < 18000"), 300);
    assert_eq!(count("entries WHERE kind = 'note'"), 270, "the program's own go first");

    // Four days of forged ships, each heard once.
    let ships = |range: std::ops::Range<u32>| {
        for n in range {
            logbook.target(at(30_000 + i64::from(n / 100) * 900), target(200_000_000 + n, 1.0));
        }
        settled(&logbook);
    };
    (0..80).for_each(|part| ships(part * 500..(part + 1) * 500));
    assert!(logbook.health().borrow().is_good(), "{:?}", logbook.health().borrow());
    assert_eq!(count("own WHERE steady_s < 18000"), 300);
    let removed = logbook.health().borrow().removed.clone();
    assert!(removed.rows["names of targets"] > 1000, "{removed}");
    assert_eq!(
        count("targets WHERE name IS NULL AND steady_s > (SELECT max(steady_s) FROM targets) - 80000"),
        0
    );
}

#[test]
fn near_its_limit_the_oldest_targets_make_room() {
    let folder = Folder::new("size");
    let tight = LogbookSettings { limit_bytes: Some(1_500_000), ..settings("a", 0) };
    let (logbook, _) = Logbook::open(folder.logbook(), tight).unwrap();
    let mut n = 0;
    // Ten days, 100 ships a row each twenty minutes: some 4 MB.
    for s in (0..864_000).step_by(1200) {
        (0..100).for_each(|ship| logbook.target(at(s), target(200_000_000 + ship, 1.0)));
        logbook.own(at(s), own(50.0));
        n += 1;
        log(&logbook, n, Priority::Warning, s).unwrap();
        assert!(logbook.health().borrow().is_good(), "{:?}", logbook.health().borrow());
        logbook.due("shore", &at(s), None, 10).iter().for_each(|d| logbook.delivered(d.id));
    }
    logbook.close(at(864_000)).blocking_recv().unwrap().unwrap();
    assert!(std::fs::metadata(folder.logbook()).unwrap().len() <= 1_500_000);
    assert_eq!(ask::<i64>(&folder.logbook(), "SELECT count(*) FROM alerts"), i64::from(n));
    assert_eq!(ask::<i64>(&folder.logbook(), "SELECT count(*) FROM own"), i64::from(n));
    let lately =
        ask::<i64>(&folder.logbook(), "SELECT count(*) FROM targets WHERE steady_s >= 864000 - 86400");
    assert_eq!(lately, 72 * 100, "the last day is whole");
}

#[test]
fn flipped_bits_never_stop_the_log_or_the_review() {
    let folder = Folder::new("bits");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    for n in 1..120 {
        let s = i64::from(n) * 60;
        logbook.own(at(s), own(50.0));
        logbook.target(at(s), target(200_000_000 + n % 7, 1.0));
        logbook.save_state(at(s), "board", &"b".repeat(50));
        log(&logbook, n, Priority::Alarm, s).unwrap();
    }
    logbook.close(at(7200)).blocking_recv().unwrap().unwrap();
    let whole = std::fs::read(folder.logbook()).unwrap();
    let mut seed = 0x2545_f491_4f6c_dd1d_u64;
    let mut random = move |below: usize| {
        seed ^= seed << 13;
        seed ^= seed >> 7;
        seed ^= seed << 17;
        (seed % below as u64) as usize
    };
    let (mut aside, mut seen) = (0, 0);
    for round in 0..80 {
        let spoilt = folder.0.join(format!("{round}.db"));
        let mut bytes = whole.clone();
        for _ in 0..=random(8) {
            bytes[random(whole.len())] ^= 1 << random(8);
        }
        std::fs::write(&spoilt, &bytes).unwrap();
        match review::read(&spoilt, Span::default()) {
            Ok(night) => {
                seen += usize::from(night.unreadable > 0);
                night.print();
            }
            Err(_) => seen += 1,
        }
        assert_eq!(std::fs::read(&spoilt).unwrap(), bytes, "a review changes nothing");
        // What the header says may be a newer form or another program's file: those are left alone and told.
        let Ok((logbook, recovered)) = Logbook::open(&spoilt, settings("b", 0)) else { continue };
        aside += usize::from(recovered.set_aside.is_some());
        assert!(log(&logbook, 9000, Priority::Alarm, 5).is_ok() || !logbook.health().borrow().is_good());
        logbook.close(at(10)).blocking_recv().unwrap().ok();
    }
    println!("{aside} set aside at once, {seen} seen by the review, of 80");
    assert!(seen > 40, "records carry a sum");
}

#[test]
fn damage_nobody_stumbles_over_is_found_by_the_check() {
    let folder = Folder::new("check");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    for n in 1..400 {
        let mut long = record(n, 1, Priority::Alarm, 1);
        long.alert.text = "x".repeat(3000);
        logbook.event(at(1), &long, Vec::new()).blocking_recv().unwrap().unwrap();
    }
    logbook.save_state(at(2), "board", "kept");
    logbook.close(at(2)).blocking_recv().unwrap().unwrap();
    // The head of a page in the middle.
    let mut bytes = std::fs::read(folder.logbook()).unwrap();
    let middle = bytes.len() / 2 / 4096 * 4096;
    bytes[middle..middle + 8].fill(0x5a);
    std::fs::write(folder.logbook(), bytes).unwrap();
    let (logbook, recovered) = open(&folder.logbook(), "a", 3);
    assert_eq!(recovered.set_aside, None);
    // The first minute ends.
    logbook.own(at(10), own(50.0));
    logbook.own(at(70), own(50.0));
    wait_for("the check", || logbook.health().borrow().set_aside.is_some());
    assert_eq!(log(&logbook, 400, Priority::Alarm, 80), Ok(400), "numbers count on");
    let carried = logbook.health().borrow().set_aside.as_ref().unwrap().carried;
    assert!(!carried.whole && carried.events > 380, "all but what stood in one page: {carried:?}");
    assert_eq!(ask::<i64>(&folder.logbook(), "SELECT count(*) FROM alerts"), carried.events as i64 + 1);
    assert_eq!(ask::<String>(&folder.logbook(), "SELECT json FROM state_rows"), "kept");
}

#[test]
fn a_long_reader_does_not_leave_a_long_write_ahead_log() {
    let folder = Folder::new("wal");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    log(&logbook, 1, Priority::Alarm, 1).unwrap();
    let reader = rusqlite::Connection::open(folder.logbook()).unwrap();
    reader.execute_batch("BEGIN; SELECT count(*) FROM event_rows").unwrap();
    let write = |from: u32| {
        for n in from..from + 110 {
            let mut long = record(n, 1, Priority::Alarm, i64::from(n));
            long.alert.text = "x".repeat(100_000);
            logbook.event(at(i64::from(n)), &long, Vec::new()).blocking_recv().unwrap().unwrap();
        }
    };
    write(2);
    let wal = || std::fs::metadata(folder.0.join("logbook.db-wal")).unwrap().len();
    assert!(wal() > 10_000_000, "the reader holds it: {}", wal());
    reader.execute_batch("COMMIT").unwrap();
    write(112);
    assert!(wal() <= 8 << 20, "{} after the reader has gone", wal());
}

#[test]
#[ignore = "mounts a small disk, and so needs to be root"]
fn on_a_disk_that_is_full_or_read_only_the_watch_goes_on() {
    let folder = Folder::new("disk");
    let mounted = folder.0.join("disk");
    let disk = Disk::new(&mounted, 64);
    let path = mounted.join("logbook.db");
    // Too small even for the empty logbook.
    let (logbook, _, error) = Logbook::open_or_wait(&path, settings("a", 0));
    assert!(matches!(error, Some(LogbookError::Disk { why: Trouble::Full, .. })), "{error:?}");
    log(&logbook, 1, Priority::Alarm, 1).unwrap_err();
    disk.mount("remount,size=1000k");
    wait_for("room", || logbook.health().borrow().is_good());
    assert_eq!(ask::<i64>(&path, "SELECT count(*) FROM alerts"), 1);

    // Full to the last byte by somebody else.
    let filler = mounted.join("filler");
    let mut file = std::fs::File::create(&filler).unwrap();
    while std::io::Write::write_all(&mut file, &[0; 1024]).is_ok() {}
    let error = (2..200).find_map(|n| log(&logbook, n, Priority::Alarm, i64::from(n)).err()).unwrap();
    assert!(matches!(error, LogbookError::Disk { why: Trouble::Full, .. }), "{error:?}");
    drop(file);
    std::fs::remove_file(&filler).unwrap();
    wait_for("room again", || logbook.health().borrow().is_good());

    logbook.save_state(at(899), "board", "kept");
    logbook.close(at(899)).blocking_recv().unwrap().unwrap();
    disk.mount("remount,ro");
    let (logbook, recovered, error) = Logbook::open_or_wait(&path, settings("a", 899));
    assert!(matches!(error, Some(LogbookError::Disk { why: Trouble::ReadOnly, .. })), "{error:?}");
    assert_eq!(recovered.states["board"], "kept", "a case outlasts a disk that cannot be written");
    assert!(recovered.next_alert > 2 && recovered.pending_deliveries > 0);
    let waiting = logbook.deliveries_waiting();
    log(&logbook, 900, Priority::Alarm, 900).unwrap_err();
    assert!(review::read(&path, Span::default()).unwrap().alerts.len() > 1, "it can be reviewed");
    disk.mount("remount,rw");
    wait_for("writing", || logbook.health().borrow().is_good());
    assert_eq!(ask::<i64>(&path, "SELECT count(*) FROM alerts WHERE alert = 900"), 1);
    assert_eq!(logbook.deliveries_waiting(), waiting + 1, "none of them twice");
    assert_eq!(ask::<i64>(&path, "SELECT count(*) FROM delivery_rows"), waiting as i64 + 1);
    assert_eq!(ask::<String>(&path, "PRAGMA integrity_check"), "ok");
    logbook.close(at(1000)).blocking_recv().unwrap().unwrap();
}
