//! The form of the file: its mark, its version and the steps from one version to the next.

use super::error::{LogbookError, Trouble};
use rusqlite::{Connection, TransactionBehavior};
use std::path::Path;

/// Marks the file as a logbook of this program ("MWLB" in ASCII), `PRAGMA application_id`.
const APPLICATION_ID: i64 = 0x4D57_4C42;

/// Each version's step, the first from an empty file. A released step is never changed.
const STEPS: &[&str] = &[
    include_str!("schema/1.sql"),
    include_str!("schema/2.sql"),
    include_str!("schema/3.sql"),
    include_str!("schema/4.sql"),
    include_str!("schema/5.sql"),
];

/// The newest form.
pub(super) const NEWEST: i64 = STEPS.len() as i64;

/// Turns an error of SQLite's into the logbook's.
pub(crate) fn disk_error(path: &Path, error: &rusqlite::Error) -> LogbookError {
    LogbookError::Disk { path: path.to_owned(), why: Trouble::of(error), detail: error.to_string() }
}

/// The form of the file: 0 when it is empty.
///
/// # Errors
/// When it is a newer one, no logbook, or cannot be read.
pub(crate) fn form(connection: &Connection, path: &Path) -> Result<i64, LogbookError> {
    let pragma = |name: &str| connection.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    let read = || -> rusqlite::Result<(i64, i64, i64)> {
        let tables = connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
        Ok((pragma("application_id")?, pragma("user_version")?, tables))
    };
    let (application, version, tables) = read().map_err(|e| disk_error(path, &e))?;
    if tables == 0 && version == 0 {
        return Ok(0);
    }
    if application != APPLICATION_ID || version < 1 {
        return Err(LogbookError::NotALogbook { path: path.to_owned() });
    }
    if version > NEWEST {
        return Err(LogbookError::Newer { path: path.to_owned(), found: version, known: NEWEST });
    }
    Ok(version)
}

/// Brings the file to the newest form, all steps in one transaction: it is done whole or not at all.
///
/// # Errors
/// As `form`, and when the disk does not take it.
pub(super) fn migrate(connection: &mut Connection, path: &Path) -> Result<(), LogbookError> {
    let from = form(connection, path)?;
    if from == NEWEST {
        return Ok(());
    }
    let mut run = || -> rusqlite::Result<()> {
        let step = connection.transaction_with_behavior(TransactionBehavior::Exclusive)?;
        for sql in &STEPS[from as usize..] {
            step.execute_batch(sql)?;
        }
        step.pragma_update(None, "application_id", APPLICATION_ID)?;
        step.pragma_update(None, "user_version", NEWEST)?;
        step.commit()
    };
    run().map_err(|e| disk_error(path, &e))
}
