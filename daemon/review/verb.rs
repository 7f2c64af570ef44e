//! The verb `review`.

use super::{Span, passages, read};
use crate::outcome::{Outcome, complain, print, time};
use boat::places::LOGBOOK;
use clap::Args;
use record::words::plural;
use std::path::{Path, PathBuf};
use terms::{ShipTime, Utc, legible};

/// `review`.
#[derive(Debug, Args)]
pub struct Review {
    /// The logbook
    #[arg(long, default_value = LOGBOOK)]
    pub logbook: PathBuf,
    /// From this UTC on, e.g. 2026-11-01T18:00:00Z; or from a time of ship's day, e.g. 22:00, or yesterday: the last before the logbook's end
    #[arg(long, value_name = "WHEN", value_parser = since)]
    pub since: Option<Since>,
    /// Until this UTC
    #[arg(long, value_name = "UTC", value_parser = time)]
    pub until: Option<Utc>,
    /// The last night in the logbook: from 20:00 to 08:00 of ship's time
    #[arg(long, conflicts_with_all = ["since", "until", "passage"])]
    pub last_night: bool,
    /// One passage by its number, or the last
    #[arg(long, value_name = "NUMBER|last", conflicts_with_all = ["since", "until"])]
    pub passage: Option<String>,
    /// List the passages, divided by declarations, long stops and the verb `passage`
    #[arg(long)]
    pub passages: bool,
    /// One JSON object
    #[arg(long)]
    pub json: bool,
    /// Write the whole night as one page
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Write own track and the marks for navigation software (GPX 1.1)
    #[arg(long, value_name = "FILE")]
    pub gpx: Option<PathBuf>,
    /// Write own track, ships, alerts and casualties as GeoJSON
    #[arg(long, value_name = "FILE")]
    pub geojson: Option<PathBuf>,
    /// Write own vessel and her instruments by the minute as CSV
    #[arg(long, value_name = "FILE")]
    pub csv: Option<PathBuf>,
    /// Print the deck log by the hour instead
    #[arg(long)]
    pub deck_log: bool,
    /// Ship's time in hours from UTC, e.g. +2 or -3:30; as it was set at sea or by the longitude if not given
    #[arg(long, value_name = "HOURS", allow_hyphen_values = true, value_parser = ship_time)]
    pub ship_time: Option<ShipTime>,
}

/// Where a review begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Since {
    /// At a moment.
    Utc(Utc),
    /// At the last such time of ship's day before the logbook's end, minutes after midnight.
    OfDay(i64),
    /// At the beginning of ship's day before that in which the logbook ends.
    Yesterday,
}

fn since(text: &str) -> Result<Since, &'static str> {
    if text == "yesterday" {
        return Ok(Since::Yesterday);
    }
    let of_day = text.split_once(':').and_then(|(h, m)| {
        let two = |t: &str| t.parse::<i64>().ok().filter(|_| t.len() == 2);
        two(h).zip(two(m)).filter(|(h, m)| (0..24).contains(h) && (0..60).contains(m))
    });
    match of_day {
        Some((h, m)) => Ok(Since::OfDay(h * 60 + m)),
        None => Utc::parse(text)
            .map(Since::Utc)
            .ok_or("write a time as 2026-11-01T18:00:00Z, as 22:00 of ship's time, or yesterday"),
    }
}

const MINUTE_MS: i64 = 60_000;
const DAY_MS: i64 = 24 * 60 * MINUTE_MS;
/// A night lasts from here to there, minutes after midnight of ship's time (own choice: the watches from 20 to 08).
const NIGHTFALL: i64 = 20 * 60;
const MORNING: i64 = 8 * 60;

/// The last time of ship's day, in minutes after midnight, that is no later than a moment.
fn last_time(end: Utc, ship: ShipTime, minutes: i64) -> Utc {
    let offset = ship.seconds() * 1000;
    let day = (end.0 + offset).div_euclid(DAY_MS) * DAY_MS - offset;
    let then = day + minutes * MINUTE_MS;
    Utc(if then <= end.0 { then } else { then - DAY_MS })
}

