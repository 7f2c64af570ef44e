//! A fall that nobody saw, or that somebody remembers only roughly: it lies on a stretch of own track, likelier here than
//! there.

use super::own::OwnContext;
use super::track::Track;
use crate::drift::Start;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use terms::{Moment, Plane, Position};

/// The longest time back, by which own track is kept: a day.
pub const FALL_WITHIN: Duration = Duration::from_secs(24 * 3600);
/// Stretches that own track is cut into, at least and at most, and how long one is where there is room.
const FEWEST: u32 = 3;
const MOST: u32 = 48;
const STRETCH: Duration = Duration::from_secs(60);
/// Places looked at in each.
const LOOKS: u32 = 6;
/// How far a person errs who says how long ago something was, as a share of that time; one standard deviation (own choice).
const MEMORY_ERRS: f64 = 0.2;
/// As far as memory is followed, in its standard deviations.
const MEMORY_DEVIATIONS: f64 = 2.5;
/// Up to this long ago the memory of it is taken to be exact: it takes as long to reach a button.
const JUST_NOW: Duration = Duration::from_secs(10);

/// When somebody went over the side, as far as whoever says so knows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fell {
    /// So long ago. The memory errs in proportion, beyond a few seconds.
    Ago(Duration),
    /// Nobody saw it: between two times so long ago, as likely at one moment as at another.
    Between {
        /// Last seen aboard; a day ago at most.
        last_seen: Duration,
        /// Missed, later than that.
        missed: Duration,
    },
}

impl From<Duration> for Fell {
    fn from(ago: Duration) -> Self {
        Self::Ago(ago)
    }
}

/// A part of own track on which the fall may have been.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) struct Stretch {
    at: Moment,
    position: Position,
    /// How the places on it lie about its middle: to the east and north, in square nautical miles.
    covariance: [[f64; 2]; 2],
    weight: f64,
}

/// Own track between two moments, with how likely the fall was on each part of it. Bounded: 48 stretches and both ends.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Line {
    /// Last seen, or the earliest that memory allows.
    pub since: Moment,
    /// Missed, or the latest.
    pub until: Moment,
    /// Whether nobody saw the fall.
    pub unseen: bool,
    stretches: Vec<Stretch>,
    /// The share of the likely time for which own track is not known.
    pub unknown: f64,
}

impl Line {
    /// The fall of which somebody speaks now; `None` if it was just now, or if no own track of that time is known.
    pub fn of(fell: Fell, at: Moment, track: &Track, own: &OwnContext) -> Option<Self> {
        match fell {
            Fell::Ago(ago) if ago <= JUST_NOW => None,
            Fell::Ago(ago) => {
                let spread = ago.mul_f64(MEMORY_ERRS * MEMORY_DEVIATIONS);
                let middle = at - ago;
                let likely = |t: Moment| {
                    let off = t.seconds_from(middle) / (MEMORY_ERRS * ago.as_secs_f64());
                    (-0.5 * off * off).exp()
                };
                Self::along(track, own, (middle - spread, (middle + spread).min(at)), false, likely)
            }
            Fell::Between { last_seen, missed } => {
                Self::along(track, own, (at - last_seen, at - missed), true, |_| 1.0)
            }
        }
    }

    fn along(
        track: &Track,
        own: &OwnContext,
        (since, until): (Moment, Moment),
        unseen: bool,
        likely: impl Fn(Moment) -> f64,
    ) -> Option<Self> {
        let whole = until.since(since);
        let count = (whole.as_secs_f64() / STRETCH.as_secs_f64()).ceil() as u32;
        let count = count.clamp(FEWEST, MOST);
        let moment = |part: f64| since + whole.mul_f64(part);
        let place = |t: Moment| track.place_or_now(t, own);
        let (mut stretches, mut all, mut known) = (Vec::new(), 0.0, 0.0);
        for n in 0..count {
            let at = moment((f64::from(n) + 0.5) / f64::from(count));
            let weight = likely(at);
            all += weight;
            let look =
                |i: u32| moment((f64::from(n) + (f64::from(i) + 0.5) / f64::from(LOOKS)) / f64::from(count));
            let seen: Vec<_> = (0..LOOKS).filter_map(|i| place(look(i))).collect();
            let Some(first) = seen.first() else { continue };
            let plane = Plane::at(first.position);
            let points: Vec<_> = seen.iter().map(|p| plane.east_north(p.position)).collect();
            let mean = |of: &dyn Fn(usize) -> f64| (0..seen.len()).map(of).sum::<f64>() / seen.len() as f64;
            let (east, north) = (mean(&|i| points[i].0), mean(&|i| points[i].1));
            let off = |i: usize| [points[i].0 - east, points[i].1 - north];
            // A radius that holds 95 % of a circular normal is 2.45 deviations.
            let error = mean(&|i| (seen[i].radius95_nm / 2.447_747).powi(2));
            let covariance = [0, 1]
                .map(|r| [0, 1].map(|c| mean(&|i| off(i)[r] * off(i)[c]) + if r == c { error } else { 0.0 }));
            known += weight;
            stretches.push(Stretch { at, position: plane.position(east, north), covariance, weight });
        }
        // Both ends of the line, which count for nothing but its length.
        let end = |at: Moment| {
            place(at).map(|p| Stretch {
                at,
                position: p.position,
                covariance: [[1e-6, 0.0], [0.0, 1e-6]],
                weight: 0.0,
            })
        };
        let stretches: Vec<Stretch> = end(since).into_iter().chain(stretches).chain(end(until)).collect();
        (known > 0.0).then(|| Self { since, until, unseen, stretches, unknown: 1.0 - known / all })
    }

    /// Where it may have begun, in the order of time.
    pub fn starts(&self) -> Vec<Start> {
        let start =
            |s: &Stretch| Start { at: s.at, place: s.position, covariance: s.covariance, weight: s.weight };
        self.stretches.iter().map(start).collect()
    }

    /// How near the line comes to a place, in miles.
    pub fn off_nm(&self, place: Position) -> f64 {
        self.stretches.iter().map(|s| s.position.range_and_bearing(place).0).fold(f64::INFINITY, f64::min)
    }

    /// Moves what lies before a moment by so much.
    pub fn shift_before(&mut self, limit: Moment, by_ms: i64) {
        let ends = [&mut self.since, &mut self.until].into_iter();
        for at in ends.chain(self.stretches.iter_mut().map(|s| &mut s.at)).filter(|at| **at < limit) {
            at.0 = at.0.saturating_add(by_ms);
        }
    }
}
