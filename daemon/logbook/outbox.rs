//! Deliveries that have not reached their signal: held in memory while the daemon runs, on disk for the next start.

use super::record::{Delivery, DeliveryId, Due, Stamp};
use crate::event::EventRecord;
use rules::Priority;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Duration;
use terms::Moment;

/// Deliveries held at most, over all signals. Above it the oldest of the least priority is dropped and counted.
pub(super) const OUTBOX_BOUND: usize = 1000;

/// An event waits so long for the disk before it goes out without its number in the logbook.
pub(super) const DISK_WAIT: Duration = Duration::from_millis(250);

/// A notice that is older is news to nobody and is dropped; so is a caution after six times as long.
const NOTICE_KEEPS: Duration = Duration::from_secs(3600);

/// What a delivery sends.
#[derive(Debug, Clone)]
pub(super) enum Body {
    /// The event's record, written out when it is due.
    Record(Arc<EventRecord>),
    /// A record read back from the logbook, or a body that was given.
    Text(String),
}

/// One delivery.
#[derive(Debug, Clone)]
pub(super) struct Waiting {
    pub signal: String,
    pub priority: Priority,
    pub body: Body,
    pub at: Stamp,
    pub same_boot: bool,
    /// Not before, in steady time of this boot.
    pub next_try: Moment,
    pub tries: u32,
    /// Names its event in memory; `None` when it was read back.
    pub event: Option<u64>,
    /// The event's number in the logbook, once it is on disk.
    pub log_id: Option<i64>,
    /// The delivery's own row, once it is on disk.
    pub row: Option<i64>,
}

/// All of them, in order of their coming.
#[derive(Debug, Default)]
pub(super) struct Outbox {
    waiting: BTreeMap<DeliveryId, Waiting>,
    last: u64,
    /// Dropped because of age or number.
    pub dropped: u64,
}

impl Outbox {
    /// Takes one in and returns the rows on disk that had to make room for it.
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

    /// Takes in the deliveries of a new event.
    pub fn add_event(
        &mut self,
        key: u64,
        at: Stamp,
        record: &Arc<EventRecord>,
        deliveries: Vec<Delivery>,
    ) -> Vec<i64> {
        let mut rows = Vec::new();
        for d in deliveries {
            rows.extend(self.add(Waiting {
                signal: d.signal,
                priority: record.alert.priority,
                body: d.body.map_or_else(|| Body::Record(Arc::clone(record)), Body::Text),
                at,
                same_boot: true,
                next_try: at.steady + DISK_WAIT,
                tries: 0,
                event: Some(key),
                log_id: None,
                row: None,
            }));
        }
        rows
    }

    /// Those of a signal whose time has come, the most urgent first and then the oldest, at most `limit`; and the
    /// rows of those that have grown too old.
    pub fn due(&mut self, signal: &str, now: &Stamp, limit: usize) -> (Vec<Due>, Vec<i64>) {
        let mut stale = Vec::new();
        self.waiting.retain(|_, w| {
            let keep = !w.is_stale(now);
            if !keep {
                stale.extend(w.row);
                self.dropped += 1;
            }
            keep
        });
        let mut due: Vec<Due> = self
            .waiting
            .iter()
            .filter(|(_, w)| w.signal == signal && w.is_due(now.steady))
            .map(|(id, w)| w.due(*id))
            .collect();
        due.sort_by_key(|d| (std::cmp::Reverse(d.priority), d.id));
        due.truncate(limit);
        (due, stale)
    }

    /// Takes out what has been delivered, or will never be; its row on disk, where it has one.
    pub fn remove(&mut self, id: DeliveryId) -> Option<i64> {
        self.waiting.remove(&id).and_then(|w| w.row)
    }

    /// Puts one off.
    pub fn put_off(&mut self, id: DeliveryId, next_try: Moment) {
        if let Some(w) = self.waiting.get_mut(&id) {
            w.tries = w.tries.saturating_add(1);
            w.next_try = next_try;
        }
    }

    /// When the next of a signal is due.
    pub fn next_due(&self, signal: &str) -> Option<Moment> {
        self.waiting
            .values()
            .filter(|w| w.signal == signal)
            .map(|w| if w.is_fresh_on_disk() { w.at.steady } else { w.next_try })
            .min()
    }

    /// How many wait.
    pub fn len(&self) -> usize {
        self.waiting.len()
    }

    /// One of them, while it waits.
    pub fn get(&self, id: DeliveryId) -> Option<Waiting> {
        self.waiting.get(&id).cloned()
    }

    /// Those of an event that have no row yet.
    pub fn of_event(&self, key: u64) -> Vec<(DeliveryId, Waiting)> {
        let new = self.waiting.iter().filter(|(_, w)| w.event == Some(key) && w.row.is_none());
        new.map(|(id, w)| (*id, w.clone())).collect()
    }

    /// All that have no row and whose event will not bring them one: those of a logbook that was set aside.
    pub fn without_row(&self, still_to_come: impl Fn(u64) -> bool) -> Vec<(DeliveryId, Waiting)> {
        let orphan = |w: &Waiting| w.row.is_none() && !w.event.is_some_and(&still_to_come);
        self.waiting.iter().filter(|(_, w)| orphan(w)).map(|(id, w)| (*id, w.clone())).collect()
    }

    /// Notes the row a delivery has been given; `false` when it has gone out meanwhile and the row must go too.
    pub fn written(&mut self, id: DeliveryId, log_id: Option<i64>, row: i64) -> bool {
        self.waiting.get_mut(&id).is_some_and(|w| {
            w.log_id = w.log_id.or(log_id);
            w.row = Some(row);
            true
        })
    }

    /// The rows on disk of those that wait.
    pub fn rows(&self) -> BTreeSet<i64> {
        self.waiting.values().filter_map(|w| w.row).collect()
    }

    /// Forgets all rows: the file that had them is no longer there.
    pub fn forget_rows(&mut self) {
        self.waiting.values_mut().for_each(|w| w.row = None);
    }
}

impl Waiting {
    /// Never tried, and its event is on disk: no need to wait longer.
    fn is_fresh_on_disk(&self) -> bool {
        self.tries == 0 && self.row.is_some()
    }

    fn is_due(&self, now: Moment) -> bool {
        self.is_fresh_on_disk() || !self.same_boot && self.tries == 0 || now >= self.next_try
    }

    /// Only notices and cautions grow stale; an alarm goes out however late. Across boots the age is that of UTC,
    /// and without UTC nothing is stale.
    fn is_stale(&self, now: &Stamp) -> bool {
        let keeps = match self.priority {
            Priority::Notice => NOTICE_KEEPS,
            Priority::Caution => 6 * NOTICE_KEEPS,
            _ => return false,
        };
        if self.same_boot {
            now.steady.since(self.at.steady) > keeps
        } else {
            let age_ms = now.utc.zip(self.at.utc).map(|((now, _), (then, _))| now.0.saturating_sub(then.0));
            age_ms.is_some_and(|ms| ms > keeps.as_millis() as i64)
        }
    }

    fn due(&self, id: DeliveryId) -> Due {
        let body = match &self.body {
            Body::Record(record) => {
                let record = EventRecord { log_id: self.log_id, ..EventRecord::clone(record) };
                serde_json::to_string(&record).unwrap_or_default()
            }
            Body::Text(text) => text.clone(),
        };
        Due { id, body, priority: self.priority, at: self.at, same_boot: self.same_boot, tries: self.tries }
    }
}
