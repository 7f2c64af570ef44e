//! Writing: one transaction, filled with states, events, entries and rows.

use super::error::LogbookError;
use super::keep;
use super::outbox::{Body, Waiting};
use super::rows;
use super::schema::disk_error;
use super::thinning::Thinned;
use record::{Entry, EventRecord, Removed, Stamp};
use rules::Priority;
use rusqlite::{Connection, OptionalExtension, Transaction, params};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use terms::FeedId;

/// How serde writes a word, without its quotes.
fn word<T: serde::Serialize>(value: &T) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(s)) => s,
        _ => String::new(),
    }
}

pub(super) fn put_state(
    c: &Connection,
    boot: i64,
    at: &Stamp,
    key: &str,
    json: &str,
) -> rusqlite::Result<()> {
    c.prepare_cached(
        "INSERT OR REPLACE INTO state_rows (key, json, boot, steady_ms, utc_ms, utc_source)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?
    .execute(params![key, json, boot, at.steady.0, at.utc_ms(), at.source()])?;
    Ok(())
}

pub(super) fn count(c: &Connection, name: &str, last: i64) -> rusqlite::Result<()> {
    c.prepare_cached(
        "INSERT INTO counters (name, last) VALUES (?1, ?2) ON CONFLICT DO UPDATE SET last = max(last, excluded.last)",
    )?
    .execute(params![name, last])?;
    Ok(())
}

/// A transaction being filled.
pub(super) struct Batch<'a> {
    pub(super) t: Transaction<'a>,
    pub(super) path: &'a Path,
    pub(super) boot: i64,
    pub(super) run: i64,
    /// Feed names by their number in stamps, and their numbers in the file as far as this batch has looked them up.
    pub(super) feeds: BTreeMap<FeedId, Arc<str>>,
    pub(super) feed_ids: RefCell<BTreeMap<FeedId, i64>>,
}

