//! Carrying over what can be read of one logbook into a new and empty one.

use super::batch::count;
use super::error::Trouble;
use super::opening::OWN_NUMBER;
use super::pages::scavenge;
use crate::clock::Clock;
use record::Carried;
use rusqlite::types::Value;
use rusqlite::{Connection, params_from_iter};
use std::path::Path;
use std::time::Duration;
use terms::Moment;

/// The tables, those most missed first; the first column of each is its key. Deliveries are not among them: they wait
/// in memory, under the keys that their receivers know, and are written from there.
const TABLES: [&str; 12] = [
    "state_rows",
    "counters",
    "boot_rows",
    "run_rows",
    "feed_names",
    "entry_rows",
    "event_rows",
    "target_names",
    "own_rows",
    "feed_rows",
    "instrument_rows",
    "target_rows",
];
/// Rows between looks at the clock.
const LOOK_ROWS: u64 = 256;
/// How long rows are carried over by tables, and then by pages, before the new file is used with what it has. The watch
/// does not wait for it; events wait in memory meanwhile.
const CARRY: Duration = Duration::from_secs(20);

/// A logbook that cannot be used any more.
pub(super) struct Old<'a> {
    pub path: &'a Path,
    /// `None` if SQLite cannot open it.
    pub connection: Option<&'a Connection>,
    /// Nothing in it is damaged.
    pub sound: bool,
}

/// How one table went.
#[derive(Default)]
struct Table {
    rows: u64,
    whole: bool,
}

/// Copies every row that can be read, table by table, the newest first; what that does not reach, page by page. What is
/// read of a file that is not sound never counts as all of it. Only a logbook that was carried over whole keeps its own
/// number: else a copy that has the number may hold more.
///
/// # Errors
/// If the new file cannot be written.
pub(super) fn salvage(old: &Old<'_>, to: &Connection) -> rusqlite::Result<Carried> {
    let mut carried = Carried { whole: old.sound && old.connection.is_some(), ..Carried::default() };
    if let Some(from) = old.connection {
        let end = Clock.now() + CARRY;
        for table in TABLES {
            let t = to.unchecked_transaction()?;
            let copied = match copy_table(from, &t, table, end) {
                Ok(copied) => copied,
                Err(e) if Trouble::of(&e) == Trouble::Full => return Err(e),
                // The old file's trouble: the table cannot be read at all.
                Err(_) => Table::default(),
            };
            t.commit()?;
            carried.whole &= copied.whole;
            add(&mut carried, table, copied.rows);
        }
    }
    if !carried.whole {
        for (table, rows) in scavenge(old.path, to, Clock.now() + CARRY)? {
            add(&mut carried, table, rows);
        }
        to.execute("DELETE FROM counters WHERE name = ?1", [OWN_NUMBER])?;
        // Rows of boots whose own rows are lost: a later boot must have a later number.
        for table in ["event_rows", "entry_rows", "own_rows", "feed_rows", "instrument_rows", "target_rows"] {
            let sql = format!("INSERT OR IGNORE INTO boot_rows (id) SELECT DISTINCT boot FROM {table}");
            to.execute(&sql, [])?;
        }
    }
    // The counters may be what is lost.
    for (name, column) in [("event", "id"), ("alert", "alert"), ("casualty", "casualty")] {
        let last: Option<i64> =
            to.query_row(&format!("SELECT max({column}) FROM event_rows"), [], |r| r.get(0))?;
        if let Some(last) = last {
            count(to, name, last)?;
        }
    }
    Ok(carried)
}

fn add(carried: &mut Carried, table: &str, rows: u64) {
    match table {
        "event_rows" => carried.events += rows,
        "entry_rows" => carried.entries += rows,
        "own_rows" | "feed_rows" | "instrument_rows" | "target_rows" => carried.rows += rows,
        _ => {}
    }
}

/// Copies a table from its end; where a page cannot be read, from its beginning up to there.
fn copy_table(from: &Connection, to: &Connection, table: &str, end: Moment) -> rusqlite::Result<Table> {
    let mut copied = Table::default();
    let columns: Vec<String> = from
        .prepare(&format!("SELECT name FROM pragma_table_info('{table}')"))?
        .query_map([], |r| r.get(0))?
        .collect::<rusqlite::Result<_>>()?;
    let (names, places) = (columns.join(", "), vec!["?"; columns.len()].join(", "));
    let mut insert = to.prepare(&format!("INSERT OR IGNORE INTO {table} ({names}) VALUES ({places})"))?;
    for order in ["DESC", "ASC"] {
        let mut select = from.prepare(&format!("SELECT {names} FROM {table} ORDER BY 1 {order}"))?;
        let mut rows = select.query([])?;
        let mut refused = false;
        for n in 0.. {
            if n % LOOK_ROWS == 0 && Clock.now() >= end {
                return Ok(copied);
            }
            let row = match rows.next() {
                Ok(Some(row)) => row,
                // A whole pass in either direction has seen every row.
                Ok(None) => return Ok(Table { whole: !refused, ..copied }),
                Err(_) => break,
            };
            let values: rusqlite::Result<Vec<Value>> = (0..columns.len()).map(|i| row.get(i)).collect();
            let inserted = values.and_then(|values| insert.execute(params_from_iter(values)));
            match inserted {
                Ok(new) => copied.rows += new as u64,
                Err(e) if Trouble::of(&e) == Trouble::Full => return Err(e),
                // Damage made a value of it that has no place in its column.
                Err(_) => refused = true,
            }
        }
    }
    Ok(copied)
}
