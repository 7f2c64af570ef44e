//! The one thread that owns the file: thins rows, writes them in batches, and keeps them all while the disk fails.

use super::batch::Batch;
use super::delivery::EventItem;
use super::error::{LogbookError, LogbookHealth, Trouble};
use super::inbox::{Inbox, RECORDS_BOUND, Record, Request, STATES_BOUND, Shared, drop_least_urgent};
use super::opening::Store;
use super::outbox::{NewRow, Settled};
use super::thinning::{Thinned, Thinning};
use super::waiting;
use super::{ALERTS, ANCHOR, ASKED, CALLS, CASUALTIES, GUIDANCE, LogbookSettings, Pace, SEARCH};
use record::Stamp;
use rusqlite::InterruptHandle;
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::path::PathBuf;
use std::sync::Arc;
use std::thread::JoinHandle;
use terms::Moment;
use tokio::sync::oneshot;

/// Most thinned rows kept while the disk fails: two hours of the busiest waters, some 3 MiB. The oldest go first.
const ROWS_KEPT: usize = 30_000;
/// Rows written at once in a replay.
const REPLAY_BATCH: usize = 5_000;
/// Minutes between writes of rows, live: a page is then written once, not twice.
const WRITE_EVERY_MINUTES: u32 = 2;
/// Minutes between removals of a portion of old rows: faster than new ones come.
const MAKE_ROOM_MINUTES: u32 = 10;
/// Quiet seconds between retries while the disk fails.
const RETRY_PASSES: u32 = 5;

/// The writing thread's own state.
pub(super) struct Writer {
    pub shared: Arc<Shared>,
    pub path: PathBuf,
    pub settings: LogbookSettings,
    /// `None` while the file cannot be opened.
    pub store: Option<Store>,
    thinning: Thinning,
    pub(super) records: VecDeque<Record>,
    pub(super) rows: VecDeque<Thinned>,
    /// The newest of each state, written or not: a new file gets them all.
    pub(super) states: BTreeMap<String, (Stamp, String)>,
    pub(super) unwritten: BTreeSet<String>,
    pub(super) last: Stamp,
    quiet_passes: u32,
    minutes_over: u32,
    minutes: u32,
    /// The last numbers of events, alerts and casualties: a new file continues from them.
    pub(super) numbers: BTreeMap<&'static str, i64>,
    /// When the file is checked next.
    pub(super) check_due: Moment,
    /// The check that is under way, or the last one, and how it is ended.
    pub(super) checking: Option<(JoinHandle<()>, InterruptHandle)>,
    /// How many files there have been: a check of an earlier one says nothing about this.
    pub(super) file: u32,
    pub(super) health: LogbookHealth,
}

/// What a batch has produced, to note once it is on disk.
#[derive(Default)]
struct Written {
    events: Vec<(u64, i64)>,
    deliveries: Vec<NewRow>,
    logbook: i64,
    refused: BTreeMap<u64, LogbookError>,
}

impl EventItem {
    /// Answers the caller, once.
    pub fn answer(mut self, result: Result<i64, LogbookError>) {
        self.tell(result);
    }

    /// Answers the caller, unless already answered.
    pub fn tell(&mut self, result: Result<i64, LogbookError>) {
        if let Some(reply) = self.reply.take() {
            // The caller may have stopped waiting and gone on without the number.
            let _ = reply.send(result);
        }
    }
}

impl Writer {
    pub fn new(shared: Arc<Shared>, path: PathBuf, settings: LogbookSettings, store: Option<Store>) -> Self {
        Self {
            shared,
            path,
            last: settings.opened,
            settings,
            store,
            thinning: Thinning::default(),
            records: VecDeque::new(),
            rows: VecDeque::new(),
            states: BTreeMap::new(),
            unwritten: BTreeSet::new(),
            quiet_passes: 0,
            minutes_over: 0,
            minutes: 0,
            numbers: BTreeMap::new(),
            check_due: Moment(i64::MIN),
            checking: None,
            file: 0,
            health: LogbookHealth::default(),
        }
    }

    /// States and health that an opening brought.
    pub fn begin_with(&mut self, states: &BTreeMap<String, String>, health: LogbookHealth) {
        for (key, json) in states {
            self.states.entry(key.clone()).or_insert_with(|| (self.last, json.clone()));
        }
        self.health = health;
        self.tell_health();
    }

