//! A new file in place of one that cannot be used: setting that aside, and carrying over what can be read of it.

use super::error::{LogbookError, SetAside, Trouble};
use super::opening::beside;
use super::salvage::{Old, salvage};
use super::schema::{FORMS, disk_error};
use super::waiting::free_room;
use nix::fcntl::posix_fallocate;
use record::Carried;
use rusqlite::Connection;
use std::fs::File;
use std::io;
use std::os::unix::fs::{FileExt, MetadataExt};
use std::path::{Path, PathBuf};

/// The new file's name while it is being written.
const PART: &str = ".new-part";
/// Its name from when it is whole until it takes its place: whoever finds one takes it up.
const NEW: &str = ".new";
/// Files of SQLite's own beside a logbook.
const PARTS: [&str; 3] = ["-wal", "-shm", "-journal"];
/// Size of a write-ahead log's head, and where in it the size of a page stands (SQLite's file format, section 4.1).
const WAL_HEAD: u64 = 32;
const WAL_PAGE_SIZE: usize = 8;

/// A new file that is whole and synced, but has not taken the logbook's place.
pub(super) struct Fresh {
    part: PathBuf,
    carried: Carried,
}

/// Makes a new logbook beside the old one, with what can be read of that, and with what else is known.
///
/// # Errors
/// If the disk fails. Nothing has changed then.
pub(super) fn make(
    path: &Path,
    old: Option<&Old<'_>>,
    known: impl Fn(&Connection) -> rusqlite::Result<()>,
) -> Result<Fresh, LogbookError> {
    let part = beside(path, PART);
    let clear = || match std::fs::remove_file(&part) {
        Err(e) if e.kind() != io::ErrorKind::NotFound => Err(disk(&part, &e)),
        _ => Ok(()),
    };
    clear()?;
    let fail = |e: rusqlite::Error| disk_error(&part, &e);
    let fill = || -> Result<Carried, LogbookError> {
        let mut new = Connection::open(&part).map_err(fail)?;
        // It is synced as a whole, and nobody knows it before.
        new.pragma_update(None, "journal_mode", "MEMORY").map_err(fail)?;
        new.pragma_update(None, "synchronous", "OFF").map_err(fail)?;
        FORMS.bring_up(&mut new, &part)?;
        let carried = old.map(|old| salvage(old, &new)).transpose().map_err(fail)?.unwrap_or_default();
        known(&new).map_err(fail)?;
        new.close().map_err(|(_, e)| fail(e))?;
        File::open(&part).and_then(|f| f.sync_all()).map_err(|e| disk(&part, &e))?;
        Ok(carried)
    };
    match fill() {
        Ok(carried) => Ok(Fresh { part, carried }),
        Err(e) => {
            // Of no use; the next try clears it if this does not.
            let _ = clear();
            Err(e)
        }
    }
}

impl Fresh {
    /// Sets aside what stands in the logbook's place and takes that, once `ready` has let go of it. From the first step
    /// on a kill or a power cut costs nothing: the next start goes on from there.
    ///
    /// # Errors
    /// If a file cannot be renamed.
    pub fn take_place(
        self,
        path: &Path,
        why: &LogbookError,
        ready: impl FnOnce(),
    ) -> Result<(Option<PathBuf>, Carried), LogbookError> {
        let named = std::fs::rename(&self.part, beside(path, NEW)).and_then(|()| sync_folder(path));
        named.map_err(|e| disk(path, &e))?;
        let to = set_aside(path, why)?;
        // Before the new file has its name: SQLite deletes the log of that name when it closes.
        ready();
        take_name(path)?;
        Ok((to, self.carried))
    }
}

fn take_name(path: &Path) -> Result<(), LogbookError> {
    std::fs::rename(beside(path, NEW), path).and_then(|()| sync_folder(path)).map_err(|e| disk(path, &e))
}

