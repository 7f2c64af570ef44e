//! The form of the file: its mark, its version and the steps from one version to the next.

use super::error::{LogbookError, Trouble};
use rusqlite::{Connection, TransactionBehavior};
use std::path::Path;

/// Marks the file as a logbook of this program ("MWLB" in ASCII), `PRAGMA application_id`.
const APPLICATION_ID: i64 = 0x4D57_4C42;

/// How an empty file becomes a logbook, and an older logbook one of the newest form.
pub(crate) struct Forms {
    /// The form that `base` makes. Earlier ones were never released; a file in one is set aside.
    oldest: i64,
    /// Makes the oldest form in an empty file.
    base: &'static str,
    /// Each takes the file one form further. A released step is never changed.
    steps: &'static [&'static str],
}

/// The forms of the logbook. A change of the schema is a new step here, not a change of `schema.sql`.
pub(crate) const FORMS: Forms =
    Forms { oldest: 6, base: include_str!("schema.sql"), steps: &[CALLS, WAYPOINTS] };

/// Form 7: the radio log. Entries of the kind `urgent call` are those that nothing may reject.
const CALLS: &str = include_str!("calls.sql");
/// Form 8: waypoints of the plan.
const WAYPOINTS: &str = include_str!("waypoints.sql");

/// Turns an SQLite error into the logbook's.
pub(crate) fn disk_error(path: &Path, error: &rusqlite::Error) -> LogbookError {
    LogbookError::Disk { path: path.to_owned(), why: Trouble::of(error), detail: error.to_string() }
}

impl Forms {
    fn newest(&self) -> i64 {
        self.oldest + self.steps.len() as i64
    }

    /// The form of the file; `None` if it is empty.
    ///
    /// # Errors
    /// If the form is newer or too old, the file is no logbook, or it cannot be read.
    pub(crate) fn of(&self, connection: &Connection, path: &Path) -> Result<Option<i64>, LogbookError> {
        let pragma = |name: &str| connection.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
        let read = || -> rusqlite::Result<(i64, i64, i64)> {
            let tables = connection.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
            Ok((pragma("application_id")?, pragma("user_version")?, tables))
        };
        let (application, found, tables) = read().map_err(|e| disk_error(path, &e))?;
        let path = path.to_owned();
        if tables == 0 && found == 0 {
            Ok(None)
        } else if application != APPLICATION_ID || found < 1 {
            Err(LogbookError::NotALogbook { path })
        } else if found > self.newest() {
            Err(LogbookError::Newer { path, found, known: self.newest() })
        } else if found < self.oldest {
            Err(LogbookError::TooOld { path, found, oldest: self.oldest })
        } else {
            Ok(Some(found))
        }
    }

    /// Brings the file to the newest form, all steps in one transaction: all or nothing.
    ///
    /// # Errors
    /// As `of`, or if the disk fails.
    pub(super) fn bring_up(&self, connection: &mut Connection, path: &Path) -> Result<(), LogbookError> {
        let found = self.of(connection, path)?;
        let done = found.map_or(0, |form| (form - self.oldest) as usize);
        let steps = self.steps.get(done..).unwrap_or_default();
        let base = found.is_none().then_some(&self.base);
        if base.is_none() && steps.is_empty() {
            return Ok(());
        }
        let mut run = || -> rusqlite::Result<()> {
            let change = connection.transaction_with_behavior(TransactionBehavior::Exclusive)?;
            for sql in base.into_iter().chain(steps) {
                change.execute_batch(sql)?;
            }
            change.pragma_update(None, "application_id", APPLICATION_ID)?;
            change.pragma_update(None, "user_version", self.newest())?;
            change.commit()
        };
        run().map_err(|e| disk_error(path, &e))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
    use super::*;

    /// As if a later program had two more forms.
    const LATER: Forms = Forms {
        steps: &[
            CALLS,
            WAYPOINTS,
            "ALTER TABLE run_rows ADD COLUMN port TEXT; CREATE TABLE stores (name TEXT NOT NULL) STRICT",
            "ALTER TABLE stores ADD COLUMN amount REAL",
        ],
        ..FORMS
    };

    fn schema(c: &Connection) -> String {
        let sql = "SELECT group_concat(type || name || coalesce(sql, ''), ';') FROM
                   (SELECT * FROM sqlite_schema WHERE name NOT LIKE 'sqlite_%' ORDER BY type, name)";
        c.query_row(sql, [], |r| r.get(0)).unwrap()
    }

    #[test]
    fn an_older_form_is_brought_up_with_all_its_rows() {
        let path = Path::new("logbook.db");
        let mut old = Connection::open_in_memory().unwrap();
        FORMS.bring_up(&mut old, path).unwrap();
        assert_eq!(FORMS.of(&old, path), Ok(Some(8)));
        let run = "INSERT INTO run_rows (boot, from_ms, to_ms, version) VALUES (1, 0, 5, '0.1.0')";
        old.execute(run, []).unwrap();
        LATER.bring_up(&mut old, path).unwrap();
        assert_eq!(LATER.of(&old, path), Ok(Some(10)));
        let kept = old.query_row("SELECT to_ms, port FROM run_rows", [], |r| Ok((r.get(0)?, r.get(1)?)));
        assert_eq!(kept, Ok((5, None::<String>)));

        let mut fresh = Connection::open_in_memory().unwrap();
        LATER.bring_up(&mut fresh, path).unwrap();
        assert_eq!(schema(&old), schema(&fresh), "it becomes the same as a fresh one");
        LATER.bring_up(&mut old, path).unwrap();
        assert_eq!(schema(&old), schema(&fresh), "nothing is left to do");
        // This program leaves it alone.
        let newer = LogbookError::Newer { path: path.to_owned(), found: 10, known: 8 };
        assert_eq!(FORMS.of(&old, path), Err(newer.clone()));
        assert_eq!(FORMS.bring_up(&mut old, path), Err(newer));
    }

    #[test]
    fn a_step_that_fails_changes_nothing() {
        let path = Path::new("logbook.db");
        let broken = Forms {
            steps: &[CALLS, WAYPOINTS, "CREATE TABLE stores (name TEXT)", "DROP TABLE no_such"],
            ..FORMS
        };
        let mut c = Connection::open_in_memory().unwrap();
        FORMS.bring_up(&mut c, path).unwrap();
        let before = schema(&c);
        assert!(matches!(broken.bring_up(&mut c, path), Err(LogbookError::Disk { .. })));
        assert_eq!((schema(&c), broken.of(&c, path)), (before, Ok(Some(8))));
    }

    #[test]
    fn a_form_from_before_the_first_release_is_refused() {
        let path = Path::new("logbook.db");
        let mut c = Connection::open_in_memory().unwrap();
        FORMS.bring_up(&mut c, path).unwrap();
        c.pragma_update(None, "user_version", 5).unwrap();
        let old = LogbookError::TooOld { path: path.to_owned(), found: 5, oldest: 6 };
        assert_eq!(FORMS.bring_up(&mut c, path), Err(old));
    }
}
