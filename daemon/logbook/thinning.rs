//! How much of what is heard becomes rows: own vessel every ten seconds, a target or an instrument once a minute.

use super::delivery::Row;
use record::{FeedRow, OwnRow, Stamp, TargetRow};
use std::collections::BTreeMap;
use std::sync::Arc;
use terms::{Circular, Dimension, FeedId, Mmsi, Quantity, normal_deg, turn_deg};

/// How often own vessel gets a row, in milliseconds.
const OWN_EVERY_MS: i64 = 10_000;
/// How often targets and instruments get a row, in milliseconds.
const MINUTE_MS: i64 = 60_000;
/// How often a feed's counts get a row, in milliseconds.
const FEED_EVERY_MS: i64 = 600_000;
/// Most targets written a minute, nearest first; the feeds take turns.
pub(super) const TARGETS_A_MINUTE: usize = 200;
/// A target is near within this range, or when its CPA will come within `NEAR_CPA_NM` and `NEAR_TCPA_S`. The others,
/// most of what is heard in busy waters, get a row every five minutes.
const NEAR_NM: f64 = 6.0;
const NEAR_CPA_NM: f64 = 3.0;
const NEAR_TCPA_S: f64 = 1800.0;
const FAR_EVERY_MINUTES: i64 = 5;
/// Most targets held during a minute; new ones beyond that are ignored, except each feed's own share.
const TARGETS_HELD: usize = 5_000;
const HELD_OF_A_FEED: usize = 500;
/// Most feeds held; a boat has a handful.
const FEEDS_HELD: usize = 64;

/// A row as it goes to the disk.
#[derive(Debug, Clone)]
pub(super) enum Thinned {
    Own(Stamp, OwnRow),
    Target(Stamp, TargetRow),
    Minute(Stamp, Quantity, Minute),
    Feed(Stamp, FeedRow),
}

/// One quantity over one minute.
#[derive(Debug, Clone, Default)]
pub(super) struct Minute {
    pub readings: i64,
    pub last: f64,
    sum: f64,
    least: f64,
    greatest: f64,
    /// For directions; `least` and `greatest` are then turns from the first one.
    circle: Option<(f64, Circular)>,
}

impl Minute {
    fn first(quantity: Quantity, value: f64) -> Self {
        let circle = (quantity.dimension() == Dimension::Direction).then(|| (value, Circular::default()));
        let around = if circle.is_some() { 0.0 } else { value };
        let mut m = Self { least: around, greatest: around, circle, ..Self::default() };
        m.add(value);
        m
    }

    fn add(&mut self, value: f64) {
        self.readings += 1;
        self.last = value;
        let v = match &mut self.circle {
            Some((first, circle)) => {
                circle.add(value, 1.0);
                turn_deg(*first, value)
            }
            None => value,
        };
        self.sum += v;
        self.least = self.least.min(v);
        self.greatest = self.greatest.max(v);
    }

    /// Least, mean and greatest. For directions: farthest to port, mean, farthest to starboard.
    pub fn extremes(&self) -> (f64, Option<f64>, f64) {
        match &self.circle {
            Some((first, circle)) => {
                (normal_deg(first + self.least), circle.mean_deg(), normal_deg(first + self.greatest))
            }
            None => (self.least, Some(self.sum / self.readings.max(1) as f64), self.greatest),
        }
    }
}

fn is_near(t: &TargetRow) -> bool {
    let to_come = |cpa: f64, tcpa: f64| cpa <= NEAR_CPA_NM && (0.0..=NEAR_TCPA_S).contains(&tcpa);
    t.range_nm.is_some_and(|r| r <= NEAR_NM) || t.cpa_nm.zip(t.tcpa_s).is_some_and(|(c, s)| to_come(c, s))
}

/// What has been heard in the current minute.
#[derive(Debug, Default)]
pub(super) struct Thinning {
    minute: Option<i64>,
    own_period: Option<i64>,
    targets: BTreeMap<Mmsi, (Stamp, TargetRow)>,
    /// How many of each feed's have come in.
    targets_of: BTreeMap<Option<FeedId>, usize>,
    instruments: BTreeMap<Quantity, (Stamp, Minute)>,
    feeds: BTreeMap<Arc<str>, (Stamp, FeedRow)>,
    feed_period: Option<i64>,
}

impl Thinning {
    /// Takes a row; passes what is ready for the disk to `out`. Returns `true` at the end of a minute.
    pub fn take(&mut self, at: Stamp, row: Row, out: &mut impl FnMut(Thinned)) -> bool {
        let turned = self.turn(at, out);
        match row {
            Row::Own(own) => {
                let period = at.steady.0.div_euclid(OWN_EVERY_MS);
                if self.own_period.is_none_or(|p| p != period) {
                    self.own_period = Some(period);
                    out(Thinned::Own(at, own));
                }
            }
            Row::Target(target) => self.take_target(at, target),
            Row::Instrument(quantity, value) if value.is_finite() => {
                self.instruments
                    .entry(quantity)
                    .and_modify(|(_, m)| m.add(value))
                    .or_insert_with(|| (at, Minute::first(quantity, value)));
            }
            Row::Instrument(..) => {}
            Row::Feed(feed) => {
                if self.feeds.len() < FEEDS_HELD || self.feeds.contains_key(&feed.feed) {
                    self.feeds.insert(Arc::clone(&feed.feed), (at, feed));
                }
            }
        }
        turned
    }

