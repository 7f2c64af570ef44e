//! How long rows are kept: until the watch has stood for a number of days since, or until the file needs their room. No
//! wall clock has a say: one set wrong must not cost the log.

use super::batch::Batch;
use record::{Entry, Removed, Stamp};
use rusqlite::{Connection, OptionalExtension, ToSql, params};
use terms::Utc;

/// Tables of what was heard, the least missed first, with their names for people, and how many days the watch stands
/// before their rows go.
const HEARD: [(&str, &str, i64); 4] = [
    ("target_rows", "targets", 60),
    ("feed_rows", "feeds", 60),
    ("instrument_rows", "instruments", 400),
    ("own_rows", "own track", 400),
];
/// The same for notices. Other events, and entries, go by room only.
const NOTICES_DAYS: i64 = 400;
const DAY_MS: i64 = 86_400_000;
/// Most ordinary calls kept: routine, tests, positions, texts to others, weather.
const MOST_CALLS: i64 = 20_000;
/// Most rows removed from a table at once: it takes as long as a write does.
const AT_ONCE: i64 = 2000;
/// Default size limit of the file: 1 GiB, some ninety busy weeks or a year of ordinary ones.
pub(crate) const DEFAULT_LIMIT_BYTES: u64 = 1 << 30;
/// Tenths of the limit in use at which room is made.
const FULL_TENTHS: i64 = 9;
/// Tenths of the limit that are kept for events, for entries, and for the names of targets: while they take more, they
/// make room for themselves, and while they take less, what was heard makes room for them.
const EVENTS_TENTHS: i64 = 6;
const ENTRIES_TENTHS: i64 = 1;
const NAMES_TENTHS: i64 = 1;
/// The last day's rows of what was heard go only after all that is not serious and nobody wrote.
const LAST_DAY: i64 = 1;
/// Rows by which the size of a table is reckoned.
const SAMPLED: i64 = 64;
/// What a row takes beside its texts, in bytes: the other columns, its head, its place in the index.
const BESIDE_TEXT: i64 = 200;
/// What a row of a name takes, in bytes.
const NAME_BYTES: i64 = 64;
/// How many of the newest entries are searched for today's about removals.
const TODAYS_AMONG: i64 = 5_000;

/// Events that stay longest.
const SERIOUS: &str = "(casualty IS NOT NULL OR priority IN ('alarm', 'emergency alarm'))";
/// Events that no signal still waits for.
const DELIVERED: &str = "id NOT IN (SELECT event FROM delivery_rows WHERE event IS NOT NULL)";
/// Entries that stay longest: those of people, those about casualties, and calls that nothing may reject.
const PEOPLES: &str = "(who IS NOT NULL OR casualty IS NOT NULL OR kind IN ('note', 'declared', 'passage', 'stand-down', 'urgent call'))";

/// Makes room in the file: removes a portion of what the watch has stood long enough since, and, if the file is full or
/// nearly so, of what is missed least. Says so in an entry. What cannot be removed now goes next time.
pub(super) fn make_room(batch: &Batch<'_>, at: &Stamp, full: bool) -> rusqlite::Result<Removed> {
    let pass = Pass { c: &batch.t, boot: batch.boot, steady_ms: at.steady.0 };
    let mut removed = pass.by_age()?;
    if full || pass.is_nearly_full()? {
        removed.add(pass.by_room()?);
    }
    if !removed.rows.is_empty() {
        say(batch, at, &removed)?;
    }
    Ok(removed)
}

/// One pass over the file.
struct Pass<'a> {
    c: &'a Connection,
    boot: i64,
    steady_ms: i64,
}

