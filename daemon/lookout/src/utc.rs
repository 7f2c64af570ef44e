//! UTC at the boat: by satellite first, by the computer's clock only until then.

use sentence::SentTime;
use std::collections::BTreeMap;
use std::time::Duration;
use terms::{FeedId, Moment, Utc, UtcSource};

/// Weeks until a receiver's ten-bit week counter starts over (IS-GPS-200).
const WEEK_COUNTER_MS: i64 = 1024 * 7 * 86_400_000;
const DAY_MS: i64 = 86_400_000;
/// Feeds whose dated stream is followed.
const FEEDS_MAX: usize = 64;
/// Silence of the feed in use after which another gives UTC.
const SILENCE: Duration = Duration::from_secs(10);
/// A time that differs by more is a step, believed only when given this often in a row.
const STEP_MS: i64 = 2_000;
const STEP_TOLD: u32 = 3;

/// Runs UTC on steady time.
#[derive(Debug, Clone, Default)]
pub(crate) struct UtcKeeper {
    set: Option<(Moment, Utc, UtcSource)>,
    /// The feed in use, and when it last gave UTC.
    feed: Option<(FeedId, Moment)>,
    /// The last dated moment of each feed, from which its time-only sentences take their date.
    dated: BTreeMap<FeedId, (Moment, Utc)>,
    /// A step the feed in use has given, and how often in a row.
    step: Option<(i64, u32)>,
}

impl UtcKeeper {
    /// UTC at a moment, and its source.
    pub fn utc(&self, at: Moment) -> Option<(Utc, UtcSource)> {
        let (then, utc, source) = self.set?;
        Some((utc.plus_ms(at.0.saturating_sub(then.0)), source))
    }

    /// Takes the computer's clock until a satellite has given UTC.
    pub fn hint(&mut self, at: Moment, utc: Utc) {
        if !matches!(self.set, Some((_, _, UtcSource::Satellite))) {
            self.set = Some((at, utc, UtcSource::System));
        }
    }

    /// Takes the time of a satellite receiver's sentence; returns words for the logbook if it makes UTC step.
    pub fn hear(&mut self, at: Moment, feed: FeedId, time: SentTime, earliest: Utc) -> Option<String> {
        let utc = match time {
            SentTime::Utc(utc) => mended(utc, earliest),
            SentTime::OfDayMs(ms) => {
                let (then, utc) = *self.dated.get(&feed)?;
                nearest_of_day(utc.plus_ms(at.0.saturating_sub(then.0)), i64::from(ms))
            }
        };
        if self.dated.len() < FEEDS_MAX || self.dated.contains_key(&feed) {
            self.dated.insert(feed, (at, utc));
        }
        let in_use = self.feed.is_none_or(|(f, heard)| f == feed || at.since(heard) > SILENCE);
        if !in_use {
            return None;
        }
        self.feed = Some((feed, at));
        let off_ms = match self.utc(at) {
            Some((running, UtcSource::Satellite)) => utc.0.saturating_sub(running.0),
            _ => 0,
        };
        let note = if off_ms.saturating_abs() > STEP_MS {
            let told = match self.step {
                Some((before_ms, n)) if before_ms.saturating_sub(off_ms).saturating_abs() <= STEP_MS => n + 1,
                _ => 1,
            };
            self.step = Some((off_ms, told));
            if told < STEP_TOLD {
                return None;
            }
            Some(format!("UTC by satellite stepped by {:.1} s", off_ms as f64 / 1000.0))
        } else {
            None
        };
        self.step = None;
        self.set = Some((at, utc, UtcSource::Satellite));
        note
    }
}

/// The date meant by a receiver whose week counter has rolled over: whole rollovers later until it is possible.
fn mended(utc: Utc, earliest: Utc) -> Utc {
    let behind = earliest.0.saturating_sub(utc.0);
    if behind <= 0 {
        return utc;
    }
    let rounds = behind.saturating_add(WEEK_COUNTER_MS - 1) / WEEK_COUNTER_MS;
    utc.plus_ms(rounds.saturating_mul(WEEK_COUNTER_MS))
}

/// The moment of that time of day that lies nearest to `about`.
fn nearest_of_day(about: Utc, ms_of_day: i64) -> Utc {
    let off = (ms_of_day - about.ms_of_day() + DAY_MS / 2).rem_euclid(DAY_MS) - DAY_MS / 2;
    about.plus_ms(off)
}
