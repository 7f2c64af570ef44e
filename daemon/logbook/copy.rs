//! Copies of the logbook, and its integrity check: both read beside the writing thread.

use super::error::{LogbookError, Trouble};
use super::reading::open_to_read;
use super::schema::disk_error;
use std::fs::File;
use std::path::{Path, PathBuf};

/// Copies the logbook, as of one moment, to another file while it is being written. The copy takes its name only once
/// it is whole and synced, replacing any earlier one. Returns its size in bytes.
pub(super) fn copy(from: &Path, to: &Path) -> Result<u64, LogbookError> {
    let failed = |e: std::io::Error| {
        let why = match e.kind() {
            std::io::ErrorKind::StorageFull => Trouble::Full,
            std::io::ErrorKind::PermissionDenied | std::io::ErrorKind::ReadOnlyFilesystem => {
                Trouble::ReadOnly
            }
            _ => Trouble::Failed,
        };
        LogbookError::Disk { path: to.to_owned(), why, detail: e.to_string() }
    };
    let same =
        std::fs::canonicalize(from).ok().is_some_and(|f| std::fs::canonicalize(to).is_ok_and(|t| t == f));
    if same || to.file_name().is_none() || to.is_dir() {
        return Err(failed(std::io::Error::other(
            "name another file, not the logbook itself and no directory",
        )));
    }
    let mut part = to.as_os_str().to_owned();
    part.push(".part");
    let part = PathBuf::from(part);
    match std::fs::remove_file(&part) {
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => return Err(failed(e)),
        _ => {}
    }
    let connection = open_to_read(from)?;
    let written = connection.execute("VACUUM INTO ?1", [part.to_string_lossy()]);
    let finish = || -> std::io::Result<u64> {
        let file = File::open(&part)?;
        file.sync_all()?;
        std::fs::rename(&part, to)?;
        let directory = to.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        File::open(directory)?.sync_all()?;
        Ok(file.metadata()?.len())
    };
    let result = written.map_err(|e| disk_error(to, &e)).and_then(|_| finish().map_err(failed));
    if result.is_err() {
        // Half a copy is worth nothing; failing to remove it is no further news.
        let _ = std::fs::remove_file(&part);
    }
    result
}

/// Checks the file with SQLite's quick check; an error says where it is damaged.
pub(super) fn check(path: &Path) -> Result<(), LogbookError> {
    let connection = open_to_read(path)?;
    let answer: String =
        connection.query_row("PRAGMA quick_check(1)", [], |r| r.get(0)).map_err(|e| disk_error(path, &e))?;
    if answer == "ok" {
        return Ok(());
    }
    Err(LogbookError::Disk { path: path.to_owned(), why: Trouble::Damaged, detail: answer })
}
