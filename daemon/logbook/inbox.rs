//! The bounded queue from the daemon's tasks to the writing thread.

use super::Pace;
use super::delivery::{EventItem, Row};
use super::error::{LogbookError, LogbookHealth};
use super::outbox::{OUTBOX_BOUND, Outbox};
use ::watch::Kept;
use record::{Entry, Stamp};
use rusqlite::Connection;
use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use terms::FeedId;
use tokio::sync::{oneshot, watch};

/// Most rows waiting for the writing thread; beyond that the oldest is dropped, or a replay waits.
pub(super) const ROWS_BOUND: usize = 8192;
/// Most events and entries waiting for the writing thread.
pub(super) const RECORDS_BOUND: usize = 2048;
/// Most states kept: the boards and the casualties of one boat.
pub(super) const STATES_BOUND: usize = 1024;
/// Longest time before the writing thread looks at the rows.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// ... or number of rows, whichever comes first.
const LOOK_ROWS: usize = 1024;

/// What keeps its order and is dropped only after rows are.
#[derive(Debug)]
pub(super) enum Record {
    Event(EventItem),
    Entry(Stamp, Box<Entry>),
    /// The row of a delivery that is no longer needed.
    Delivered(i64),
    /// The row of a delivery, and the key it was sent under.
    Key(i64, String),
    /// A delivery whose row was lost with a damaged file.
    Redeliver(super::delivery::DeliveryId),
}

/// Requests to the writing thread.
#[derive(Debug)]
pub(super) enum Request {
    /// Write everything.
    Flush(oneshot::Sender<Result<(), LogbookError>>),
    /// Write everything, and give a connection that reads it.
    Reader(oneshot::Sender<Result<Connection, LogbookError>>),
    /// Write everything and end.
    Close(Option<Stamp>, Option<oneshot::Sender<Result<(), LogbookError>>>),
    /// Answer once the events and entries handed over before are on disk, or could not be written.
    Settled(oneshot::Sender<Result<(), LogbookError>>),
    /// The check found the file of this count damaged.
    Damaged(u32, LogbookError),
}

/// What has arrived since the writing thread last looked.
#[derive(Debug, Default)]
pub(super) struct Inbox {
    pub rows: VecDeque<(Stamp, Row)>,
    pub records: VecDeque<Record>,
    pub states: BTreeMap<String, (Stamp, String)>,
    /// The latest state of the watch; the writing thread turns it into JSON.
    pub kept: Option<(Stamp, Box<Kept>)>,
    pub requests: Vec<Request>,
    pub dropped: u64,
    closed: bool,
}

/// What the handles share with the writing thread.
#[derive(Debug)]
pub(super) struct Shared {
    inbox: Mutex<Inbox>,
    come: Condvar,
    room: Condvar,
    outbox: Mutex<Outbox>,
    pub outbox_changes: watch::Sender<u64>,
    pub health: watch::Sender<LogbookHealth>,
    /// Names of the feeds, by their numbers in stamps.
    feeds: Mutex<BTreeMap<FeedId, Arc<str>>>,
}

/// Locks; a panic while the lock was held leaves plain collections that are still good.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Removes the least urgent event, the oldest of several; entries and deliveries stay.
pub(super) fn drop_least_urgent(records: &mut VecDeque<Record>) -> Option<EventItem> {
    let urgency = |r: &Record| if let Record::Event(e) = r { Some(e.record.alert.priority) } else { None };
    let least =
        records.iter().enumerate().filter_map(|(i, r)| Some((urgency(r)?, i))).min().map(|(_, i)| i)?;
    match records.remove(least) {
        Some(Record::Event(e)) => Some(e),
        _ => None,
    }
}

impl Shared {
    pub fn new() -> Self {
        Self {
            inbox: Mutex::default(),
            come: Condvar::new(),
            room: Condvar::new(),
            outbox: Mutex::default(),
            outbox_changes: watch::Sender::new(0),
            health: watch::Sender::new(LogbookHealth::default()),
            feeds: Mutex::default(),
        }
    }

    pub fn name_feed(&self, feed: FeedId, name: &str) {
        lock(&self.feeds).insert(feed, name.into());
    }

    pub fn feeds(&self) -> BTreeMap<FeedId, Arc<str>> {
        lock(&self.feeds).clone()
    }

