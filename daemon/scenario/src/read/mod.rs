//! Turns a scenario file into a plan: strict, and with every problem reported at once.

mod keys;
mod stations;
mod traffic;
mod vessel;

use crate::plan::{Act, Plan, Verb};
use form::{Key, Nested, Reference, Table, Value, Written, key};
use std::time::Duration;
use terms::{Moment, Problems, Utc, nearest};

const VERSION: Key<u32> = form::VERSION.needed();
const TITLE: Key<String> =
    key("title", "what it is about").needed().example("A night off the shelf").most(200);
const START: Key<Utc> = key("start", "UTC at its beginning").needed();
const DURATION: Key<Duration> = key("duration", "how long it lasts").needed().within("1 s", "7 d");
const SEED: Key<u64> = key("seed", "where its noise comes from, a whole number").needed();
const OWN: Key<Nested> = key("own", "own vessel").needed();
const ACT: Key<Nested> = key("act", "something the crew does").most(1_000);
const DO: Key<Act> = key("do", "a command of the command line and its words").needed().most(200);

/// Reads a scenario.
///
/// # Errors
/// Everything that is wrong with it.
pub fn plan(file_name: &str, text: &str) -> Result<Plan, Problems> {
    form::read(file_name, text, 1, whole).map(|(plan, _)| plan)
}

/// Every key of a scenario.
pub fn reference() -> Reference {
    form::blank(whole)
}

/// The whole file. Every part is read before a missing one counts, so that all problems are reported.
fn whole(mut t: Table<'_>) -> Option<Plan> {
    t.take(&VERSION);
    let (title, start, duration, seed) = (t.take(&TITLE), t.take(&START), t.take(&DURATION), t.take(&SEED));
    let own = t.table(&OWN);
    let beacons = stations::beacons(&mut t);
    let own = own.and_then(|own| vessel::own(own, &beacons));
    let waters = vessel::waters(&mut t);
    let feeds = vessel::feeds(&mut t, &waters);
    let mut ships = stations::ships(&mut t);
    traffic::crowds(&mut t, &mut ships, seed.unwrap_or(0));
    let (aids, bases) = (stations::aids(&mut t), stations::bases(&mut t));
    let mut acts: Vec<_> = t.tables(&ACT).into_iter().filter_map(act).collect();
    acts.sort_by_key(|(at, _)| *at);
    let (title, start, end, seed, own) = (title?, start?, Moment::ZERO + duration?, seed?, own?);
    Some(Plan { title, start, end, seed, own, waters, feeds, ships, aids, bases, beacons, acts })
}

fn act(mut t: Table<'_>) -> Option<(Moment, Act)> {
    let (at, act) = (t.take(&keys::AT), t.take(&DO));
    at.zip(act)
}

impl Written for Act {
    const EXAMPLE: &'static str = "note reefed the main";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        let (verb, words) = v.text().map_or(("", ""), |text| text.split_once(' ').unwrap_or((text, "")));
        let Some((_, known)) = Verb::ALL.iter().find(|(name, _)| *name == verb) else {
            let names: Vec<_> = Verb::ALL.iter().map(|(name, _)| *name).collect();
            let hint = nearest(verb, names.iter().copied());
            let hint = hint.map_or(String::new(), |near| format!("; did you mean \"{near}\"?"));
            return Err(format!("a command and its words, of {}{hint}", names.join(", ")));
        };
        let words = words.trim();
        let example = match known {
            Verb::Declare => "declare under sail",
            Verb::Note => "note reefed the main",
            Verb::StandDown => "stand-down recovered",
            _ => return Ok(Self { verb: *known, words: words.to_owned() }),
        };
        if words.is_empty() {
            return Err(format!("{verb} with its words, such as \"{example}\""));
        }
        Ok(Self { verb: *known, words: words.to_owned() })
    }

    fn length(&self) -> Option<usize> {
        Some(self.words.chars().count())
    }
}
