//! A new file in place of one that cannot be used: setting that aside, and carrying over what can be read of it.

use super::error::{LogbookError, Trouble};
use super::opening::beside;
use super::salvage::salvage;
use super::schema::{FORMS, disk_error};
use crate::clock::Clock;
use record::Carried;
use rusqlite::Connection;
use std::fs::File;
use std::io;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long rows are carried over before the new file is used with what it has. The watch does not wait for it; events
/// wait in memory meanwhile.
const CARRY: Duration = Duration::from_secs(20);
/// The new file's name until it takes its place.
const NEW: &str = ".new";
/// Files of SQLite's own beside a logbook.
const PARTS: [&str; 3] = ["-wal", "-shm", "-journal"];
/// Size of a write-ahead log's head, and where in it the size of a page stands (SQLite's file format, section 4.1).
const WAL_HEAD: u64 = 32;
const WAL_PAGE_SIZE: usize = 8;

/// A new file that is whole and synced, but has not taken the logbook's place.
pub(super) struct Fresh {
    file: PathBuf,
    carried: Carried,
}

/// Makes a new logbook beside the old one, with what can be read of that. `sound`: nothing in the old one is damaged.
///
/// # Errors
/// If the disk fails. Nothing has changed then.
pub(super) fn make(path: &Path, old: Option<&Connection>, sound: bool) -> Result<Fresh, LogbookError> {
    let file = beside(path, NEW);
    let clear = || match std::fs::remove_file(&file) {
        Err(e) if e.kind() != io::ErrorKind::NotFound => Err(disk(&file, &e)),
        _ => Ok(()),
    };
    clear()?;
    let fail = |e: rusqlite::Error| disk_error(&file, &e);
    let fill = || -> Result<Carried, LogbookError> {
        let mut new = Connection::open(&file).map_err(fail)?;
        // It is synced as a whole, and nobody knows it before.
        new.pragma_update(None, "journal_mode", "MEMORY").map_err(fail)?;
        new.pragma_update(None, "synchronous", "OFF").map_err(fail)?;
        FORMS.bring_up(&mut new, &file)?;
        let end = Clock.now() + CARRY;
        let carried =
            old.map(|old| salvage(old, &new, sound, end)).transpose().map_err(fail)?.unwrap_or_default();
        new.close().map_err(|(_, e)| fail(e))?;
        File::open(&file).and_then(|f| f.sync_all()).map_err(|e| disk(&file, &e))?;
        Ok(carried)
    };
    match fill() {
        Ok(carried) => Ok(Fresh { file, carried }),
        Err(e) => {
            // Of no use; the next try clears it if this does not.
            let _ = clear();
            Err(e)
        }
    }
}

impl Fresh {
    /// Takes the logbook's place, where nothing must be left.
    pub fn take_place(self, path: &Path) -> Result<Carried, LogbookError> {
        std::fs::rename(&self.file, path).and_then(|()| sync_folder(path)).map_err(|e| disk(path, &e))?;
        Ok(self.carried)
    }
}

/// Syncs the folder of a file, so that a new name in it outlasts a power cut.
pub(super) fn sync_folder(path: &Path) -> io::Result<()> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    File::open(folder)?.sync_all()
}

pub(super) fn disk(path: &Path, e: &io::Error) -> LogbookError {
    let why = if e.kind() == io::ErrorKind::StorageFull { Trouble::Full } else { Trouble::Failed };
    LogbookError::Disk { path: path.to_owned(), why, detail: e.to_string() }
}

