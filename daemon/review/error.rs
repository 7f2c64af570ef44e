//! Why a logbook cannot be reviewed.

use crate::logbook::LogbookError;
use std::path::PathBuf;
use thiserror::Error;

/// Why a logbook cannot be reviewed.
#[derive(Debug, Error)]
pub enum ReviewError {
    /// There is no such file.
    #[error("there is no logbook {path}", path = path.display())]
    NoLogbook {
        /// Which file.
        path: PathBuf,
    },
    /// It is not one that this program can read.
    #[error(transparent)]
    Logbook(#[from] LogbookError),
    /// It has nothing from that time.
    #[error("the logbook {path} has nothing from that time: {has}", path = path.display())]
    Nothing {
        /// Which file.
        path: PathBuf,
        /// What it has instead.
        has: String,
    },
}
