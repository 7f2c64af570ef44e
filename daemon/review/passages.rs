//! The logbook divided into passages: by declarations, by long stops, and by command.

use super::error::ReviewError;
use super::passage::{Odometer, miles};
use super::read::{Reader, position_udeg};
use super::when::{When, hours};
use record::Entry;
use record::words::plural;
use rules::{Declared, Doing};
use serde::Serialize;
use std::path::Path;
use terms::{Position, one_line};

/// A vessel that stays this long within `STOP_NM` has stopped, whatever was declared.
const STOP_S: f64 = 6.0 * 3600.0;
const STOP_NM: f64 = 0.25;
/// A vessel that was declared moored or at anchor and is this far away has left: nobody declared that.
const LEFT_NM: f64 = 1.0;
/// A longer time without a position ends the passage.
const UNKNOWN_S: f64 = 24.0 * 3600.0;
/// Shifting berth is no passage.
const LEAST_NM: f64 = 0.5;

/// One passage.
#[derive(Debug, Clone, PartialEq)]
pub struct Leg {
    /// Counted from the logbook's first.
    pub number: usize,
    /// As it was called when it was begun by command.
    pub name: Option<String>,
    /// Its beginning.
    pub from: (When, Position),
    /// Its end, so far.
    pub to: (When, Position),
    /// Miles over the ground, by a position a minute.
    pub distance_nm: f64,
    /// Whether she was still under way at the logbook's end.
    pub goes_on: bool,
}

/// What the crew said about it.
#[derive(Debug, Clone, PartialEq)]
enum Word {
    /// Moored or at anchor, or the passage was ended by command.
    Stop,
    /// Something that is under way.
    Go,
    /// A passage was begun by command.
    Begin(Option<String>),
}

/// All passages of a logbook, the oldest first.
///
/// # Errors
/// When there is no logbook, or it cannot be read.
pub fn passages(path: impl AsRef<Path>) -> Result<Vec<Leg>, ReviewError> {
    let (track, words) = super::read::whole(path.as_ref(), |reader| Ok((track(reader)?, words(reader)?)))?;
    Ok(tell(&track, &words))
}

/// A position a minute.
fn track(reader: &Reader) -> rusqlite::Result<Vec<(When, Position)>> {
    let sql = "SELECT boot, steady_ms, utc_ms, utc_source, latitude_udeg, longitude_udeg FROM own_rows
               WHERE latitude_udeg IS NOT NULL ORDER BY id";
    let mut statement = reader.connection.prepare(sql)?;
    let mut rows = statement.query([])?;
    let mut track: Vec<(When, Position)> = Vec::new();
    let mut minute = None;
    while let Some(r) = rows.next()? {
        let this: (i64, i64) = (r.get(0)?, r.get::<_, i64>(1)? / 60_000);
        if minute.replace(this) == Some(this) {
            continue;
        }
        let at = reader.clocks.when(r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?);
        // Without UTC nothing can be divided.
        if let (Some(position), Some(_)) = (position_udeg(r.get(4)?, r.get(5)?), at.utc) {
            track.push((at, position));
        }
    }
    Ok(track)
}

fn words(reader: &Reader) -> rusqlite::Result<Vec<(When, Word)>> {
    let sql = "SELECT boot, steady_ms, utc_ms, utc_source, facts FROM entry_rows
               WHERE kind IN ('declared', 'passage') ORDER BY id";
    let mut statement = reader.connection.prepare(sql)?;
    let mut rows = statement.query([])?;
    let mut words = Vec::new();
    while let Some(r) = rows.next()? {
        let at = reader.clocks.when(r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?);
        let word = match serde_json::from_str(r.get_ref(4)?.as_str()?) {
            Ok(Entry::Declared { what: Declared::Doing(Doing::Moored | Doing::AtAnchor) }) => Word::Stop,
            Ok(Entry::Declared { what: Declared::Doing(_) }) => Word::Go,
            Ok(Entry::PassageBegan { name }) => Word::Begin(name),
            Ok(Entry::PassageEnded) => Word::Stop,
            _ => continue,
        };
        words.push((at, word));
    }
    Ok(words)
}

