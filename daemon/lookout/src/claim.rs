//! A target's claim to its place in the table: whose share it counts in, and what it is let go before.

use std::time::Duration;
use terms::{FeedId, Moment};

/// A feed reports a target while it has done so within this: a ship at anchor sends every three minutes (ITU-R
/// M.1371-5 table 1), and one report in a row may be lost, and another.
const REPORTS_WITHIN: Duration = Duration::from_secs(10 * 60);

/// How strong a claim is; the weakest goes first. The fields stand in order of their weight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Claim {
    /// As of the last judgement.
    pub danger: u16,
    /// Two feeds or more report it.
    pub several: bool,
    /// It still reports.
    pub live: bool,
    /// Of equals the one heard longest ago is let go first.
    pub heard: Moment,
}

impl Claim {
    /// Whether this one, new, may take the place of another. To be newer is not enough: else a flood of forgeries, each
    /// as dangerous as the next, would have the place of a ship between two of her reports.
    pub fn outweighs(&self, other: &Self) -> bool {
        (self.danger, self.several, self.live) > (other.danger, other.several, other.live)
    }
}

/// The feeds that report a target: the one in whose share it counts, and the last other one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Reporters {
    owner: (FeedId, Moment),
    other: Option<(FeedId, Moment)>,
}

impl Reporters {
    /// Reported by one feed.
    pub const fn new(at: Moment, feed: FeedId) -> Self {
        Self { owner: (feed, at), other: None }
    }

    /// The feed in whose share it counts.
    pub const fn owner(&self) -> FeedId {
        self.owner.0
    }

    /// A feed reported it. It counts in that feed's share from now on if the owner no longer reports it.
    pub fn hear(&mut self, at: Moment, feed: FeedId) {
        if feed == self.owner.0 {
            self.owner.1 = at;
            return;
        }
        self.other = Some((feed, at));
        if at.since(self.owner.1) > REPORTS_WITHIN {
            self.turn();
        }
    }

    /// Another feed that reports it now.
    pub fn other(&self, at: Moment) -> Option<FeedId> {
        self.other.filter(|(_, heard)| at.since(*heard) <= REPORTS_WITHIN).map(|(feed, _)| feed)
    }

    /// Whether two feeds or more report it now.
    pub fn are_several(&self, at: Moment) -> bool {
        self.other(at).is_some() && at.since(self.owner.1) <= REPORTS_WITHIN
    }

    /// Counts it in the other feed's share.
    pub fn turn(&mut self) {
        if let Some(other) = self.other.replace(self.owner) {
            self.owner = other;
        }
    }
}
