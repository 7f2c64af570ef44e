//! Opening the file: locking it, setting a damaged one aside, reading what an earlier run left.

pub(super) use super::Recovered;
use super::anew::{self, Files, Fresh};
use super::batch::{Batch, count, put_state};
use super::error::{LogbookError, SetAside, Trouble};
use super::keep;
use super::outbox::{Body, Waiting, key_on_disk};
use super::reading::open_to_read;
use super::salvage::Old;
use super::schema::{FORMS, disk_error};
use super::waiting;
use super::{LogbookSettings, Pace};
use record::Stamp;
use rules::Priority;
use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fs::{File, TryLockError};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use terms::{FeedId, Moment};

/// How long to wait for another process that holds the file before a write is put off.
const BUSY_WAIT: Duration = Duration::from_secs(1);
/// SQLite's cache of the file; a logbook is written at its end and seldom read.
const CACHE_KIB: i64 = 256;
/// Pages of the write-ahead log before they go into the file: 4 MiB.
const CHECKPOINT_PAGES: i64 = 1000;
/// Size of a page where room is short, bytes.
const SMALL_PAGE: i64 = 1024;
/// Size to which a write-ahead log is cut back after a long reader made it grow.
const WAL_KEEPS_BYTES: i64 = 8 << 20;

/// The logbook's file, open for writing. Only one process holds it at a time.
pub(super) struct Store {
    connection: Connection,
    path: PathBuf,
    opened: Stamp,
    boot: i64,
    run: i64,
    number: i64,
    files: Files,
    /// Held as long as the store lives; a file of waiting records has none.
    _hold: Option<Hold>,
}

/// The path with a suffix on its name.
pub(super) fn beside(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    name.into()
}

/// The lock file beside the logbook: one process holds it, and it goes when released. A lock on the logbook itself
/// would cost SQLite its own locks whenever that lock is closed.
struct Hold {
    path: PathBuf,
    _file: File,
}

impl Drop for Hold {
    fn drop(&mut self) {
        // Removed while still locked; whoever opened it meanwhile sees that it is gone.
        let _ = std::fs::remove_file(&self.path);
    }
}

/// Retries in case another process removes the lock file between our opening and locking it.
const HOLD_TRIES: usize = 10;

fn hold(path: &Path) -> Result<Hold, LogbookError> {
    let lock_path = beside(path, "-lock");
    let cannot = |e: std::io::Error| {
        let why = match e.kind() {
            std::io::ErrorKind::ReadOnlyFilesystem | std::io::ErrorKind::PermissionDenied => {
                Trouble::ReadOnly
            }
            std::io::ErrorKind::StorageFull => Trouble::Full,
            _ => Trouble::CannotOpen,
        };
        LogbookError::Disk { path: path.to_owned(), why, detail: e.to_string() }
    };
    for _ in 0..HOLD_TRIES {
        let file =
            File::options().create(true).truncate(false).write(true).open(&lock_path).map_err(cannot)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => break,
            Err(TryLockError::Error(e)) => return Err(cannot(e)),
        }
        let ours = file.metadata().map_err(cannot)?.ino();
        if std::fs::metadata(&lock_path).is_ok_and(|there| there.ino() == ours) {
            return Ok(Hold { path: lock_path, _file: file });
        }
    }
    Err(LogbookError::InUse { path: path.to_owned() })
}

