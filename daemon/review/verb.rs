//! The verb `review`.

use super::print::plural;
use super::{Span, passages, read};
use crate::cli::{Outcome, Review, print};
use std::path::Path;

/// Reads the logbook, writes the files that are asked for, and prints the night unless only files are wanted.
pub fn verb(args: &Review) -> Outcome {
    match review(args) {
        Ok(text) => print(&text),
        Err(why) => {
            eprintln!("middlewatch: {why}");
            Outcome::Failed
        }
    }
}

/// What is to be printed.
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
            "--passage {which}: the logbook has {}; `review --passages` lists what there is",
            plural(legs.len(), "passage")
        )
    })
}

/// Writes a file that was asked for.
fn write(path: Option<&Path>, make: impl FnOnce() -> String) -> Result<(), String> {
    let Some(path) = path else { return Ok(()) };
    std::fs::write(path, make()).map_err(|e| format!("{}: {e}", path.display()))
}
