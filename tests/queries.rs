//! What the README and the handbook say of the logbook and the demo holds: the columns of the views, every example, and
//! what the demo prints.

use crate::aboard::{Folder, text, verb};
use rusqlite::{Connection, OpenFlags};
use std::path::{Path, PathBuf};

/// The logbook of the README's demo.
fn demo(name: &str) -> (Folder, PathBuf) {
    let folder = Folder::new(name);
    let logbook = folder.demo_logbook();
    (folder, logbook)
}

fn read(name: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap()
}

/// The chapter that speaks of the logbook.
const MORNING: &str = "daemon/handbook/morning.md";

#[test]
fn each_example_of_the_handbook_answers() {
    let (_folder, logbook) = demo("examples");
    let c = Connection::open_with_flags(&logbook, OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap();
    let handbook = read(MORNING);
    let mut tried = 0;
    for line in handbook.lines().filter(|l| l.trim_start().starts_with("sqlite3 ")) {
        let sql = line.split_once('"').and_then(|(_, rest)| rest.strip_suffix('"')).expect(line);
        let mut statement = c.prepare(sql).unwrap_or_else(|e| panic!("{line}: {e}"));
        let columns = statement.column_count();
        let mut rows = statement.query([]).unwrap();
        let mut answers = 0;
        while let Some(row) = rows.next().unwrap_or_else(|e| panic!("{line}: {e}")) {
            let value = |n| row.get::<_, rusqlite::types::Value>(n).unwrap();
            let known = (0..columns).filter(|n| value(*n) != rusqlite::types::Value::Null).count();
            assert!(known == columns || answers > 0, "{line}: its first answer has gaps");
            answers += 1;
        }
        assert!(answers > 0, "{line} answers nothing");
        tried += 1;
    }
    assert!(tried >= 9, "{tried}");
}

#[test]
fn the_handbook_names_each_view_and_column_and_no_other() {
    let (_folder, logbook) = demo("columns");
    let c = Connection::open_with_flags(&logbook, OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap();
    let list = |sql: &str| -> Vec<String> {
        let mut s = c.prepare(sql).unwrap();
        s.query_map([], |r| r.get(0)).unwrap().map(Result::unwrap).collect()
    };
    let handbook = read(MORNING);
    let views = list("SELECT name FROM sqlite_schema WHERE type = 'view' ORDER BY name");
    let mut named: Vec<&str> = Vec::new();
    for view in &views {
        let head = format!("| `{view}` | ");
        let row =
            handbook.lines().find(|l| l.starts_with(&head)).unwrap_or_else(|| panic!("no row for {view}"));
        let told: Vec<&str> = row.rsplit_once(" | ").unwrap().1.split('`').skip(1).step_by(2).collect();
        assert_eq!(list(&format!("SELECT name FROM pragma_table_info('{view}')")), told, "{view}");
        named.push(view);
    }
    assert_eq!(named.len(), 10, "{named:?}");
}

#[test]
fn each_row_tells_whence_its_time_and_itself_come() {
    let (_folder, logbook) = demo("whence");
    let c = Connection::open_with_flags(&logbook, OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap();
    let one = |sql: &str| c.query_row(sql, [], |r| r.get::<_, i64>(0)).unwrap();
    for view in ["own", "targets", "instruments"] {
        let blank = format!(
            "SELECT count(*) FROM {view} WHERE feed IS NULL OR utc_source IS NULL OR steady_s IS NULL"
        );
        // What is worked out at a timer's moment comes by no feed: few rows.
        let all = one(&format!("SELECT count(*) FROM {view}"));
        assert!(one(&blank) * 20 < all, "{view}: {} of {all}", one(&blank));
    }
    // Where it waited for own position, the fix brings its row.
    assert!(
        one("SELECT count(*) FROM targets WHERE feed <> 'ais'") * 10 < one("SELECT count(*) FROM targets")
    );
    assert!(one("SELECT count(*) FROM own WHERE feed = 'gps'") > 600);
    assert!(one("SELECT count(*) FROM alerts WHERE mmsi IS NULL AND casualty IS NULL") > 0);
    assert_eq!(one("SELECT count(*) FROM alerts WHERE mmsi = '000000000'"), 0, "no target, no identity");
    assert!(one("SELECT count(*) FROM alerts WHERE event = 'raised' AND feed = 'ais'") > 0);
    assert_eq!(
        one("SELECT count(*) FROM entries WHERE kind = 'note' AND feed IS NOT NULL"),
        0,
        "the crew's word"
    );
}

/// Every line that the README shows of the demo, in its order.
#[test]
fn the_demo_prints_what_the_readme_shows() {
    let folder = Folder::new("demo-printed");
    let fixture = |name: &str| format!("{}/fixtures/{name}", env!("CARGO_MANIFEST_DIR"));
    let logbook = folder.logbook().display().to_string();
    let (boat, night) = (fixture("windlestraw.toml"), fixture("night-passage.toml"));
    let out = verb(&["replay", "--config", &boat, "--logbook", &logbook, &night]);
    let (out, readme) = (text(&out.stdout), read("README.md"));
    let shown = readme.split("ends with the review of the night:").nth(1).unwrap();
    let shown = shown.split("This runs the tests:").next().unwrap();
    let mut printed = out.lines();
    let mut lines = 0;
    for line in shown.lines().filter_map(|l| l.strip_prefix("    ")).filter(|l| l.trim() != "…") {
        let start = line.trim_end_matches('…').trim_end();
        assert!(printed.any(|p| p.starts_with(start)), "the demo prints no such line, or not there: {line}");
        lines += 1;
    }
    assert!(lines > 10, "{lines}");
    // The crew of the night answered every call; a line of the way back is no alert of its own.
    assert!(out.contains("5 alerts acknowledged") && !out.contains("never acknowledged"), "{out}");
}
