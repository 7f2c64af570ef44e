//! What can go wrong with a logbook, and its health.

use record::{Carried, Removed};
use rusqlite::ErrorCode;
use std::path::PathBuf;
use thiserror::Error;

/// Why the logbook cannot be opened or written.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum LogbookError {
    /// A newer program made it; it is left as it is.
    #[error("logbook {path} has form {found}, this program knows up to {known}: use the newer program or another file",
        path = path.display())]
    Newer {
        /// Which file.
        path: PathBuf,
        /// Its form.
        found: i64,
        /// The newest form that this program knows.
        known: i64,
    },
    /// An unreleased program made it. Opening for writing sets it aside.
    #[error("logbook {path} has form {found}, from before the first release; this program reads forms from {oldest} on",
        path = path.display())]
    TooOld {
        /// Which file.
        path: PathBuf,
        /// Its form.
        found: i64,
        /// The oldest form that this program knows.
        oldest: i64,
    },
    /// It is a database of something else; it is left as it is.
    #[error("{path} is a database, but no logbook: choose another file", path = path.display())]
    NotALogbook {
        /// Which file.
        path: PathBuf,
    },
    /// Another daemon holds it.
    #[error("logbook {path} is in use by another process", path = path.display())]
    InUse {
        /// Which file.
        path: PathBuf,
    },
    /// A copy of the logbook would overwrite something else.
    #[error("no copy is written to {path}: {why}; give a new name, or that of an earlier copy of this logbook",
        path = path.display())]
    NoCopyThere {
        /// Where it should go.
        path: PathBuf,
        /// What is in the way.
        why: String,
    },
    /// The disk fails. While the daemon runs, the record waits in memory and is retried.
    #[error("logbook {path}: {why}: {detail}", path = path.display())]
    Disk {
        /// Which file.
        path: PathBuf,
        /// What sort of trouble.
        why: Trouble,
        /// What the system said.
        detail: String,
    },
    /// The daemon stops and the disk takes nothing: the records wait in a file, which the next start takes in.
    #[error("{records} records wait in {file} for the next start, because the logbook could not be written: {why}",
        file = file.display())]
    PutBy {
        /// Which file.
        file: PathBuf,
        /// How many, besides states and rows.
        records: usize,
        /// Why they could not be written.
        why: String,
    },
    /// The record was dropped: memory for waiting records is full, or the record itself cannot be stored.
    #[error("a record was dropped from the logbook: {0}")]
    Dropped(String),
    /// The logbook has been closed.
    #[error("the logbook is closed")]
    Closed,
}

/// Kinds of trouble with the disk.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Error)]
pub enum Trouble {
    /// No room.
    #[error("the disk is full")]
    Full,
    /// Not writable.
    #[error("read-only")]
    ReadOnly,
    /// The file is damaged.
    #[error("the file is damaged")]
    Damaged,
    /// It was deleted, moved, replaced or cut short while it was open.
    #[error("another program took it from under the watch")]
    Taken,
    /// Another process holds it.
    #[error("another process holds it")]
    Busy,
    /// It cannot be opened or created.
    #[error("cannot be opened")]
    CannotOpen,
    /// The record itself cannot be stored.
    #[error("the record cannot be stored")]
    Refused,
    /// Reading or writing failed.
    #[error("reading or writing failed")]
    Failed,
}

impl Trouble {
    /// Classifies an error by SQLite's code.
    pub(super) fn of(error: &rusqlite::Error) -> Self {
        match error.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => Self::Full,
            Some(ErrorCode::ReadOnly | ErrorCode::PermissionDenied) => Self::ReadOnly,
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => Self::Damaged,
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy,
            Some(ErrorCode::CannotOpen) => Self::CannotOpen,
            Some(ErrorCode::ConstraintViolation | ErrorCode::TypeMismatch | ErrorCode::TooBig) => {
                Self::Refused
            }
            None if matches!(error, rusqlite::Error::ToSqlConversionFailure(_)) => Self::Refused,
            _ => Self::Failed,
        }
    }
}

/// The logbook's health.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LogbookHealth {
    /// Why nothing can be written now; `None` when all is well.
    pub failing: Option<LogbookError>,
    /// Records and rows waiting in memory.
    pub waiting: usize,
    /// Records, rows and deliveries dropped in this run for want of memory.
    pub dropped: u64,
    /// The file last set aside in this run.
    pub set_aside: Option<SetAside>,
    /// What was removed in this run to keep the file within its bounds.
    pub removed: Removed,
}

/// A file that could not be used, and in whose place a new one was begun.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    /// Its new name; `None` if nothing was there.
    pub to: Option<PathBuf>,
    /// What was wrong with it.
    pub why: LogbookError,
    /// What of it the new one has.
    pub carried: Carried,
}

impl LogbookError {
    /// Whether the file itself is lost or spoilt, so that a new one must be begun.
    pub(super) const fn is_lost(&self) -> bool {
        matches!(self, Self::Disk { why: Trouble::Damaged | Trouble::Taken, .. })
    }
}

impl LogbookHealth {
    /// Whether records reach the disk.
    pub fn is_good(&self) -> bool {
        self.failing.is_none()
    }
}
