//! Opening the file for reading only.

use super::error::LogbookError;
use super::schema::{FORMS, disk_error};
use rusqlite::{Connection, OpenFlags};
use std::path::Path;
use std::time::Duration;

/// Whether a daemon has the file open, or had at a power cut, and when the file was last written.
pub(crate) fn marks(path: &Path) -> (bool, Option<std::time::SystemTime>) {
    let mut wal = path.as_os_str().to_owned();
    wal.push("-wal");
    (Path::new(&wal).exists(), std::fs::metadata(path).and_then(|m| m.modified()).ok())
}

/// Opens for reading only. A file that nobody has open is read as it is, which leaves nothing beside it and works on a
/// read-only disk; the caller then checks that the marks have not changed.
///
/// # Errors
/// If it is in a newer or unreleased form, is no logbook, or cannot be read.
pub(crate) fn open_to_read(path: &Path) -> Result<Connection, LogbookError> {
    let fail = |e: rusqlite::Error| disk_error(path, &e);
    let (in_use, _) = marks(path);
    let name = format!("file:{}?{}", uri(path), if in_use { "mode=ro" } else { "immutable=1" });
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
    let opened = Connection::open_with_flags(name, flags).map_err(fail)?;
    opened.busy_timeout(Duration::from_secs(2)).map_err(fail)?;
    FORMS.of(&opened, path)?;
    Ok(opened)
}

/// A path as a URI needs it.
fn uri(path: &Path) -> String {
    path.to_string_lossy().replace('%', "%25").replace('?', "%3f").replace('#', "%23")
}
