//! Copies of the logbook, and its integrity check: both read beside the writing thread.

use super::error::{LogbookError, Trouble};
use super::opening::{OWN_NUMBER, counter};
use super::reading::open_to_read;
use super::schema::{FORMS, disk_error};
use nix::errno::Errno;
use nix::fcntl::{AT_FDCWD, RenameFlags, renameat2};
use rusqlite::Connection;
use std::ffi::OsStr;
use std::fs::{File, Metadata};
use std::io;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

/// Names to try for the unfinished copy.
const PART_NAMES: u32 = 100;

/// Copies the logbook, as of one moment, to another file while it is being written. The copy takes its name only once
/// it is whole and synced. That name is new, or that of an earlier copy of this logbook. Returns its size in bytes.
pub(super) fn copy(connection: &Connection, from: &Path, to: &Path) -> Result<u64, LogbookError> {
    let failed = |e: io::Error| io_error(to, &e);
    let (folder, name) = (to.parent().unwrap_or(Path::new("/")), to.file_name());
    let name = name.ok_or_else(|| refused(to, "this names no file"))?;
    let folder = std::fs::canonicalize(folder).map_err(failed)?;
    // By the folder's real name: no link leads to another place meanwhile.
    let to = &folder.join(name);
    let replaces = may_replace(connection, from, to)?;
    let part = new_part(&folder, name).map_err(failed)?;
    let written = connection.execute("VACUUM INTO ?1", [part.to_string_lossy()]);
    let finish = || -> Result<u64, LogbookError> {
        let file = File::open(&part).map_err(failed)?;
        file.sync_all().map_err(failed)?;
        if replaces {
            std::fs::rename(&part, to).map_err(failed)?;
        } else {
            rename_new(&part, to).map_err(failed)?;
        }
        File::open(&folder).and_then(|f| f.sync_all()).map_err(failed)?;
        file.metadata().map(|m| m.len()).map_err(failed)
    };
    let result = written.map_err(|e| disk_error(to, &e)).and_then(|_| finish());
    if result.is_err() {
        // Half a copy is worth nothing; failing to remove it is no further news.
        let _ = std::fs::remove_file(&part);
    }
    result
}

fn io_error(path: &Path, e: &io::Error) -> LogbookError {
    let why = match e.kind() {
        io::ErrorKind::StorageFull => Trouble::Full,
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => Trouble::ReadOnly,
        _ => Trouble::Failed,
    };
    LogbookError::Disk { path: path.to_owned(), why, detail: e.to_string() }
}

fn refused(to: &Path, why: &str) -> LogbookError {
    LogbookError::NoCopyThere { path: to.to_owned(), why: why.to_owned() }
}

/// Whether a copy replaces an earlier one at this name; `false` for a new name.
///
/// # Errors
/// If anything else is there, or the name is one of the logbook's own.
fn may_replace(living: &Connection, from: &Path, to: &Path) -> Result<bool, LogbookError> {
    let refuse = |why: &str| Err(refused(to, why));
    let id = |m: &Metadata| (m.dev(), m.ino());
    let home = std::fs::canonicalize(from).unwrap_or_else(|_| from.to_owned());
    let own_name = home.file_name().unwrap_or_default();
    let is_own = |name: &OsStr| {
        let rest = name.as_bytes().strip_prefix(own_name.as_bytes());
        rest.is_some_and(|rest| matches!(rest.first(), None | Some(b'-' | b'.')))
    };
    let folder = |p: &Path| p.parent().and_then(|f| std::fs::metadata(f).ok()).map(|m| id(&m));
    if to.file_name().is_some_and(is_own) && folder(to) == folder(&home) {
        return refuse("the logbook keeps its own files under names like this");
    }
    // A log left there by whoever had a copy open would be taken for that of the new one.
    for log in ["-wal", "-journal"] {
        let log = super::opening::beside(to, log);
        if std::fs::symlink_metadata(&log).is_ok() {
            return refuse(&format!("{} is there, the log of a copy that is in use or was", log.display()));
        }
    }
    let there = match std::fs::symlink_metadata(to) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(false),
        Err(e) => return Err(io_error(to, &e)),
        Ok(there) if there.is_symlink() => return refuse("it is a symbolic link"),
        Ok(there) if there.is_dir() => return refuse("it is a folder"),
        Ok(there) if !there.is_file() => return refuse("it is no ordinary file"),
        Ok(there) => there,
    };
    let own_files = home.parent().and_then(|folder| std::fs::read_dir(folder).ok());
    let own_files = own_files.into_iter().flatten().flatten().filter(|e| is_own(&e.file_name()));
    if own_files.filter_map(|e| e.metadata().ok()).any(|own| id(&own) == id(&there)) {
        return refuse("it is one of the logbook's own files under another name");
    }
    match open_to_read(to) {
        Ok(copy) => is_earlier(living, &copy, from, to).map(|()| true),
        Err(LogbookError::TooOld { .. } | LogbookError::Newer { .. }) => {
            refuse("it is a logbook of another program version")
        }
        Err(LogbookError::NotALogbook { .. } | LogbookError::Disk { why: Trouble::Damaged, .. }) => {
            refuse("it is another file, not a copy of this logbook")
        }
        Err(other) => Err(other),
    }
}