/// Opens or makes the logbook. Sets a damaged one aside, begins a new one and carries over what can be saved of its
/// states and numbers. Also sets aside one in a form from before the first release, and reads nothing from it.
///
/// # Errors
/// A newer form, another program's database, another process holding it, or trouble with the disk.
pub(super) fn open(
    path: &Path,
    settings: &LogbookSettings,
) -> Result<(Store, Recovered, Vec<Waiting>), LogbookError> {
    let hold = hold(path)?;
    let unfinished = anew::finish(path)?;
    match anew::look_for_orphan(path).and_then(|()| open_held(path, settings)) {
        Ok(opened) => {
            let (store, recovered, waiting) = opened.stored(path, settings.opened, Some(hold));
            let set_aside = recovered.set_aside.or(unfinished);
            Ok((store, Recovered { set_aside, ..recovered }, waiting))
        }
        Err(why) if why.is_lost() || matches!(why, LogbookError::TooOld { .. }) => {
            let (salvaged, last_event, mut waiting) = look(path, settings);
            waiting.iter_mut().for_each(|w| w.row = None);
            let connection = open_to_read(path).ok();
            let old = Old { path, connection: connection.as_ref(), sound: false };
            let last = |next: u32| i64::from(next.saturating_sub(1));
            let known = Known {
                boot: None,
                states: salvaged
                    .states
                    .into_iter()
                    .map(|(key, json)| (key, (settings.opened, json)))
                    .collect(),
                numbers: vec![
                    ("event", last_event),
                    ("alert", last(salvaged.next_alert)),
                    ("casualty", last(salvaged.next_casualty)),
                ],
            };
            let readable = !matches!(why, LogbookError::TooOld { .. });
            let fresh = anew::make(path, readable.then_some(&old), |new| known.write(new))?;
            let (to, carried) = fresh.take_place(path, &why, || drop(connection))?;
            let (store, fresh, _) = open_held(path, settings)?.stored(path, settings.opened, Some(hold));
            let set_aside = Some(SetAside { to, why, carried });
            Ok((store, Recovered { pending_deliveries: waiting.len(), set_aside, ..fresh }, waiting))
        }
        Err(other) => Err(other),
    }
}

/// What is known of a logbook without it, to be written into a new one.
struct Known {
    /// The number of this boot and its id.
    boot: Option<(i64, String)>,
    /// States by their keys.
    states: BTreeMap<String, (Stamp, String)>,
    /// The last numbers of what is counted.
    numbers: Vec<(&'static str, i64)>,
}

impl Known {
    fn write(&self, new: &Connection) -> rusqlite::Result<()> {
        if let Some((number, id)) = &self.boot {
            new.execute("INSERT OR REPLACE INTO boot_rows (id, boot) VALUES (?1, ?2)", params![number, id])?;
        }
        let boot = self.boot.as_ref().map_or(0, |(number, _)| *number);
        for (key, (at, json)) in &self.states {
            put_state(new, boot, at, key, json)?;
        }
        self.numbers.iter().try_for_each(|(name, last)| count(new, name, *last))
    }
}

/// The file that a symbolic link leads to: SQLite's own files stand beside that one.
pub(super) fn real(path: &Path) -> PathBuf {
    match std::fs::read_link(path) {
        Ok(_) => std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned()),
        Err(_) => path.to_owned(),
    }
}

struct Opened {
    connection: Connection,
    boot: i64,
    run: i64,
    /// The logbook's own number.
    number: i64,
    recovered: Recovered,
    waiting: Vec<Waiting>,
}

impl Opened {
    fn stored(self, path: &Path, opened: Stamp, hold: Option<Hold>) -> (Store, Recovered, Vec<Waiting>) {
        let Self { connection, boot, run, number, recovered, waiting } = self;
        let files = Files::of(path);
        let path = path.to_owned();
        let store = Store { connection, path, opened, boot, run, number, files, _hold: hold };
        (store, recovered, waiting)
    }
}

