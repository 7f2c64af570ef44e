//! How long rows are kept: by age, and by the file's size limit. Alerts and casualties stay for ever.

use rusqlite::{Connection, params};
use terms::Utc;

/// How long each table keeps its rows, in days. Of the events only notices are ever removed; entries stay.
const KEEP_DAYS: [(&str, i64); 5] = [
    ("target_rows", 60),
    ("feed_rows", 60),
    ("instrument_rows", 400),
    ("own_rows", 400),
    ("event_rows WHERE event = 'noted'", 400),
];
const DAY_MS: i64 = 86_400_000;
/// Most rows removed from a table at once: it takes as long as a write does.
const AT_ONCE: i64 = 2000;
/// Default size limit of the file: 1 GiB, some ninety busy weeks or a year of ordinary ones.
pub(crate) const DEFAULT_LIMIT_BYTES: u64 = 1 << 30;
/// Tenths of the limit in use at which room is made.
const FULL_TENTHS: i64 = 9;
/// The last day's rows stay, however little room there is.
const LAST_DAY_S: i64 = 86_400;

/// Removes a portion of what is too old. Trusts only satellite time: a clock set wrong must not cost the log.
pub(super) fn by_age(c: &Connection, now: Utc) -> rusqlite::Result<usize> {
    let mut removed = 0;
    for (table, days) in KEEP_DAYS {
        let name = table.split(' ').next().unwrap_or(table);
        let noted = table.contains("WHERE");
        // Rows without UTC go with older rows that have it.
        let oldest = format!("SELECT id, utc_ms FROM {table} ORDER BY id LIMIT {AT_ONCE}");
        let last: Option<i64> = c
            .prepare_cached(&format!("SELECT max(id) FROM ({oldest}) WHERE utc_ms < ?1"))?
            .query_row([now.0.saturating_sub(days * DAY_MS)], |r| r.get(0))?;
        if let Some(last) = last {
            let only = if noted { " AND event = 'noted'" } else { "" };
            removed +=
                c.prepare_cached(&format!("DELETE FROM {name} WHERE id <= ?1{only}"))?.execute([last])?;
        }
    }
    Ok(removed)
}

/// Whether the pages in use approach the limit.
pub(super) fn is_nearly_full(c: &Connection) -> rusqlite::Result<bool> {
    let pragma = |name: &str| c.pragma_query_value(None, name, |r| r.get::<_, i64>(0));
    let in_use = pragma("page_count")? - pragma("freelist_count")?;
    Ok(in_use > pragma("max_page_count")? / 10 * FULL_TENTHS)
}

/// Removes a portion of the oldest rows, least missed first: targets, then feeds, instruments and own track. Of the
/// running boot, the last day stays. The pages are reused; the file does not shrink.
pub(super) fn by_size(c: &Connection, boot: i64, steady_ms: i64) -> rusqlite::Result<usize> {
    let from = (boot << 42) | ((steady_ms / 1000 - LAST_DAY_S).max(0) << 10);
    for (table, _) in KEEP_DAYS.iter().filter(|(t, _)| !t.contains("WHERE")) {
        let sql = format!(
            "DELETE FROM {table} WHERE id IN (SELECT id FROM {table} WHERE id < ?1 ORDER BY id LIMIT {AT_ONCE})"
        );
        let removed = c.prepare_cached(&sql)?.execute(params![from])?;
        if removed > 0 {
            return Ok(removed);
        }
    }
    Ok(0)
}
