//! UTC at the boat: by satellite once several sentences agree and nothing speaks against them, by the computer's clock
//! until then.
//!
//! Every clock that can be heard is a witness: each feed whose sentences keep step with steady time, and the computer's
//! clock if its date is possible. A date far from the one in use is followed only if more witnesses, or as many and a
//! feed that stands earlier in the order of feeds, speak for it; until then it is in doubt, and said to be.

use crate::Settings;
use sentence::SentTime;
use std::collections::BTreeMap;
use std::time::Duration;
use terms::{FeedId, Moment, Utc, UtcSource};

const DAY_MS: i64 = 86_400_000;
/// Weeks until a receiver's ten-bit week counter starts over (IS-GPS-200).
const WEEK_COUNTER_MS: i64 = 1024 * 7 * DAY_MS;
/// 1980-02-03T00:00:00Z: a date of the first four weeks of satellite time (IS-GPS-200) comes from a receiver that knows
/// no week yet.
const WEEK_UNKNOWN_UNTIL: Utc = Utc(318_384_000_000);
/// A date this long after the program was built, or after the logbook's last sign of life, is not believed: ten years.
const LATEST_AFTER_MS: i64 = 3_652 * DAY_MS;
/// Feeds whose dated stream is followed.
const FEEDS_MAX: usize = 64;
/// Silence of the feed in use after which another gives UTC.
const SILENCE: Duration = Duration::from_secs(10);
/// A feed's time counts for this long after its last dated sentence: some receivers send one each ten seconds.
const COUNTS_FOR: Duration = Duration::from_secs(30);
/// A sentence whose time differs by more from the one before, carried on by steady time, does not agree with it.
const STEP_MS: i64 = 2_000;
/// A time that is not followed is in doubt for this long after its last sentence.
const DOUBTED_FOR: Duration = Duration::from_secs(15);
/// Sentences that must agree, and over how long, before a feed's time counts.
const AGREE: u32 = 3;
const AGREE_OVER: Duration = Duration::from_secs(2);
/// Two clocks further apart than this contradict each other.
const APART_MS: i64 = 5 * 60_000;
/// How fast a computer's steady time may run away from UTC, as one part in this many: 500 parts per million, the most that
/// Linux corrects a clock by (adjtimex(2), from memory).
const DRIFT_PARTS: i64 = 2_000;
/// How long a feed must keep to a time that one other clock contradicts.
const HOLDS_FOR: Duration = Duration::from_secs(600);
/// The same at the beginning against a computer's clock that is behind: it stood still while the computer was off.
const HOLDS_AT_START: Duration = Duration::from_secs(20);
/// How long after the first time was believed a feed earlier in the order may still correct it at once.
const SETTLES_WITHIN: Duration = Duration::from_secs(60);
/// A sentence without a fix counts for this long: a receiver that has none may give any time.
const FIX_COUNTS_FOR: Duration = Duration::from_secs(5);

/// UTC that runs on steady time after its feed fell silent or went astray, in words.
const OWN_CLOCK: &str = "the watch's own clock";

/// A reading of a clock, which runs on from there.
#[derive(Debug, Clone, Copy)]
struct Running {
    since: Moment,
    utc: Utc,
}

impl Running {
    fn at(self, at: Moment) -> Utc {
        self.utc.plus_ms(at.0.saturating_sub(self.since.0))
    }

    /// How far ahead of it a time is.
    fn off_ms(self, at: Moment, utc: Utc) -> i64 {
        utc.0.saturating_sub(self.at(at).0)
    }
}

fn near(a: Utc, b: Utc) -> bool {
    a.0.abs_diff(b.0) <= APART_MS.unsigned_abs()
}

/// What one feed says about the time.
#[derive(Debug, Clone, Copy)]
struct Claim {
    /// Its last time; sentences with a time of day only take their date from it.
    last: Running,
    /// The first of those in a row that agree, and how many they are.
    first: Running,
    agree: u32,
}

impl Claim {
    fn new(at: Running) -> Self {
        Self { last: at, first: at, agree: 1 }
    }

    fn followed_by(self, now: Running) -> Self {
        let agrees = now.since.since(self.last.since) <= COUNTS_FOR
            && self.first.off_ms(now.since, now.utc).saturating_abs() <= STEP_MS;
        if agrees { Self { last: now, agree: self.agree.saturating_add(1), ..self } } else { Self::new(now) }
    }

    /// Whether its sentences agree and are fresh.
    fn counts(&self, at: Moment) -> bool {
        self.agree >= AGREE && self.held() >= AGREE_OVER && at.since(self.last.since) <= COUNTS_FOR
    }

