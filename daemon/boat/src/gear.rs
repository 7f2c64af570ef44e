//! What aboard has a date: `[[gear]]`, the crew's batteries, and the `[passage]` they are to last for.

use super::read::Reader;
use serde::Deserialize;
use std::ops::Range;
use terms::{Day, Every};
use toml::Spanned;

/// What runs out within so many weeks is told, unless the file says otherwise.
const WEEKS_AHEAD: u32 = 8;

/// A piece of gear with a date.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gear {
    /// As the skipper calls it.
    pub name: String,
    /// Its date.
    pub due: Due,
    /// A remark, such as who services it.
    pub note: Option<String>,
}

/// The date of a piece of gear.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Due {
    /// The last day on which it is good.
    pub on: Day,
    /// How often it comes round.
    pub every: Option<Every>,
}

/// The passage that is planned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Passage {
    /// The last day of it, as planned.
    pub ends: Option<Day>,
    /// What runs out within so many weeks is told even where the passage ends sooner.
    pub weeks_ahead: u32,
}

impl Default for Passage {
    fn default() -> Self {
        Self { ends: None, weeks_ahead: WEEKS_AHEAD }
    }
}

/// A day as TOML has it or in quotes.
#[derive(Deserialize)]
#[serde(untagged)]
pub(super) enum RawDay {
    Text(String),
    Date(toml::value::Datetime),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawGear {
    name: Spanned<String>,
    due: Option<Spanned<RawDay>>,
    done: Option<Spanned<RawDay>>,
    every: Option<Spanned<String>>,
    note: Option<Spanned<String>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawPassage {
    ends: Option<Spanned<RawDay>>,
    weeks_ahead: Option<Spanned<u32>>,
}

impl Reader {
    pub(super) fn day(&mut self, raw: &Spanned<RawDay>) -> Option<Day> {
        let text = match raw.get_ref() {
            RawDay::Text(text) => text.clone(),
            RawDay::Date(date) => date.to_string(),
        };
        let day = Day::parse(&text);
        if day.is_none() {
            self.problem(raw.span(), "a day is \"2027-05-31\", or \"2027-05\" for the end of that month");
        }
        day
    }

    pub(super) fn gear(&mut self, g: RawGear, _: Range<usize>) -> Option<Gear> {
        let name = self.name("piece of gear", &g.name);
        let note = g.note.and_then(|n| {
            let text = n.get_ref().trim();
            if text.chars().count() > 200 || text.chars().any(char::is_control) {
                self.problem(n.span(), "a note has at most 200 letters on one line");
                return None;
            }
            (!text.is_empty()).then(|| text.to_owned())
        });
        let every = g.every.as_ref().and_then(|e| {
            let every = Every::parse(e.get_ref());
            if every.is_none() {
                self.problem(
                    e.span(),
                    "an interval is a number and days, weeks, months or years: \"12 months\"",
                );
            }
            every
        });
        let due = match (&g.due, &g.done) {
            (Some(due), None) => self.day(due).map(|on| Due { on, every }),
            (None, Some(done)) if g.every.is_some() => {
                let on = self.day(done).zip(every).and_then(|(day, every)| day.plus(every));
                on.map(|on| Due { on, every })
            }
            _ => {
                self.problem(
                    g.name.span(),
                    "gear has the day until which it is good, `due`, or the day it was `done` and an interval, `every`",
                );
                None
            }
        };
        Some(Gear { name: name?, due: due?, note })
    }

    pub(super) fn passage(&mut self, p: RawPassage) -> Passage {
        let weeks_ahead = p.weeks_ahead.map_or(WEEKS_AHEAD, |w| {
            if !(1..=104).contains(w.get_ref()) {
                self.problem(w.span(), "`weeks_ahead` is from 1 to 104");
            }
            *w.get_ref()
        });
        Passage { ends: p.ends.and_then(|d| self.day(&d)), weeks_ahead }
    }
}

#[cfg(test)]
mod tests {
    use crate::read;

    #[test]
    fn dates_of_gear_are_read_and_each_mistake_is_told_where_it_is() {
        let text = "version = 1\n[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\nuntil = 2028-03-31\n\
            [[gear]]\nname = \"raft\"\ndone = \"2025-05\"\nevery = \"3 years\"\nnote = \"service at Orrin\"\n\
            [[gear]]\nname = \"flares\"\ndue = \"2027-02\"\n\
            [passage]\nends = 2026-12-20\n";
        let boat = read("boat.toml", text).unwrap();
        let day = |t: &str| terms::Day::parse(t).unwrap();
        assert_eq!(boat.crew[0].until, Some(day("2028-03-31")));
        assert_eq!(boat.gear[0].due.on, day("2028-05-31"), "the last day of May and three years");
        assert_eq!(boat.gear[1].due.on, day("2027-02-28"));
        assert_eq!((boat.passage.ends, boat.passage.weeks_ahead), (Some(day("2026-12-20")), 8));
        let bad = "version = 1\n[[crew]]\nname = \"Ada\"\nuntil = \"2028-03\"\n[[gear]]\nname = \"raft\"\n\
            [[gear]]\nname = \"knife\"\ndue = \"soon\"\n[[gear]]\nname = \"lamp\"\ndue = \"2028-01\"\nevery = \"often\"\n\
            [passage]\nweeks_ahead = 0\nend = \"2028-01\"\n";
        let told = read("boat.toml", bad).unwrap_err().to_string();
        for part in [
            "boat.toml:4:9: `until` is the last day of a beacon's battery",
            "boat.toml:6:8: gear has the day",
            "boat.toml:9:7: a day is",
            "boat.toml:13:9: an interval is",
            "`end` is not known here",
        ] {
            assert!(told.contains(part), "{part} is not in\n{told}");
        }
    }
}
