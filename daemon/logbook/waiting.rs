//! Records that the disk did not take before the daemon stopped. They are put by in a small logbook of their own beside
//! the logbook, for which room is kept, and the next start takes them in: in order, and once.

use super::anew::sync_folder;
use super::batch::{Batch, count, put_state};
use super::error::{LogbookError, SetAside, Trouble};
use super::opening::{OWN_NUMBER, Recovered, beside, counter, read_states};
use super::reading::open_to_read;
use super::schema::disk_error;
use record::{Carried, Entry, EventRecord, Stamp};
use rusqlite::types::Value;
use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params, params_from_iter};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use terms::FeedId;

/// Most such files. Each belongs to a stop after which the logbook could not be written even at the next start.
const MOST: u32 = 1000;
/// Room kept on the disk for such a file: some three hundred events.
const RESERVE_BYTES: i64 = 512 << 10;
/// The state under which such a file holds what has become of deliveries whose rows are in the logbook: that logbook's
/// number, and by row the key it was sent under, or none once it arrived.
pub(super) const SETTLED: &str = "settled deliveries";

fn number(path: &Path, n: u32) -> PathBuf {
    beside(path, &format!(".waiting-{n}"))
}

/// Those that are there, in order.
fn all(path: &Path) -> impl Iterator<Item = PathBuf> {
    (1..=MOST).map(|n| number(path, n)).filter(|p| p.is_file())
}

/// The name of a new one.
pub(super) fn next(path: &Path) -> Option<PathBuf> {
    let last = (1..=MOST).rev().find(|n| number(path, *n).symlink_metadata().is_ok()).unwrap_or(0);
    (last < MOST).then(|| number(path, last + 1))
}

fn reserve(path: &Path) -> PathBuf {
    beside(path, ".reserve")
}

/// Keeps room for what may have to wait. Where there is none now, none is kept.
pub(super) fn keep_room(path: &Path) {
    let reserve = reserve(path);
    if std::fs::metadata(&reserve).is_ok_and(|m| m.len() >= RESERVE_BYTES.unsigned_abs()) {
        return;
    }
    free_room(path);
    let made = File::create_new(&reserve)
        .and_then(|f| nix::fcntl::posix_fallocate(f, 0, RESERVE_BYTES).map_err(io::Error::from));
    if made.is_err() {
        free_room(path);
    }
}

/// Gives the room back. If it fails, there is no more room than before.
pub(super) fn free_room(path: &Path) {
    let _ = std::fs::remove_file(reserve(path));
}

/// Adds to what an unwritable logbook left what waits beside it: alerts and casualties outlast that, too.
pub(super) fn look(path: &Path, recovered: &mut Recovered) {
    for file in all(path) {
        let Ok(c) = open_to_read(&file) else { continue };
        recovered.states.extend(read_states(&c).unwrap_or_default());
        recovered.states.remove(SETTLED);
        let last = |name| counter(&c, name).ok().flatten().and_then(|n| u32::try_from(n).ok());
        let next = |name| last(name).map_or(1, |n| n.saturating_add(1));
        recovered.next_alert = recovered.next_alert.max(next("alert"));
        recovered.next_casualty = recovered.next_casualty.max(next("casualty"));
        recovered.stopped_in_order = true;
    }
}

/// Takes in all that wait beside a logbook. One that cannot be read is set aside; the last such one is returned.
///
/// # Errors
/// If the logbook cannot be written. What was not taken in then goes on waiting.
pub(super) fn take_in(main: &mut Connection, path: &Path) -> Result<Option<SetAside>, LogbookError> {
    let mut aside = None;
    for file in all(path) {
        let held = open_to_read(&file).and_then(|c| Held::read(&c).map_err(|e| disk_error(&file, &e)));
        match held {
            Ok(held) => held.write(main, path).map_err(|e| disk_error(path, &e))?,
            // A newer program's, or one that may not be read now: it goes on waiting.
            Err(
                why @ (LogbookError::Newer { .. }
                | LogbookError::Disk {
                    why: Trouble::Busy | Trouble::CannotOpen | Trouble::ReadOnly,
                    ..
                }),
            ) => {
                tracing::warn!(%why, "waiting records are not taken in");
                continue;
            }
            Err(why) => {
                let to = super::anew::set_aside(&file, &why)?;
                aside = Some(SetAside { to, why, carried: Carried::default() });
                continue;
            }
        }
        let gone = std::fs::remove_file(&file).and_then(|()| sync_folder(path));
        // What is taken in is marked: a file that cannot be removed is not taken in again.
        gone.unwrap_or_else(|why| tracing::warn!(file = %file.display(), %why, "was taken in and stays"));
    }
    Ok(aside)
}

/// A row as it stands: its columns.
type Row = Vec<Value>;