    /// For how long its sentences have agreed.
    fn held(&self) -> Duration {
        self.last.since.since(self.first.since)
    }
}

/// A feed, as far as it matters for the time.
#[derive(Debug, Clone, Copy, Default)]
struct Ear {
    claim: Option<Claim>,
    /// When it last brought a fix, and a sentence that says there is none.
    fix: Option<Moment>,
    no_fix: Option<Moment>,
}

impl Ear {
    fn may_know_the_time(&self, at: Moment) -> bool {
        let lately = |m: Option<Moment>| m.is_some_and(|m| at.since(m) <= FIX_COUNTS_FOR);
        lately(self.fix) || !lately(self.no_fix)
    }
}

/// The time in use.
#[derive(Debug, Clone, Copy)]
struct Believed {
    now: Running,
    /// The feed in use, and when it last gave UTC.
    feed: FeedId,
    heard: Moment,
    /// What it was when it was settled: small steps and a creeping clock must not lead away from it.
    settled: Running,
}

impl Believed {
    fn contradicts(&self, at: Moment, utc: Utc) -> bool {
        let age_ms = at.0.saturating_sub(self.settled.since.0).max(0);
        self.settled.off_ms(at, utc).saturating_abs() > APART_MS.saturating_add(age_ms / DRIFT_PARTS)
    }
}

/// Runs UTC on steady time.
#[derive(Debug, Clone, Default)]
pub(crate) struct UtcKeeper {
    /// The computer's clock as last read.
    system: Option<Running>,
    believed: Option<Believed>,
    ears: BTreeMap<FeedId, Ear>,
    /// UTC by satellite at the logbook's last sign of life.
    last_sign: Option<Utc>,
}

impl UtcKeeper {
    /// UTC at a moment, and its source.
    pub fn utc(&self, at: Moment) -> Option<(Utc, UtcSource)> {
        let satellite = self.believed.map(|b| (b.now.at(at), UtcSource::Satellite));
        satellite.or_else(|| self.system.map(|s| (s.at(at), UtcSource::System)))
    }

    /// UTC at a moment, unless only a computer's clock gives it that cannot be right.
    pub fn possible(&self, at: Moment, settings: &Settings) -> Option<Utc> {
        match self.utc(at)? {
            (utc, UtcSource::System) => self.is_possible(utc, settings).then_some(utc),
            (utc, UtcSource::Satellite) => Some(utc),
        }
    }

    /// Takes the computer's clock: UTC until a satellite gives it, and a witness to the time that it gives.
    pub fn hint(&mut self, at: Moment, utc: Utc) {
        self.system = Some(Running { since: at, utc });
    }

    /// Takes UTC by satellite at the logbook's last sign of life.
    pub fn remember(&mut self, last_sign: Utc) {
        self.last_sign = Some(last_sign);
    }

    /// Takes whether a receiver's sentence brought a fix or said that there is none.
    pub fn fix(&mut self, at: Moment, feed: FeedId, fix: bool) {
        if let Some(ear) = self.ear(feed) {
            *if fix { &mut ear.fix } else { &mut ear.no_fix } = Some(at);
        }
    }

    fn ear(&mut self, feed: FeedId) -> Option<&mut Ear> {
        let room = self.ears.len() < FEEDS_MAX || self.ears.contains_key(&feed);
        room.then(|| self.ears.entry(feed).or_default())
    }

    /// Takes the time of a satellite receiver's sentence; returns words for the logbook if it makes UTC step.
    pub fn hear(&mut self, at: Moment, feed: FeedId, time: SentTime, settings: &Settings) -> Option<String> {
        let ear = self.ear(feed).filter(|ear| ear.may_know_the_time(at))?;
        let utc = match time {
            SentTime::Utc(utc) => mended(utc, settings.earliest_utc)?,
            SentTime::OfDayMs(ms) => nearest_of_day(ear.claim?.last.at(at), i64::from(ms)),
        };
        let now = Running { since: at, utc };
        let claim = ear.claim.map_or_else(|| Claim::new(now), |before| before.followed_by(now));
        ear.claim = Some(claim);
        if !claim.counts(at) {
            return None;
        }
        match self.believed {
            Some(b) if !b.contradicts(at, utc) => {
                let silent = at.since(b.heard) > SILENCE;
                if b.feed != feed && !silent && settings.rank(feed) >= settings.rank(b.feed) {
                    return None;
                }
                self.believed = Some(Believed { now, feed, heard: at, ..b });
                let off_ms = b.now.off_ms(at, utc);
                (off_ms.saturating_abs() > STEP_MS)
                    .then(|| format!("UTC by satellite stepped by {:.1} s", off_ms as f64 / 1000.0))
            }
            _ if self.may_follow(at, feed, claim, settings) => {
                let before = self.reference(at, settings);
                self.believed = Some(Believed { now, feed, heard: at, settled: now });
                let (name, was) = before.filter(|(_, was)| !near(*was, utc))?;
                let feed = settings.feed_name(feed);
                Some(format!("UTC is now {} by {feed}; it was {} by {name}", shown(utc), shown(was)))
            }
            _ => None,
        }
    }

