//! Who kept the watch when, and what rest that left each.

use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::time::Duration;
use terms::Utc;

const HOUR: Duration = Duration::from_secs(3600);
/// The rest that ships' crews have in any 24 hours (STCW A-VIII/1 and MLC A2.3, from memory). It does not bind a yacht.
pub const REST_OF_A_DAY: Duration = HOUR.saturating_mul(10);
/// The same in any seven days.
pub const REST_OF_A_WEEK: Duration = HOUR.saturating_mul(77);
/// A day.
const DAY: Duration = HOUR.saturating_mul(24);
/// A week.
const WEEK: Duration = HOUR.saturating_mul(7 * 24);
/// Most watches remembered: more than a week of a roster's most. The oldest go first, and are then counted no longer.
const MOST_SPELLS: usize = 512;

/// One person's time off watch. Off watch is not asleep: nobody here knows that.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rest {
    /// Who.
    pub who: String,
    /// Time off watch within the last 24 hours, or the part of them that is known.
    pub off_day: Duration,
    /// How much of the last 24 hours is known.
    pub of_day: Duration,
    /// Time off watch within the last seven days, or the part of them that is known.
    pub off_week: Duration,
    /// How much of the last seven days is known.
    pub of_week: Duration,
}

impl Rest {
    /// Whether a whole day is known, and had less rest than ships' crews must have.
    pub fn short_day(&self) -> bool {
        self.of_day >= DAY && self.off_day < REST_OF_A_DAY
    }

    /// Whether a whole week is known, and had less rest than ships' crews must have.
    pub fn short_week(&self) -> bool {
        self.of_week >= WEEK && self.off_week < REST_OF_A_WEEK
    }
}

/// One person's watch.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Spell {
    who: String,
    from: Utc,
    to: Utc,
}

/// The watches of the last week, by UTC, so that they are good over a restart of the computer.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Duties {
    /// Since when all watches are known.
    since: Option<Utc>,
    spells: Vec<Spell>,
    /// Who is on watch, and since when.
    on: Option<(String, Utc)>,
}

impl Duties {
    /// Somebody is on watch since a moment, as far as is known now. Ends the watch of whoever was before.
    pub(crate) fn on_watch(&mut self, who: &str, since: Utc, now: Utc) {
        if self.on.as_ref().is_some_and(|(on, _)| on == who) {
            return;
        }
        let mut from = since;
        if let Some((before, began)) = self.on.take() {
            // Watches do not overlap, whatever the clock does.
            from = since.max(began);
            if from > began {
                self.spells.push(Spell { who: before, from: began, to: from });
            }
        }
        self.since.get_or_insert(from);
        self.on = Some((who.to_owned(), from));
        let week_ago = now.plus_ms(-ms(WEEK));
        self.spells.retain(|s| s.to > week_ago);
        if self.spells.len() > MOST_SPELLS {
            let gone = self.spells.remove(0);
            self.since = Some(gone.to);
        }
    }

    /// The rest of each of these people, and of whoever had the watch, by name.
    pub(crate) fn rests<'a>(&'a self, now: Utc, people: impl Iterator<Item = &'a str>) -> Vec<Rest> {
        let Some(since) = self.since else { return Vec::new() };
        let names: BTreeSet<&str> = people
            .chain(self.spells.iter().map(|s| s.who.as_str()))
            .chain(self.on.iter().map(|(who, _)| who.as_str()))
            .collect();
        let on = self.on.as_ref().map(|(who, from)| (who.as_str(), *from, now));
        let watches = || self.spells.iter().map(|s| (s.who.as_str(), s.from, s.to)).chain(on);
        let rest = |who: &str, width: Duration| {
            let from = now.plus_ms(-ms(width)).max(since);
            let kept: i64 = watches()
                .filter(|(on, ..)| *on == who)
                .map(|(_, a, b)| (b.min(now).0 - a.max(from).0).max(0))
                .sum();
            let known = (now.0 - from.0).max(0);
            (length(known - kept), length(known))
        };
        let of = |who: &str| {
            let ((off_day, of_day), (off_week, of_week)) = (rest(who, DAY), rest(who, WEEK));
            Rest { who: who.to_owned(), off_day, of_day, off_week, of_week }
        };
        names.into_iter().map(of).collect()
    }
}

/// A length of at most a week in milliseconds.
const fn ms(length: Duration) -> i64 {
    length.as_millis() as i64
}

