//! Gear aboard that expires or falls due: `[[gear]]`, and the `[passage]` it must last for.

use crate::each;
use form::{Key, Name, Nested, Table, key};
use terms::{Day, Every};

const GEAR: Key<Nested> = key("gear", "a piece of gear with a date").most(128);
const NAME: Key<Name> = key("name", "what it is called").needed().example("raft service").most(60);
const DUE: Key<Day> =
    key("due", "the last day it is good for; a month means its last day").example("2027-03");
const DONE: Key<Day> = key("done", "instead of `due`: the day it was last done").example("2024-03");
const EVERY: Key<Every> = key("every", "how often it is due").example("3 years");
const NOTE: Key<String> = key("note", "a remark on one line").example("Orrin services it").most(200);
const PASSAGE: Key<Nested> = key("passage", "the planned passage");
const ENDS: Key<Day> = key("ends", "its planned last day").example("2026-12-20");
const WEEKS_AHEAD: Key<u32> =
    key("weeks_ahead", "warn of gear that expires within this many weeks, even if the passage ends sooner")
        .or("8")
        .within("1", "104");

const ARRIVAL: Key<f64> =
    key("arrival_nm", "so near a waypoint of the plotter's plan is reached").or("0.2").within("0.01", "10");

/// A piece of gear with a due date.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Gear {
    /// The skipper's name for it.
    pub name: String,
    /// When it falls due.
    pub due: Due,
    /// A remark, such as who services it.
    pub note: Option<String>,
}

/// The due date of a piece of gear.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Due {
    /// The last day on which it is good.
    pub on: Day,
    /// How often it falls due again.
    pub every: Option<Every>,
}

/// The planned passage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Passage {
    /// Its last planned day.
    pub ends: Option<Day>,
    /// How many weeks ahead due dates are announced, even if the passage ends sooner.
    pub weeks_ahead: u32,
    /// So near a waypoint is reached, nautical miles.
    pub arrival_nm: f64,
}

impl Default for Passage {
    fn default() -> Self {
        Self {
            ends: None,
            weeks_ahead: WEEKS_AHEAD.default_value().unwrap_or_default(),
            arrival_nm: ARRIVAL.default_value().unwrap_or_default(),
        }
    }
}

pub(crate) fn gear(t: &mut Table<'_>) -> Option<Vec<Gear>> {
    each(t, &GEAR, |mut t| {
        let (name, every, note) = (t.take(&NAME), t.take(&EVERY), t.take(&NOTE));
        let (due, done) = (t.take(&DUE), t.take(&DONE));
        if let Some(name) = &name {
            t.once(&NAME, "piece of gear", &name.0);
        }
        if note.as_ref().is_some_and(|n| n.trim().contains(char::is_control)) {
            t.wrong(&NOTE, "a note is on one line");
        }
        if t.has(&DUE) == t.has(&DONE) || t.has(&DONE) && !t.has(&EVERY) {
            t.wrong(
                &NAME,
                "gear has the day until which it is good, `due`, or the day it was `done` and an interval, `every`",
            );
        }
        let on = match (due, done) {
            (Some(due), _) => due,
            (_, done) => done?.plus(every?)?,
        };
        Some(Gear { name: name?.0, due: Due { on, every }, note: note.map(|n| n.trim().to_owned()) })
    })
}

pub(crate) fn passage(t: &mut Table<'_>) -> Passage {
    t.table(&PASSAGE).map_or_else(Passage::default, |mut t| Passage {
        ends: t.take(&ENDS),
        weeks_ahead: t.take(&WEEKS_AHEAD).unwrap_or_default(),
        arrival_nm: t.take(&ARRIVAL).unwrap_or_default(),
    })
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
        let (boat, _) = read("boat.toml", text).unwrap();
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
            "boat.toml:4:9: `until` belongs to `beacon`",
            "boat.toml:6:8: gear has the day",
            "boat.toml:9:7: `due` takes a day such as",
            "boat.toml:13:9: `every` takes a number of days",
            "boat.toml:15:15: `weeks_ahead` is from 1 to 104",
            "`end` is not known here",
        ] {
            assert!(told.contains(part), "{part} is not in\n{told}");
        }
    }
}