    /// Whether a feed's time may be believed where none is, or instead of the one in use.
    fn may_follow(&self, at: Moment, feed: FeedId, claim: Claim, settings: &Settings) -> bool {
        let utc = claim.last.at(at);
        if !self.is_possible(utc, settings) {
            return false;
        }
        let ours = self.witnesses(at, utc, settings);
        let system = self.system.map(|s| s.at(at)).filter(|s| self.is_possible(*s, settings));
        if let Some(b) = self.believed {
            let theirs = self.witnesses(at, b.now.at(at), settings);
            let earlier = settings.rank(feed) < settings.rank(b.feed);
            let held = claim.held() >= HOLDS_FOR
                || system.is_some_and(|s| near(s, utc))
                || earlier && at.since(b.settled.since) <= SETTLES_WITHIN;
            return held && (ours > theirs || ours == theirs && earlier);
        }
        let outranked = self.counting(at).any(|(other, c)| {
            let theirs = c.last.at(at);
            settings.rank(other) < settings.rank(feed)
                && !near(theirs, utc)
                && self.is_possible(theirs, settings)
                && self.witnesses(at, theirs, settings) >= ours
        });
        let backwards = self.last_sign.is_some_and(|last| utc < last);
        let since_last_sign = |s: &Utc| self.last_sign.is_none_or(|last| *s >= last);
        let holds_for = match system.filter(since_last_sign) {
            _ if ours >= 2 => Duration::ZERO,
            _ if backwards => HOLDS_FOR,
            None => Duration::ZERO,
            Some(behind) if behind < utc => HOLDS_AT_START,
            Some(_) => HOLDS_FOR,
        };
        !outranked && claim.held() >= holds_for
    }

    /// Words for a time that a feed gives and the watch does not follow, naming both clocks; `None` if there is none.
    pub fn doubt(&self, at: Moment, settings: &Settings) -> Option<String> {
        let contradicts = |utc: Utc| match self.believed {
            Some(b) => b.contradicts(at, utc),
            None => {
                let other = self.reference(at, settings).is_some_and(|(_, other)| !near(other, utc));
                other || !self.is_possible(utc, settings)
            }
        };
        let given = self.ears.iter().filter_map(|(feed, ear)| {
            let last = ear.claim?.last;
            (at.since(last.since) <= DOUBTED_FOR).then(|| (*feed, last.at(at)))
        });
        let astray =
            given.filter(|(_, utc)| contradicts(*utc)).min_by_key(|(feed, _)| settings.rank(*feed))?;
        let (name, gives) = (settings.feed_name(astray.0), shown(astray.1));
        Some(match self.reference(at, settings) {
            Some((other, utc)) => {
                let utc = shown(utc);
                let by =
                    if other == OWN_CLOCK { "keeps its own".to_owned() } else { format!("goes by {other}") };
                format!("Times differ: {name} gives {gives}, {other} {utc}. The watch {by}")
            }
            None => format!("The time cannot be right: {name} gives {gives}. The watch does not follow it"),
        })
    }

    /// The clock that a feed's time is compared with, by name, and what it says.
    fn reference(&self, at: Moment, settings: &Settings) -> Option<(String, Utc)> {
        let believed = self.believed.map(|b| {
            let ours = self.ears.get(&b.feed).and_then(|e| e.claim).filter(|c| c.counts(at));
            let in_step = ours.is_some_and(|c| !b.contradicts(at, c.last.at(at)));
            let name = if in_step { settings.feed_name(b.feed) } else { OWN_CLOCK.to_owned() };
            (name, b.now.at(at))
        });
        let system = || {
            let utc = self.system?.at(at);
            self.is_possible(utc, settings).then(|| ("the computer's clock".to_owned(), utc))
        };
        believed.or_else(system)
    }

    /// How many clocks say about the same.
    fn witnesses(&self, at: Moment, utc: Utc, settings: &Settings) -> usize {
        let system = self.system.map(|s| s.at(at)).filter(|s| self.is_possible(*s, settings));
        self.counting(at).map(|(_, c)| c.last.at(at)).chain(system).filter(|w| near(*w, utc)).count()
    }

