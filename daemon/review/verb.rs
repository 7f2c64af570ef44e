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
    /// From this UTC on, e.g. 2026-11-01T18:00:00Z
    #[arg(long, value_name = "UTC", value_parser = time)]
    pub since: Option<Utc>,
    /// Until this UTC
    #[arg(long, value_name = "UTC", value_parser = time)]
    pub until: Option<Utc>,
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
        None => Span { since: args.since, until: args.until },
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