    /// Works until the logbook is closed.
    pub fn run(mut self) {
        if let Some(store) = self.store.take() {
            self.take_up(store);
        }
        loop {
            let (inbox, quiet) = self.shared.take();
            let minutes_before = self.minutes;
            let (urgent, requests) = self.absorb(inbox);
            self.quiet_passes = if quiet { self.quiet_passes + 1 } else { self.quiet_passes };
            let failing = !self.health.is_good();
            let taken = !failing && self.look().is_err();
            let again = failing && self.quiet_passes >= RETRY_PASSES;
            let full_batch = self.rows.len() >= REPLAY_BATCH && !failing;
            if urgent || again || full_batch || taken {
                // `health` reports trouble, and what could not be written is retried.
                let _ = self.write(false);
            }
            if self.serve(requests) {
                break;
            }
            self.care(minutes_before);
            self.tell_health();
        }
        self.shared.shut();
        self.tell_health();
    }

    /// Takes in what has arrived; returns whether to write now, and the requests.
    fn absorb(&mut self, mut inbox: Inbox) -> (bool, Vec<Request>) {
        for (at, row) in inbox.rows {
            self.last = at;
            let rows = &mut self.rows;
            let over = self.thinning.take(at, row, &mut |thinned| rows.push_back(thinned));
            self.minutes_over += u32::from(over);
            self.minutes = self.minutes.wrapping_add(u32::from(over));
        }
        let mut urgent = self.minutes_over >= WRITE_EVERY_MINUTES && self.settings.pace == Pace::Live;
        if let Some((at, kept)) = inbox.kept {
            // Numbers, texts and tables keyed by texts always serialize to JSON.
            let json = |of: serde_json::Result<String>| of.unwrap_or_default();
            let kept = [
                (ALERTS, json(serde_json::to_string(&kept.alerts))),
                (CASUALTIES, json(serde_json::to_string(&kept.casualties))),
                (ANCHOR, json(serde_json::to_string(&kept.anchor))),
                (ASKED, json(serde_json::to_string(&kept.asked))),
                (CALLS, json(serde_json::to_string(&kept.calls))),
                (GUIDANCE, json(serde_json::to_string(&kept.guidance))),
                (SEARCH, json(serde_json::to_string(&kept.search))),
            ];
            inbox.states.extend(kept.map(|(key, json)| (key.to_owned(), (at, json))));
        }
        for (key, (at, json)) in inbox.states {
            self.last = later(self.last, at);
            if self.states.len() < STATES_BOUND || self.states.contains_key(&key) {
                self.states.insert(key.clone(), (at, json));
                self.unwritten.insert(key);
            }
        }
        for record in inbox.records {
            if let Record::Event(EventItem { at, .. }) | Record::Entry(at, _) = &record {
                self.last = later(self.last, *at);
                urgent = true;
            }
            // A new file lacks them until they are written.
            urgent |= matches!(record, Record::Redeliver(_));
            self.records.push_back(record);
        }
        self.health.dropped += inbox.dropped;
        self.bound();
        (urgent, inbox.requests)
    }

    /// Keeps what waits within its bounds.
    fn bound(&mut self) {
        while self.rows.len() > ROWS_KEPT {
            self.rows.pop_front();
            self.health.dropped += 1;
        }
        while self.records.len() > RECORDS_BOUND {
            self.health.dropped += 1;
            match drop_least_urgent(&mut self.records) {
                Some(e) => {
                    e.answer(Err(LogbookError::Dropped("too many records wait for the disk".to_owned())))
                }
                None => drop(self.records.pop_front()),
            }
        }
    }

