//! The logbook: what happened, on disk, in the order of steady time.
//!
//! One thread owns the file (SQLite in write-ahead mode). Whoever logs something hands it over and goes on; nobody
//! need wait for the disk. An event and its deliveries are one transaction, synced before its number is reported. Rows
//! of own vessel, targets and instruments are thinned and written every two minutes, or with the next event: a power
//! cut costs at most two minutes of track, and no alert. While the disk fails, everything waits in bounded memory and
//! is retried. A file that is damaged, was taken from under the watch or has a form from before the first release is
//! renamed and a new one begun, with what can be read of it.
//!
//! Any SQLite shell can read the file, even while the daemon runs: the views `alerts`, `own`, `targets`,
//! `instruments`, `feeds`, `entries` and `runs` have plain names and units. The tables behind them may change from
//! version to version; the views stay.

mod anew;
mod batch;
mod copy;
mod custody;
mod delivery;
mod error;
mod inbox;
mod keep;
mod opening;
mod outbox;
mod pages;
mod reading;
mod rows;
mod salvage;
mod schema;
mod thinning;
mod waiting;
mod writer;

pub use delivery::{DeliveryId, Due};
pub use error::{LogbookError, LogbookHealth, SetAside, Trouble};

pub(crate) use keep::DEFAULT_LIMIT_BYTES as LIMIT_BYTES;
pub(crate) use outbox::{DISK_WAIT, is_urgent};
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

/// How fast records arrive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// As they happen. Nobody waits: when rows come faster than the disk takes them, the oldest are dropped and
    /// counted. Every event is synced.
    Live,
    /// As fast as they can be read. Rows wait for room, and nothing is synced before the end: a replay cut short can
    /// be run again.
    Replay,
}

/// Settings for opening a logbook.
#[derive(Debug, Clone)]
pub struct LogbookSettings {
    /// The kernel's boot id; `None` for a replay, whose steady time is its own.
    pub boot: Option<String>,
    /// Now.
    pub opened: Stamp,
    /// How fast records arrive.
    pub pace: Pace,
    /// The file's size limit: near it, the oldest rows make room, those first that are missed least. `None`: 1 GiB, and
    /// in a replay no limit but the disk.
    pub limit_bytes: Option<u64>,
}

/// What an earlier run left.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Recovered {
    /// Saved states, by key.
    pub states: BTreeMap<String, String>,
    /// Deliveries that have not reached their signal.
    pub pending_deliveries: usize,
    /// The next alert's number.
    pub next_alert: u32,
    /// The next casualty's number.
    pub next_casualty: u32,
    /// The number of this boot in the logbook; `None` while the file cannot be opened.
    pub boot: Option<i64>,
    /// Whether the logbook has an earlier run of the same boot: its steady time goes on.
    pub same_boot: bool,
    /// The previous run's last sign of life; `None` in a new logbook.
    pub last_sign: Option<Stamp>,
    /// Whether the steady time of `last_sign` belongs to this boot.
    pub last_sign_same_boot: bool,
    /// Whether the previous run ended in order; `true` in a new logbook.
    pub stopped_in_order: bool,
    /// The file that was set aside: damaged, or of a form from before the first release.
    pub set_aside: Option<SetAside>,
}

/// Keys of the watch's saved states.
pub const ALERTS: &str = "alerts";
/// See [`ALERTS`].
pub const CASUALTIES: &str = "casualties";
/// See [`ALERTS`].
pub const ANCHOR: &str = "anchor";
/// See [`ALERTS`].
pub const ASKED: &str = "asked";
/// See [`ALERTS`].
pub const CALLS: &str = "calls";
/// See [`ALERTS`].
pub const GUIDANCE: &str = "guidance";
/// See [`ALERTS`].
pub const SEARCH: &str = "search";

/// A handle to the logbook; clones share one logbook. Dropping the last writes what waits and closes the file.
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
    /// Whether a copy is under way.
    copying: AtomicBool,
}

impl Drop for Handle {
    fn drop(&mut self) {
        // Refused if already closed: then nothing is left to do.
        let _ = self.shared.ask(Request::Close(None, None));
    }
}

