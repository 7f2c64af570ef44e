//! The logbook: what happened, on disk, in the order of steady time.
//!
//! One thread owns the file (SQLite in write-ahead mode). Whoever has something to log hands it over and goes on;
//! nobody waits for the disk unless he wants to. An event and what must be delivered of it are one transaction,
//! synced before its number is told. Rows of own vessel, targets and instruments are thinned and written every
//! two minutes, or with the next event: a power cut costs two minutes of track at most, and no alert. While the disk fails, everything waits in bounded memory and is tried again.
//! A damaged file, or one of a form from before the first release, is set aside under another name and a new one begun.
//!
//! The file can be read with any SQLite shell, also while the daemon runs: the views `alerts`, `own`, `targets`,
//! `instruments`, `feeds`, `entries` and `runs` have plain names and units. The tables behind them may change
//! from version to version, the views stay.

mod batch;
mod copy;
mod delivery;
mod error;
mod inbox;
mod keep;
mod opening;
mod outbox;
mod reading;
mod rows;
mod schema;
mod thinning;
mod writer;

pub use delivery::{DeliveryId, Due};
pub use error::{LogbookError, LogbookHealth, SetAside, Trouble};

pub(crate) use keep::DEFAULT_LIMIT_BYTES as LIMIT_BYTES;
pub(crate) use reading::{marks, open_to_read};
pub(crate) use rows::WITHIN;
pub(crate) use schema::{FORMS, disk_error};

use ::watch::{Effect, Row};
use boat::Rest;
use delivery::{EventItem, Row as LogRow};
use inbox::{Record, Request, Shared};
use record::{Entry, EventRecord, FeedRow, OwnRow, Stamp, TargetRow};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use terms::{FeedId, Moment, Quantity};
use tokio::sync::{oneshot, watch};
use writer::Writer;

/// How fast things come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// As they happen. Nobody waits: when rows come faster than the disk takes them, the oldest are dropped and
    /// counted. Every event is synced.
    Live,
    /// As fast as they can be read. Rows wait for room, and nothing is synced before the end: a replay that is cut
    /// off can be run again.
    Replay,
}

/// How a logbook is opened.
#[derive(Debug, Clone)]
pub struct LogbookSettings {
    /// The kernel's boot id; `None` for a replay, whose steady time is its own.
    pub boot: Option<String>,
    /// Now.
    pub opened: Stamp,
    /// How fast things come.
    pub pace: Pace,
    /// The file is never larger than this: near it, the oldest rows make room (targets, then feeds, instruments and own
    /// track; alerts and casualties never). `None` for 1 GiB, and in a replay for as large as the disk takes.
    pub limit_bytes: Option<u64>,
}

/// What an earlier run has left.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Recovered {
    /// The states that were saved, by key.
    pub states: BTreeMap<String, String>,
    /// Deliveries that have not reached their signal.
    pub pending_deliveries: usize,
    /// The next alert's number.
    pub next_alert: u32,
    /// The next casualty's number.
    pub next_casualty: u32,
    /// The number of this boot in the logbook; `None` while the file cannot be opened.
    pub boot: Option<i64>,
    /// Whether an earlier run of the same boot is in the logbook: its steady time goes on.
    pub same_boot: bool,
    /// The last sign of life of the run before; `None` in a new logbook.
    pub last_sign: Option<Stamp>,
    /// Whether the steady time of `last_sign` is of this boot.
    pub last_sign_same_boot: bool,
    /// Whether the run before was ended in order; `true` in a new logbook.
    pub stopped_in_order: bool,
    /// The file that was set aside: damaged, or of a form from before the first release.
    pub set_aside: Option<SetAside>,
}

/// Keys of the saved states that the watch keeps.
pub const ALERTS: &str = "alerts";
/// See [`ALERTS`].
pub const CASUALTIES: &str = "casualties";

/// A handle to the logbook; clones share the same one. When the last is dropped, what waits is written and the file closed.
#[derive(Debug, Clone)]
pub struct Logbook {
    handle: Arc<Handle>,
}

#[derive(Debug)]
struct Handle {
    shared: Arc<Shared>,
    pace: Pace,
    path: PathBuf,
    next_key: AtomicU64,
    /// Whether a copy is being made.
    copying: AtomicBool,
}

impl Drop for Handle {
    fn drop(&mut self) {
        // Refused when it was closed before: then there is nothing left to do.
        let _ = self.shared.ask(Request::Close(None, None));
    }
}

impl Logbook {
    /// Takes what the watch gives out for the disk. An event is not written here: it goes out with its deliveries.
    pub fn take(&self, effect: Effect) {
        match effect {
            Effect::Event(..) | Effect::Places(..) => {}
            Effect::Keep(at, kept) => self.handle.shared.keep(at, kept),
            Effect::Row(at, Row::Own(row)) => self.own(at, row),
            Effect::Row(at, Row::Target(row)) => self.target(at, row),
            Effect::Row(at, Row::Instrument(quantity, value)) => self.instrument(at, quantity, value),
            Effect::Entry(at, entry) => self.entry(at, entry),
        }
    }

