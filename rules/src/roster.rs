//! Who is on watch when, in ship's time.

use std::time::Duration;
use terms::{Hours, Utc};
use thiserror::Error;

/// A day in milliseconds.
const DAY_MS: i64 = 86_400_000;
/// Greatest number of watches of a day or a rotation.
const MOST_WATCHES: usize = 48;

/// A watch that is the same every day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DailyWatch {
    /// Who keeps it.
    pub who: String,
    /// Its hours in ship's time; the whole day if they end when they begin.
    pub hours: Hours,
}

/// Rotating watches: the lengths follow one another for ever, and so do the people. With seven watches a day, as with
/// dog watches, two people keep different hours from day to day. When ship's time is changed, the watch that runs then is
/// that much longer or shorter.
#[derive(Debug, Clone, PartialEq)]
pub struct Rotation {
    /// When the first person's first watch began, in ship's time.
    pub start: Utc,
    /// Lengths of the watches.
    pub lengths: Vec<Duration>,
    /// The people, in turn.
    pub people: Vec<String>,
}

/// Who is on watch when.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Roster {
    skipper: Option<String>,
    /// From and to in milliseconds of the day.
    daily: Vec<(String, i64, i64)>,
    rotation: Option<Rotation>,
}

/// What is wrong with a roster.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum RosterError {
    /// Two watches overlap.
    #[error("the watches of {0} and {1} overlap")]
    Overlap(String, String),
    /// No watches, no people, too many of them, or a watch without length.
    #[error("a rotation needs people, and 1 to {MOST_WATCHES} watches of at least 1 min each")]
    Rotation,
    /// Too many.
    #[error("a roster has at most {MOST_WATCHES} watches a day")]
    TooMany,
}

/// The watch kept at a moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Present {
    /// Who keeps it.
    pub who: String,
    /// Since when.
    pub since: Utc,
    /// Until when.
    pub until: Utc,
}

impl Roster {
    /// A roster of watches that are the same every day; hours may remain that nobody keeps.
    ///
    /// # Errors
    /// If watches overlap or are too many.
    pub fn daily(skipper: Option<String>, watches: &[DailyWatch]) -> Result<Self, RosterError> {
        if watches.len() > MOST_WATCHES {
            return Err(RosterError::TooMany);
        }
        let mut daily: Vec<(String, i64, i64)> = Vec::new();
        for w in watches {
            let [from, to] = [w.hours.from, w.hours.to].map(|h| i64::from(h.minutes()) * 60_000);
            // Equal times are the whole day.
            let length = if from == to { DAY_MS } else { (to - from).rem_euclid(DAY_MS) };
            if let Some((other, ..)) = daily.iter().find(|(_, f, l)| {
                (from - f).rem_euclid(DAY_MS) < *l || (f - from).rem_euclid(DAY_MS) < length
            }) {
                return Err(RosterError::Overlap(other.clone(), w.who.clone()));
            }
            daily.push((w.who.clone(), from, length));
        }
        Ok(Self { skipper, daily, rotation: None })
    }

    /// A roster of rotating watches.
    ///
    /// # Errors
    /// If there are no people or no watches, or too many, or if a watch is too short.
    pub fn rotating(skipper: Option<String>, rotation: Rotation) -> Result<Self, RosterError> {
        let fit = !rotation.people.is_empty()
            && (1..=MOST_WATCHES).contains(&rotation.people.len())
            && (1..=MOST_WATCHES).contains(&rotation.lengths.len())
            && rotation.lengths.iter().all(|l| (60..=7 * 86_400).contains(&l.as_secs()));
        if fit {
            Ok(Self { skipper, daily: Vec::new(), rotation: Some(rotation) })
        } else {
            Err(RosterError::Rotation)
        }
    }

    /// Everybody who keeps a watch by it; a name may come more than once.
    pub fn people(&self) -> impl Iterator<Item = &str> {
        let rotating = self.rotation.iter().flat_map(|r| r.people.iter());
        self.daily.iter().map(|(who, ..)| who).chain(rotating).map(String::as_str)
    }

    /// The person to call when the watchkeeper does not answer.
    pub fn skipper(&self) -> Option<&str> {
        self.skipper.as_deref()
    }

    /// The watch at a moment. `ship_time` is UTC shifted to ship's time, and so are the moments of the answer.
    pub fn present(&self, ship_time: Utc) -> Option<Present> {
        match &self.rotation {
            Some(r) => r.present(ship_time),
            None => {
                let now = ship_time.ms_of_day();
                let (who, from, length) =
                    self.daily.iter().find(|(_, from, length)| (now - from).rem_euclid(DAY_MS) < *length)?;
                let since = ship_time.plus_ms(-(now - from).rem_euclid(DAY_MS));
                Some(Present { who: who.clone(), since, until: since.plus_ms(*length) })
            }
        }
    }
}

impl Rotation {
    fn present(&self, now: Utc) -> Option<Present> {
        let lengths: Vec<i64> = self.lengths.iter().map(|l| l.as_millis() as i64).collect();
        let cycle: i64 = lengths.iter().sum();
        let elapsed = now.0.checked_sub(self.start.0).filter(|e| *e >= 0)?;
        if cycle <= 0 {
            return None;
        }
        let (rounds, mut rest) = (elapsed / cycle, elapsed % cycle);
        for (i, length) in lengths.iter().enumerate() {
            if rest < *length {
                let number = rounds * lengths.len() as i64 + i as i64;
                let who = self.people.get((number % self.people.len() as i64) as usize)?.clone();
                let since = now.plus_ms(-rest);
                return Some(Present { who, since, until: since.plus_ms(*length) });
            }
            rest -= length;
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn watch(who: &str, from: &str, to: &str) -> DailyWatch {
        DailyWatch { who: who.into(), hours: Hours::parse(&format!("{from} to {to}")).unwrap() }
    }

    #[test]
    fn a_watch_through_midnight_knows_its_beginning_and_end() {
        let r =
            Roster::daily(None, &[watch("Ada", "20:00", "02:00"), watch("Bo", "02:00", "08:00")]).unwrap();
        let at = |h: i64| Utc::from_date(2026, 11, 1, h * 3_600_000).unwrap();
        let night = r.present(at(1)).unwrap();
        assert_eq!(night, Present { who: "Ada".into(), since: at(0).plus_ms(-4 * 3_600_000), until: at(2) });
        assert_eq!(r.present(at(2)).unwrap().who, "Bo");
        assert_eq!(r.present(at(12)), None);
        assert!(
            Roster::daily(None, &[watch("Ada", "20:00", "02:00"), watch("Bo", "01:00", "08:00")]).is_err()
        );
        assert_eq!(Hours::parse("20:00 to 24:00"), None);
    }

    #[test]
    fn dog_watches_change_the_hours_of_two_people_from_day_to_day() {
        let h = |n: u64| Duration::from_secs(n * 3600);
        let start = Utc::from_date(2026, 11, 1, 0).unwrap();
        let lengths = vec![h(4), h(4), h(4), h(4), h(2), h(2), h(4)];
        let rotation = Rotation { start, lengths, people: vec!["port".into(), "starboard".into()] };
        let r = Roster::rotating(None, rotation).unwrap();
        let who = |hours: i64| r.present(start.plus_ms(hours * 3_600_000)).unwrap().who;
        // Seven watches a day: whoever has the middle watch today is off in it tomorrow.
        assert_eq!(
            [who(0), who(4), who(16), who(18), who(20), who(24)],
            ["port", "starboard", "port", "starboard", "port", "starboard"]
        );
        assert_eq!(r.present(start.plus_ms(-1)), None);
    }
}
