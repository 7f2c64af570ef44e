//! Who has an alert of its own: the worst now, not who came first.

use super::{MOST_ALERTS, MOST_OF_A_FEED, ONE_BY_ONE, Tools, Watched};
use crate::judge::Sight;
use crate::life::Alerts;
use std::collections::BTreeSet;
use std::time::Duration;
use terms::{FeedId, Subject};

/// Shortest interval at which an alert gives way to a worse subject's where as many stand as may: a flood in which each is
/// worse than the one before must not fill the logbook.
const GIVES_WAY_EVERY: Duration = Duration::from_secs(5);

/// Where a subject's place counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Room {
    /// The feed it was known by when it was announced.
    pub feed: Option<FeedId>,
    /// Whether it lies still: a hundred moored boats take no place from a ship under way.
    pub still: bool,
}

impl Room {
    pub fn of(subject: Subject, sight: &Sight<'_>) -> Self {
        Self { feed: sight.picture.feed_of(subject), still: sight.picture.lies_still(subject) }
    }
}

impl Watched {
    /// Whether the order's condition was met for a subject when it was last judged.
    pub(super) fn holds(&self, subject: Subject) -> bool {
        self.progress.get(&subject).is_some_and(|e| e.holds)
    }

    /// Notes what a judgement changes for the place that a subject has: whether it still lies where it lay, and whether it
    /// leaves it to another.
    pub(super) fn look_at_place(&mut self, subject: Subject, sight: &Sight<'_>) {
        let holds = self.holds(subject);
        let Some(room) = self.told.get_mut(&subject) else { return };
        let was = *room;
        room.still = sight.picture.lies_still(subject);
        if !holds || was != *room {
            self.freed.insert(was);
        }
    }

    /// Whether another order of `unless` calls about a subject.
    pub(super) fn is_called_by_another(&self, subject: Subject, alerts: &Alerts) -> bool {
        self.order.unless.iter().any(|other| alerts.is_active(other, subject))
    }

    /// Whether a subject of the crowd may have an alert of its own at this moment.
    pub(super) fn may_be_told(&self, subject: Subject, tools: &Tools<'_>) -> bool {
        self.holds(subject)
            && !self.is_called_by_another(subject, tools.alerts)
            && self.is_of_the_worst(subject, &tools.sight)
    }

    /// Whether fewer than [`ONE_BY_ONE`] of those who have a place are as bad as a subject.
    fn is_of_the_worst(&self, subject: Subject, sight: &Sight<'_>) -> bool {
        let room = Room::of(subject, sight);
        let others = || self.told.iter().filter(|(s, r)| **r == room && self.holds(**s)).map(|(s, _)| *s);
        if others().nth(ONE_BY_ONE - 1).is_none() {
            return true;
        }
        let badness = self.badness(subject, sight);
        others().filter(|s| self.badness(*s, sight) >= badness).nth(ONE_BY_ONE - 1).is_none()
    }

    /// Takes a place for a subject if it is one of the worst; where as many alerts stand as may, the least gives way.
    pub(super) fn takes_place(&mut self, subject: Subject, tools: &mut Tools<'_>) -> bool {
        if !self.is_of_the_worst(subject, &tools.sight) {
            return false;
        }
        let feed = tools.sight.picture.feed_of(subject);
        let of_feed = self.told.values().filter(|r| r.feed == feed).count();
        if of_feed < MOST_OF_A_FEED && self.told.len() < MOST_ALERTS {
            return true;
        }
        let at = tools.sight.at;
        if self.gave_way.is_some_and(|then| at.since(then) < GIVES_WAY_EVERY) {
            return false;
        }
        // No feed takes the places of another that has no more than its share.
        let crowded = |f: Option<FeedId>| {
            if of_feed >= MOST_OF_A_FEED {
                return f == feed;
            }
            self.told.values().filter(|r| r.feed == f).count() > ONE_BY_ONE
        };
        let least = self.told.iter().filter(|(_, r)| crowded(r.feed)).map(|(s, r)| {
            let moves = self.holds(*s) && !r.still;
            (moves, self.badness(*s, &tools.sight), *s)
        });
        let Some((.., least)) = least.min_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))) else {
            return false;
        };
        self.gave_way = Some(at);
        self.gives_way(least, tools);
        true
    }

    /// Takes a subject's alert away; from now on it counts with the crowd, which need not be called for it.
    fn gives_way(&mut self, subject: Subject, tools: &mut Tools<'_>) {
        self.told.remove(&subject);
        self.crowd.insert(subject);
        if let Some(id) = self.progress.get_mut(&subject).and_then(|e| e.alert.take()) {
            let at = tools.sight.at;
            let words = tools.alerts.said(at, id).counts_with_the_rest();
            tools.alerts.say(at, id, words);
            tools.alerts.clear(at, id);
        }
    }

    pub(super) fn leaves_crowd(&mut self, subject: Subject) {
        self.crowd.remove(&subject);
        self.newcomers.remove(&subject);
    }

    /// Gives the places that have become free to the worst of the crowd.
    pub(super) fn fill_places(&mut self, tools: &mut Tools<'_>) {
        for room in std::mem::take(&mut self.freed) {
            let told = self.told.iter().filter(|(s, r)| **r == room && self.holds(**s)).count();
            let free = ONE_BY_ONE.saturating_sub(told);
            if free == 0 || self.crowd.is_empty() {
                continue;
            }
            let sight = tools.sight;
            let meant = |s| self.may_be_told(s, tools) && Room::of(s, &sight) == room;
            let worst = self.worst_first(&self.crowd, &sight, meant);
            worst.into_iter().take(free).for_each(|s| self.begin(s, tools));
        }
    }

    /// Those of some subjects who are meant, worst first.
    pub(super) fn worst_first(
        &self,
        of: &BTreeSet<Subject>,
        sight: &Sight<'_>,
        meant: impl Fn(Subject) -> bool,
    ) -> Vec<Subject> {
        let meant = of.iter().filter(|s| meant(**s));
        let mut all: Vec<(Subject, f64)> = meant.map(|s| (*s, self.badness(*s, sight))).collect();
        all.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        all.into_iter().map(|(s, _)| s).collect()
    }
}