    pub fn outbox(&self) -> MutexGuard<'_, Outbox> {
        lock(&self.outbox)
    }

    /// Wakes the senders: the outbox has something new.
    pub fn outbox_changed(&self) {
        self.outbox_changes.send_modify(|n| *n = n.wrapping_add(1));
    }

    /// Adds a row. Live, the oldest makes room; in a replay the caller waits.
    pub fn push_row(&self, pace: Pace, at: Stamp, row: Row) {
        let mut inbox = lock(&self.inbox);
        while pace == Pace::Replay && inbox.rows.len() >= ROWS_BOUND && !inbox.closed {
            self.come.notify_one();
            inbox = self.room.wait(inbox).unwrap_or_else(PoisonError::into_inner);
        }
        if inbox.closed {
            return;
        }
        if inbox.rows.len() >= ROWS_BOUND {
            inbox.rows.pop_front();
            inbox.dropped += 1;
        }
        inbox.rows.push_back((at, row));
        if inbox.rows.len() >= LOOK_ROWS {
            self.come.notify_one();
        }
    }

    /// Replaces the waiting state that must outlast a restart. It reaches the disk with the events that follow it.
    pub fn keep(&self, at: Stamp, kept: Box<Kept>) {
        let mut inbox = lock(&self.inbox);
        if !inbox.closed {
            inbox.kept = Some((at, kept));
        }
    }

    /// Adds a record and wakes the writing thread; returns the record if the logbook is closed.
    pub fn push_record(&self, record: Record) -> Result<(), Record> {
        let mut inbox = lock(&self.inbox);
        if inbox.closed {
            return Err(record);
        }
        if inbox.records.len() >= RECORDS_BOUND {
            inbox.dropped += 1;
            match drop_least_urgent(&mut inbox.records) {
                Some(e) => e.answer(Err(LogbookError::Dropped("too many records wait".to_owned()))),
                None => drop(inbox.records.pop_front()),
            }
        }
        inbox.records.push_back(record);
        self.come.notify_one();
        Ok(())
    }

    /// Removes rows of deliveries with the next write. There is always room: there cannot be more of them than rows of
    /// the outbox on disk.
    pub fn push_delivered(&self, rows: impl IntoIterator<Item = i64>) {
        let mut inbox = lock(&self.inbox);
        for row in rows {
            if inbox.records.len() < RECORDS_BOUND + OUTBOX_BOUND {
                inbox.records.push_back(Record::Delivered(row));
            }
        }
    }

    /// Gives deliveries saved from a damaged file rows in the new one.
    pub fn push_redeliver(&self) {
        let orphans = self.outbox().without_row(|_| true);
        let mut inbox = lock(&self.inbox);
        inbox.records.extend(orphans.into_iter().map(|(id, _)| Record::Redeliver(id)));
    }

    /// Keeps the newest state under its key. It reaches the disk with the next event or at the end of the minute.
    pub fn push_state(&self, at: Stamp, key: &str, json: &str) {
        let mut inbox = lock(&self.inbox);
        if inbox.states.len() < STATES_BOUND || inbox.states.contains_key(key) {
            inbox.states.insert(key.to_owned(), (at, json.to_owned()));
        } else {
            inbox.dropped += 1;
        }
    }

    /// Sends a request; returns it if the logbook is closed.
    pub fn ask(&self, request: Request) -> Result<(), Request> {
        let mut inbox = lock(&self.inbox);
        if inbox.closed {
            return Err(request);
        }
        inbox.closed = matches!(request, Request::Close(..));
        inbox.requests.push(request);
        self.come.notify_one();
        Ok(())
    }

    /// Waits for something to do, at most one second, and takes all of it. The flag is set when the second has passed.
    pub fn take(&self) -> (Inbox, bool) {
        let inbox = lock(&self.inbox);
        let nothing = |i: &mut Inbox| {
            i.records.is_empty() && i.requests.is_empty() && i.rows.len() < LOOK_ROWS && !i.closed
        };
        let (mut inbox, waited) =
            self.come.wait_timeout_while(inbox, LOOK_EVERY, nothing).unwrap_or_else(PoisonError::into_inner);
        let closed = inbox.closed;
        let taken = std::mem::replace(&mut *inbox, Inbox { closed, ..Inbox::default() });
        self.room.notify_all();
        (taken, waited.timed_out())
    }

    /// Accepts nothing more; called when the writing thread ends.
    pub fn shut(&self) {
        lock(&self.inbox).closed = true;
        self.room.notify_all();
    }
}
