//! The targets: a bounded table in which each feed has a fair share, with a timer for each target.
//!
//! A feed that needs less than its share leaves room to the others and can claim it back: in a full table a newcomer takes
//! a place from the feed that holds the most, as long as its own feed holds fewer than that one. Otherwise it must have a
//! stronger [`Claim`] than the weakest of its own feed's targets, or it is not taken. So whatever one feed brings, the
//! targets of another keep their places, and the dangerous ones of a feed keep theirs from its own less dangerous ones.
//! A target that two feeds report counts in the share of the one that holds fewer.
//!
//! Everything costs O(log n) for n targets, a report little more than a look into hash tables, and a newcomer to a full table
//! one look at each feed besides.

use crate::claim::Claim;
use crate::target::Target;
use rustc_hash::FxHashMap;
use std::collections::BTreeMap;
use terms::{FeedId, Mmsi, Moment, Wakes};

/// The targets, by identity, by when they are next judged, and by which of a feed's is to go first.
#[derive(Debug, Clone)]
pub(crate) struct Table {
    most: usize,
    /// Each is boxed: a hash table keeps twice the room it needs.
    targets: FxHashMap<Mmsi, Box<Target>>,
    due: Wakes<Mmsi>,
    /// The targets in each feed's share, weakest claim first. None is empty.
    shares: BTreeMap<FeedId, Wakes<Mmsi, Claim>>,
}

/// The table is full, and nothing in it has a weaker claim.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Full;

impl Table {
    /// Holds at most this many.
    pub fn new(most: usize) -> Self {
        Self {
            most: most.max(1),
            targets: FxHashMap::default(),
            due: Wakes::default(),
            shares: BTreeMap::new(),
        }
    }

    pub fn get(&self, mmsi: Mmsi) -> Option<&Target> {
        self.targets.get(&mmsi).map(Box::as_ref)
    }

    /// All of them, in order of their identities.
    pub fn iter(&self) -> impl Iterator<Item = &Target> {
        let mut all: Vec<&Target> = self.unordered().collect();
        all.sort_unstable_by_key(|t| t.mmsi);
        all.into_iter()
    }

    /// All of them, in no order: the answer must not depend on it.
    pub fn unordered(&self) -> impl Iterator<Item = &Target> {
        self.targets.values().map(Box::as_ref)
    }

    pub fn len(&self) -> usize {
        self.targets.len()
    }

    /// Adds a target that has been heard and judged; returns the one that had to make room for it, if any.
    ///
    /// # Errors
    /// If there is no place for it.
    pub fn insert(&mut self, target: Target) -> Result<Option<Mmsi>, Full> {
        self.remove(target.mmsi);
        let gone = self.make_room(&target)?;
        self.enter(&target);
        self.targets.insert(target.mmsi, Box::new(target));
        Ok(gone)
    }

    fn make_room(&mut self, new: &Target) -> Result<Option<Mmsi>, Full> {
        if self.targets.len() < self.most {
            return Ok(None);
        }
        let own = new.reporters.owner();
        // Each further round has moved a target to the share of a feed that holds fewer; that comes to an end.
        loop {
            let fullest = self.shares.iter().max_by_key(|(_, share)| share.len()).map(|(feed, _)| *feed);
            let from = fullest.filter(|feed| self.holds_fewer(own, *feed)).unwrap_or(own);
            let weakest = self.shares.get(&from).and_then(Wakes::first);
            let (claim, mmsi) = weakest.ok_or(Full)?;
            if from == own && !new.claim().outweighs(&claim) {
                return Err(Full);
            }
            let other = self.get(mmsi).and_then(|t| t.reporters.other(new.heard));
            if other.is_none_or(|other| !self.holds_fewer(other, from)) {
                self.remove(mmsi);
                return Ok(Some(mmsi));
            }
            self.change(mmsi, |t| t.reporters.turn());
        }
    }

    /// Whether a feed holds so much less than another that a target of the latter had better be its own.
    fn holds_fewer(&self, feed: FeedId, than: FeedId) -> bool {
        let holds = |feed| self.shares.get(&feed).map_or(0, Wakes::len);
        holds(feed) + 1 < holds(than)
    }

    pub fn remove(&mut self, mmsi: Mmsi) -> Option<Target> {
        let target = self.targets.remove(&mmsi)?;
        self.due.set(mmsi, None);
        self.leave(target.reporters.owner(), mmsi);
        Some(*target)
    }

    fn enter(&mut self, target: &Target) {
        self.due.set(target.mmsi, Some(target.due));
        let share = self.shares.entry(target.reporters.owner()).or_default();
        share.set(target.mmsi, Some(target.claim()));
    }

    fn leave(&mut self, feed: FeedId, mmsi: Mmsi) {
        if let Some(share) = self.shares.get_mut(&feed) {
            share.set(mmsi, None);
            if share.is_empty() {
                self.shares.remove(&feed);
            }
        }
    }

    /// Changes a target and updates its places; `None` if there is none of that identity.
    pub fn change<R>(&mut self, mmsi: Mmsi, change: impl FnOnce(&mut Target) -> R) -> Option<R> {
        let target = self.targets.get_mut(&mmsi)?;
        let places = |t: &Target| (t.due, (t.reporters.owner(), t.claim()));
        let before = places(target);
        let result = change(target);
        let after = places(target);
        if before.0 != after.0 {
            self.due.set(mmsi, Some(after.0));
        }
        if before.1 != after.1 {
            let ((from, _), (to, claim)) = (before.1, after.1);
            if from != to {
                self.leave(from, mmsi);
            }
            self.shares.entry(to).or_default().set(mmsi, Some(claim));
        }
        Some(result)
    }

    /// The same where a feed reports the target.
    pub fn hear<R>(
        &mut self,
        at: Moment,
        feed: FeedId,
        mmsi: Mmsi,
        change: impl FnOnce(&mut Target) -> R,
    ) -> Option<R> {
        let owner = self.get(mmsi)?.reporters.owner();
        let fewer = self.holds_fewer(feed, owner);
        self.change(mmsi, |t| {
            t.reporters.hear(at, feed);
            if fewer && t.reporters.owner() == owner {
                t.reporters.turn();
            }
            change(t)
        })
    }

    /// The first target to be judged.
    pub fn next_due(&self) -> Option<(Moment, Mmsi)> {
        self.due.first()
    }
}