/// Marks the points of long stops.
fn long_stops(track: &[(When, Position)]) -> Vec<bool> {
    let mut stopped = vec![false; track.len()];
    let mut i = 0;
    while i < track.len() {
        let near = |(_, p): &(When, Position)| miles(track[i].1, *p) <= STOP_NM;
        let end = i + track[i..].iter().take_while(|t| near(t)).count();
        let long = track[end - 1].0.seconds_from(&track[i].0).is_some_and(|s| s >= STOP_S);
        if long {
            stopped[i..end].fill(true);
            i = end;
        } else {
            i += 1;
        }
    }
    stopped
}

fn tell(track: &[(When, Position)], words: &[(When, Word)]) -> Vec<Leg> {
    let long = long_stops(track);
    let mut legs: Vec<Leg> = Vec::new();
    let mut open: Option<Leg> = None;
    let mut name = None;
    // Where she lay when a stop was declared.
    let mut lies: Option<Position> = None;
    let mut words = words.iter().peekable();
    let mut run = Odometer::default();
    let mut close = |open: &mut Option<Leg>| {
        if let Some(leg) = open.take().filter(|l| l.distance_nm >= LEAST_NM || l.name.is_some()) {
            legs.push(Leg { number: legs.len() + 1, ..leg });
        }
    };
    for (n, (at, position)) in track.iter().enumerate() {
        while let Some((_, word)) = words.next_if(|(told, _)| told.utc <= at.utc) {
            match word {
                Word::Stop => lies = Some(*position),
                Word::Go => lies = None,
                Word::Begin(called) => {
                    close(&mut open);
                    (lies, name) = (None, called.clone());
                }
            }
        }
        lies = lies.filter(|l| miles(*l, *position) < LEFT_NM);
        let unknown = n > 0 && at.seconds_from(&track[n - 1].0).is_none_or(|s| s > UNKNOWN_S);
        if unknown {
            close(&mut open);
        }
        if lies.is_some() || long[n] {
            // The passage ends where the stop begins.
            if let Some(leg) = &mut open {
                leg.to = (*at, *position);
            }
            close(&mut open);
            continue;
        }
        let leg = open.get_or_insert_with(|| {
            // It begins where she last lay.
            let from = if n > 0 && !unknown { track[n - 1] } else { (*at, *position) };
            run = Odometer::default();
            run.jump(from.1);
            Leg { number: 0, name: name.take(), from, to: from, distance_nm: 0.0, goes_on: false }
        });
        run.run(*position);
        leg.distance_nm = run.nm;
        leg.to = (*at, *position);
    }
    if let Some(leg) = &mut open {
        leg.goes_on = true;
    }
    close(&mut open);
    legs
}

/// The list as text.
pub(super) fn print(legs: &[Leg]) -> String {
    if legs.is_empty() {
        return "no passage: she has not moved, or UTC was never known\n".to_owned();
    }
    let mut text = String::new();
    for l in legs {
        let long = l.to.0.seconds_from(&l.from.0).map(hours).unwrap_or_default();
        let (name, on) = (l.name.as_deref().unwrap_or_default(), if l.goes_on { ", goes on" } else { "" });
        text += &format!(
            "{:>3}  {} to {} UTC{on}, {long}, {:.1} nm  {}\n     {} to {}\n",
            l.number,
            l.from.0.day_hm(),
            l.to.0.day_hm(),
            l.distance_nm,
            one_line(name),
            l.from.1,
            l.to.1
        );
    }
    let count = plural(legs.len(), "passage");
    text += &format!("{count}; review one with --passage NUMBER, the last with --passage last\n");
    text
}

/// A passage as `review --passages --json` prints it; keys are in alphabetical order.
#[derive(Debug, Serialize)]
struct LegRecord<'a> {
    /// To a hundredth.
    distance_nm: f64,
    from: When,
    from_place: Position,
    goes_on: bool,
    name: Option<&'a str>,
    passage: usize,
    to: When,
    to_place: Position,
}

/// The list as JSON, one object a line.
pub(super) fn json(legs: &[Leg]) -> String {
    let record = |l: &Leg| {
        super::json::line(&LegRecord {
            distance_nm: (l.distance_nm * 100.0).round() / 100.0,
            from: l.from.0,
            from_place: l.from.1,
            goes_on: l.goes_on,
            name: l.name.as_deref(),
            passage: l.number,
            to: l.to.0,
            to_place: l.to.1,
        })
    };
    legs.iter().map(record).collect()
}