impl Pass<'_> {
    fn by_age(&self) -> rusqlite::Result<Removed> {
        let mut removed = Removed::default();
        for (table, name, days) in HEARD {
            if let Some((boot, ms)) = self.stood_since(days)? {
                removed.add(self.heard_before(table, name, boot, ms)?);
            }
        }
        if let Some((boot, ms)) = self.stood_since(NOTICES_DAYS)? {
            let only = format!("event = 'noted' AND (boot, steady_ms) < (?1, ?2) AND {DELIVERED}");
            removed.add(self.oldest("event_rows", "events", &only, &[&boot, &ms])?);
        }
        removed.add(self.calls()?);
        Ok(removed)
    }

    /// Removes the oldest ordinary calls beyond as many as are kept.
    fn calls(&self) -> rusqlite::Result<Removed> {
        let sql = "SELECT count(*) FROM entry_rows WHERE kind = 'call'";
        let calls: i64 = self.c.prepare_cached(sql)?.query_row([], |r| r.get(0))?;
        let beyond = (calls - MOST_CALLS).clamp(0, AT_ONCE);
        let only = "id IN (SELECT id FROM entry_rows WHERE kind = 'call' ORDER BY id LIMIT ?1)";
        if beyond > 0 { self.oldest("entry_rows", "calls", only, &[&beyond]) } else { Ok(Removed::default()) }
    }

    /// The boot and steady time since which the watch has stood for this many days, not counting the time it was down.
    /// `None` if it has not stood for that long.
    fn stood_since(&self, days: i64) -> rusqlite::Result<Option<(i64, i64)>> {
        let mut left_ms = days.saturating_mul(DAY_MS);
        let mut runs = self.c.prepare_cached("SELECT boot, from_ms, to_ms FROM run_rows ORDER BY id DESC")?;
        let mut runs = runs.query([])?;
        let mut under_way = true;
        while let Some(run) = runs.next()? {
            let (boot, from_ms, to_ms): (i64, i64, i64) = (run.get(0)?, run.get(1)?, run.get(2)?);
            let now = std::mem::take(&mut under_way) && boot == self.boot;
            let to_ms = if now { to_ms.max(self.steady_ms) } else { to_ms };
            let stood_ms = to_ms.saturating_sub(from_ms).max(0);
            if stood_ms > left_ms {
                return Ok(Some((boot, to_ms - left_ms)));
            }
            left_ms -= stood_ms;
        }
        Ok(None)
    }

    fn pragma(&self, name: &str) -> rusqlite::Result<i64> {
        self.c.pragma_query_value(None, name, |r| r.get(0))
    }

    /// Whether the pages in use approach the limit.
    fn is_nearly_full(&self) -> rusqlite::Result<bool> {
        let in_use = self.pragma("page_count")? - self.pragma("freelist_count")?;
        Ok(in_use > self.pragma("max_page_count")? / 10 * FULL_TENTHS)
    }

    /// Removes a portion of the oldest rows of what takes more than its share; if nothing does, of what was heard. The
    /// pages are reused; the file does not shrink.
    fn by_room(&self) -> rusqlite::Result<Removed> {
        let page = self.pragma("page_size")?;
        let tenth = self.pragma("max_page_count")?.saturating_mul(page) / 10;
        if self.takes("event_rows", "record", page)? > EVENTS_TENTHS * tenth {
            return self.events();
        }
        if self.takes("entry_rows", "facts", page)? > ENTRIES_TENTHS * tenth {
            return self.entries();
        }
        let names: i64 = self.c.query_row("SELECT count(*) FROM target_names", [], |r| r.get(0))?;
        if names.saturating_mul(NAME_BYTES) > NAMES_TENTHS * tenth {
            // So many are forged. Those of the last day stay: to look for all would take longer than a write does.
            let (boot, ms) = self.stood_since(LAST_DAY)?.unwrap_or((0, 0));
            let sql =
                "DELETE FROM target_names WHERE mmsi NOT IN (SELECT mmsi FROM target_rows WHERE id >= ?1)";
            let n = self.c.execute(sql, [id_from(boot, ms)])?;
            if n > 0 {
                return Ok(Removed::of("names of targets", n as u64, None));
            }
        }
        let portions: [&dyn Fn() -> rusqlite::Result<Removed>; 6] = [
            &|| self.heard(self.stood_since(LAST_DAY)?.unwrap_or((0, 0))),
            &|| self.slight_events(),
            &|| self.own_entries(),
            &|| self.heard((self.boot + 1, 0)),
            &|| self.events(),
            &|| self.entries(),
        ];
        first(portions)
    }

    /// Removes a portion of what was heard before a moment, the least missed first.
    fn heard(&self, (boot, ms): (i64, i64)) -> rusqlite::Result<Removed> {
        first(HEARD.map(|(table, name, _)| move || self.heard_before(table, name, boot, ms)))
    }

    /// About how many bytes a table takes, by rows spread over it.
    fn takes(&self, table: &str, text: &str, page: i64) -> rusqlite::Result<i64> {
        let sql = format!("SELECT count(*), coalesce(min(id), 0), coalesce(max(id), 0) FROM {table}");
        let (rows, first, last): (i64, i64, i64) =
            self.c.query_row(&sql, [], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?;
        let sql =
            format!("SELECT length({text}) + length(text) FROM {table} WHERE id >= ?1 ORDER BY id LIMIT 1");
        let mut row = self.c.prepare_cached(&sql)?;
        let mut bytes = 0;
        for n in 0..SAMPLED {
            let id = first + last.saturating_sub(first) / SAMPLED * n;
            let length: Option<i64> = row.query_row([id], |r| r.get(0)).optional()?;
            let length = length.unwrap_or(0) + BESIDE_TEXT;
            // Some whole rows go into a page; a longer one has pages of its own.
            bytes += if length <= page { page / (page / length).max(1) } else { length };
        }
        Ok(bytes / SAMPLED * rows)
    }

    /// Removes events: first notices and repeats, then those of the orders that call most; alarms, emergencies and all
    /// about casualties last. Within each the oldest go first. What a signal still waits for stays.
    fn events(&self) -> rusqlite::Result<Removed> {
        let portions: [&dyn Fn() -> rusqlite::Result<Removed>; 3] =
            [&|| self.slight_events(), &|| self.oldest_events("event IN ('repeated', 'guidance')"), &|| {
                self.oldest_events(&of_the_most("TRUE"))
            }];
        first(portions)
    }

    /// The same, of those that are missed least only.
    fn slight_events(&self) -> rusqlite::Result<Removed> {
        let slight = format!("NOT {SERIOUS}");
        let portions: [&dyn Fn() -> rusqlite::Result<Removed>; 2] =
            [&|| self.oldest_events(&format!("{slight} AND event IN ('noted', 'repeated')")), &|| {
                self.oldest_events(&format!("{slight} AND {}", of_the_most(&slight)))
            }];
        first(portions)
    }

    fn oldest_events(&self, which: &str) -> rusqlite::Result<Removed> {
        self.oldest("event_rows", "events", &format!("{which} AND {DELIVERED}"), &[])
    }

    /// Removes entries: the oldest of the program's own first, then the oldest of people.
    fn entries(&self) -> rusqlite::Result<Removed> {
        let portions: [&dyn Fn() -> rusqlite::Result<Removed>; 2] =
            [&|| self.own_entries(), &|| self.oldest("entry_rows", "entries", "TRUE", &[])];
        first(portions)
    }

    fn own_entries(&self) -> rusqlite::Result<Removed> {
        self.oldest("entry_rows", "entries", &format!("NOT {PEOPLES}"), &[])
    }

    /// Removes what was heard before a moment.
    fn heard_before(&self, table: &str, name: &str, boot: i64, ms: i64) -> rusqlite::Result<Removed> {
        self.oldest(table, name, "id < ?1", &[&id_from(boot, ms)])
    }

    /// Removes a portion of the oldest rows of a kind.
    fn oldest(&self, table: &str, name: &str, only: &str, by: &[&dyn ToSql]) -> rusqlite::Result<Removed> {
        let sql = format!(
            "DELETE FROM {table} WHERE id IN (SELECT id FROM {table} WHERE {only} ORDER BY id LIMIT {AT_ONCE})
             RETURNING utc_ms"
        );
        let mut rows = self.c.prepare_cached(&sql)?;
        let mut rows = rows.query(by)?;
        let (mut n, mut until) = (0, None);
        while let Some(row) = rows.next()? {
            n += 1;
            until = until.max(row.get::<_, Option<i64>>(0)?);
        }
        Ok(Removed::of(name, n, until.map(Utc)))
    }
}

