//! Time along the page: the place of a moment, and the marks.

use crate::review::Night;
use crate::review::when::When;
use std::collections::BTreeMap;
use terms::{Moment, ShipTime, Utc};

/// Steps between marks in minutes, from one to thirty days.
const STEPS_MIN: [i64; 15] =
    [1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2 * 1440, 5 * 1440, 10 * 1440];

/// Time from left to right.
#[derive(Debug)]
pub(super) struct Axis {
    from_ms: i64,
    to_ms: i64,
    left: f64,
    right: f64,
    /// Milliseconds to add to the steady time of each boot that never knew UTC, so that it follows the run before.
    offsets: BTreeMap<i64, i64>,
    dated: bool,
}

impl Axis {
    pub fn new(night: &Night, left: f64, right: f64) -> Self {
        let (mut offsets, mut end) = (BTreeMap::new(), 0);
        for run in &night.runs {
            let offset = *offsets.entry(run.from.boot).or_insert(end - run.from.steady.0);
            end = run.to.utc.map_or(run.to.steady.0 + offset, |t| t.0);
        }
        let mut axis = Self { from_ms: 0, to_ms: 1, left, right, offsets, dated: night.is_dated() };
        axis.from_ms = axis.ms(&night.from);
        axis.to_ms = axis.ms(&night.to).max(axis.from_ms + 60_000);
        axis
    }

    /// Milliseconds on the axis: UTC where it is known.
    pub fn ms(&self, at: &When) -> i64 {
        at.utc.map_or_else(|| at.steady.0 + self.offsets.get(&at.boot).copied().unwrap_or(0), |t| t.0)
    }

    pub fn x(&self, at: &When) -> f64 {
        self.x_of(self.ms(at))
    }

    /// The part of the axis that a span of milliseconds takes.
    pub fn part_of(&self, ms: i64) -> f64 {
        ms as f64 / (self.to_ms - self.from_ms) as f64
    }

    fn x_of(&self, ms: i64) -> f64 {
        let part = (ms - self.from_ms) as f64 / (self.to_ms - self.from_ms) as f64;
        self.left + part.clamp(0.0, 1.0) * (self.right - self.left)
    }

    /// Marks at whole steps of a clock, at most `most` of them: x, and the moment on the axis.
    pub fn marks(&self, most: i64, clock: ShipTime) -> Vec<(f64, When)> {
        let shift = i64::from(clock.minutes) * 60_000;
        let span = self.to_ms - self.from_ms;
        let step = STEPS_MIN.iter().map(|m| m * 60_000).find(|s| span / s <= most).unwrap_or(span.max(1));
        let first = (self.from_ms + shift).div_euclid(step) * step - shift;
        (0..most + 3)
            .map(|n| first + n * step)
            .filter(|ms| (self.from_ms..=self.to_ms).contains(ms))
            .map(|ms| (self.x_of(ms), When { boot: 0, steady: Moment(ms), utc: Some(Utc(ms)) }))
            .collect()
    }

    /// Evenly spaced moments over the whole axis.
    pub fn samples(&self, n: i64) -> impl Iterator<Item = (f64, Utc)> {
        let step = ((self.to_ms - self.from_ms) / n.max(1)).max(1);
        (0..=n).map(move |i| self.from_ms + i * step).map(|ms| (self.x_of(ms), Utc(ms)))
    }

    /// Whether it runs over more than a day, so that marks need a date.
    pub fn needs_date(&self) -> bool {
        self.dated
    }
}