    /// Carries out requests; returns `true` to close the logbook.
    fn serve(&mut self, requests: Vec<Request>) -> bool {
        let mut close = false;
        for request in requests {
            match request {
                Request::Flush(reply) => {
                    self.close_minute();
                    answer(reply, self.write(false));
                }
                Request::Reader(reply) => {
                    self.close_minute();
                    // The copy lacks what cannot be written now; `health` reports that.
                    let _ = self.write(false);
                    // Whoever asked may have gone.
                    let _ = reply.send(self.reader());
                }
                Request::Settled(reply) => {
                    let waits = |r: &Record| matches!(r, Record::Event(_) | Record::Entry(..));
                    let why = || self.health.failing.clone().unwrap_or(LogbookError::Closed);
                    let waiting = self.records.iter().any(waits);
                    answer(reply, if waiting { Err(why()) } else { Ok(()) });
                }
                Request::Damaged(file, why) if file == self.file => self.begin_anew(why),
                Request::Damaged(..) => {}
                Request::Close(at, reply) => {
                    self.last = at.unwrap_or(self.last);
                    self.close_minute();
                    let result = self.finish();
                    if let Err(error) = &result {
                        self.records.drain(..).for_each(|r| {
                            if let Record::Event(e) = r {
                                e.answer(Err(error.clone()));
                            }
                        });
                    }
                    self.end_check();
                    self.store = None;
                    if let Some(reply) = reply {
                        answer(reply, result);
                    }
                    close = true;
                }
            }
        }
        close
    }

    /// Periodic work: makes room as minutes pass, and checks the file.
    fn care(&mut self, minutes_before: u32) {
        if self.settings.pace == Pace::Replay || !self.health.is_good() {
            return;
        }
        if minutes_before / MAKE_ROOM_MINUTES != self.minutes / MAKE_ROOM_MINUTES {
            self.make_room(false);
            waiting::keep_room(&self.path);
        }
        self.check();
    }

    /// Removes old rows; returns whether there were any. What cannot be removed now goes next time.
    fn make_room(&mut self, full: bool) -> bool {
        let Some(store) = &mut self.store else { return false };
        let make = |store: &mut Store| {
            let batch = store.begin(self.shared.feeds())?;
            let removed = batch.make_room(&self.last, full)?;
            batch.commit()?;
            Ok::<_, LogbookError>(removed)
        };
        let removed = make(store).unwrap_or_default();
        store.written();
        let any = !removed.rows.is_empty();
        self.health.removed.add(removed);
        any
    }

    fn close_minute(&mut self) {
        let rows = &mut self.rows;
        self.thinning.close(true, &mut |thinned| rows.push_back(thinned));
    }

    /// Writes everything that waits, as one transaction. When the disk is short of room, records go before rows.
    pub(super) fn write(&mut self, stopping: bool) -> Result<(), LogbookError> {
        self.quiet_passes = 0;
        self.minutes_over = 0;
        let mut result =
            self.open_if_shut().and_then(|()| self.look()).and_then(|()| self.try_write(true, stopping));
        if let Err(why) = &result
            && why.is_lost()
        {
            let why = why.clone();
            result = self.replace_file(why).and_then(|()| self.try_write(true, stopping));
        }
        let is_full = |r: &Result<(), _>| matches!(r, Err(LogbookError::Disk { why: Trouble::Full, .. }));
        if is_full(&result) && self.make_room(true) {
            result = self.try_write(true, stopping);
        }
        if result.is_ok() && self.records.iter().any(|r| matches!(r, Record::Key(..))) {
            // At once: after a power cut the receiver must not get it under another key.
            result = self.try_write(false, stopping);
        }
        let full = is_full(&result);
        if full && !self.rows.is_empty() && !self.records.is_empty() {
            // The records may still fit; the rows keep waiting, so the trouble stays.
            let _ = self.try_write(false, stopping);
        }
        self.health.failing = result.clone().err();
        self.tell_health();
        if let Err(error) = &result {
            for record in &mut self.records {
                if let Record::Event(e) = record {
                    e.tell(Err(error.clone()));
                }
            }
        }
        result
    }

    /// Tries once; everything stays in memory unless it succeeds.
    pub(super) fn try_write(&mut self, with_rows: bool, stopping: bool) -> Result<(), LogbookError> {
        let result = self.put(with_rows, stopping);
        // A write that fails may have changed the files' sizes, too.
        if let Some(store) = &mut self.store {
            store.written();
        }
        result
    }