impl Logbook {
    /// Takes what the watch puts out for the disk. Does not write events: each goes out with its deliveries.
    pub fn take(&self, effect: Effect) {
        match effect {
            Effect::Event(..) | Effect::Places(..) => {}
            Effect::Again(at, record) => drop(self.event(at, &record, Vec::new())),
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
    /// If the file is in a newer form, is no logbook or is in use, or the disk fails.
    pub fn open(
        path: impl AsRef<Path>,
        settings: LogbookSettings,
    ) -> Result<(Self, Recovered), LogbookError> {
        match Self::open_or_wait(path, settings) {
            (logbook, recovered, None) => Ok((logbook, recovered)),
            (_, _, Some(error)) => Err(error),
        }
    }

    /// Like `open`, but keeps retrying a file that cannot be opened, while everything waits in memory: the watch goes
    /// on without a logbook. The error says why, and so does `health`.
    pub fn open_or_wait(
        path: impl AsRef<Path>,
        settings: LogbookSettings,
    ) -> (Self, Recovered, Option<LogbookError>) {
        let path = opening::real(path.as_ref());
        let at = path.clone();
        let shared = Arc::new(Shared::new());
        let pace = settings.pace;
        let (store, recovered, waiting, error) = match opening::open(&path, &settings) {
            Ok((store, recovered, waiting)) => (Some(store), recovered, waiting, None),
            Err(error) => {
                // What cannot be written may still be readable: a casualty outlasts a full disk and a restart.
                let (mut recovered, _, waiting) = opening::look(&path, &settings);
                waiting::look(&path, &mut recovered);
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

    /// Names a feed; stamps refer to it by number. There are 65,536 numbers.
    pub fn name_feed(&self, feed: FeedId, name: &str) {
        self.handle.shared.name_feed(feed, name);
    }

    /// Logs own vessel. Call as often as it is known: one row every ten seconds is written.
    pub fn own(&self, at: Stamp, row: OwnRow) {
        self.push_row(at, LogRow::Own(row));
    }

    /// Logs a target. Call with every report: each minute the nearest 200 get one row, the one of their least range.
    pub fn target(&self, at: Stamp, row: TargetRow) {
        self.push_row(at, LogRow::Target(row));
    }

    /// Logs a reading of own vessel's instruments, in the quantity's own unit. Call with every reading: the least,
    /// mean, greatest and last of each minute are written.
    pub fn instrument(&self, at: Stamp, quantity: Quantity, value: f64) {
        self.push_row(at, LogRow::Instrument(quantity, value));
    }

    /// Logs a feed's counts. Call as often as you like: one row every ten minutes is written.
    pub fn feed(&self, at: Stamp, row: FeedRow) {
        self.push_row(at, LogRow::Feed(row));
    }

    /// Writes an entry into the log, at once.
    pub fn entry(&self, at: Stamp, entry: Entry) {
        // Refused if the logbook is closed: nobody is left to report to.
        let _ = self.handle.shared.push_record(Record::Entry(at, Box::new(entry)));
    }

    /// Logs an event with its deliveries to the named signals, in one transaction. The answer comes once that is
    /// synced, with the event's number. On an error, the record waits and is retried (unless the error is `Dropped` or
    /// `Closed`). States saved earlier reach the disk with it.
    ///
    /// The deliveries are due as soon as the event is on disk, but within 250 ms in any case.
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

    /// Due deliveries to a signal, most urgent first, at most `limit`, and only the oldest of each alert. A delivery
    /// stays due until `delivered` or `failed` reports it. Notices older than an hour and cautions older than six are
    /// dropped; anything more urgent is never too old.
    ///
    /// In the signal's hours of rest, by UTC, a call waits for their end or for an alarm of the same alert, and does
    /// not age. Answers to a call already sent do not wait. Nothing rests while the UTC of `now` is unknown.
    pub fn due(&self, signal: &str, now: &Stamp, rest: Option<Rest>, limit: usize) -> Vec<Due> {
        let (due, stale) = self.handle.shared.outbox().due(signal, now, rest, limit);
        self.handle.shared.push_delivered(stale);
        due
    }

    /// When the next delivery to a signal is due; `None` if there is none, or all of them rest.
    pub fn next_due(&self, signal: &str, now: &Stamp, rest: Option<Rest>) -> Option<Moment> {
        self.handle.shared.outbox().next_due(signal, now, rest)
    }

    /// Whether an alarm for a signal is due.
    pub(crate) fn urgent_due(&self, signal: &str, now: &Stamp) -> bool {
        self.handle.shared.outbox().urgent_due(signal, now)
    }

    /// Whether an alarm waits for a signal, due or put off.
    pub(crate) fn urgent_waits(&self, signal: &str) -> bool {
        self.handle.shared.outbox().urgent_waits(signal)
    }

    /// Reports a delivery as arrived. Saved with the next write: after a power cut it may go out twice.
    pub fn delivered(&self, id: DeliveryId) {
        let row = self.handle.shared.outbox().remove(id);
        self.handle.shared.push_delivered(row);
    }

    /// Reports a delivery as failed; it is due again at `next_try`, in this boot's steady time even if the event is
    /// from an earlier boot.
    pub fn failed(&self, id: DeliveryId, next_try: Moment) {
        self.handle.shared.outbox().put_off(id, next_try);
        self.handle.shared.outbox_changed();
    }

    /// Forgets deliveries to all other signals: nobody will ever fetch them.
    pub fn keep_signals(&self, names: &[&str]) {
        let rows = self.handle.shared.outbox().keep_signals(names);
        self.handle.shared.push_delivered(rows);
    }

    /// How many deliveries wait, over all signals (at most 4,000; beyond that the oldest of the least priority is
    /// dropped).
    pub fn deliveries_waiting(&self) -> usize {
        self.handle.shared.outbox().len()
    }

    /// Changes whenever there may be something new to deliver.
    pub fn outbox_changes(&self) -> watch::Receiver<u64> {
        self.handle.shared.outbox_changes.subscribe()
    }

    /// Saves a state for the next start; the newest replaces any other under its key. It is written with the next
    /// event or at the end of the minute; `flush` writes it at once. At most 1,024 keys.
    pub fn save_state(&self, at: Stamp, key: &str, json: &str) {
        self.handle.shared.push_state(at, key, json);
    }

    /// Writes everything that waits, including the current minute; the answer comes once that is synced.
    pub fn flush(&self) -> oneshot::Receiver<Result<(), LogbookError>> {
        let (reply, answer) = oneshot::channel();
        self.request(Request::Flush(reply));
        answer
    }

    /// Waits until the events and entries logged so far are on disk, or could not be written: the error says why they
    /// wait.
    pub fn settled(&self) -> oneshot::Receiver<Result<(), LogbookError>> {
        let (reply, answer) = oneshot::channel();
        self.request(Request::Settled(reply));
        answer
    }

    /// Writes everything that waits, ends the run in order and closes the file. Accepts nothing afterwards. While the
    /// disk takes nothing it tries for three seconds, then puts the records by in a file beside the logbook and answers
    /// with `PutBy`.
    pub fn close(&self, at: Stamp) -> oneshot::Receiver<Result<(), LogbookError>> {
        let (reply, answer) = oneshot::channel();
        self.request(Request::Close(Some(at), Some(reply)));
        answer
    }

    /// Copies the whole logbook to another file while the watch goes on. The answer, the copy's size in bytes, comes
    /// once the copy is whole and synced; only then does it take its name, which is new or that of an earlier copy of
    /// this logbook. One copy at a time.
    pub fn backup(&self, to: impl AsRef<Path>) -> oneshot::Receiver<Result<u64, LogbookError>> {
        let (reply, answer) = oneshot::channel();
        let to = to.as_ref().to_owned();
        if self.handle.copying.swap(true, Ordering::SeqCst) {
            let detail = "another copy is being made".to_owned();
            // Whoever asked may have gone; so below.
            let _ = reply.send(Err(LogbookError::Disk { path: to, why: Trouble::Busy, detail }));
            return answer;
        }
        let (ask, reader) = oneshot::channel();
        // Refused if closed: then the channel is, too.
        let _ = self.handle.shared.ask(Request::Reader(ask));
        let handle = Arc::clone(&self.handle);
        let work = move || {
            let reader = reader.blocking_recv().unwrap_or(Err(LogbookError::Closed));
            let result = reader.and_then(|reader| copy::copy(&reader, &handle.path, &to));
            handle.copying.store(false, Ordering::SeqCst);
            let _ = reply.send(result);
        };
        // Without a thread, the work and its reply are dropped: the receiver sees the channel closed.
        if std::thread::Builder::new().name("logbook copy".to_owned()).spawn(work).is_err() {
            self.handle.copying.store(false, Ordering::SeqCst);
        }
        answer
    }

    fn request(&self, request: Request) {
        if let Err(Request::Flush(reply) | Request::Settled(reply) | Request::Close(_, Some(reply))) =
            self.handle.shared.ask(request)
        {
            // Whoever asked may have gone.
            let _ = reply.send(Err(LogbookError::Closed));
        }
    }

    /// The logbook's health; the receiver sees changes.
    pub fn health(&self) -> watch::Receiver<LogbookHealth> {
        self.handle.shared.health.subscribe()
    }
}