/// The tables of rows that are found by time, and whether their last column is a feed's number.
const TIMED: [(&str, bool); 4] =
    [("own_rows", true), ("target_rows", true), ("instrument_rows", true), ("feed_rows", false)];

/// All that such a file holds.
struct Held {
    number: i64,
    boot: Option<String>,
    /// The run that left it: its beginning, its end, and the program's version.
    run: (Stamp, Stamp, String),
    feeds: BTreeMap<FeedId, Arc<str>>,
    counters: Vec<(String, i64)>,
    states: BTreeMap<String, String>,
    events: Vec<(i64, Stamp, EventRecord)>,
    entries: Vec<(Stamp, Entry)>,
    deliveries: Vec<Row>,
    names: Vec<Row>,
    rows: Vec<(&'static str, bool, Vec<Row>)>,
}

fn all_rows(c: &Connection, sql: &str) -> rusqlite::Result<Vec<Row>> {
    let mut statement = c.prepare(sql)?;
    let n = statement.column_count();
    statement.query_map([], |r| (0..n).map(|i| r.get(i)).collect())?.collect()
}

fn feed_of(n: Option<i64>) -> Option<FeedId> {
    n.and_then(|n| u16::try_from(n).ok()).map(FeedId)
}

impl Held {
    fn read(c: &Connection) -> rusqlite::Result<Self> {
        let json = |n: usize, e: serde_json::Error| {
            rusqlite::Error::FromSqlConversionFailure(n, rusqlite::types::Type::Text, Box::new(e))
        };
        let stamp = |r: &rusqlite::Row<'_>| -> rusqlite::Result<Stamp> {
            let feed = feed_of(r.get(3)?);
            Ok(Stamp { feed, ..Stamp::from_columns(r.get(0)?, r.get(1)?, r.get(2)?) })
        };
        let events = c
            .prepare("SELECT steady_ms, utc_ms, utc_source, feed, id, record FROM event_rows ORDER BY id")?
            .query_map([], |r| {
                let record = serde_json::from_str(&r.get::<_, String>(5)?).map_err(|e| json(5, e))?;
                Ok((r.get(4)?, stamp(r)?, record))
            })?
            .collect::<rusqlite::Result<_>>()?;
        let entries = c
            .prepare("SELECT steady_ms, utc_ms, utc_source, feed, facts FROM entry_rows ORDER BY id")?
            .query_map([], |r| {
                let entry = serde_json::from_str(&r.get::<_, String>(4)?).map_err(|e| json(4, e))?;
                Ok((stamp(r)?, entry))
            })?
            .collect::<rusqlite::Result<_>>()?;
        let feeds = c
            .prepare("SELECT id, name FROM feed_names")?
            .query_map([], |r| Ok((feed_of(r.get(0)?), Arc::from(r.get::<_, String>(1)?))))?
            .filter_map(|r| r.map(|(id, name)| Some((id?, name))).transpose())
            .collect::<rusqlite::Result<_>>()?;
        let counters = c
            .prepare("SELECT name, last FROM counters")?
            .query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?
            .collect::<rusqlite::Result<_>>()?;
        let sql = "SELECT from_ms, from_utc_ms, to_ms, to_utc_ms, utc_source, version FROM run_rows";
        let run = c.query_row(sql, [], |r| {
            let source = r.get(4)?;
            let from = Stamp::from_columns(r.get(0)?, r.get(1)?, source);
            Ok((from, Stamp::from_columns(r.get(2)?, r.get(3)?, source), r.get(5)?))
        })?;
        let timed =
            |(table, feed)| Ok((table, feed, all_rows(c, &format!("SELECT * FROM {table} ORDER BY id"))?));
        Ok(Self {
            number: counter(c, OWN_NUMBER)?.unwrap_or(0),
            boot: c.query_row("SELECT boot FROM boot_rows", [], |r| r.get(0))?,
            run,
            feeds,
            counters,
            states: read_states(c)?,
            events,
            entries,
            deliveries: all_rows(c, "SELECT * FROM delivery_rows ORDER BY id")?,
            names: all_rows(c, "SELECT * FROM target_names")?,
            rows: TIMED.into_iter().map(timed).collect::<rusqlite::Result<_>>()?,
        })
    }