fn open_held(path: &Path, settings: &LogbookSettings) -> Result<Opened, LogbookError> {
    let fail = |e: rusqlite::Error| disk_error(path, &e);
    let mut connection = Connection::open(path).map_err(fail)?;
    connection.busy_timeout(BUSY_WAIT).map_err(fail)?;
    // Before anything is written: a newer or foreign file stays as it is.
    FORMS.of(&connection, path)?;
    connection.pragma_update(None, "journal_mode", "WAL").map_err(fail)?;
    let synchronous = if settings.pace == Pace::Live { "FULL" } else { "NORMAL" };
    connection.pragma_update(None, "synchronous", synchronous).map_err(fail)?;
    connection.pragma_update(None, "wal_autocheckpoint", CHECKPOINT_PAGES).map_err(fail)?;
    connection.pragma_update(None, "cache_size", -CACHE_KIB).map_err(fail)?;
    connection.pragma_update(None, "journal_size_limit", WAL_KEEPS_BYTES).map_err(fail)?;
    let limit = settings.limit_bytes.or((settings.pace == Pace::Live).then_some(keep::DEFAULT_LIMIT_BYTES));
    if let Some(bytes) = limit {
        let page: i64 = connection.pragma_query_value(None, "page_size", |r| r.get(0)).map_err(fail)?;
        let pages = i64::try_from(bytes).unwrap_or(i64::MAX) / page.max(1);
        connection.pragma_update_and_check(None, "max_page_count", pages.max(1), |_| Ok(())).map_err(fail)?;
    }
    FORMS.bring_up(&mut connection, path)?;
    let number = own_number(&connection).map_err(fail)?;
    let unread = if settings.pace == Pace::Live { waiting::take_in(&mut connection, path)? } else { None };
    let read = |connection: &Connection| -> rusqlite::Result<(Recovered, Vec<Waiting>)> {
        let (boot, same_boot) = find_boot(connection, settings)?;
        let waiting = read_deliveries(connection, same_boot.then_some(boot).flatten(), number)?;
        Ok((recover(connection, boot, same_boot, waiting.len())?, waiting))
    };
    let (recovered, waiting) = read(&connection).map_err(fail)?;
    let (boot, run) = begin_run(&mut connection, settings, recovered.boot).map_err(fail)?;
    let recovered = Recovered { boot: Some(boot), set_aside: unread, ..recovered };
    Ok(Opened { connection, boot, run, number, recovered, waiting })
}

/// Makes a small logbook for what waits for the disk; half a one is of no use to anybody.
pub(super) fn open_small(path: &Path, settings: &LogbookSettings) -> Result<Store, LogbookError> {
    let fail = |e: rusqlite::Error| disk_error(path, &e);
    let mut connection = Connection::open(path).map_err(fail)?;
    connection.pragma_update(None, "page_size", SMALL_PAGE).map_err(fail)?;
    connection.pragma_update(None, "journal_mode", "MEMORY").map_err(fail)?;
    connection.pragma_update(None, "synchronous", "FULL").map_err(fail)?;
    FORMS.bring_up(&mut connection, path)?;
    let number = own_number(&connection).map_err(fail)?;
    let (boot, run) = begin_run(&mut connection, settings, None).map_err(fail)?;
    let (recovered, waiting) = (Recovered::default(), Vec::new());
    let opened = Opened { connection, boot, run, number, recovered, waiting };
    Ok(opened.stored(path, settings.opened, None).0)
}

/// The logbook's own number, drawn when it is new.
fn own_number(connection: &Connection) -> rusqlite::Result<i64> {
    let draw = "INSERT OR IGNORE INTO counters (name, last) VALUES (?1, abs(random() / 2))";
    connection.execute(draw, [OWN_NUMBER])?;
    Ok(counter(connection, OWN_NUMBER)?.unwrap_or(0))
}

/// The counter that holds it.
pub(super) const OWN_NUMBER: &str = "logbook";

/// This boot's row, if an earlier run of the same boot made one.
fn find_boot(connection: &Connection, settings: &LogbookSettings) -> rusqlite::Result<(Option<i64>, bool)> {
    let Some(boot) = &settings.boot else { return Ok((None, false)) };
    let found =
        connection.query_row("SELECT id FROM boot_rows WHERE boot = ?1", [boot], |r| r.get(0)).optional()?;
    Ok((found, found.is_some()))
}

fn begin_run(
    connection: &mut Connection,
    settings: &LogbookSettings,
    boot: Option<i64>,
) -> rusqlite::Result<(i64, i64)> {
    let t = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let boot = match boot {
        Some(id) => id,
        None => {
            t.execute("INSERT INTO boot_rows (boot) VALUES (?1)", [&settings.boot])?;
            t.last_insert_rowid()
        }
    };
    let at = &settings.opened;
    t.execute(
        "INSERT INTO run_rows (boot, from_ms, from_utc_ms, to_ms, to_utc_ms, utc_source, version)
         VALUES (?1, ?2, ?3, ?2, ?3, ?4, ?5)",
        params![boot, at.steady.0, at.utc_ms(), at.source(), env!("CARGO_PKG_VERSION")],
    )?;
    let run = t.last_insert_rowid();
    t.commit()?;
    Ok((boot, run))
}

