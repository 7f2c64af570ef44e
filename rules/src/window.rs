//! The course of a value over a window of time, in a fixed number of buckets whatever the rate of reports.

use serde::{Deserialize, Serialize};
use std::collections::VecDeque;
use std::time::Duration;
use terms::{Circular, Moment, turn_deg};

/// Buckets of a window; one more is kept, since the oldest is only partly within it.
const BUCKETS: u32 = 32;

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Bucket {
    start: Moment,
    lowest: f64,
    highest: f64,
    sum: f64,
    count: f64,
    directions: Circular,
}

/// The values of a quantity over the last stretch of time of a given length.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Window {
    length: Duration,
    width: Duration,
    buckets: VecDeque<Bucket>,
}

impl Window {
    /// An empty one.
    pub fn new(length: Duration) -> Self {
        let width = (length / BUCKETS).max(Duration::from_millis(1));
        Self { length, width, buckets: VecDeque::new() }
    }

    /// Its length.
    pub fn length(&self) -> Duration {
        self.length
    }

    /// The same with every moment shifted by a number of milliseconds.
    pub fn shifted(mut self, by_ms: i64) -> Self {
        for b in &mut self.buckets {
            b.start = Moment(b.start.0.saturating_add(by_ms));
        }
        self
    }

    /// The width of a bucket: how soon its figures may change by time alone.
    pub fn width(&self) -> Duration {
        self.width
    }

    /// Adds a value.
    pub fn add(&mut self, at: Moment, value: f64) {
        self.forget(at);
        let fresh = self.buckets.back().is_none_or(|b| at.since(b.start) >= self.width);
        if fresh {
            self.buckets.push_back(Bucket {
                start: at,
                lowest: value,
                highest: value,
                sum: 0.0,
                count: 0.0,
                directions: Circular::default(),
            });
        }
        if let Some(b) = self.buckets.back_mut() {
            b.lowest = b.lowest.min(value);
            b.highest = b.highest.max(value);
            b.sum += value;
            b.count += 1.0;
            b.directions.add(value, 1.0);
        }
    }

    /// Drops what is older than the window.
    pub fn forget(&mut self, at: Moment) {
        let oldest = at - self.length - self.width;
        while self.buckets.front().is_some_and(|b| b.start <= oldest)
            || self.buckets.len() > BUCKETS as usize + 1
        {
            self.buckets.pop_front();
        }
    }

    /// Whether its values cover half its length, which is enough for a mean.
    pub fn has_mean(&self, at: Moment) -> bool {
        self.buckets.front().is_some_and(|b| at.since(b.start) >= self.length / 2)
    }

    /// The greatest value.
    pub fn highest(&self) -> Option<f64> {
        self.buckets.iter().map(|b| b.highest).reduce(f64::max)
    }

    /// The least value.
    pub fn lowest(&self) -> Option<f64> {
        self.buckets.iter().map(|b| b.lowest).reduce(f64::min)
    }

    /// The mean, each stretch of time counting alike however many values it had.
    pub fn mean(&self) -> Option<f64> {
        let n = self.buckets.len() as f64;
        (n > 0.0).then(|| self.buckets.iter().map(|b| b.sum / b.count.max(1.0)).sum::<f64>() / n)
    }

    /// The mean direction in [0, 360); `None` where they cancel out.
    pub fn mean_direction(&self) -> Option<f64> {
        let mut all = Circular::default();
        for deg in self.bucket_directions() {
            all.add(deg, 1.0);
        }
        all.mean_deg()
    }

    /// How far the direction has turned to now since each stretch, newest first: the turns from stretch to stretch
    /// added up, so that a wind that backs right round is not taken for one that veers.
    pub fn turns(&self) -> impl Iterator<Item = f64> {
        let newest_first = self.buckets.iter().rev().filter_map(|b| b.directions.mean_deg());
        newest_first.scan((None, 0.0), |(later, turned), deg| {
            *turned += later.map_or(0.0, |later| turn_deg(deg, later));
            *later = Some(deg);
            Some(*turned)
        })
    }

    /// Mean direction of each stretch, oldest first.
    fn bucket_directions(&self) -> impl Iterator<Item = f64> {
        self.buckets.iter().filter_map(|b| b.directions.mean_deg())
    }
}
