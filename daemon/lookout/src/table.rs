//! The targets: a bounded table, with a timer for each.

use crate::target::Target;
use rustc_hash::FxHashMap;
use std::collections::BTreeSet;
use terms::{Mmsi, Moment};

/// The targets, by identity, by when they are next judged, and by which is to go first.
#[derive(Debug, Clone)]
pub(crate) struct Table {
    most: usize,
    /// Each is boxed: a hash table keeps twice the room it needs.
    targets: FxHashMap<Mmsi, Box<Target>>,
    due: BTreeSet<(Moment, Mmsi)>,
    /// Least dangerous first, and among those the one heard longest ago.
    expendable: BTreeSet<(u8, Moment, Mmsi)>,
}

impl Table {
    /// Holds at most this many.
    pub fn new(most: usize) -> Self {
        Self {
            most: most.max(1),
            targets: FxHashMap::default(),
            due: BTreeSet::new(),
            expendable: BTreeSet::new(),
        }
    }

    pub fn get(&self, mmsi: Mmsi) -> Option<&Target> {
        self.targets.get(&mmsi).map(Box::as_ref)
    }

    /// All of them, in order of their identities.
    pub fn iter(&self) -> impl Iterator<Item = &Target> {
        let mut all: Vec<&Target> = self.targets.values().map(Box::as_ref).collect();
        all.sort_unstable_by_key(|t| t.mmsi);
        all.into_iter()
    }

    pub fn len(&self) -> usize {
        self.targets.len()
    }

    /// Adds a target; returns the one that had to make room for it, if any.
    pub fn insert(&mut self, target: Target) -> Option<Mmsi> {
        let full = self.targets.len() >= self.most && !self.targets.contains_key(&target.mmsi);
        let gone = if full { self.expendable.first().map(|&(_, _, mmsi)| mmsi) } else { None };
        if let Some(mmsi) = gone {
            self.remove(mmsi);
        }
        self.due.insert((target.due, target.mmsi));
        self.expendable.insert((target.rank, target.heard, target.mmsi));
        self.targets.insert(target.mmsi, Box::new(target));
        gone
    }

    pub fn remove(&mut self, mmsi: Mmsi) -> Option<Target> {
        let target = self.targets.remove(&mmsi)?;
        self.due.remove(&(target.due, mmsi));
        self.expendable.remove(&(target.rank, target.heard, mmsi));
        Some(*target)
    }

    /// Changes a target and updates its places; `None` if there is none of that identity.
    pub fn change<R>(&mut self, mmsi: Mmsi, change: impl FnOnce(&mut Target) -> R) -> Option<R> {
        let target = self.targets.get_mut(&mmsi)?;
        let before = (target.due, target.rank, target.heard);
        let result = change(target);
        let after = (target.due, target.rank, target.heard);
        if before.0 != after.0 {
            self.due.remove(&(before.0, mmsi));
            self.due.insert((after.0, mmsi));
        }
        if (before.1, before.2) != (after.1, after.2) {
            self.expendable.remove(&(before.1, before.2, mmsi));
            self.expendable.insert((after.1, after.2, mmsi));
        }
        Some(result)
    }

    /// The first target to be judged.
    pub fn next_due(&self) -> Option<(Moment, Mmsi)> {
        self.due.first().copied()
    }
}