    /// Opens or makes the logbook, and begins a run in it. Blocks while the file is read.
    ///
    /// # Errors
    /// When the file is of a newer form, no logbook, in use, or the disk does not take it.
    pub fn open(
        path: impl AsRef<Path>,
        settings: LogbookSettings,
    ) -> Result<(Self, Recovered), LogbookError> {
        match Self::open_or_wait(path, settings) {
            (logbook, recovered, None) => Ok((logbook, recovered)),
            (_, _, Some(error)) => Err(error),
        }
    }

    /// As `open`, but a file that cannot be opened is tried again and again, while everything waits in memory: the
    /// watch goes on without a logbook. The error says why, and so does `health`.
    pub fn open_or_wait(
        path: impl AsRef<Path>,
        settings: LogbookSettings,
    ) -> (Self, Recovered, Option<LogbookError>) {
        let path = path.as_ref().to_owned();
        let at = path.clone();
        let shared = Arc::new(Shared::new());
        let pace = settings.pace;
        let (store, recovered, waiting, error) = match opening::open(&path, &settings) {
            Ok((store, recovered, waiting)) => (Some(store), recovered, waiting, None),
            Err(error) => {
                // What cannot be written can perhaps be read: a casualty outlasts a full disk and a restart.
                let (recovered, _, waiting) = opening::look(&path, &settings);
                (None, recovered, waiting, Some(error))
            }
        };
        for w in waiting {
            let rows = shared.outbox().add(w);
            shared.push_delivered(rows);
        }
        shared.push_redeliver();
        let mut writer = Writer::new(Arc::clone(&shared), path.clone(), settings, store);
        let set_aside = recovered.set_aside.clone();
        writer.begin_with(
            &recovered.states,
            LogbookHealth { failing: error.clone(), set_aside, ..LogbookHealth::default() },
        );
        let spawned = std::thread::Builder::new().name("logbook".to_owned()).spawn(move || writer.run());
        let error = match spawned {
            Ok(_) => error,
            Err(e) => {
                shared.shut();
                let failing =
                    LogbookError::Disk { path, why: Trouble::Failed, detail: format!("no thread: {e}") };
                shared.health.send_modify(|h| h.failing = Some(failing.clone()));
                Some(failing)
            }
        };
        let handle =
            Handle { shared, pace, path: at, next_key: AtomicU64::new(1), copying: AtomicBool::new(false) };
        (Self { handle: Arc::new(handle) }, recovered, error)
    }

    fn push_row(&self, at: Stamp, row: LogRow) {
        self.handle.shared.push_row(self.handle.pace, at, row);
    }

    /// Names a feed, by whose number stamps tell whence a row comes. There are 65,536 numbers.
    pub fn name_feed(&self, feed: FeedId, name: &str) {
        self.handle.shared.name_feed(feed, name);
    }

    /// Logs own vessel. May be called as often as it is known: one row each ten seconds is written.
    pub fn own(&self, at: Stamp, row: OwnRow) {
        self.push_row(at, LogRow::Own(row));
    }

    /// Logs a target. May be called with each report: each minute the nearest 200 get one row, the one of their least range.
    pub fn target(&self, at: Stamp, row: TargetRow) {
        self.push_row(at, LogRow::Target(row));
    }

    /// Logs a reading of own vessel's instruments, in the quantity's own unit. May be called with each reading:
    /// least, mean, greatest and last of each minute are written.
    pub fn instrument(&self, at: Stamp, quantity: Quantity, value: f64) {
        self.push_row(at, LogRow::Instrument(quantity, value));
    }

    /// Logs a feed's counts. May be called often: one row each ten minutes is written.
    pub fn feed(&self, at: Stamp, row: FeedRow) {
        self.push_row(at, LogRow::Feed(row));
    }

    /// Writes an entry into the log, at once.
    pub fn entry(&self, at: Stamp, entry: Entry) {
        // Refused when the logbook is closed: nobody is left to tell.
        let _ = self.handle.shared.push_record(Record::Entry(at, Box::new(entry)));
    }

    /// Logs an event together with its deliveries to the signals named, in one transaction. The answer comes when that is
    /// synced, with the event's number; or an error when it is not, in which case the record waits and is tried
    /// again (unless the error is `Dropped` or `Closed`). A state saved before goes to the disk with it.
    ///
    /// The deliveries are due as soon as the event is on disk, and 250 ms later in any case.
    pub fn event(
        &self,
        at: Stamp,
        record: &EventRecord,
        signals: Vec<String>,
    ) -> oneshot::Receiver<Result<i64, LogbookError>> {
        let (reply, answer) = oneshot::channel();
        let record = Arc::new(record.clone());
        let key = self.handle.next_key.fetch_add(1, Ordering::Relaxed);
        let shared = &self.handle.shared;
        let news = !signals.is_empty();
        let gone = shared.outbox().add_event(key, at, &record, signals);
        shared.push_delivered(gone);
        if let Err(Record::Event(e)) =
            shared.push_record(Record::Event(EventItem { key, at, record, reply: Some(reply) }))
        {
            e.answer(Err(LogbookError::Closed));
        }
        if news {
            shared.outbox_changed();
        }
        answer
    }