fn recover(
    connection: &Connection,
    boot: Option<i64>,
    same_boot: bool,
    pending_deliveries: usize,
) -> rusqlite::Result<Recovered> {
    let last_run = connection
        .query_row(
            "SELECT to_ms, to_utc_ms, utc_source, boot, stopped FROM run_rows ORDER BY id DESC LIMIT 1",
            [],
            |r| {
                let stopped: bool = r.get(4)?;
                Ok((Stamp::from_columns(r.get(0)?, r.get(1)?, r.get(2)?), r.get::<_, i64>(3)?, stopped))
            },
        )
        .optional()?;
    Ok(Recovered {
        states: read_states(connection)?,
        pending_deliveries,
        next_alert: next(connection, "alert")?,
        next_casualty: next(connection, "casualty")?,
        boot,
        same_boot,
        last_sign: last_run.map(|(at, ..)| at),
        last_sign_same_boot: last_run.is_some_and(|(_, b, _)| Some(b) == boot),
        stopped_in_order: last_run.is_none_or(|(_, _, stopped)| stopped),
        set_aside: None,
    })
}

pub(super) fn read_states(
    connection: &Connection,
) -> rusqlite::Result<std::collections::BTreeMap<String, String>> {
    connection
        .prepare("SELECT key, json FROM state_rows")?
        .query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?
        .collect()
}

pub(super) fn counter(connection: &Connection, name: &str) -> rusqlite::Result<Option<i64>> {
    connection.query_row("SELECT last FROM counters WHERE name = ?1", [name], |r| r.get(0)).optional()
}

fn next(connection: &Connection, name: &str) -> rusqlite::Result<u32> {
    let last = counter(connection, name)?;
    Ok(u32::try_from(last.unwrap_or(0).saturating_add(1)).unwrap_or(u32::MAX))
}

/// What an earlier run left in an unwritable file, as far as it is readable, and the last event's number.
pub(super) fn look(path: &Path, settings: &LogbookSettings) -> (Recovered, i64, Vec<Waiting>) {
    let nothing =
        Recovered { next_alert: 1, next_casualty: 1, stopped_in_order: true, ..Recovered::default() };
    let Ok(c) = open_to_read(path) else { return (nothing, 0, Vec::new()) };
    let (boot, same_boot) = find_boot(&c, settings).unwrap_or((None, false));
    let number = counter(&c, OWN_NUMBER).ok().flatten().unwrap_or(0);
    let waiting = read_deliveries(&c, boot, number).unwrap_or_default();
    let recovered = recover(&c, boot, same_boot, waiting.len()).unwrap_or_else(|_| Recovered {
        // Some of a damaged file may still be readable.
        states: read_states(&c).unwrap_or_default(),
        next_alert: next(&c, "alert").unwrap_or(1),
        next_casualty: next(&c, "casualty").unwrap_or(1),
        pending_deliveries: waiting.len(),
        ..nothing
    });
    let last_event = next(&c, "event").unwrap_or(1).saturating_sub(1);
    (recovered, i64::from(last_event), waiting)
}

fn read_deliveries(
    connection: &Connection,
    this_boot: Option<i64>,
    number: i64,
) -> rusqlite::Result<Vec<Waiting>> {
    let mut statement = connection.prepare(
        "SELECT d.id, d.signal, d.priority, coalesce(d.body, e.record), d.event, d.boot, d.steady_ms, d.utc_ms,
         d.utc_source, d.key, e.seq, e.alert, e.event IN ('repeated', 'guidance'),
         e.event IN ('raised', 'repeated', 'escalated', 'noted', 'guidance')
         FROM delivery_rows d LEFT JOIN event_rows e ON e.id = d.event ORDER BY d.id",
    )?;
    let rows = statement.query_map([], |r| {
        let priority = usize::try_from(r.get::<_, i64>(2)?).ok().and_then(|n| Priority::ALL.get(n));
        let (row, event): (i64, Option<i64>) = (r.get(0)?, r.get(4)?);
        let (key, seq) = (r.get::<_, Option<String>>(9)?, r.get::<_, Option<u32>>(10)?.unwrap_or(0));
        let mut body = r.get::<_, Option<String>>(3)?.unwrap_or_default();
        if let (Some(_), Some(log_id)) = (&key, event) {
            // It went out before its number was known, and goes out the same way again.
            body = body.replacen(&format!("\"log_id\":{log_id},"), "\"log_id\":null,", 1);
        }
        let on_disk =
            || event.map_or_else(|| format!("{number:x}-row-{row}"), |id| key_on_disk(number, id, seq));
        Ok(Waiting {
            row: Some(row),
            signal: r.get(1)?,
            // Unknown: better too loud than silent.
            priority: priority.copied().unwrap_or(Priority::Alarm),
            alert: r.get::<_, Option<u32>>(11)?.unwrap_or(0),
            seq,
            repeats: r.get::<_, Option<bool>>(12)?.unwrap_or(false),
            calls: r.get::<_, Option<bool>>(13)?.unwrap_or(false),
            key: Some(key.unwrap_or_else(on_disk)),
            out: false,
            body: Body::Text(body),
            log_id: event,
            at: Stamp::from_columns(r.get(6)?, r.get(7)?, r.get(8)?),
            same_boot: this_boot.is_some_and(|b| Ok(b) == r.get(5)),
            next_try: Moment(i64::MIN),
            tries: 0,
            missed: 0,
            event: None,
        })
    })?;
    rows.collect()
}

