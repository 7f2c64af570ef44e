//! UTC at the boat: by satellite first, by the computer's clock only until then.

use sentence::SentTime;
use std::collections::BTreeMap;
use terms::{FeedId, Moment, Utc, UtcSource};

/// Weeks until a receiver's ten-bit week counter starts anew (IS-GPS-200).
const WEEK_COUNTER_MS: i64 = 1024 * 7 * 86_400_000;
const DAY_MS: i64 = 86_400_000;
/// Feeds whose dated stream is followed.
const FEEDS_MAX: usize = 64;

/// Runs UTC on steady time.
#[derive(Debug, Clone, Default)]
pub(crate) struct UtcKeeper {
    set: Option<(Moment, Utc, UtcSource)>,
    /// The last dated moment of each feed, from which its time-only sentences take their date.
    dated: BTreeMap<FeedId, (Moment, Utc)>,
}

impl UtcKeeper {
    /// UTC at a moment, and where it comes from.
    pub fn utc(&self, at: Moment) -> Option<(Utc, UtcSource)> {
        let (then, utc, source) = self.set?;
        Some((utc.plus_ms(at.0.saturating_sub(then.0)), source))
    }

    /// Takes the computer's clock until a satellite has told.
    pub fn hint(&mut self, at: Moment, utc: Utc) {
        if !matches!(self.set, Some((_, _, UtcSource::Satellite))) {
            self.set = Some((at, utc, UtcSource::System));
        }
    }

    /// Takes the time of a sentence; returns it with its date where that is known.
    pub fn hear(&mut self, at: Moment, feed: FeedId, time: SentTime, earliest: Utc) -> Option<Utc> {
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
        self.set = Some((at, utc, UtcSource::Satellite));
        Some(utc)
    }
}

/// The date that a receiver meant whose week counter has rolled over: whole rounds later until it is possible.
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
