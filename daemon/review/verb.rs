//! The verb `review`.

use super::{Night, ReviewError, Span, read};
use crate::cli::{Outcome, Review, print};
use terms::Utc;

/// Reads the logbook and prints the night.
pub fn verb(args: &Review) -> Outcome {
    match night(args) {
        Ok(night) if args.json => print(&night.json()),
        Ok(night) => print(&night.print()),
        Err(why) => {
            eprintln!("middlewatch: {why}");
            Outcome::Failed
        }
    }
}

fn night(args: &Review) -> Result<Night, String> {
    let utc = |option: &str, text: Option<&String>| {
        text.map(|t| {
            Utc::parse(t)
                .ok_or_else(|| format!("--{option} {t}: not a time; write it like 2026-11-01T18:00:00Z"))
        })
        .transpose()
    };
    let span = Span { since: utc("since", args.since.as_ref())?, until: utc("until", args.until.as_ref())? };
    read(&args.logbook, span).map_err(|e: ReviewError| e.to_string())
}
