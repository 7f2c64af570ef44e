//! The bounded way from the daemon's tasks to the thread that writes.

use super::Pace;
use super::delivery::{EventItem, Row};
use super::error::{LogbookError, LogbookHealth};
use super::outbox::{OUTBOX_BOUND, Outbox};
use ::watch::Kept;
use record::{Entry, Stamp};
use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use terms::FeedId;
use tokio::sync::{oneshot, watch};

/// Rows that wait for the writing thread at most; the oldest is dropped above it, or a replay waits.
pub(super) const ROWS_BOUND: usize = 8192;
/// Events and entries that wait for the writing thread at most.
pub(super) const RECORDS_BOUND: usize = 2048;
/// States that are kept at most: the boards and the casualties of one boat.
pub(super) const STATES_BOUND: usize = 1024;
/// The writing thread looks at the rows at least this often.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// ... and when so many have come.
const LOOK_ROWS: usize = 1024;

/// What comes in order and is never dropped before rows are.
#[derive(Debug)]
pub(super) enum Record {
    Event(EventItem),
    Entry(Stamp, Box<Entry>),
    /// The row of a delivery that is no longer needed.
    Delivered(i64),
    /// The row of a delivery, and the key it went out under.
    Key(i64, String),
    /// A delivery whose row went with a damaged file.
    Redeliver(super::delivery::DeliveryId),
}

/// What is asked of the writing thread.
#[derive(Debug)]
pub(super) enum Request {
    /// Write everything.
    Flush(oneshot::Sender<Result<(), LogbookError>>),
    /// Write everything and end.
    Close(Option<Stamp>, Option<oneshot::Sender<Result<(), LogbookError>>>),
    /// The check has found the file damaged.
    Damaged(LogbookError),
}

/// What has come in since the writing thread last looked.
#[derive(Debug, Default)]
pub(super) struct Inbox {
    pub rows: VecDeque<(Stamp, Row)>,
    pub records: VecDeque<Record>,
    pub states: BTreeMap<String, (Stamp, String)>,
    /// The newest of what the watch keeps; made into JSON by the writing thread.
    pub kept: Option<(Stamp, Box<Kept>)>,
    pub requests: Vec<Request>,
    pub dropped: u64,
    closed: bool,
}

/// What the handles and the writing thread share.
#[derive(Debug)]
pub(super) struct Shared {
    inbox: Mutex<Inbox>,
    come: Condvar,
    room: Condvar,
    outbox: Mutex<Outbox>,
    pub outbox_changes: watch::Sender<u64>,
    pub health: watch::Sender<LogbookHealth>,
    /// Names of the feeds that stamps name by number.
    feeds: Mutex<BTreeMap<FeedId, Arc<str>>>,
}

/// A panic while a lock is held leaves plain collections behind: they are still good.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Takes the least urgent event out, the oldest of those; entries and deliveries stay.
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

    /// Tells the senders that the outbox has something new.
    pub fn outbox_changed(&self) {
        self.outbox_changes.send_modify(|n| *n = n.wrapping_add(1));
    }

    /// Puts a row in. Live, the oldest makes room; in a replay the caller waits for room.
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

    /// Puts in what must outlast a restart, in place of what waited. It goes to the disk with the events behind it.
    pub fn keep(&self, at: Stamp, kept: Box<Kept>) {
        let mut inbox = lock(&self.inbox);
        if !inbox.closed {
            inbox.kept = Some((at, kept));
        }
    }

    /// Puts a record in and wakes the writing thread; gives it back when the logbook is closed.
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

    /// Rows of deliveries that are to go, with whatever is written next. There cannot be more of them than the outbox
    /// holds rows on disk, so there is always room.
    pub fn push_delivered(&self, rows: impl IntoIterator<Item = i64>) {
        let mut inbox = lock(&self.inbox);
        for row in rows {
            if inbox.records.len() < RECORDS_BOUND + OUTBOX_BOUND {
                inbox.records.push_back(Record::Delivered(row));
            }
        }
    }

    /// Deliveries saved from a damaged file get rows in the new one.
    pub fn push_redeliver(&self) {
        let orphans = self.outbox().without_row(|_| true);
        let mut inbox = lock(&self.inbox);
        inbox.records.extend(orphans.into_iter().map(|(id, _)| Record::Redeliver(id)));
    }

    /// Keeps the newest state under its key. It goes to the disk with the next event, or when the minute ends.
    pub fn push_state(&self, at: Stamp, key: &str, json: &str) {
        let mut inbox = lock(&self.inbox);
        if inbox.states.len() < STATES_BOUND || inbox.states.contains_key(key) {
            inbox.states.insert(key.to_owned(), (at, json.to_owned()));
        } else {
            inbox.dropped += 1;
        }
    }

    /// Asks for something; gives it back when the logbook is closed.
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

    /// Waits until there is something to do, one second at most, and takes all of it. The flag tells that the
    /// second has passed.
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

    /// Nothing more is taken in; used when the writing thread ends.
    pub fn shut(&self) {
        lock(&self.inbox).closed = true;
        self.room.notify_all();
    }
}