    /// Deliveries to a signal whose time has come, the most urgent first, at most `limit`, and of each alert only the
    /// oldest. A delivery stays due until `delivered` or `failed` is told of it. Notices older than an hour and cautions
    /// older than six are dropped, anything more urgent never for its age.
    ///
    /// In the signal's hours of rest, given by UTC, a call waits for their end or for an alarm of the same alert, and
    /// does not age. Answers to a call that has gone out do not wait. Where the UTC of `now` is not known nothing rests.
    pub fn due(&self, signal: &str, now: &Stamp, rest: Option<Rest>, limit: usize) -> Vec<Due> {
        let (due, stale) = self.handle.shared.outbox().due(signal, now, rest, limit);
        self.handle.shared.push_delivered(stale);
        due
    }

    /// When the next delivery to a signal is due; `None` when there is none, or none that does not rest.
    pub fn next_due(&self, signal: &str, now: &Stamp, rest: Option<Rest>) -> Option<Moment> {
        self.handle.shared.outbox().next_due(signal, now, rest)
    }

    /// A delivery has arrived. That is written with whatever is written next: after a power cut it may go out twice.
    pub fn delivered(&self, id: DeliveryId) {
        let row = self.handle.shared.outbox().remove(id);
        self.handle.shared.push_delivered(row);
    }

    /// A delivery has failed and is due again then. Of an earlier boot's it does not matter: steady time is this boot's.
    pub fn failed(&self, id: DeliveryId, next_try: Moment) {
        self.handle.shared.outbox().put_off(id, next_try);
        self.handle.shared.outbox_changed();
    }

    /// Forgets the deliveries to signals that are not among these: nobody will ever fetch them.
    pub fn keep_signals(&self, names: &[&str]) {
        let rows = self.handle.shared.outbox().keep_signals(names);
        self.handle.shared.push_delivered(rows);
    }

    /// How many deliveries wait, over all signals (at most 4,000; above that the oldest of the least priority goes).
    pub fn deliveries_waiting(&self) -> usize {
        self.handle.shared.outbox().len()
    }

    /// Changes whenever there may be something new to deliver.
    pub fn outbox_changes(&self) -> watch::Receiver<u64> {
        self.handle.shared.outbox_changes.subscribe()
    }

    /// Keeps a state for the next start, the newest under its key. It is written with the next event, or when the
    /// minute ends; `flush` writes it at once. At most 1,024 keys.
    pub fn save_state(&self, at: Stamp, key: &str, json: &str) {
        self.handle.shared.push_state(at, key, json);
    }

    /// Writes all that waits, the minute that is running too; the answer comes when that is synced.
    pub fn flush(&self) -> oneshot::Receiver<Result<(), LogbookError>> {
        let (reply, answer) = oneshot::channel();
        self.request(Request::Flush(reply));
        answer
    }

    /// Writes all that waits, ends the run in order and closes the file. Nothing is taken in afterwards.
    pub fn close(&self, at: Stamp) -> oneshot::Receiver<Result<(), LogbookError>> {
        let (reply, answer) = oneshot::channel();
        self.request(Request::Close(Some(at), Some(reply)));
        answer
    }

    /// Copies the whole logbook to another file, while the watch goes on. The answer, the copy's bytes, comes when the
    /// copy is whole and synced; a file of that name that was there before is replaced then, not sooner. One copy is
    /// made at a time.
    pub fn backup(&self, to: impl AsRef<Path>) -> oneshot::Receiver<Result<u64, LogbookError>> {
        let (reply, answer) = oneshot::channel();
        let to = to.as_ref().to_owned();
        if self.handle.copying.swap(true, Ordering::SeqCst) {
            let detail = "another copy is being made".to_owned();
            // Who asked may have gone; so below.
            let _ = reply.send(Err(LogbookError::Disk { path: to, why: Trouble::Busy, detail }));
            return answer;
        }
        let written = self.flush();
        let handle = Arc::clone(&self.handle);
        let work = move || {
            // What cannot be written now is missing in the copy; `health` tells of it.
            let _ = written.blocking_recv();
            let result = copy::copy(&handle.path, &to);
            handle.copying.store(false, Ordering::SeqCst);
            let _ = reply.send(result);
        };
        // Without a thread the work and its reply are dropped: the receiver sees the channel closed.
        if std::thread::Builder::new().name("logbook copy".to_owned()).spawn(work).is_err() {
            self.handle.copying.store(false, Ordering::SeqCst);
        }
        answer
    }

    fn request(&self, request: Request) {
        if let Err(Request::Flush(reply) | Request::Close(_, Some(reply))) = self.handle.shared.ask(request) {
            // Who asked may have gone.
            let _ = reply.send(Err(LogbookError::Closed));
        }
    }

    /// How the logbook is doing; changes are seen by the receiver.
    pub fn health(&self) -> watch::Receiver<LogbookHealth> {
        self.handle.shared.health.subscribe()
    }
}
