//! Deliveries that have not reached their signal: in memory while the daemon runs, on disk for the next start.

use super::delivery::{DeliveryId, Due};
use boat::Rest;
use record::{EventRecord, Stamp};
use rules::{EventKind, Priority};
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};
use std::hash::{BuildHasher, RandomState};
use std::sync::Arc;
use std::time::Duration;
use terms::{Moment, Utc};

/// Most deliveries held, over all signals. Beyond that the oldest of the least priority is dropped and counted.
pub(super) const OUTBOX_BOUND: usize = 4000;

/// How long an event waits for the disk before it goes out without its number in the logbook.
pub const DISK_WAIT: Duration = Duration::from_millis(250);

/// How many times more than others an alarm is tried in vain before these get their turn.
const ALARM_MISSES_MORE: u32 = 3;

/// When a notice is too old to be news and is dropped; a caution lasts six times as long.
const NOTICE_KEEPS: Duration = Duration::from_secs(3600);

/// What a delivery sends.
#[derive(Debug, Clone)]
pub(super) enum Body {
    /// The event's record, written out when it is due.
    Record(Arc<EventRecord>),
    /// A record read back from the logbook.
    Text(String),
}

/// One delivery.
#[derive(Debug, Clone)]
pub(super) struct Waiting {
    pub signal: String,
    pub priority: Priority,
    /// The alert's number, and the event's number within it; 0 if no longer known.
    pub alert: u32,
    pub seq: u32,
    /// A repeat of the same alert, without other news.
    pub repeats: bool,
    /// It calls for attention; if less than an alarm, it waits for the end of a signal's hours of rest.
    pub calls: bool,
    /// Its key at the receiver, from the first attempt or the disk on.
    pub key: Option<String>,
    /// Handed out and not yet reported back.
    pub out: bool,
    pub body: Body,
    pub at: Stamp,
    pub same_boot: bool,
    /// Earliest next try, in steady time of this boot.
    pub next_try: Moment,
    pub tries: u32,
    /// Failed tries since its receiver last took anything.
    pub missed: u32,
    /// Identifies its event in memory; `None` if it was read back.
    pub event: Option<u64>,
    /// The event's number in the logbook, once on disk.
    pub log_id: Option<i64>,
    /// The delivery's own row, once on disk.
    pub row: Option<i64>,
}

/// All deliveries, in order of arrival.
#[derive(Debug)]
pub(super) struct Outbox {
    waiting: BTreeMap<DeliveryId, Waiting>,
    last: u64,
    /// This run's own number, for the keys of deliveries that go out before their event is on disk.
    run: u64,
    /// Dropped because of age or number.
    pub dropped: u64,
}

impl Default for Outbox {
    fn default() -> Self {
        // A hasher's seed is random and differs each time.
        let run = RandomState::new().hash_one(std::process::id());
        Self { waiting: BTreeMap::new(), last: 0, run, dropped: 0 }
    }
}

/// The key of a delivery whose event was on disk before it went out: the logbook's own number, so that another
/// logbook's events are never mistaken for these, the event's row, and its number within its alert.
pub(super) fn key_on_disk(logbook: i64, log_id: i64, seq: u32) -> String {
    format!("{logbook:x}-{log_id}-{seq}")
}

impl Outbox {
    /// Adds a delivery; returns the rows on disk that had to make room for it.
    pub fn add(&mut self, waiting: Waiting) -> Vec<i64> {
        self.last += 1;
        self.waiting.insert(DeliveryId(self.last), waiting);
        let mut rows = Vec::new();
        while self.waiting.len() > OUTBOX_BOUND {
            let least = self.waiting.iter().min_by_key(|(id, w)| (w.priority, **id)).map(|(id, _)| *id);
            let Some(gone) = least.and_then(|id| self.waiting.remove(&id)) else { break };
            self.dropped += 1;
            rows.extend(gone.row);
        }
        rows
    }