fn length(ms: i64) -> Duration {
    Duration::from_millis(u64::try_from(ms).unwrap_or(0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(day: i64, hour: i64) -> Utc {
        Utc::from_date(2026, 11, 1, 0).unwrap().plus_ms((day * 24 + hour) * 3_600_000)
    }

    fn hours(d: Duration) -> f64 {
        d.as_secs_f64() / 3600.0
    }

    fn of<'a>(rests: &'a [Rest], who: &str) -> &'a Rest {
        rests.iter().find(|r| r.who == who).unwrap()
    }

    /// Check value for ships' rest: 00 to 06 and 20 to 24 is 10 h. Who starts next day at 05 has 9 h from 06 to 06.
    #[test]
    fn ten_hours_are_enough_and_an_early_start_leaves_nine() {
        let mut d = Duties::default();
        d.on_watch("Bo", at(0, 0), at(0, 0));
        d.on_watch("Ada", at(0, 6), at(0, 6));
        d.on_watch("Bo", at(0, 20), at(0, 20));
        let midnight = d.rests(at(1, 0), [].into_iter());
        assert_eq!(hours(of(&midnight, "Ada").off_day), 10.0);
        assert!(!of(&midnight, "Ada").short_day(), "just enough");
        assert!(!of(&midnight, "Bo").short_day());
        d.on_watch("Ada", at(1, 5), at(1, 5));
        let six = d.rests(at(1, 6), [].into_iter());
        assert_eq!(hours(of(&six, "Ada").off_day), 9.0);
        assert!(of(&six, "Ada").short_day());
        assert_eq!(hours(of(&six, "Bo").off_day), 15.0);
    }

    #[test]
    fn four_on_four_off_is_84_h_a_week_and_one_who_never_had_the_watch_rests() {
        let mut d = Duties::default();
        for watch in 0..43 {
            let began = at(0, watch * 4);
            d.on_watch(if watch % 2 == 0 { "Ada" } else { "Bo" }, began, began);
        }
        let rests = d.rests(at(7, 4), ["Cy"].into_iter());
        let names: Vec<&str> = rests.iter().map(|r| r.who.as_str()).collect();
        assert_eq!(names, ["Ada", "Bo", "Cy"]);
        for (who, off) in [("Ada", 84.0), ("Bo", 84.0), ("Cy", 168.0)] {
            assert_eq!(
                (hours(of(&rests, who).off_week), hours(of(&rests, who).of_week)),
                (off, 168.0),
                "{who}"
            );
            assert!(!of(&rests, who).short_week());
        }
        // Thirteen hours a day, every day: 77 h is 11 h a day.
        let mut d = Duties::default();
        for day in 0..8 {
            d.on_watch("Ada", at(day, 0), at(day, 0));
            d.on_watch("Bo", at(day, 13), at(day, 13));
        }
        let rests = d.rests(at(8, 0), [].into_iter());
        assert_eq!(hours(of(&rests, "Ada").off_week), 77.0);
        assert!(!of(&rests, "Ada").short_week());
        d.on_watch("Ada", at(8, 0), at(8, 0));
        let rests = d.rests(at(8, 14), [].into_iter());
        assert!(of(&rests, "Ada").short_week(), "{rests:?}");
    }

    #[test]
    fn only_what_is_known_is_counted_and_a_short_time_is_no_short_rest() {
        let mut d = Duties::default();
        assert_eq!(d.rests(at(0, 9), ["Ada"].into_iter()), []);
        d.on_watch("Ada", at(0, 8), at(0, 9));
        let rests = d.rests(at(0, 12), ["Bo"].into_iter());
        let ada = of(&rests, "Ada");
        assert_eq!((hours(ada.off_day), hours(ada.of_day), hours(ada.of_week)), (0.0, 4.0, 4.0));
        assert!(!ada.short_day() && !ada.short_week());
        assert_eq!(hours(of(&rests, "Bo").off_day), 4.0);
        // A clock set back counts nothing twice, and nothing negative.
        let back = d.rests(at(0, 7), [].into_iter());
        assert_eq!((hours(of(&back, "Ada").off_day), hours(of(&back, "Ada").of_day)), (0.0, 0.0));
        d.on_watch("Bo", at(0, 6), at(0, 7));
        let rests = d.rests(at(0, 10), [].into_iter());
        let bo = of(&rests, "Bo");
        assert_eq!((rests.len(), hours(bo.off_day), hours(bo.of_day)), (1, 0.0, 2.0));
    }

    #[test]
    fn its_memory_is_bounded_and_what_it_forgot_is_not_counted() {
        let mut d = Duties::default();
        for minute in 0..2000 {
            let began = at(0, 0).plus_ms(minute * 60_000);
            d.on_watch(["Ada", "Bo"][(minute % 2) as usize], began, began);
        }
        assert_eq!(d.spells.len(), MOST_SPELLS);
        let rests = d.rests(at(0, 0).plus_ms(2000 * 60_000), [].into_iter());
        let known = of(&rests, "Ada").of_week;
        assert_eq!(known, Duration::from_secs(60 * (MOST_SPELLS as u64 + 1)));
        assert!(!rests[0].short_week());
        // Old watches go by their age too.
        d.on_watch("Cy", at(20, 0), at(20, 0));
        assert!(d.spells.len() <= 1, "{}", d.spells.len());
    }
}