/// The least id of rows heard from a moment on: it holds their boot and seconds (see the schema).
fn id_from(boot: i64, ms: i64) -> i64 {
    (boot << 42) | ((ms / 1000).max(0) << 10)
}

/// What the first removed of several that found anything to remove.
fn first(
    portions: impl IntoIterator<Item = impl Fn() -> rusqlite::Result<Removed>>,
) -> rusqlite::Result<Removed> {
    for portion in portions {
        let removed = portion()?;
        if !removed.rows.is_empty() {
            return Ok(removed);
        }
    }
    Ok(Removed::default())
}

/// The events of the order that has most of them.
fn of_the_most(which: &str) -> String {
    format!(
        "order_name = (SELECT order_name FROM event_rows WHERE {which} GROUP BY order_name
         ORDER BY count(*) DESC, order_name LIMIT 1)"
    )
}

/// Says in the logbook what was removed: one entry for each day that the watch stands.
fn say(batch: &Batch<'_>, at: &Stamp, removed: &Removed) -> rusqlite::Result<()> {
    let pass = Pass { c: &batch.t, boot: batch.boot, steady_ms: at.steady.0 };
    let since = pass.stood_since(1)?.unwrap_or((0, i64::MIN));
    let todays: Option<(i64, String)> = batch
        .t
        .prepare_cached(
            "SELECT id, facts FROM entry_rows WHERE kind = 'removed' AND id > (SELECT max(id) FROM entry_rows) - ?3
             AND (boot, steady_ms) > (?1, ?2) ORDER BY id DESC LIMIT 1",
        )?
        .query_row(params![since.0, since.1, TODAYS_AMONG], |r| Ok((r.get(0)?, r.get(1)?)))
        .optional()?;
    let written = todays.and_then(|(id, facts)| match serde_json::from_str(&facts) {
        Ok(Entry::Removed { removed }) => Some((id, removed)),
        _ => None,
    });
    let Some((id, mut before)) = written else {
        return batch.write_entry(at, &Entry::Removed { removed: removed.clone() });
    };
    before.add(removed.clone());
    let entry = Entry::Removed { removed: before };
    // Numbers and texts always serialize to JSON.
    let facts = serde_json::to_string(&entry).unwrap_or_default();
    batch.t.prepare_cached("UPDATE entry_rows SET text = ?2, facts = ?3 WHERE id = ?1")?.execute(params![
        id,
        entry.text(),
        facts
    ])?;
    Ok(())
}
