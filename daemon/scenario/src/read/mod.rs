//! A scenario file to a plan: strict, and with every problem told at once.

mod stations;
mod table;
mod traffic;
mod vessel;

use crate::plan::{Act, Plan, Verb};
use std::cell::RefCell;
use table::Table;
use terms::{Moment, Problems, Utc, nearest};
use toml::de::DeTable;

/// The longest file that is read, in bytes.
const LONGEST_FILE: usize = 4 << 20;
/// The longest scenario: a week.
const LONGEST: Moment = Moment(7 * 24 * 3_600_000);
/// The most acts.
const MOST_ACTS: usize = 1_000;

/// Reads a scenario.
///
/// # Errors
/// Everything that is wrong with it.
pub fn plan(file_name: &str, text: &str) -> Result<Plan, Problems> {
    let mut problems = Problems::new(file_name, text);
    if text.len() > LONGEST_FILE {
        problems.add(0..0, "a scenario has at most 4 MiB");
        return Err(problems);
    }
    let (document, errors) = DeTable::parse_recoverable(text);
    for error in errors {
        problems.add(error.span().unwrap_or(0..0), error.message());
    }
    if !problems.is_empty() {
        // What a broken file would lack is not worth telling.
        return Err(problems);
    }
    let problems = RefCell::new(problems);
    let plan = whole(Table::new(&problems, document.get_ref(), "a scenario", 0..0));
    let problems = problems.into_inner();
    match plan {
        Some(plan) => problems.or_else_ok(plan),
        None => Err(problems),
    }
}

/// The whole file. Every part is read before any is missed, so that all problems are told.
fn whole(mut t: Table<'_>) -> Option<Plan> {
    t.needs(&["version", "title", "start", "duration", "seed", "own"]);
    let version = t.whole("version", 1..=1);
    let title = t.text("title", 200);
    let start = t.text("start", 40).and_then(|text| {
        let utc = Utc::parse(text);
        if utc.is_none() {
            t.tell(t.span_of("start"), "start takes a time of UTC: \"2026-09-14T22:00:00Z\"");
        }
        utc
    });
    let end = t.moment("duration");
    if end.is_some_and(|end| end <= Moment::ZERO || end > LONGEST) {
        t.tell(t.span_of("duration"), "a scenario lasts longer than nothing and at most a week");
    }
    let seed = t.whole("seed", 0..=i64::MAX as u64);
    let beacons = stations::beacons(&mut t);
    let own = t.table("own").and_then(|own| vessel::own(own, &beacons));
    let waters = vessel::waters(&mut t);
    let feeds = vessel::feeds(&mut t, &waters);
    let mut ships = stations::ships(&mut t);
    traffic::crowds(&mut t, &mut ships, seed.unwrap_or(0), stations::MOST_SHIPS);
    let aids = stations::aids(&mut t);
    let bases = stations::bases(&mut t);
    let acts = acts(&mut t);
    t.finish();
    version?;
    let (title, start, end, seed, own) = (title?.to_owned(), start?, end?, seed?, own?);
    Some(Plan { title, start, end, seed, own, waters, feeds, ships, aids, bases, beacons, acts })
}

/// What the crew does.
fn acts(root: &mut Table<'_>) -> Vec<(Moment, Act)> {
    let mut acts = Vec::new();
    for mut t in root.tables("act", MOST_ACTS) {
        t.needs(&["at", "do"]);
        let at = t.moment("at");
        let act = t
            .text("do", 200)
            .and_then(|text| act(text).map_err(|message| t.tell(t.span_of("do"), message)).ok());
        t.finish();
        acts.extend(at.zip(act));
    }
    acts.sort_by_key(|(at, _)| *at);
    acts
}

/// A command and its words.
fn act(text: &str) -> Result<Act, String> {
    let (verb, words) = text.split_once(' ').unwrap_or((text, ""));
    let Some((_, known)) = Verb::ALL.iter().find(|(name, _)| *name == verb) else {
        let names: Vec<_> = Verb::ALL.iter().map(|(name, _)| *name).collect();
        return Err(match nearest(verb, names.iter().copied()) {
            Some(near) => format!("the crew cannot do {verb}; did you mean {near}?"),
            None => format!("the crew cannot do {verb}; it can {}", names.join(", ")),
        });
    };
    let words = words.trim();
    match known {
        Verb::Declare if words.is_empty() => Err("declare what? \"declare under sail\"".into()),
        Verb::Note if words.is_empty() => Err("note what? \"note reefed the main\"".into()),
        Verb::StandDown if words.is_empty() => {
            Err("stand-down takes a reason: \"stand-down recovered\"".into())
        }
        _ => Ok(Act { verb: *known, words: words.to_owned() }),
    }
}