/// Goes on with a new file that was whole, but had not taken the logbook's place when the daemon was ended.
///
/// # Errors
/// If a file cannot be renamed.
pub(super) fn finish(path: &Path) -> Result<Option<SetAside>, LogbookError> {
    if !beside(path, NEW).is_file() {
        return Ok(None);
    }
    let detail = "the run before was ended while it began a new file in its place".to_owned();
    let why = LogbookError::Disk { path: path.to_owned(), why: Trouble::Damaged, detail };
    let to = set_aside(path, &why)?;
    take_name(path)?;
    let c = Connection::open(path).map_err(|e| disk_error(path, &e))?;
    let rows = |table: &str| {
        let sql = format!("SELECT count(*) FROM {table}");
        c.query_row(&sql, [], |r| r.get::<_, i64>(0)).map(i64::unsigned_abs)
    };
    let count = || -> rusqlite::Result<Carried> {
        let heard = ["own_rows", "target_rows", "instrument_rows", "feed_rows"].map(rows);
        let rows_heard = heard.into_iter().sum::<rusqlite::Result<u64>>()?;
        let (events, entries) = (rows("event_rows")?, rows("entry_rows")?);
        Ok(Carried { whole: false, events, entries, rows: rows_heard })
    };
    Ok(Some(SetAside { to, why, carried: count().unwrap_or_default() }))
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
    /// The index, to mend it. Open as long as SQLite has it: closing it would cost SQLite its locks on it.
    index: Option<File>,
}

const KEPT: [&str; 3] = ["", PARTS[0], PARTS[1]];
/// Which of them is the index.
const INDEX: usize = 2;
/// Length of the index's head, which stands there twice, and says what else of it is valid (SQLite's description of
/// the format of the write-ahead log, section 2.1).
const INDEX_HEAD: [u8; 96] = [0; 96];

fn identity(path: &Path) -> Option<Identity> {
    std::fs::metadata(path).ok().map(|m| (m.dev(), m.ino(), m.len()))
}

impl Files {
    /// Those of a logbook that has just been opened.
    pub fn of(path: &Path) -> Self {
        let index = File::options().read(true).write(true).open(beside(path, KEPT[INDEX])).ok();
        Self { path: path.to_owned(), seen: KEPT.map(|part| identity(&beside(path, part))), index }
    }

    /// Notes their sizes after a write of ours. Of the three SQLite cuts only the log; a write that went on while another
    /// program cut the file or the index must not hide it.
    pub fn written(&mut self) {
        for (part, seen) in KEPT.iter().zip(&mut self.seen) {
            if let (Some(seen), Some(now)) = (seen, identity(&beside(&self.path, part)))
                && (seen.0, seen.1) == (now.0, now.1)
            {
                seen.2 = if *part == PARTS[0] { now.2 } else { now.2.max(seen.2) };
            }
        }
    }

    /// Whether each is still where it was, and no shorter. Costs three calls of the system. An index that was cut is
    /// mended: SQLite has it in memory, and whoever touches memory whose file is gone is ended by the system.
    ///
    /// # Errors
    /// Which is not.
    pub fn look(&self) -> Result<(), LogbookError> {
        self.mend_index()?;
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

    /// Gives an index that was cut its length again, even one whose name is gone. With its head blank SQLite makes it
    /// anew from the log.
    fn mend_index(&self) -> Result<(), LogbookError> {
        let (Some(index), Some((.., long))) = (&self.index, self.seen[INDEX]) else { return Ok(()) };
        let fail = |e: io::Error| disk(&beside(&self.path, KEPT[INDEX]), &e);
        if index.metadata().map_err(fail)?.len() >= long {
            return Ok(());
        }
        index.write_all_at(&INDEX_HEAD, 0).map_err(fail)?;
        // With room on the disk for all of it.
        let fill =
            || posix_fallocate(index, 0, i64::try_from(long).unwrap_or(i64::MAX)).map_err(io::Error::from);
        fill()
            .or_else(|_| {
                free_room(&self.path);
                fill()
            })
            .map_err(fail)?;
        tracing::warn!(file = %beside(&self.path, KEPT[INDEX]).display(), "was cut and is made anew");
        Ok(())
    }
}