    /// Writes it into the logbook, in one transaction, unless that has it already.
    fn write(&self, main: &mut Connection, path: &Path) -> rusqlite::Result<()> {
        let mark = format!("taken in {:x}", self.number);
        if counter(main, &mark)?.is_some() {
            return Ok(());
        }
        let ours = counter(main, OWN_NUMBER)?.unwrap_or(0);
        let t = main.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let boot = match t
            .query_row("SELECT id FROM boot_rows WHERE boot = ?1", [&self.boot], |r| r.get(0))
            .optional()?
        {
            Some(id) => id,
            None => {
                t.execute("INSERT INTO boot_rows (boot) VALUES (?1)", [&self.boot])?;
                t.last_insert_rowid()
            }
        };
        let (from, to, version) = &self.run;
        let sql = "SELECT id FROM run_rows WHERE boot = ?1 AND from_ms = ?2";
        let known = t.query_row(sql, params![boot, from.steady.0], |r| r.get(0)).optional()?;
        let run = match known {
            Some(id) => id,
            None => {
                t.execute(
                    "INSERT INTO run_rows (boot, from_ms, from_utc_ms, to_ms, version) VALUES (?1, ?2, ?3, ?2, ?4)",
                    params![boot, from.steady.0, from.utc_ms(), version],
                )?;
                t.last_insert_rowid()
            }
        };
        for (name, last) in self.counters.iter().filter(|(name, _)| name != OWN_NUMBER && name != "event") {
            count(&t, name, *last)?;
        }
        count(&t, &mark, 1)?;
        let feeds = self.feeds.clone();
        let batch = Batch { t, path, boot, run, feeds, feed_ids: RefCell::default() };
        let mut numbers = BTreeMap::new();
        for (id, at, record) in &self.events {
            numbers.insert(*id, batch.write_event(at, record)?);
        }
        for (at, entry) in &self.entries {
            batch.write_entry(at, entry)?;
        }
        for (key, json) in self.states.iter().filter(|(key, _)| *key != SETTLED) {
            put_state(&batch.t, boot, to, key, json)?;
        }
        self.write_deliveries(&batch, ours, &numbers)?;
        self.write_rows(&batch)?;
        batch.write_sign(to, true)?;
        batch.t.commit()
    }

    fn write_deliveries(
        &self,
        batch: &Batch<'_>,
        ours: i64,
        numbers: &BTreeMap<i64, i64>,
    ) -> rusqlite::Result<()> {
        for row in &self.deliveries {
            let mut row = row.clone();
            // Columns: id, event, signal, priority, body, boot, the stamp, key.
            let event = if let Some(Value::Integer(id)) = row.get(1) { numbers.get(id) } else { None };
            let event = event.map_or(Value::Null, |id| Value::Integer(*id));
            for (column, value) in [(0, Value::Null), (1, event), (5, Value::Integer(batch.boot))] {
                if let Some(place) = row.get_mut(column) {
                    *place = value;
                }
            }
            let places = vec!["?"; row.len()].join(", ");
            batch
                .t
                .prepare_cached(&format!("INSERT INTO delivery_rows VALUES ({places})"))?
                .execute(params_from_iter(row))?;
        }
        let settled = self.states.get(SETTLED).and_then(|json| serde_json::from_str(json).ok());
        let (theirs, settled): (i64, Vec<(i64, Option<String>)>) = settled.unwrap_or_default();
        for (row, key) in settled.iter().filter(|_| theirs == ours) {
            match key {
                Some(key) => {
                    batch.t.execute("UPDATE delivery_rows SET key = ?2 WHERE id = ?1", params![row, key])?
                }
                None => batch.t.execute("DELETE FROM delivery_rows WHERE id = ?1", [row])?,
            };
        }
        Ok(())
    }

    fn write_rows(&self, batch: &Batch<'_>) -> rusqlite::Result<()> {
        for row in &self.names {
            batch
                .t
                .prepare_cached("INSERT OR REPLACE INTO target_names VALUES (?, ?, ?)")?
                .execute(params_from_iter(row))?;
        }
        for (table, has_feed, rows) in &self.rows {
            for row in rows {
                // Columns: id, boot, steady_ms and others; the id is made anew from time, as in `rows`.
                let mut values = row.get(1..).unwrap_or_default().to_vec();
                if let Some(place) = values.first_mut() {
                    *place = Value::Integer(batch.boot);
                }
                if let Some(place) = values.last_mut().filter(|_| *has_feed)
                    && let Value::Integer(n) = *place
                {
                    let at = Stamp { feed: feed_of(Some(n)), ..self.run.1 };
                    *place = batch.feed(&at)?.map_or(Value::Null, Value::Integer);
                }
                let places: Vec<String> = (1..=values.len()).map(|n| format!("?{n}")).collect();
                let sql = format!(
                    "INSERT INTO {table} VALUES (max((?1 << 42) | ((?2 / 1000) << 10),
                     (SELECT coalesce(max(id), 0) + 1 FROM {table})), {})",
                    places.join(", ")
                );
                batch.t.prepare_cached(&sql)?.execute(params_from_iter(values))?;
            }
        }
        Ok(())
    }
}

/// The disk's refusal to hold even that.
pub(super) fn none_left(path: &Path) -> LogbookError {
    let detail = format!("{MOST} files of waiting records are there already");
    LogbookError::Disk { path: path.to_owned(), why: Trouble::Failed, detail }
}