    /// The feeds whose time counts now.
    fn counting(&self, at: Moment) -> impl Iterator<Item = (FeedId, Claim)> + '_ {
        self.ears.iter().filter_map(move |(feed, ear)| Some((*feed, ear.claim.filter(|c| c.counts(at))?)))
    }

    /// Whether it can be that late, or that early. A replay may be of any time.
    fn is_possible(&self, utc: Utc, settings: &Settings) -> bool {
        settings.earliest_utc.is_none_or(|earliest| {
            let latest = self.last_sign.map_or(earliest, |last| last.max(earliest)).plus_ms(LATEST_AFTER_MS);
            (earliest..=latest).contains(&utc)
        })
    }
}

/// The date meant by a receiver whose week counter has rolled over: whole rollovers later until it is possible. `None`
/// if the receiver knows no week.
fn mended(utc: Utc, earliest: Option<Utc>) -> Option<Utc> {
    let behind = earliest.map_or(0, |earliest| earliest.0.saturating_sub(utc.0));
    if behind <= 0 {
        return Some(utc);
    }
    let rounds = behind.saturating_add(WEEK_COUNTER_MS - 1) / WEEK_COUNTER_MS;
    (utc >= WEEK_UNKNOWN_UNTIL).then(|| utc.plus_ms(rounds.saturating_mul(WEEK_COUNTER_MS)))
}

/// The moment of that time of day that lies nearest to `about`.
fn nearest_of_day(about: Utc, ms_of_day: i64) -> Utc {
    let off = (ms_of_day - about.ms_of_day() + DAY_MS / 2).rem_euclid(DAY_MS) - DAY_MS / 2;
    about.plus_ms(off)
}

fn shown(utc: Utc) -> String {
    utc.civil().map_or_else(|| utc.to_string(), |t| t.format("%Y-%m-%d %H:%M:%S UTC").to_string())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests")]
    use super::*;

    const FEED: FeedId = FeedId(0);

    /// How long a feed that gives a time once a second takes until it is believed; `None` if it is not in half an hour.
    fn believed_after_s(last_sign: &str, computer: Option<&str>, gives: &str) -> Option<i64> {
        let utc = |text: &str| Utc::parse(&format!("{text}T00:00:00Z")).unwrap();
        let mut keeper = UtcKeeper::default();
        keeper.remember(utc(last_sign));
        if let Some(computer) = computer {
            keeper.hint(Moment::ZERO, utc(computer));
        }
        (0..1800).find(|s| {
            let time = SentTime::Utc(utc(gives).plus_ms(s * 1000));
            keeper.hear(Moment(s * 1000), FEED, time, &Settings::default());
            matches!(keeper.utc(Moment(s * 1000)), Some((_, UtcSource::Satellite)))
        })
    }

    #[test]
    fn a_date_is_weighed_by_the_last_sign_and_the_computers_clock() {
        let after = |computer, gives| believed_after_s("2026-11-01", computer, gives);
        // Nothing speaks against it.
        assert_eq!(after(None, "2026-11-25"), Some(2));
        assert_eq!(after(Some("1970-01-01"), "2026-11-25"), Some(2));
        assert_eq!(after(Some("2099-01-01"), "2026-11-25"), Some(2));
        assert_eq!(after(Some("2026-11-25"), "2026-11-25"), Some(2));
        // A clock that stood still since, one that is ahead, and a date from before the last sign.
        assert_eq!(after(Some("2026-11-02"), "2026-11-25"), Some(20));
        assert_eq!(after(Some("2026-12-02"), "2026-11-25"), Some(600));
        assert_eq!(after(None, "2026-10-25"), Some(600));
        // Unless the computer's clock bears it out.
        assert_eq!(after(Some("2026-10-25"), "2026-10-25"), Some(2));
        // Ten years after the last sign, nobody is believed.
        assert_eq!(after(None, "2036-10-25"), Some(2));
        assert_eq!(after(None, "2036-11-25"), None);
        assert_eq!(after(Some("2099-01-01"), "2099-01-01"), None);
        assert_eq!(believed_after_s("2030-01-01", None, "2039-11-25"), Some(2));
    }

    #[test]
    fn the_ear_and_the_claims_are_bounded() {
        let mut keeper = UtcKeeper::default();
        for n in 0..1000 {
            keeper.hear(Moment::ZERO, FeedId(n), SentTime::Utc(Utc(0)), &Settings::default());
        }
        assert_eq!(keeper.ears.len(), FEEDS_MAX);
    }
}