    /// Adds the deliveries of a new event.
    pub fn add_event(
        &mut self,
        key: u64,
        at: Stamp,
        record: &Arc<EventRecord>,
        signals: Vec<String>,
    ) -> Vec<i64> {
        let mut rows = Vec::new();
        let repeats = matches!(record.event, EventKind::Repeated | EventKind::Guidance);
        let alert = record.alert.id.0;
        for signal in signals {
            if repeats {
                rows.extend(self.drop_repeats(&signal, alert));
            }
            rows.extend(self.add(Waiting {
                signal,
                priority: record.alert.priority,
                alert,
                seq: record.seq,
                repeats,
                calls: record.event.calls(),
                key: None,
                out: false,
                body: Body::Record(Arc::clone(record)),
                at,
                same_boot: true,
                next_try: at.steady + DISK_WAIT,
                tries: 0,
                missed: 0,
                event: Some(key),
                log_id: None,
                row: None,
            }));
        }
        rows
    }

    /// Lets a repeat replace an earlier repeat of the same alert that still waits, so that a receiver that comes back
    /// after an hour does not get it sixty times.
    fn drop_repeats(&mut self, signal: &str, alert: u32) -> Vec<i64> {
        let mut rows = Vec::new();
        self.waiting.retain(|_, w| {
            let keep = !(w.repeats && !w.out && w.alert == alert && w.signal == signal);
            if !keep {
                rows.extend(w.row);
            }
            keep
        });
        rows
    }

    /// Due deliveries of a signal, at most `limit`; and the rows of those grown too old. Most urgent first, then oldest;
    /// but while the receiver takes nothing, those that were tried less often come first, so that one on which it
    /// chokes keeps no other from it. Events of one alert keep their order: none is due
    /// before its predecessor is gone, and that one is as urgent as any behind it. In hours of rest (by UTC) a call
    /// waits for their end, or for an alarm of the same alert.
    pub fn due(
        &mut self,
        signal: &str,
        now: &Stamp,
        rest: Option<Rest>,
        limit: usize,
    ) -> (Vec<Due>, Vec<i64>) {
        let mut stale = Vec::new();
        self.waiting.retain(|_, w| {
            let keep = w.signal != signal || !w.is_stale(now, rest);
            if !keep {
                stale.extend(w.row);
                self.dropped += 1;
            }
            keep
        });
        let heads = self.heads(signal, now, rest).into_iter();
        let mut due: Vec<(Turn, DeliveryId)> = heads
            .filter_map(|(priority, id)| {
                let w = self.waiting.get(&id).filter(|w| w.is_due(now.steady))?;
                Some((w.turn(priority), id))
            })
            .collect();
        due.sort_unstable();
        due.truncate(limit);
        let run = self.run;
        let due = due.into_iter().filter_map(|((.., Reverse(priority)), id)| {
            Some(self.waiting.get_mut(&id)?.hand_out(id, priority, run))
        });
        (due.collect(), stale)
    }

    /// The oldest delivery of each alert to a signal, with the alert's greatest priority; without those that rest.
    fn heads(&self, signal: &str, now: &Stamp, rest: Option<Rest>) -> Vec<(Priority, DeliveryId)> {
        let mut heads: BTreeMap<(u32, u64), (Priority, DeliveryId)> = BTreeMap::new();
        for (id, w) in self.waiting.iter().filter(|(_, w)| w.signal == signal) {
            // An alert whose number is lost is a group of its own.
            let group = if w.alert == 0 { (0, id.0) } else { (w.alert, 0) };
            let head = heads.entry(group).or_insert((w.priority, *id));
            head.0 = head.0.max(w.priority);
        }
        let now = now.utc.map(|(utc, _)| utc);
        let rests = |(priority, id): &(Priority, DeliveryId)| {
            rest.is_some_and(|rest| rest.delays(*priority, now))
                && self.waiting.get(id).is_some_and(|w| w.calls)
        };
        heads.into_values().filter(|head| !rests(head)).collect()
    }

