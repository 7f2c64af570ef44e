//! What expires aboard: dated gear and beacon batteries, by the calendar.

use super::Watch;
use boat::{Boat, Due, Passage};
use record::{Date, Dated};
use rules::BuiltIn;
use std::time::Duration;
use terms::{Day, Every, Moment, Subject, Utc};

/// How often dates are checked once the time is known; then how often until it is.
const LOOKED_AT_EVERY: Duration = Duration::from_secs(3600);
const LOOKED_FOR_TIME_EVERY: Duration = Duration::from_secs(60);

/// Everything aboard that has a date.
#[derive(Debug, Default)]
pub(super) struct Locker {
    things: Vec<Thing>,
    passage: Passage,
    looked: Option<(Moment, bool)>,
}

#[derive(Debug)]
struct Thing {
    name: String,
    due: Due,
    note: Option<String>,
}

impl Locker {
    /// Everything the boat's file lists.
    pub fn of(boat: &Boat) -> Self {
        let gear = boat.gear.iter().map(|g| Thing { name: g.name.clone(), due: g.due, note: g.note.clone() });
        let battery = |(name, until): (&str, Day)| Thing {
            name: format!("beacon battery of {name}"),
            due: Due { on: until, every: None },
            note: None,
        };
        let batteries = boat.crew.iter().filter_map(|c| Some((c.name.as_str(), c.until?))).map(battery);
        Self { things: batteries.chain(gear).collect(), passage: boat.passage, looked: None }
    }

    fn due(&self) -> Option<Moment> {
        if self.things.is_empty() {
            return None;
        }
        let (then, known) = self.looked?;
        Some(then + if known { LOOKED_AT_EVERY } else { LOOKED_FOR_TIME_EVERY })
    }

    /// All of it, first to expire in front.
    pub fn judged(&self, now: Option<Utc>) -> Vec<Dated> {
        let today = now.and_then(Day::of);
        let mut all: Vec<Dated> = self.things.iter().map(|t| self.judge(t, today)).collect();
        all.sort_by_key(|d| d.due);
        all
    }

    fn judge(&self, thing: &Thing, today: Option<Day>) -> Dated {
        let due = thing.due.on;
        let ahead = |today: Day| today.plus(Every::Days(self.passage.weeks_ahead * 7));
        let (date, mut words) = match today {
            None => (Date::NotKnown, format!("{} is good until {due}", thing.name)),
            Some(today) if today > due => (Date::Over, format!("{} ran out on {due}", thing.name)),
            Some(_) if self.passage.ends.is_some_and(|end| due < end) => {
                (Date::Soon, format!("{} runs out on {due}, before the passage ends", thing.name))
            }
            Some(today) if ahead(today).is_none_or(|horizon| due <= horizon) => {
                (Date::Soon, format!("{} runs out on {due}", thing.name))
            }
            Some(_) => (Date::Good, format!("{} is good until {due}", thing.name)),
        };
        if let Some(every) = thing.due.every {
            words += &format!(", due every {every}");
        }
        if let Some(note) = &thing.note {
            words += &format!(" ({note})");
        }
        Dated { name: thing.name.clone(), due, date, words }
    }
}

impl Watch {
    /// When to check the dates again.
    pub(super) fn dates_due(&self) -> Option<Moment> {
        self.locker.due()
    }

    /// UTC for the calendar; `None` from a clock that cannot be right.
    pub fn calendar(&self, at: Moment) -> Option<Utc> {
        self.lookout.possible_utc(at)
    }

    /// Checks the dates at once: the calendar may have changed.
    pub(super) fn look_at_dates_again(&mut self, at: Moment) {
        self.locker.looked = None;
        self.look_at_dates(at);
    }

    /// Everything with a date, judged today.
    pub(super) fn dated(&self, at: Moment) -> Vec<Dated> {
        self.locker.judged(self.calendar(at))
    }

    /// Raises one caution for expired items, and another only when they change.
    pub(super) fn look_at_dates(&mut self, at: Moment) {
        if self.locker.things.is_empty() || self.dates_due().is_some_and(|due| at < due) {
            return;
        }
        let known = self.calendar(at).is_some();
        self.locker.looked = Some((at, known));
        if !known {
            return;
        }
        let mut out: Vec<Dated> = self.dated(at);
        out.retain(|d| matches!(d.date, Date::Over | Date::Soon));
        if out.is_empty() {
            self.board.over(at, BuiltIn::GearDue, Subject::OwnVessel);
            return;
        }
        let words: Vec<String> = out.into_iter().map(|d| d.words).collect();
        let words = record::words::capital(&words.join("; "));
        self.board.follow(at, BuiltIn::GearDue, Subject::OwnVessel, words.into());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Begin, Effect, Input, Numbers};
    use rules::EventKind;

