//! Copies of the logbook: where they go, and where never.

use crate::aboard::{Daemon, Folder, text};
use crate::records::ask;
use std::path::Path;

fn counts(file: &Path, sql: &str) -> i64 {
    ask(file, &format!("SELECT count(*) FROM {sql}"))
}

#[test]
fn no_copy_overwrites_what_is_not_an_earlier_copy() {
    let folder = Folder::new("copies");
    let orders = folder.write("orders.toml", "version = 1\n");
    folder.write("token", "a-secret-token-of-enough-letters\n");
    let daemon = Daemon::start_in(folder, &format!("[orders]\npath = {orders:?}\n"));
    assert!(daemon.tell(&["note", "before"]).status.success());
    let there = |name: &str| daemon.folder.0.join(name);
    let other = Folder::new("other-boat");
    std::fs::copy(other.demo_logbook(), there("theirs.db")).unwrap();
    std::fs::write(there("letters"), "somebody's letters").unwrap();
    std::fs::write(there("empty"), "").unwrap();
    std::fs::create_dir(there("folder")).unwrap();
    std::os::unix::fs::symlink(there("logbook.db-wal"), there("link-to-log")).unwrap();
    std::os::unix::fs::symlink(&orders, there("link-to-orders")).unwrap();
    std::os::unix::fs::symlink(there("nothing"), there("link-to-nothing")).unwrap();
    std::os::unix::fs::symlink(&daemon.folder.0, there("way")).unwrap();
    std::fs::hard_link(there("logbook.db-wal"), there("second-name")).unwrap();
    std::fs::write(there("left.db-wal"), "a log").unwrap();
    nix::unistd::mkfifo(&there("pipe"), nix::sys::stat::Mode::S_IRWXU).unwrap();
    let refused = [
        "logbook.db",
        "logbook.db-wal",
        "logbook.db-shm",
        "logbook.db-lock",
        "logbook.db-journal",
        "logbook.db.waiting-1",
        "way/logbook.db-wal",
        "way/logbook.db-journal",
        "control.sock",
        "orders.toml",
        "boat.toml",
        "token",
        "stderr",
        "theirs.db",
        "letters",
        "empty",
        "folder",
        "link-to-log",
        "link-to-orders",
        "link-to-nothing",
        "second-name",
        "left.db",
        "pipe",
    ];
    let state = |name: &str| {
        let path = there(name);
        let kind = std::fs::symlink_metadata(&path).ok().map(|m| m.file_type());
        // What the daemon itself writes is compared by kind alone; nobody waits for a pipe.
        let written = name.contains("logbook") || ["stderr", "pipe", "second-name"].contains(&name);
        (kind, if written { None } else { std::fs::read(&path).ok() })
    };
    for name in refused {
        let before = state(name);
        let out = daemon.tell(&["backup", there(name).to_str().unwrap()]);
        let why = text(&out.stderr);
        assert!(!out.status.success() && why.contains("no copy is written to"), "{name}: {why}");
        assert_eq!(state(name), before, "{name}");
    }
    let nowhere = daemon.tell(&["backup", there("none/copy.db").to_str().unwrap()]);
    assert!(!nowhere.status.success());
    // A new name, then over that copy, as often as one likes.
    let copy = there("copy.db");
    for n in 1..=3 {
        let out = daemon.tell(&["backup", copy.to_str().unwrap()]);
        assert!(out.status.success(), "{}", text(&out.stderr));
        assert_eq!(counts(&copy, "entries WHERE text = 'before'"), 1);
        assert_eq!(counts(&copy, "entries WHERE kind = 'note'"), n);
        assert!(daemon.tell(&["note", "more"]).status.success());
    }
    let parts = std::fs::read_dir(&daemon.folder.0).unwrap().flatten();
    assert!(!parts.map(|e| e.file_name()).any(|n| n.to_string_lossy().contains(".part")));
    // A copy that holds more than the logbook is no earlier one.
    rusqlite::Connection::open(&copy)
        .unwrap()
        .execute("INSERT OR REPLACE INTO counters VALUES ('event', 9999)", [])
        .unwrap();
    let out = daemon.tell(&["backup", copy.to_str().unwrap()]);
    assert!(text(&out.stderr).contains("holds what this logbook does not"), "{}", text(&out.stderr));
    assert_eq!(ask::<String>(&daemon.logbook(), "PRAGMA integrity_check"), "ok");
    daemon.stop();
}