impl Store {
    /// The logbook's own number.
    pub fn number(&self) -> i64 {
        self.number
    }

    /// When its run began.
    pub fn opened(&self) -> Stamp {
        self.opened
    }

    /// Begins a transaction; none of it is on disk before `commit`.
    pub fn begin(&mut self, feeds: BTreeMap<FeedId, Arc<str>>) -> Result<Batch<'_>, LogbookError> {
        let t = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(|e| disk_error(&self.path, &e))?;
        Ok(Batch { t, path: &self.path, boot: self.boot, run: self.run, feeds, feed_ids: RefCell::default() })
    }

    /// Raises a number that must not be used again.
    pub fn count(&self, name: &str, last: i64) -> Result<(), LogbookError> {
        count(&self.connection, name, last).map_err(|e| disk_error(&self.path, &e))
    }

    /// The last value of a number, as far as it is readable.
    pub fn last(&self, name: &str) -> i64 {
        next(&self.connection, name).map_or(0, |n| i64::from(n) - 1)
    }

    /// Whether the files on disk are still those that were opened.
    ///
    /// # Errors
    /// What has become of them.
    pub fn look(&self) -> Result<(), LogbookError> {
        self.files.look()
    }

    /// Notes the files' sizes after a write.
    pub fn written(&mut self) {
        self.files.written();
    }

    /// Size of the file, bytes; 0 if it cannot be seen.
    pub fn bytes(&self) -> u64 {
        std::fs::metadata(&self.path).map_or(0, |m| m.len())
    }

    /// Makes a new file with all that can be read of this one, even if its name is gone, and with what is known beside.
    ///
    /// # Errors
    /// If the disk fails; this one then stays as it is.
    pub fn rescue(
        &self,
        why: &LogbookError,
        settings: &LogbookSettings,
        states: &BTreeMap<String, (Stamp, String)>,
        numbers: &BTreeMap<&'static str, i64>,
    ) -> Result<Fresh, LogbookError> {
        let sound = matches!(why, LogbookError::Disk { why: Trouble::Taken, .. });
        let old = Old { path: &self.path, connection: Some(&self.connection), sound };
        let known = Known {
            boot: settings.boot.clone().map(|id| (self.boot, id)),
            states: states.clone(),
            numbers: numbers.iter().map(|(name, last)| (*name, *last)).collect(),
        };
        anew::make(&self.path, Some(&old), |new| known.write(new))
    }

    /// Sets aside what stands in the file's place and goes on with a new one.
    pub fn replace(
        self,
        fresh: Fresh,
        settings: &LogbookSettings,
        at: &Stamp,
        why: LogbookError,
    ) -> Result<(Self, SetAside), LogbookError> {
        let Self { connection, path, _hold, .. } = self;
        let (to, carried) = fresh.take_place(&path, &why, || drop(connection))?;
        let settings = LogbookSettings { opened: *at, ..settings.clone() };
        let (store, _, _) = open_held(&path, &settings)?.stored(&path, *at, _hold);
        Ok((store, SetAside { to, why, carried }))
    }
}