/// Renames whatever stands in the logbook's place, and SQLite's files beside it, to the first free number. Deletes
/// nothing. Returns the new name; `None` if nothing was there.
pub(super) fn set_aside(path: &Path, why: &LogbookError) -> Result<Option<PathBuf>, LogbookError> {
    let failed = |e: io::Error| LogbookError::Disk {
        path: path.to_owned(),
        why: Trouble::Damaged,
        detail: format!("cannot be set aside: {e}"),
    };
    let word = match why {
        LogbookError::TooOld { .. } => "old",
        LogbookError::Disk { why: Trouble::Taken, .. } => "found",
        _ => "damaged",
    };
    let is_free = |p: &PathBuf| std::fs::symlink_metadata(p).is_err();
    let free = (1..10_000).map(|n| beside(path, &format!(".{word}-{n}"))).find(is_free);
    let to = free.ok_or_else(|| failed(io::Error::other("10,000 such files are there already")))?;
    let mut moved = false;
    for part in ["", PARTS[0], PARTS[1], PARTS[2]] {
        match std::fs::rename(beside(path, part), beside(&to, part)) {
            Ok(()) => moved = true,
            Err(e) if e.kind() == io::ErrorKind::NotFound => {}
            Err(e) => return Err(failed(e)),
        }
    }
    Ok(moved.then_some(to))
}

/// Sees whether a write-ahead log stands beside no logbook, or beside an empty one: SQLite would delete that log. Gives
/// it a page to belong to, so that it can be read.
///
/// # Errors
/// What is wrong.
pub(super) fn look_for_orphan(path: &Path) -> Result<(), LogbookError> {
    let is_empty =
        std::fs::metadata(path).map_or_else(|e| e.kind() == io::ErrorKind::NotFound, |m| m.len() == 0);
    let wal = beside(path, PARTS[0]);
    if !is_empty || std::fs::metadata(&wal).map_or(0, |m| m.len()) <= WAL_HEAD {
        return Ok(());
    }
    let pad = || -> io::Result<()> {
        let mut head = [0; WAL_HEAD as usize];
        io::Read::read_exact(&mut File::open(&wal)?, &mut head)?;
        let size = head[WAL_PAGE_SIZE..WAL_PAGE_SIZE + 4].iter().fold(0, |n, b| n << 8 | u64::from(*b));
        // Larger is no page; such a log is no log, and is set aside unread.
        File::options().create(true).truncate(false).write(true).open(path)?.set_len(size.min(65_536))
    };
    let detail = "its write-ahead log is there, but the file is empty or gone".to_owned();
    // If even that fails, nothing is read of it.
    let _ = pad();
    Err(LogbookError::Disk { path: path.to_owned(), why: Trouble::Damaged, detail })
}

/// A file as it was when it was opened, by device and number, and its size.
type Identity = (u64, u64, u64);

/// The files of an open logbook, by which it is seen that another program has taken them away.
pub(super) struct Files {
    path: PathBuf,
    /// The file itself, the write-ahead log and its index.
    seen: [Option<Identity>; 3],
}

const KEPT: [&str; 3] = ["", PARTS[0], PARTS[1]];

fn identity(path: &Path) -> Option<Identity> {
    std::fs::metadata(path).ok().map(|m| (m.dev(), m.ino(), m.len()))
}

impl Files {
    /// Those of a logbook that has just been opened.
    pub fn of(path: &Path) -> Self {
        Self { path: path.to_owned(), seen: KEPT.map(|part| identity(&beside(path, part))) }
    }

    /// Notes their sizes after a write of ours.
    pub fn written(&mut self) {
        for (part, seen) in KEPT.iter().zip(&mut self.seen) {
            if let (Some(seen), Some(now)) = (seen, identity(&beside(&self.path, part)))
                && (seen.0, seen.1) == (now.0, now.1)
            {
                seen.2 = now.2;
            }
        }
    }

    /// Whether each is still where it was, and no shorter. Costs three calls of the system.
    ///
    /// # Errors
    /// Which is not.
    pub fn look(&self) -> Result<(), LogbookError> {
        for (part, seen) in KEPT.iter().zip(&self.seen) {
            let path = beside(&self.path, part);
            let Some(seen) = seen else { continue };
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            let detail = match identity(&path) {
                None => format!("{name} is gone"),
                Some(now) if (now.0, now.1) != (seen.0, seen.1) => {
                    format!("another file stands in the place of {name}")
                }
                Some(now) if now.2 < seen.2 => format!("{name} was cut from {} to {} bytes", seen.2, now.2),
                Some(_) => continue,
            };
            return Err(LogbookError::Disk { path: self.path.clone(), why: Trouble::Taken, detail });
        }
        Ok(())
    }
}