    /// A target's row for a minute is the one with its least range.
    fn take_target(&mut self, at: Stamp, target: TargetRow) {
        let nearer = |new: &TargetRow, old: &TargetRow| match (new.range_nm, old.range_nm) {
            (Some(new), Some(old)) => new <= old,
            (_, old) => old.is_none(),
        };
        let of_feed = self.targets_of.entry(at.feed).or_default();
        let room = self.targets.len() < TARGETS_HELD || *of_feed < HELD_OF_A_FEED;
        match self.targets.get_mut(&target.mmsi) {
            Some(held) if nearer(&target, &held.1) => *held = (at, target),
            Some(_) => {}
            None if room => {
                *of_feed += 1;
                self.targets.insert(target.mmsi, (at, target));
            }
            None => {}
        }
    }

    fn turn(&mut self, at: Stamp, out: &mut impl FnMut(Thinned)) -> bool {
        let minute = at.steady.0.div_euclid(MINUTE_MS);
        let over = self.minute.is_some_and(|m| minute > m);
        if over {
            self.close(false, out);
        }
        self.minute = Some(self.minute.map_or(minute, |m| m.max(minute)));
        over
    }

    /// Ends the minute; `whole` also ends the feeds' longer period.
    pub fn close(&mut self, whole: bool, out: &mut impl FnMut(Thinned)) {
        let minute = self.minute.unwrap_or(0);
        // Spread over the five minutes by identity, so that no minute has all of them.
        let its_turn = |t: &TargetRow| (i64::from(t.mmsi.number()) + minute) % FAR_EVERY_MINUTES == 0;
        self.targets_of.clear();
        let mut targets: Vec<_> = std::mem::take(&mut self.targets).into_values().collect();
        targets.retain(|(_, t)| whole || is_near(t) || its_turn(t));
        if targets.len() > TARGETS_A_MINUTE {
            let range = |t: &TargetRow| t.range_nm.unwrap_or(f64::INFINITY);
            targets.sort_by(|a, b| range(&a.1).total_cmp(&range(&b.1)).then(a.1.mmsi.cmp(&b.1.mmsi)));
            // The nearest of each feed, then the second nearest of each, and so on: what one feed brings hides no ship of
            // another.
            let mut before: BTreeMap<Option<FeedId>, usize> = BTreeMap::new();
            let mut in_turn = |row: (Stamp, TargetRow)| {
                let turn = before.entry(row.0.feed).or_default();
                *turn += 1;
                (*turn, row)
            };
            let mut turns: Vec<_> = targets.into_iter().map(&mut in_turn).collect();
            turns.sort_by_key(|(turn, _)| *turn);
            turns.truncate(TARGETS_A_MINUTE);
            targets = turns.into_iter().map(|(_, row)| row).collect();
        }
        targets.sort_by_key(|(at, t)| (at.steady, t.mmsi));
        targets.into_iter().for_each(|(at, t)| out(Thinned::Target(at, t)));
        for (quantity, (at, minute)) in std::mem::take(&mut self.instruments) {
            out(Thinned::Minute(at, quantity, minute));
        }
        let period = self.minute.map(|m| (m * MINUTE_MS).div_euclid(FEED_EVERY_MS));
        if whole || period != self.feed_period {
            self.feed_period = period;
            std::mem::take(&mut self.feeds).into_values().for_each(|(at, f)| out(Thinned::Feed(at, f)));
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use terms::Moment;

    #[test]
    fn a_flood_by_one_feed_leaves_the_rows_of_another() {
        let mut thinning = Thinning::default();
        let mut rows = Vec::new();
        let mut take = |s: f64, feed: u16, number: u32, range_nm: f64| {
            let at = Stamp { steady: Moment::from_s(s), utc: None, feed: Some(FeedId(feed)) };
            let row = TargetRow {
                mmsi: Mmsi::new(number).unwrap(),
                name: None,
                kind: None,
                position: None,
                cog_deg: None,
                sog_kn: None,
                range_nm: Some(range_nm),
                bearing_deg: None,
                cpa_nm: None,
                tcpa_s: None,
            };
            thinning.take(at, Row::Target(row), &mut |row| rows.push(row));
        };
        for n in 0..20_000 {
            take(1.0, 1, 211_000_000 + n, 0.1);
        }
        take(2.0, 2, 538_000_001, 5.0);
        take(61.0, 2, 538_000_001, 4.9);
        let written: Vec<_> = rows
            .iter()
            .filter_map(|r| if let Thinned::Target(at, _) = r { Some(at.feed) } else { None })
            .collect();
        assert_eq!(written.len(), TARGETS_A_MINUTE);
        assert_eq!(written.iter().filter(|f| **f == Some(FeedId(2))).count(), 1);
    }
}