    /// Removes a delivery that arrived; returns its row on disk, if it has one. Its receiver takes things again.
    pub fn remove(&mut self, id: DeliveryId) -> Option<i64> {
        let gone = self.waiting.remove(&id)?;
        self.waiting.values_mut().filter(|w| w.signal == gone.signal).for_each(|w| w.missed = 0);
        gone.row
    }

    /// Whether an alarm for a signal is due.
    pub fn urgent_due(&self, signal: &str, now: &Stamp) -> bool {
        let due = |id| self.waiting.get(id).is_some_and(|w: &Waiting| w.is_due(now.steady));
        self.heads(signal, now, None).iter().any(|(priority, id)| is_urgent(*priority) && due(id))
    }

    /// Whether an alarm waits for a signal, due or put off.
    pub fn urgent_waits(&self, signal: &str) -> bool {
        self.waiting.values().any(|w| w.signal == signal && is_urgent(w.priority))
    }

    /// Puts a delivery off.
    pub fn put_off(&mut self, id: DeliveryId, next_try: Moment) {
        if let Some(w) = self.waiting.get_mut(&id) {
            w.tries = w.tries.saturating_add(1);
            w.missed = w.missed.saturating_add(1);
            w.out = false;
            w.next_try = next_try;
        }
    }

    /// When the signal's next delivery that does not rest is due.
    pub fn next_due(&self, signal: &str, now: &Stamp, rest: Option<Rest>) -> Option<Moment> {
        let heads = self.heads(signal, now, rest).into_iter().filter_map(|(_, id)| self.waiting.get(&id));
        heads.map(|w| if w.is_fresh_on_disk() { w.at.steady } else { w.next_try }).min()
    }

    /// How many wait.
    pub fn len(&self) -> usize {
        self.waiting.len()
    }

    /// A waiting delivery, with its key settled.
    pub fn keyed(&mut self, id: DeliveryId) -> Option<Waiting> {
        let run = self.run;
        self.waiting.get_mut(&id).map(|w| {
            w.settle_key(id, run);
            w.clone()
        })
    }

    /// Deliveries of an event that have no row yet.
    pub fn of_event(&self, key: u64) -> Vec<(DeliveryId, Waiting)> {
        let new = self.waiting.iter().filter(|(_, w)| w.event == Some(key) && w.row.is_none());
        new.map(|(id, w)| (*id, w.clone())).collect()
    }

    /// Deliveries without a row that their event will not bring one: those of a logbook that was set aside.
    pub fn without_row(&self, still_to_come: impl Fn(u64) -> bool) -> Vec<(DeliveryId, Waiting)> {
        let orphan = |w: &Waiting| w.row.is_none() && !w.event.is_some_and(&still_to_come);
        self.waiting.iter().filter(|(_, w)| orphan(w)).map(|(id, w)| (*id, w.clone())).collect()
    }

    /// Notes a delivery's row, and its key unless it has one. `keyed`: the row has the key.
    pub fn written(&mut self, row: &NewRow, logbook: i64) -> Settled {
        let Some(w) = self.waiting.get_mut(&row.delivery) else { return Settled::Gone };
        w.row = Some(row.row);
        match (&w.key, row.log_id) {
            // It went out under a key of its own while its row was being written.
            (Some(key), _) if !row.keyed => Settled::Keyed(key.clone()),
            (Some(_), _) | (None, None) => Settled::Done,
            (None, Some(log_id)) => {
                w.key = Some(key_on_disk(logbook, log_id, w.seq));
                w.log_id = Some(log_id);
                Settled::Done
            }
        }
    }

    /// Forgets deliveries to all other signals; returns their rows on disk.
    pub fn keep_signals(&mut self, names: &[&str]) -> Vec<i64> {
        let mut rows = Vec::new();
        self.waiting.retain(|_, w| {
            let keep = names.contains(&w.signal.as_str());
            if !keep {
                rows.extend(w.row);
            }
            keep
        });
        rows
    }

    /// The rows on disk of waiting deliveries.
    pub fn rows(&self) -> BTreeSet<i64> {
        self.waiting.values().filter_map(|w| w.row).collect()
    }

