//! What becomes of the logbook when its file is taken from under the watch, spoilt, or cannot be written at a stop.

use crate::aboard::{Daemon, Folder, text, until};
use crate::records::{Disk, ask, at, log, open, own, record, settings, to};
use middlewatch::logbook::{Logbook, LogbookError};
use record::Entry;
use rules::Priority;
use std::io::{Seek, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

const CREW: &str = "[[crew]]\nname = \"Ada\"\nbeacon = \"970000000\"\n";

/// What may be done to the logbook of a folder.
type Deed = fn(&Path);

fn part(folder: &Path, suffix: &str) -> PathBuf {
    folder.join(format!("logbook.db{suffix}"))
}

fn delete_all(folder: &Path) {
    for suffix in ["", "-wal", "-shm"] {
        std::fs::remove_file(part(folder, suffix)).unwrap();
    }
}

fn delete_the_log(folder: &Path) {
    std::fs::remove_file(part(folder, "-wal")).unwrap();
}

fn move_away(folder: &Path) {
    std::fs::rename(part(folder, ""), folder.join("elsewhere.db")).unwrap();
}

fn put_another_in_its_place(folder: &Path) {
    let other = folder.join("other");
    std::fs::write(&other, "somebody's letters").unwrap();
    std::fs::rename(other, part(folder, "")).unwrap();
}

fn cut(folder: &Path) {
    std::fs::File::options().write(true).open(part(folder, "")).unwrap().set_len(0).unwrap();
}

fn cut_behind_its_first_page(folder: &Path) {
    let c = rusqlite::Connection::open(part(folder, "")).unwrap();
    c.query_row("PRAGMA wal_checkpoint(PASSIVE)", [], |_| Ok(())).unwrap();
    drop(c);
    std::fs::File::options().write(true).open(part(folder, "")).unwrap().set_len(4096).unwrap();
}

fn cut_the_log(folder: &Path) {
    std::fs::File::options().write(true).open(part(folder, "-wal")).unwrap().set_len(0).unwrap();
}

/// Lays a number of bytes over the file from an offset on, once all of it is in the file.
fn lay_over(folder: &Path, from: u64, byte: u8) {
    let path = part(folder, "");
    let c = rusqlite::Connection::open(&path).unwrap();
    c.busy_timeout(Duration::from_secs(5)).unwrap();
    c.query_row("PRAGMA wal_checkpoint(RESTART)", [], |_| Ok(())).unwrap();
    drop(c);
    let len = std::fs::metadata(&path).unwrap().len();
    let mut file = std::fs::File::options().write(true).open(&path).unwrap();
    file.seek(std::io::SeekFrom::Start(from)).unwrap();
    file.write_all(&vec![byte; usize::try_from(len - from).unwrap()]).unwrap();
}

fn zeros_over_the_pages(folder: &Path) {
    lay_over(folder, 8192, 0);
}

fn garbage_over_the_pages(folder: &Path) {
    lay_over(folder, 4096, 0x5a);
}

/// A deed is done under a watch with an open casualty; what the alert says has all these parts.
fn done_under_the_watch(name: &str, deed: Deed, says: &[&str], whole: bool) {
    let daemon = Daemon::start(name, CREW);
    assert!(daemon.tell(&["note", "before"]).status.success());
    assert!(daemon.tell(&["overboard", "Ada"]).status.success());
    let casualty = daemon.alert("person overboard");
    until("the record", || {
        let c = rusqlite::Connection::open(daemon.logbook()).ok()?;
        let sql = "SELECT 1 FROM alerts WHERE order_name = 'person overboard'";
        c.query_row(sql, [], |_| Ok(())).ok()
    });
    deed(&daemon.folder.0);
    let alert = daemon.alert("logbook failing");
    let told = alert["text"].as_str().unwrap();
    assert!(says.iter().all(|part| told.contains(part)), "{name}: {told}");
    assert_eq!(alert["state"], "active-unacknowledged", "{name}");
    assert!(daemon.tell(&["note", "after"]).status.success());
    // What is open is in the new file already when the power goes.
    let folder = daemon.crash();
    let file = folder.logbook();
    assert_eq!(ask::<String>(&file, "PRAGMA integrity_check"), "ok", "{name}");
    let count = |sql: &str| ask::<i64>(&file, &format!("SELECT count(*) FROM {sql}"));
    assert!(count("alerts WHERE order_name = 'person overboard' AND casualty = 1") >= 1, "{name}");
    assert_eq!(count("entries WHERE text = 'after'"), 1, "{name}");
    assert_eq!(count("entries WHERE facts LIKE '%\"entry\":\"set-aside\"%'"), 1, "{name}");
    if whole {
        assert_eq!(count("entries WHERE text = 'before'"), 1, "{name}");
        assert_eq!(count("alerts WHERE order_name = 'person overboard' AND event = 'raised'"), 1, "{name}");
    }
    let daemon = Daemon::start_in(folder, CREW);
    assert_eq!(daemon.alert("person overboard")["id"], casualty["id"], "{name}: the same alert goes on");
    assert_eq!(daemon.status()["casualties"][0]["crew"], "Ada", "{name}");
    daemon.stop();
}

#[test]
fn deleted_under_the_watch_it_goes_on_whole_in_a_new_file() {
    let says = ["logbook.db is gone", "Nothing was there to set aside", "has all of the old one"];
    done_under_the_watch("deleted", delete_all, &says, true);
    let says = ["logbook.db is gone", "has all of the old one"];
    done_under_the_watch("moved", move_away, &says, true);
}

#[test]
fn without_its_write_ahead_log_it_goes_on_whole_in_a_new_file() {
    let says = ["logbook.db-wal is gone", "set aside as", ".found-1", "has all of the old one"];
    done_under_the_watch("no-log", delete_the_log, &says, true);
}

#[test]
fn a_file_put_in_its_place_is_set_aside() {
    let says = ["another file stands in the place of logbook.db", ".found-1", "has all of the old one"];
    done_under_the_watch("replaced", put_another_in_its_place, &says, true);
}

#[test]
fn cut_short_under_the_watch_it_is_set_aside() {
    // The latest pages are in the log, where no tree leads to them any more.
    done_under_the_watch("cut", cut, &["logbook.db was cut from", " to 0 bytes", ".found-1"], true);
    // With the call, or the call and a line of the way back.
    let says = ["set aside as", "took over what could be read: ", " events, 3 entries"];
    done_under_the_watch("cut-behind", cut_behind_its_first_page, &says, true);
    done_under_the_watch("log-cut", cut_the_log, &["logbook.db-wal was cut from", ".found-1"], false);
}

/// How often the index of the log is cut, in a row, and to which sizes: to nothing, as SQLite does it, and in the middle.
const CUTS: [u64; 4] = [0, 3, 4096, 0];

#[test]
fn an_index_of_the_log_that_is_cut_under_the_watch_neither_ends_it_nor_hides_a_record() {
    let daemon = Daemon::start("index", CREW);
    let file = daemon.logbook();
    for (n, cut) in CUTS.into_iter().enumerate() {
        assert!(daemon.tell(&["note", &format!("before cut {n}")]).status.success());
        std::fs::File::options()
            .write(true)
            .open(part(&daemon.folder.0, "-shm"))
            .unwrap()
            .set_len(cut)
            .unwrap();
        let noted = daemon.tell(&["note", &format!("after cut {n}")]);
        assert!(noted.status.success(), "{n}: {}", text(&noted.stderr));
        assert!(!text(&noted.stdout).contains("waiting"), "{n}: {}", text(&noted.stdout));
        // Whoever reads beside the watch sees all of it.
        assert_eq!(counts(&file, "entries WHERE kind = 'note'"), 2 * (n as i64 + 1));
        assert_eq!(ask::<String>(&file, "PRAGMA integrity_check"), "ok", "{n}");
    }
    let status = daemon.status();
    let alerts = status["alerts"].as_array().unwrap();
    assert!(alerts.iter().all(|alert| alert["order"] != "logbook failing"), "nothing was lost: {status}");
    let folder = daemon.stop();
    assert_eq!(counts(&folder.logbook(), "entries WHERE kind = 'note'"), 2 * CUTS.len() as i64);
}

#[test]
fn a_new_file_that_was_whole_when_the_power_went_is_taken_up() {
    let daemon = Daemon::start("unfinished", CREW);
    assert!(daemon.tell(&["note", "before"]).status.success());
    assert!(daemon.tell(&["overboard", "Ada"]).status.success());
    let id = daemon.alert("person overboard")["id"].clone();
    let folder = daemon.stop();
    // The new file has its name; of the old one's files some have been set aside, and some have not.
    std::fs::rename(part(&folder.0, ""), part(&folder.0, ".new")).unwrap();
    std::fs::write(part(&folder.0, "-wal"), [0x5a; 9000]).unwrap();
    // One that was not whole is of no use.
    std::fs::write(part(&folder.0, ".new-part"), [0x5a; 9000]).unwrap();
    let daemon = Daemon::start_in(folder, CREW);
    assert_eq!(daemon.alert("person overboard")["id"], id, "the same alert goes on");
    let told = daemon.alert("logbook failing")["text"].as_str().unwrap().to_owned();
    assert!(told.contains("the run before was ended while it began a new file"), "{told}");
    assert_eq!(counts(&daemon.logbook(), "entries WHERE text = 'before'"), 1);
    assert!(!part(&daemon.folder.0, ".new").exists());
    daemon.stop();
}

#[test]
fn while_another_file_stands_in_its_place_no_copy_is_made_of_the_two() {
    let daemon = Daemon::start("two", CREW);
    assert!(daemon.tell(&["note", "before"]).status.success());
    // No new file can be begun for now.
    let hindrance = part(&daemon.folder.0, ".new-part");
    std::fs::create_dir(&hindrance).unwrap();
    put_another_in_its_place(&daemon.folder.0);
    until("the note to wait", || {
        text(&daemon.tell(&["note", "meanwhile"]).stdout).contains("waiting for the disk").then_some(())
    });
    let copy = daemon.folder.0.join("copy.db");
    let copied = daemon.tell(&["backup", copy.to_str().unwrap()]);
    assert!(text(&copied.stderr).contains("another file stands in the place of logbook.db"), "{copied:?}");
    assert!(!copied.status.success() && !copy.exists());
    std::fs::remove_dir(&hindrance).unwrap();
    daemon.alert("logbook failing");
    until("the new file", || part(&daemon.folder.0, ".found-1").exists().then_some(()));
    let folder = daemon.stop();
    assert_eq!(counts(&folder.logbook(), "entries WHERE text = 'before'"), 1);
    assert!(counts(&folder.logbook(), "entries WHERE text = 'meanwhile'") >= 1);
}

/// Fills a page with garbage where a note stands, or else the first one.
fn spoil(folder: &Path, note: Option<&str>) {
    let mut bytes = std::fs::read(part(folder, "")).unwrap();
    let at = note.map_or(0, |note| bytes.windows(note.len()).position(|w| w == note.as_bytes()).unwrap());
    bytes[at / 4096 * 4096..][..4096].fill(0x5a);
    std::fs::write(part(folder, ""), bytes).unwrap();
}

#[test]
fn of_a_file_with_a_spoilt_page_every_other_page_is_read() {
    // Long enough for pages of their own, and some for several.
    let note = |n: usize| format!("note {n:03} {}", "x".repeat(if n.is_multiple_of(7) { 990 } else { 300 }));
    for spoilt in [None, Some(100)] {
        let daemon = Daemon::start("spoilt", CREW);
        assert!((0..200).all(|n| daemon.tell(&["note", &note(n)]).status.success()));
        assert!(daemon.tell(&["overboard", "Ada"]).status.success());
        let id = daemon.alert("person overboard")["id"].clone();
        let folder = daemon.stop();
        spoil(&folder.0, spoilt.map(|n| format!("note {n:03}")).as_deref());
        let daemon = Daemon::start_in(folder, CREW);
        daemon.alert("logbook failing");
        assert_eq!(daemon.alert("person overboard")["id"], id, "the same alert goes on");
        assert_eq!(daemon.status()["casualties"][0]["crew"], "Ada");
        let left = counts(&daemon.logbook(), "entries WHERE kind = 'note' AND length(text) > 300");
        assert!(left >= if spoilt.is_some() { 180 } else { 200 }, "{left} of 200 with {spoilt:?} spoilt");
        assert_eq!(ask::<String>(&daemon.logbook(), "PRAGMA integrity_check"), "ok");
        daemon.stop();
    }
}

#[test]
fn spoilt_pages_under_the_watch_are_noticed_and_set_aside() {
    let says = ["the file is damaged", "set aside as", ".damaged-1"];
    done_under_the_watch("zeros", zeros_over_the_pages, &says, false);
    done_under_the_watch("garbage", garbage_over_the_pages, &says, false);
}

#[test]
fn whatever_is_found_at_the_start_the_watch_stands() {
    let deeds: [(&str, Deed); 3] = [
        ("all", |f| std::fs::write(part(f, ""), [0x5a; 9000]).unwrap()),
        ("pages", |f| {
            let mut bytes = std::fs::read(part(f, "")).unwrap();
            bytes[4096..].fill(0);
            std::fs::write(part(f, ""), bytes).unwrap();
        }),
        ("short", |f| std::fs::write(part(f, ""), "SQLite format 3").unwrap()),
    ];
    for (name, deed) in deeds {
        let daemon = Daemon::start("found", CREW);
        assert!(daemon.tell(&["note", "before"]).status.success());
        let folder = daemon.stop();
        deed(&folder.0);
        let daemon = Daemon::start_in(folder, CREW);
        let told = daemon.alert("logbook failing")["text"].as_str().unwrap().to_owned();
        assert!(told.contains("damaged-1") && told.contains("could"), "{name}: {told}");
        assert!(part(&daemon.folder.0, ".damaged-1").exists(), "{name}");
        let noted = daemon.tell(&["note", "after"]);
        assert!(!text(&noted.stdout).contains("waiting"), "{name}: {}", text(&noted.stdout));
        assert_eq!(ask::<i64>(&daemon.logbook(), "SELECT count(*) FROM entries WHERE text = 'after'"), 1);
        daemon.stop();
    }
}

#[test]
fn a_log_that_was_left_alone_is_read_and_not_deleted() {
    let daemon = Daemon::start("orphan", CREW);
    assert!(daemon.tell(&["note", "before"]).status.success());
    let folder = daemon.crash();
    let wal = std::fs::read(part(&folder.0, "-wal")).unwrap();
    std::fs::remove_file(part(&folder.0, "")).unwrap();
    let daemon = Daemon::start_in(folder, CREW);
    daemon.alert("logbook failing");
    assert_eq!(std::fs::read(part(&daemon.folder.0, ".damaged-1-wal")).unwrap(), wal);
    assert_eq!(ask::<i64>(&daemon.logbook(), "SELECT count(*) FROM entries WHERE text = 'before'"), 1);
    daemon.stop();
}

fn counts(file: &Path, sql: &str) -> i64 {
    ask(file, &format!("SELECT count(*) FROM {sql}"))
}

#[test]
fn what_a_locked_logbook_does_not_take_waits_in_a_file_for_the_next_start() {
    let daemon = Daemon::start("put-by", CREW);
    let file = daemon.logbook();
    let other = rusqlite::Connection::open(&file).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let noted = daemon.tell(&["note", "while it is locked"]);
    assert!(noted.status.success());
    assert!(text(&noted.stdout).contains("waiting for the disk"), "{}", text(&noted.stdout));
    let called = daemon.tell(&["overboard", "Ada"]);
    assert!(text(&called.stdout).contains("waiting for the disk"), "{}", text(&called.stdout));
    let alert = daemon.alert("person overboard");
    let began = Instant::now();
    let (folder, status, said) = daemon.end();
    assert!(began.elapsed() < Duration::from_secs(9), "{:?}", began.elapsed());
    assert_eq!(status.code(), Some(1), "{said}");
    let waiting = part(&folder.0, ".waiting-1");
    assert!(said.contains("records wait in") && waiting.exists(), "{said}");
    // It still cannot be written, and yet nobody is forgotten.
    let daemon = Daemon::start_in(folder, CREW);
    assert_eq!(daemon.alert("person overboard")["id"], alert["id"]);
    assert_eq!(daemon.status()["casualties"][0]["crew"], "Ada");
    assert!(waiting.exists());
    other.execute_batch("ROLLBACK").unwrap();
    drop(other);
    until("the records to be taken in", || (!waiting.exists()).then_some(()));
    let once = |file: &Path| {
        assert_eq!(counts(file, "entries WHERE text = 'while it is locked'"), 1);
        let raised = "alerts WHERE order_name = 'person overboard' AND event = 'raised'";
        assert_eq!(counts(file, raised), 1);
        let numbers = "event_rows WHERE id != json_extract(record, '$.log_id')";
        assert_eq!(counts(file, numbers), 0);
        assert_eq!(ask::<String>(file, "PRAGMA integrity_check"), "ok");
    };
    once(&file);
    let daemon = Daemon::start_in(daemon.stop(), CREW);
    once(&file);
    daemon.stop();
}

#[test]
fn waiting_records_are_taken_in_in_order_and_once() {
    let folder = Folder::new("once");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    assert_eq!(log(&logbook, 1, Priority::Alarm, 5), Ok(1));
    let early = logbook.due("shore", &at(5), None, 10).remove(0);
    let other = rusqlite::Connection::open(folder.logbook()).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    log(&logbook, 2, Priority::Warning, 10).unwrap_err();
    logbook.entry(at(11), Entry::Note { who: None, text: "one".to_owned() });
    logbook.entry(at(12), Entry::Note { who: None, text: "two".to_owned() });
    logbook.event(at(13), &record(3, 1, Priority::Alarm, 13), to("shore"));
    logbook.own(at(14), own(50.0));
    logbook.save_state(at(15), "board", "kept");
    logbook.delivered(early.id);
    let closed = logbook.close(at(20)).blocking_recv().unwrap();
    let Err(LogbookError::PutBy { file, records, .. }) = closed else { panic!("{closed:?}") };
    assert!(records >= 4, "{records}");
    let copy = std::fs::read(&file).unwrap();
    other.execute_batch("ROLLBACK").unwrap();
    for round in 0..2 {
        let (logbook, recovered) = open(&folder.logbook(), "a", 30 + round * 10);
        assert!(recovered.stopped_in_order && recovered.same_boot);
        assert_eq!((recovered.states["board"].as_str(), recovered.next_alert), ("kept", 4));
        assert_eq!(recovered.states.len(), 1);
        assert!(!file.exists());
        let due = logbook.due("shore", &at(31), None, 10);
        let numbers: Vec<bool> =
            [3, 2].iter().zip(&due).map(|(n, d)| d.body.contains(&format!("\"log_id\":{n}"))).collect();
        assert_eq!(numbers, [true, true], "{due:?}");
        assert_eq!(due.len(), 2, "the first had arrived");
        let texts: String =
            ask(&folder.logbook(), "SELECT group_concat(text) FROM (SELECT text FROM entries)");
        assert_eq!(texts, "one,two");
        assert_eq!(counts(&folder.logbook(), "alerts"), 3);
        assert_eq!(counts(&folder.logbook(), "own"), 1);
        assert_eq!(counts(&folder.logbook(), "run_rows"), 2 + round);
        assert_eq!(counts(&folder.logbook(), "boot_rows"), 1);
        logbook.close(at(35 + round * 10)).blocking_recv().unwrap().unwrap();
        // As if the power had gone before the file was removed.
        std::fs::write(&file, &copy).unwrap();
    }
    // What cannot be read is set aside and keeps nobody from standing the watch.
    std::fs::write(&file, "no logbook").unwrap();
    let (_, recovered) = open(&folder.logbook(), "a", 60);
    assert!(recovered.set_aside.is_some() && !file.exists());
}

#[test]
#[ignore = "mounts a small disk, and so needs to be root"]
fn a_stop_on_a_full_disk_leaves_the_records_in_the_room_kept_for_them() {
    let folder = Folder::new("full-stop");
    let mounted = folder.0.join("disk");
    let _disk = Disk::new(&mounted, 4096);
    let file = mounted.join("logbook.db");
    let body = format!("{CREW}[logbook]\npath = {file:?}\n");
    let daemon = Daemon::start_in(folder, &body);
    until("the room", || mounted.join("logbook.db.reserve").exists().then_some(()));
    let filler = mounted.join("filler");
    let mut fill = std::fs::File::create(&filler).unwrap();
    while fill.write_all(&[0; 1024]).is_ok() {}
    drop(fill);
    let mut n = 0;
    until("the disk to be full", || {
        n += 1;
        let noted = daemon.tell(&["note", &format!("remark {n}, {}", "x".repeat(900))]);
        assert!(noted.status.success());
        text(&noted.stdout).contains("waiting for the disk").then_some(())
    });
    daemon.alert("logbook failing");
    assert!(daemon.tell(&["overboard", "Ada"]).status.success());
    let (folder, status, said) = daemon.end();
    assert_eq!(status.code(), Some(1), "{said}");
    assert!(mounted.join("logbook.db.waiting-1").exists(), "{said}");
    std::fs::remove_file(&filler).unwrap();
    let daemon = Daemon::start_in(folder, &body);
    assert_eq!(daemon.status()["casualties"][0]["crew"], "Ada");
    assert!(!mounted.join("logbook.db.waiting-1").exists());
    assert_eq!(counts(&file, "entries WHERE kind = 'note'"), n);
    let raised = "alerts WHERE order_name = 'person overboard' AND event = 'raised'";
    assert_eq!(counts(&file, raised), 1);
    daemon.stop();
}

#[test]
fn only_a_logbook_that_goes_on_whole_counts_as_the_one_its_copies_were_made_of() {
    let folder = Folder::new("lineage");
    let (logbook, _) = open(&folder.logbook(), "a", 0);
    log(&logbook, 1, Priority::Alarm, 5).unwrap();
    let copy = folder.0.join("copy.db");
    logbook.backup(&copy).blocking_recv().unwrap().unwrap();
    logbook.close(at(10)).blocking_recv().unwrap().unwrap();
    std::fs::write(folder.logbook(), [0x5a; 5000]).unwrap();
    let (logbook, _) = Logbook::open(folder.logbook(), settings("b", 0)).unwrap();
    let refused = logbook.backup(&copy).blocking_recv().unwrap();
    assert!(matches!(refused, Err(LogbookError::NoCopyThere { .. })), "{refused:?}");
    assert_eq!(counts(&copy, "alerts"), 1, "the night is still there");
}