    fn put(&mut self, with_rows: bool, stopping: bool) -> Result<(), LogbookError> {
        let Some(store) = &mut self.store else { return Err(LogbookError::Closed) };
        let mut written = Written { logbook: store.number(), ..Written::default() };
        let batch = store.begin(self.shared.feeds())?;
        for key in &self.unwritten {
            if let Some((at, json)) = self.states.get(key) {
                batch.state(at, key, json)?;
            }
        }
        for record in &self.records {
            put_record(&batch, &self.shared, record, &mut written)?;
        }
        if with_rows {
            for row in &self.rows {
                match batch.row(row) {
                    Err(e) if is_refused(&e) => self.health.dropped += 1,
                    other => other?,
                }
            }
        }
        batch.sign(&self.last, stopping)?;
        batch.commit()?;
        self.unwritten.clear();
        if with_rows {
            self.rows.clear();
        }
        self.note(written);
        Ok(())
    }

    /// Notifies everyone concerned that a batch is on disk.
    fn note(&mut self, mut written: Written) {
        let mut rest = Vec::new();
        {
            let mut outbox = self.shared.outbox();
            for new in written.deliveries {
                match outbox.written(&new, written.logbook) {
                    Settled::Done => {}
                    Settled::Gone => rest.push(Record::Delivered(new.row)),
                    Settled::Keyed(key) => rest.push(Record::Key(new.row, key)),
                }
            }
        }
        self.shared.outbox_changed();
        let mut numbers: BTreeMap<u64, i64> = written.events.into_iter().collect();
        let event = numbers.values().copied().max();
        let (mut alert, mut casualty) = (None, None);
        for record in self.records.drain(..) {
            if let Record::Event(e) = record {
                alert = alert.max(Some(e.record.alert.id.0.into()));
                casualty = casualty.max(e.record.casualty.as_ref().map(|c| c.id.0.into()));
                let refused = written.refused.remove(&e.key);
                self.health.dropped += u64::from(refused.is_some());
                let result = refused.map_or_else(|| numbers.remove(&e.key).ok_or(LogbookError::Closed), Err);
                e.answer(result);
            }
        }
        self.records.extend(rest);
        for (name, last) in [("event", event), ("alert", alert), ("casualty", casualty)] {
            let known = self.numbers.entry(name).or_insert(0);
            *known = (*known).max(last.unwrap_or(0));
        }
    }

    fn tell_health(&mut self) {
        self.health.waiting = self.records.len() + self.rows.len();
        let mut health = self.health.clone();
        health.dropped += self.shared.outbox().dropped;
        // What waits for the end of the minute is no news while all is well.
        if health.is_good() {
            health.waiting = 0;
        }
        self.shared.health.send_if_modified(|h| {
            let changed = *h != health;
            *h = health;
            changed
        });
    }
}

/// The later of two stamps by steady time.
fn later(a: Stamp, b: Stamp) -> Stamp {
    if b.steady >= a.steady { b } else { a }
}

/// The record itself is at fault: waiting would not mend it.
fn is_refused(error: &LogbookError) -> bool {
    matches!(error, LogbookError::Disk { why: Trouble::Refused, .. })
}

fn put_record(
    batch: &Batch<'_>,
    shared: &Shared,
    record: &Record,
    written: &mut Written,
) -> Result<(), LogbookError> {
    match record {
        Record::Event(e) => match batch.event(&e.at, &e.record) {
            Ok(log_id) => {
                let deliveries = shared.outbox().of_event(e.key);
                for (delivery, waiting) in deliveries {
                    let row = batch.delivery(Some(log_id), &waiting)?;
                    let keyed = waiting.key.is_some();
                    written.deliveries.push(NewRow { delivery, log_id: Some(log_id), row, keyed });
                }
                written.events.push((e.key, log_id));
            }
            Err(error) if is_refused(&error) => drop(written.refused.insert(e.key, error)),
            Err(error) => return Err(error),
        },
        Record::Entry(at, entry) => match batch.entry(at, entry) {
            Err(error) if is_refused(&error) => {}
            other => return other,
        },
        Record::Delivered(row) => batch.delivered(*row)?,
        Record::Key(row, key) => batch.key(*row, key)?,
        Record::Redeliver(id) => {
            let waiting = shared.outbox().keyed(*id);
            if let Some(waiting) = waiting {
                let row = batch.delivery(None, &waiting)?;
                written.deliveries.push(NewRow { delivery: *id, log_id: None, row, keyed: true });
            }
        }
    }
    Ok(())
}

/// Answers a request; whoever asked may have gone.
fn answer(reply: oneshot::Sender<Result<(), LogbookError>>, result: Result<(), LogbookError>) {
    let _ = reply.send(result);
}