/// What to review, where it is asked for by ship's time.
fn span_of(args: &Review) -> Result<Span, String> {
    let words = match args.since {
        Some(Since::Utc(utc)) => return Ok(Span { since: Some(utc), until: args.until }),
        None if !args.last_night => return Ok(Span { since: None, until: args.until }),
        other => other,
    };
    let latest = read(&args.logbook, Span { since: None, until: args.until }).map_err(|e| e.to_string())?;
    let end =
        latest.to.utc.ok_or("the logbook does not know the time: give --since as UTC of another boot")?;
    let ship = args.ship_time.unwrap_or_else(|| latest.ship_time());
    Ok(match words {
        Some(Since::OfDay(minutes)) => Span { since: Some(last_time(end, ship, minutes)), until: args.until },
        Some(Since::Yesterday) => {
            Span { since: Some(Utc(last_time(end, ship, 0).0 - DAY_MS)), until: args.until }
        }
        _ => {
            let dusk = last_time(end, ship, NIGHTFALL);
            let dawn = Utc(dusk.0 + DAY_MS - (NIGHTFALL - MORNING) * MINUTE_MS);
            Span { since: Some(dusk), until: Some(dawn).filter(|dawn| *dawn < end) }
        }
    })
}

fn ship_time(text: &str) -> Result<ShipTime, &'static str> {
    ShipTime::parse(text).ok_or("write ship's time as +2 or -3:30")
}

/// Reads the logbook, writes the files asked for, and prints the night.
pub fn verb(args: &Review) -> Outcome {
    match review(args) {
        Ok(text) => print(&text),
        Err(why) => {
            complain(&format!("middlewatch: {why}"));
            Outcome::Failed
        }
    }
}

/// What to print.
fn review(args: &Review) -> Result<String, String> {
    if args.passages {
        let legs = passages(&args.logbook).map_err(|e| e.to_string())?;
        return Ok(if args.json { passages::json(&legs) } else { passages::print(&legs) });
    }
    let span = match &args.passage {
        Some(which) => of_passage(&args.logbook, which)?,
        None => span_of(args)?,
    };
    let night = read(&args.logbook, span).map_err(|e| e.to_string())?;
    let ship = args.ship_time.unwrap_or_else(|| night.ship_time());
    write(args.html.as_deref(), || night.html(ship))?;
    write(args.gpx.as_deref(), || night.gpx())?;
    write(args.geojson.as_deref(), || night.geojson())?;
    write(args.csv.as_deref(), || night.csv())?;
    Ok(match (args.json, args.deck_log) {
        (true, _) => night.json(),
        (_, true) => night.deck_log_text(ship),
        _ => night.print(),
    })
}

/// The span of a passage by its number, or of the last.
fn of_passage(logbook: &Path, which: &str) -> Result<Span, String> {
    let legs = passages(logbook).map_err(|e| e.to_string())?;
    let leg = match which {
        "last" => legs.last(),
        number => legs.iter().find(|l| l.number.to_string() == number),
    };
    let found = leg.map(|l| Span { since: l.from.0.utc, until: l.to.0.utc });
    found.ok_or_else(|| {
        format!(
            "--passage {which}: the logbook has {}; `review --passages` lists them",
            plural(legs.len(), "passage")
        )
    })
}

/// Writes a file, if one was asked for.
fn write(path: Option<&Path>, make: impl FnOnce() -> String) -> Result<(), String> {
    let Some(path) = path else { return Ok(()) };
    std::fs::write(path, legible(make())).map_err(|e| format!("{}: {e}", path.display()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_of_ships_day_is_the_last_before_the_end() {
        let utc = |t: &str| Utc::parse(t).unwrap();
        let ship = ShipTime::parse("+2").unwrap();
        let end = utc("2026-11-02T05:30:00Z");
        assert_eq!(last_time(end, ship, 22 * 60), utc("2026-11-01T20:00:00Z"));
        assert_eq!(last_time(end, ship, 7 * 60 + 30), end);
        assert_eq!(last_time(end, ship, 7 * 60 + 31), utc("2026-11-01T05:31:00Z"));
        assert_eq!(last_time(end, ship, 0), utc("2026-11-01T22:00:00Z"));
        assert_eq!(since("22:00"), Ok(Since::OfDay(1320)));
        assert_eq!(since("yesterday"), Ok(Since::Yesterday));
        assert_eq!(since("2026-11-01T18:00:00Z"), Ok(Since::Utc(utc("2026-11-01T18:00:00Z"))));
        for bad in ["24:00", "9:00", "tomorrow", "22:60", ""] {
            assert!(since(bad).is_err(), "{bad}");
        }
    }
}
