//! When to judge orders again though nothing has changed.

use rustc_hash::FxHashMap;
use std::collections::BTreeSet;
use terms::{Moment, Subject};

/// An order by its place, and one of its subjects; `None` for what all subjects share.
pub type Key = (u32, Option<Subject>);

/// At most one moment for each key.
#[derive(Debug, Default)]
pub struct Timers {
    by_key: FxHashMap<Key, Moment>,
    by_time: BTreeSet<(Moment, Key)>,
}

impl Timers {
    /// Sets, moves or removes a key's moment.
    pub fn set(&mut self, key: Key, at: Option<Moment>) {
        let old = match at {
            Some(at) => self.by_key.insert(key, at),
            None => self.by_key.remove(&key),
        };
        if old == at {
            return;
        }
        if let Some(old) = old {
            self.by_time.remove(&(old, key));
        }
        if let Some(at) = at {
            self.by_time.insert((at, key));
        }
    }

    /// The next moment.
    pub fn next(&self) -> Option<Moment> {
        self.by_time.first().map(|(at, _)| *at)
    }

    /// Removes and returns the first key that is due.
    pub fn pop(&mut self, at: Moment) -> Option<Key> {
        let &(due, key) = self.by_time.first()?;
        if due > at {
            return None;
        }
        self.set(key, None);
        Some(key)
    }

    /// Removes all.
    pub fn clear(&mut self) {
        self.by_key.clear();
        self.by_time.clear();
    }
}