impl Batch<'_> {
    fn error(&self, e: &rusqlite::Error) -> LogbookError {
        disk_error(self.path, e)
    }

    /// The file's number for a stamp's feed; `None` for a feed that nobody named.
    pub(super) fn feed(&self, at: &Stamp) -> rusqlite::Result<Option<i64>> {
        let Some((number, name)) = at.feed.and_then(|f| Some((f, self.feeds.get(&f)?))) else {
            return Ok(None);
        };
        if let Some(id) = self.feed_ids.borrow().get(&number) {
            return Ok(Some(*id));
        }
        self.t
            .prepare_cached("INSERT INTO feed_names (name) VALUES (?1) ON CONFLICT DO NOTHING")?
            .execute([name])?;
        let id = self
            .t
            .prepare_cached("SELECT id FROM feed_names WHERE name = ?1")?
            .query_row([name], |r| r.get(0))?;
        self.feed_ids.borrow_mut().insert(number, id);
        Ok(Some(id))
    }

    /// Commits; when the pace is live, synced before this returns.
    pub fn commit(self) -> Result<(), LogbookError> {
        let path = self.path;
        self.t.commit().map_err(|e| disk_error(path, &e))
    }

    /// Writes this run's latest sign of life.
    pub fn sign(&self, at: &Stamp, stopped: bool) -> Result<(), LogbookError> {
        self.write_sign(at, stopped).map_err(|e| self.error(&e))
    }

    pub(super) fn write_sign(&self, at: &Stamp, stopped: bool) -> rusqlite::Result<()> {
        let sql = "UPDATE run_rows SET to_ms = max(to_ms, ?2), to_utc_ms = ?3, utc_source = ?4, stopped = ?5,
                   from_utc_ms = coalesce(from_utc_ms, ?3 - (?2 - from_ms)) WHERE id = ?1";
        self.t
            .prepare_cached(sql)
            .and_then(|mut s| s.execute(params![self.run, at.steady.0, at.utc_ms(), at.source(), stopped]))
            .map(drop)
    }

    /// Sets or removes a state.
    pub fn state(&self, at: &Stamp, key: &str, json: &str) -> Result<(), LogbookError> {
        put_state(&self.t, self.boot, at, key, json).map_err(|e| self.error(&e))
    }

    /// Writes an event and returns its number, which also goes into its record.
    pub fn event(&self, at: &Stamp, record: &EventRecord) -> Result<i64, LogbookError> {
        self.write_event(at, record).map_err(|e| self.error(&e))
    }

    pub(super) fn write_event(&self, at: &Stamp, record: &EventRecord) -> rusqlite::Result<i64> {
        let last: Option<i64> = self
            .t
            .query_row("SELECT last FROM counters WHERE name = 'event'", [], |r| r.get(0))
            .optional()?;
        let id = last.unwrap_or(0) + 1;
        count(&self.t, "event", id)?;
        count(&self.t, "alert", i64::from(record.alert.id.0))?;
        let casualty = record.casualty.as_ref().map(|c| i64::from(c.id.0));
        if let Some(casualty) = casualty {
            count(&self.t, "casualty", casualty)?;
        }
        let record = EventRecord { log_id: Some(id), ..record.clone() };
        let json = serde_json::to_string(&record)
            .map_err(|e| rusqlite::Error::ToSqlConversionFailure(Box::new(e)))?;
        let (alert, own, target) = (&record.alert, &record.own, record.target.as_ref());
        self.t
            .prepare_cached(
                "INSERT INTO event_rows (id, boot, steady_ms, utc_ms, utc_source, event, seq, alert, order_name,
                 priority, state, text, exercise, own_latitude_deg, own_longitude_deg, mmsi, target_name, range_nm,
                 cpa_nm, tcpa_s, casualty, record, crc, feed, origin, about) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9,
                 ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21, ?22, ?23, ?24, ?25, ?26)",
            )?
            .execute(params![
                id,
                self.boot,
                at.steady.0,
                at.utc_ms(),
                at.source(),
                word(&record.event),
                record.seq,
                alert.id.0,
                alert.order,
                alert.priority.to_string(),
                alert.state.map(|s| s.to_string()),
                alert.text,
                alert.exercise,
                own.latitude_deg,
                own.longitude_deg,
                target.map(|t| t.mmsi.number()),
                target.and_then(|t| t.name.as_deref()),
                target.and_then(|t| t.range_nm),
                target.and_then(|t| t.cpa_nm),
                target.and_then(|t| t.tcpa_s),
                casualty,
                json,
                crc32fast::hash(json.as_bytes()),
                self.feed(at)?,
                alert.origin.word(),
                alert.about.to_string(),
            ])?;
        Ok(id)
    }

    /// Writes a delivery and returns the number of its row.
    pub fn delivery(&self, event: Option<i64>, waiting: &Waiting) -> Result<i64, LogbookError> {
        let priority = Priority::ALL.iter().position(|p| *p == waiting.priority).unwrap_or(0) as i64;
        let body = match (&waiting.body, event) {
            (Body::Record(_), Some(_)) => None,
            (Body::Record(record), None) => {
                let record = EventRecord { log_id: waiting.log_id, ..EventRecord::clone(record) };
                Some(serde_json::to_string(&record).unwrap_or_default())
            }
            (Body::Text(text), _) => Some(text.clone()),
        };
        let at = &waiting.at;
        self.t
            .prepare_cached(
                "INSERT INTO delivery_rows (event, signal, priority, body, key, boot, steady_ms, utc_ms, utc_source)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
            )
            .and_then(|mut s| {
                let (utc_ms, source, key) = (at.utc_ms(), at.source(), &waiting.key);
                let signal = &waiting.signal;
                s.insert(params![event, signal, priority, body, key, self.boot, at.steady.0, utc_ms, source])
            })
            .map_err(|e| self.error(&e))
    }

    /// Sets the key of a delivery's row.
    pub fn key(&self, row: i64, key: &str) -> Result<(), LogbookError> {
        self.t
            .prepare_cached("UPDATE delivery_rows SET key = ?2 WHERE id = ?1")
            .and_then(|mut s| s.execute(params![row, key]))
            .map(drop)
            .map_err(|e| self.error(&e))
    }

    /// Removes a delivery's row.
    pub fn delivered(&self, row: i64) -> Result<(), LogbookError> {
        self.t
            .prepare_cached("DELETE FROM delivery_rows WHERE id = ?1")
            .and_then(|mut s| s.execute([row]))
            .map(drop)
            .map_err(|e| self.error(&e))
    }

    /// Makes room in the file, and returns what was removed.
    pub fn make_room(&self, at: &Stamp, full: bool) -> Result<Removed, LogbookError> {
        keep::make_room(self, at, full).map_err(|e| self.error(&e))
    }

    /// Writes an entry.
    pub fn entry(&self, at: &Stamp, entry: &Entry) -> Result<(), LogbookError> {
        self.write_entry(at, entry).map_err(|e| self.error(&e))
    }

    pub(super) fn write_entry(&self, at: &Stamp, entry: &Entry) -> rusqlite::Result<()> {
        let sql =
            "INSERT INTO entry_rows (boot, steady_ms, utc_ms, utc_source, kind, who, casualty, text, facts, feed)
                   VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)";
        let (utc_ms, source, kind) = (at.utc_ms(), at.source(), entry.kind());
        let feed = self.feed(at)?;
        // Texts, numbers and closed lists always serialize to JSON.
        let facts = serde_json::to_string(entry).unwrap_or_default();
        let casualty = entry.casualty().map(|id| id.0);
        self.t.prepare_cached(sql)?.execute(params![
            self.boot,
            at.steady.0,
            utc_ms,
            source,
            kind,
            entry.who(),
            casualty,
            entry.text(),
            facts,
            feed
        ])?;
        Ok(())
    }

    /// Writes a row.
    pub fn row(&self, row: &Thinned) -> Result<(), LogbookError> {
        let feed = match row {
            Thinned::Own(at, _) | Thinned::Target(at, _) | Thinned::Minute(at, ..) => self.feed(at),
            Thinned::Feed(..) => Ok(None),
        };
        feed.and_then(|feed| rows::write(&self.t, self.boot, feed, row)).map_err(|e| self.error(&e))
    }
}