    const BOAT: &str = "version = 1\n[[crew]]\nname = \"Ada\"\nbeacon = \"972000001\"\nuntil = \"2027-01\"\n\
        [[gear]]\nname = \"raft service\"\ndone = \"2023-11-30\"\nevery = \"3 years\"\nnote = \"Orrin\"\n\
        [[gear]]\nname = \"flares\"\ndue = \"2027-06\"\n";

    fn utc(text: &str) -> Utc {
        Utc::parse(&format!("{text}T12:00:00Z")).unwrap()
    }

    fn boat(passage: &str) -> Boat {
        boat::read("boat.toml", &format!("{BOAT}{passage}")).unwrap().0
    }

    #[test]
    fn what_runs_out_before_the_passage_ends_or_within_eight_weeks_is_told() {
        let dates = |passage: &str, today: Option<&str>| -> Vec<Date> {
            Locker::of(&boat(passage)).judged(today.map(utc)).iter().map(|d| d.date).collect()
        };
        use Date::{Good, NotKnown, Over, Soon};
        // By date: raft 2026-11-30, battery 2027-01-31, flares 2027-06-30.
        assert_eq!(dates("", Some("2026-10-01")), [Good, Good, Good], "raft is 60 days off");
        assert_eq!(dates("", Some("2026-10-05")), [Soon, Good, Good], "56 days are eight weeks");
        assert_eq!(dates("", Some("2026-11-30")), [Soon, Good, Good], "the last day is a good one");
        assert_eq!(dates("", Some("2026-12-07")), [Over, Soon, Good]);
        assert_eq!(dates("[passage]\nweeks_ahead = 20\n", Some("2026-10-01")), [Soon, Soon, Good]);
        assert_eq!(dates("[passage]\nends = \"2027-07-01\"\n", Some("2026-10-01")), [Soon, Soon, Soon]);
        assert_eq!(dates("[passage]\nends = \"2027-06-30\"\n", Some("2026-10-01")), [Soon, Soon, Good]);
        assert_eq!(dates("", None), [NotKnown; 3]);
    }

    fn told(w: &mut Watch) -> Vec<(EventKind, String)> {
        let of = |o| match o {
            Effect::Event(_, record, _) if record.alert.order == "gear due" => {
                Some((record.event, record.alert.text))
            }
            _ => None,
        };
        w.effects().filter_map(of).collect()
    }

    #[test]
    fn it_is_told_once_and_anew_only_when_something_else_runs_out_also_over_a_restart() {
        let boat = boat("");
        let least = Some(utc("2026-01-01"));
        let watch = |at| Watch::begun(at, &boat, &[], Numbers::default(), least);
        let mut w = watch(Moment(0));
        w.take(Moment(0), Input::Clock { utc: utc("1970-01-02") }).unwrap();
        w.advance(Moment(200_000));
        assert_eq!(told(&mut w), [], "a clock that stands at 1970 tells no date");
        let lines = w.handover(Moment(200_000)).lines.join("\n");
        assert!(lines.contains("The time is not known: nobody can say what of 3 things runs out"), "{lines}");

        let day = |n: i64| Moment(n * 86_400_000);
        w.take(day(1), Input::Clock { utc: utc("2026-11-20") }).unwrap();
        w.advance(day(1));
        let first = told(&mut w);
        let raft = "Raft service runs out on 2026-11-30, due every 3 years (Orrin)";
        assert_eq!(first, [(EventKind::Raised, raft.to_owned())]);
        w.advance(day(5));
        assert_eq!(told(&mut w), [], "once");
        let lines = w.handover(day(5)).lines.join("\n");
        assert!(lines.contains(raft), "{lines}");

        let begin = Begin {
            utc: Some(utc("2026-11-25")),
            not_before: least,
            kept: w.kept(day(5)),
            gap: lookout::casualty::Gap::SameClock,
            ..Begin::default()
        };
        let mut w = Watch::new(&boat);
        w.take(day(6), Input::Begin(Box::new(begin))).unwrap();
        w.advance(day(7));
        assert_eq!(told(&mut w), [], "known since before the restart");
        w.advance(day(20));
        let later = told(&mut w);
        assert_eq!(later.iter().map(|t| t.0).collect::<Vec<_>>(), [EventKind::Repeated; 2], "{later:?}");
        assert!(later[1].1.contains("ran out on 2026-11-30"), "{later:?}");
        assert!(later[1].1.contains("beacon battery of Ada runs out on 2027-01-31"), "{later:?}");
    }
}