    /// Forgets all rows: their file is gone.
    pub fn forget_rows(&mut self) {
        self.waiting.values_mut().for_each(|w| w.row = None);
    }
}

/// A delivery's row that has reached the disk.
#[derive(Debug, Clone, Copy)]
pub(super) struct NewRow {
    pub delivery: DeliveryId,
    /// The event's number.
    pub log_id: Option<i64>,
    pub row: i64,
    /// Whether the row has the delivery's key.
    pub keyed: bool,
}

/// What is left to do about a delivery whose row is on disk.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Settled {
    /// Nothing.
    Done,
    /// It has gone out meanwhile; the row must go too.
    Gone,
    /// The row must get this key.
    Keyed(String),
}

/// What goes first: [`Waiting::turn`].
type Turn = (u32, Reverse<bool>, u32, Reverse<Priority>);

impl Waiting {
    /// Its turn among what is due to its signal, as part of an alert of that priority. While nothing has failed since
    /// the receiver last took anything, that is the priority. Else what failed less often goes first; but an alarm goes
    /// before what is none until it has failed three times more.
    fn turn(&self, priority: Priority) -> Turn {
        let urgent = is_urgent(priority);
        let missed = if urgent { self.missed.saturating_sub(ALARM_MISSES_MORE) } else { self.missed };
        (missed, Reverse(urgent), self.missed, Reverse(priority))
    }

    /// Never tried, and its event is on disk: it need not wait longer.
    fn is_fresh_on_disk(&self) -> bool {
        self.tries == 0 && self.row.is_some()
    }

    fn is_due(&self, now: Moment) -> bool {
        self.is_fresh_on_disk() || !self.same_boot && self.tries == 0 || now >= self.next_try
    }

    /// Only notices and cautions grow stale; an alarm goes out however late. Across boots, age goes by UTC, and
    /// without UTC nothing is stale. Nothing ages while its signal rests.
    fn is_stale(&self, now: &Stamp, rest: Option<Rest>) -> bool {
        let keeps = match self.priority {
            Priority::Notice => NOTICE_KEEPS,
            Priority::Caution => 6 * NOTICE_KEEPS,
            _ => return false,
        };
        let now_utc = now.utc.map(|(utc, _)| utc);
        let age = if self.same_boot {
            now.steady.since(self.at.steady)
        } else {
            let between = now_utc.zip(self.at.utc).map(|(now, (then, _))| now.0.saturating_sub(then.0));
            Duration::from_millis(between.and_then(|ms| u64::try_from(ms).ok()).unwrap_or(0))
        };
        let rested = rest.zip(now_utc).map(|(rest, now)| {
            let age_ms = i64::try_from(age.as_millis()).unwrap_or(i64::MAX);
            rest.within(Utc(now.0.saturating_sub(age_ms)), now)
        });
        age.saturating_sub(rested.unwrap_or_default()) > keeps
    }

    /// Its key: from the disk, or of this run if it goes out first.
    fn settle_key(&mut self, id: DeliveryId, run: u64) -> String {
        let own = || format!("{run:x}.{}-{}", self.event.unwrap_or(id.0), self.seq);
        self.key.get_or_insert_with(own).clone()
    }

    /// The delivery as sent. Its first attempt settles its key, and with it its body: a receiver that gets a key twice
    /// gets the same words.
    fn hand_out(&mut self, id: DeliveryId, priority: Priority, run: u64) -> Due {
        self.out = true;
        let key = self.settle_key(id, run);
        let body = match &self.body {
            Body::Record(record) => {
                let record = EventRecord { log_id: self.log_id, ..EventRecord::clone(record) };
                serde_json::to_string(&record).unwrap_or_default()
            }
            Body::Text(text) => text.clone(),
        };
        Due { id, key, body, priority, at: self.at, same_boot: self.same_boot, tries: self.tries }
    }
}

/// Whether a delivery of an alert of that priority must not wait long for its receiver.
pub fn is_urgent(priority: Priority) -> bool {
    priority >= Priority::Alarm
}