/// Whether one file is an earlier copy of the other: it has the number that the logbook drew when it was begun, and
/// nothing that the logbook lacks.
fn is_earlier(living: &Connection, copy: &Connection, from: &Path, to: &Path) -> Result<(), LogbookError> {
    if FORMS.of(copy, to)?.is_none() {
        return Err(refused(to, "it is an empty file, not a copy of this logbook"));
    }
    let marks = |c: &Connection| -> rusqlite::Result<[Option<i64>; 3]> {
        let runs = c.query_row("SELECT max(id) FROM run_rows", [], |r| r.get(0))?;
        Ok([counter(c, OWN_NUMBER)?, counter(c, "event")?, runs])
    };
    let (ours, theirs) =
        (marks(living).map_err(|e| disk_error(from, &e))?, marks(copy).map_err(|e| disk_error(to, &e))?);
    if ours[0].is_none() || ours[0] != theirs[0] {
        return Err(refused(
            to,
            "it is a copy of another logbook: another vessel's, or one begun before the present one",
        ));
    }
    if theirs[1..].iter().zip(&ours[1..]).any(|(theirs, ours)| theirs > ours) {
        return Err(refused(to, "it holds what this logbook does not"));
    }
    Ok(())
}

/// A new, empty file in the copy's folder.
fn new_part(folder: &Path, name: &OsStr) -> io::Result<PathBuf> {
    let mut result = Err(io::Error::from(io::ErrorKind::AlreadyExists));
    for n in 1..=PART_NAMES {
        let mut part = OsStr::new(".").to_owned();
        part.push(name);
        part.push(format!(".part-{n}"));
        let part = folder.join(part);
        result = File::create_new(&part).map(|_| part);
        if !matches!(&result, Err(e) if e.kind() == io::ErrorKind::AlreadyExists) {
            break;
        }
    }
    result
}

/// Renames to a name that nobody has taken meanwhile.
fn rename_new(part: &Path, to: &Path) -> io::Result<()> {
    match renameat2(AT_FDCWD, part, AT_FDCWD, to, RenameFlags::RENAME_NOREPLACE) {
        // Not every file system can promise it; the name was free a moment ago.
        Err(Errno::EINVAL | Errno::ENOSYS) => std::fs::rename(part, to),
        other => Ok(other?),
    }
}

/// Checks the file with SQLite's quick check; an error says where it is damaged.
pub(super) fn check(connection: &Connection, path: &Path) -> Result<(), LogbookError> {
    let answer: String =
        connection.query_row("PRAGMA quick_check(1)", [], |r| r.get(0)).map_err(|e| disk_error(path, &e))?;
    if answer == "ok" {
        return Ok(());
    }
    Err(LogbookError::Disk { path: path.to_owned(), why: Trouble::Damaged, detail: answer })
}
