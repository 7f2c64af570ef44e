//! Logbook entries: what people and the daemon write beside the alerts.

use crate::call::Call;
use crate::departure::{CheckItem, Verdict};
use crate::drill::{Drill, DrillEnd, Measures};
use crate::schema::DateTime;
use crate::words::capital;
use lookout::casualty::StandDown;
use rules::Declared;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt;
use terms::{CasualtyId, Day, Position, ShipTime, Utc, exact};

/// A logbook entry other than an alert. The logbook keeps it as JSON in the column `facts`, which the review reads; the
/// other columns are made from it, for people.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "entry", rename_all = "kebab-case")]
pub enum Entry {
    /// A remark of the crew.
    Note {
        /// Who wrote it, if known.
        who: Option<String>,
        /// The remark.
        text: String,
    },
    /// The watch was handed over.
    Handover {
        /// Who takes the watch.
        who: String,
        /// Who had the watch; `None` if nobody was named.
        from: Option<String>,
    },
    /// Somebody declared what the vessel is doing, the waters or the visibility.
    Declared {
        /// What was declared.
        what: Declared,
    },
    /// Ship's time was set.
    ShipTime {
        /// Ship's time less UTC in hours, east positive.
        ship_time_h: f64,
    },
    /// Orders were read and took effect.
    OrdersRead {
        /// The file or other origin of the orders.
        from: String,
    },
    /// A casualty was stood down.
    StandDown {
        /// Which.
        casualty: CasualtyId,
        /// Why.
        reason: StandDown,
        /// Who was on watch.
        who: Option<String>,
    },
    /// The daemon began its watch.
    Began {
        /// The previous run was cut off.
        cut_off: bool,
    },
    /// The daemon was ordered to stop.
    Stopped,
    /// A logbook file that could not be used was renamed and a new one begun.
    SetAside(SetAside),
    /// Old rows were removed from the logbook to keep it within its bounds; one entry a day.
    Removed {
        /// Which.
        removed: Removed,
    },
    /// A call or message was received by radio.
    Call(Call),
    /// The departure check was closed.
    DepartureCheck {
        /// Who made the check, if known.
        by: Option<String>,
        /// The verdict on each item, failures first.
        items: Vec<CheckItem>,
    },
    /// The anchor dropped, or it was said where it lies.
    Anchor {
        /// Where.
        position: Position,
        /// With 95 % it lies within this of it, in metres.
        error_m: f64,
    },
    /// A search pattern is sailed from here on.
    SearchBegan {
        /// For whom.
        casualty: CasualtyId,
        /// Which search it is, from 1.
        number: usize,
        /// The pattern, in words.
        pattern: String,
        /// Track spacing, nautical miles.
        spacing_nm: f64,
        /// What it is to cover to either side of the datum, nautical miles.
        radius_nm: f64,
        /// Sweep width, nautical miles.
        sweep_width_nm: Option<f64>,
    },
    /// The search is over.
    SearchEnded {
        /// For whom.
        casualty: CasualtyId,
        /// Which search it was, from 1.
        number: usize,
        /// Own track as seen from the drifting datum, nautical miles.
        run_nm: f64,
        /// How long it took, seconds.
        time_s: f64,
        /// How likely all searches so far would have found the casualty, wherever in its region it is, 0 to 1; `None`
        /// without a sweep width.
        found: Option<f64>,
    },
    /// A waypoint of the plan was reached or passed.
    Waypoint {
        /// Its name.
        name: String,
        /// Where it lies, if known.
        position: Option<Position>,
    },
    /// A passage was begun by command.
    PassageBegan {
        /// Its name.
        name: Option<String>,
    },
    /// A passage was ended by command.
    PassageEnded,
    /// An exercise began.
    DrillBegan {
        /// Which.
        drill: Drill,
        /// Who was on watch.
        who: Option<String>,
    },
    /// An exercise ended.
    DrillEnded {
        /// Which.
        drill: Drill,
        /// Who was on watch.
        who: Option<String>,
        /// Why.
        ended: DrillEnd,
        /// How it went.
        measures: Measures,
    },
}

/// Rows removed from the logbook.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Removed {
    /// How many of what: targets, feeds, instruments, own track, events, entries, names of targets.
    pub rows: BTreeMap<String, u64>,
    /// The latest UTC that a removed row carried; `None` if none carried any.
    #[schemars(with = "Option<DateTime>")]
    pub until: Option<Utc>,
}

impl Removed {
    /// Rows of one kind.
    pub fn of(what: &str, rows: u64, until: Option<Utc>) -> Self {
        let rows = (rows > 0).then(|| (what.to_owned(), rows));
        Self { rows: rows.into_iter().collect(), until }
    }

    /// Adds what was removed besides.
    pub fn add(&mut self, other: Self) {
        for (what, n) in other.rows {
            let rows = self.rows.entry(what).or_insert(0);
            *rows = rows.saturating_add(n);
        }
        self.until = self.until.max(other.until);
    }
}

impl fmt::Display for Removed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let rows: Vec<String> = self.rows.iter().map(|(what, n)| format!("{n} of {what}")).collect();
        f.write_str(&rows.join(", "))?;
        match self.until.and_then(Day::of) {
            Some(day) => write!(f, "; the latest of {day}"),
            None => Ok(()),
        }
    }
}

/// A logbook file that could not be used, in whose place a new one was begun.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SetAside {
    /// Its new name; `None` if nothing was there.
    pub to: Option<String>,
    /// What was wrong with it.
    pub why: String,
    /// What of it the new one has.
    #[serde(default)]
    pub carried: Carried,
}

/// What of a logbook was carried over into a new one.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Carried {
    /// Whether that is all of it.
    pub whole: bool,
    /// Events of alerts.
    pub events: u64,
    /// Entries.
    pub entries: u64,
    /// Rows of own vessel, targets, instruments and feeds.
    pub rows: u64,
}

impl SetAside {
    /// In words: what happened, where the old file is, what the new one has.
    pub fn text(&self) -> String {
        let aside = match &self.to {
            Some(to) => format!("What was there was set aside as {to}"),
            None => "Nothing was there to set aside".to_owned(),
        };
        let Carried { whole, events, entries, rows } = self.carried;
        let carried = match (whole, events + entries + rows) {
            (true, _) => "has all of the old one".to_owned(),
            (false, 0) => "could take over none of its records".to_owned(),
            (false, _) => {
                format!("took over what could be read: {events} events, {entries} entries, {rows} rows")
            }
        };
        format!("{}. {aside}. The new logbook {carried}", capital(&self.why))
    }
}

impl Entry {
    /// The kind of entry, as the column holds it.
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Note { .. } => "note",
            Self::Handover { .. } => "handover",
            Self::Declared { .. } => "declared",
            Self::ShipTime { .. } => "ship-time",
            Self::OrdersRead { .. } => "orders",
            Self::StandDown { .. } => "stand-down",
            Self::Began { .. } | Self::Stopped | Self::SetAside(_) => "lookout",
            Self::Removed { .. } => "removed",
            // The logbook keeps these longest.
            Self::Call(call) if call.kind.is_never_rejected() => "urgent call",
            Self::Call(_) => "call",
            Self::DepartureCheck { .. } => "departure check",
            Self::Anchor { .. } => "anchor",
            Self::SearchBegan { .. } | Self::SearchEnded { .. } => "search",
            Self::Waypoint { .. } => "waypoint",
            Self::PassageBegan { .. } | Self::PassageEnded => "passage",
            Self::DrillBegan { .. } | Self::DrillEnded { .. } => "drill",
        }
    }

    /// Whose entry it is, if known.
    pub fn who(&self) -> Option<&str> {
        match self {
            Self::Handover { who, .. } => Some(who),
            Self::Note { who, .. }
            | Self::StandDown { who, .. }
            | Self::DrillBegan { who, .. }
            | Self::DrillEnded { who, .. } => who.as_deref(),
            Self::DepartureCheck { by, .. } => by.as_deref(),
            _ => None,
        }
    }

    /// The casualty it concerns.
    pub const fn casualty(&self) -> Option<CasualtyId> {
        match self {
            Self::StandDown { casualty, .. }
            | Self::SearchBegan { casualty, .. }
            | Self::SearchEnded { casualty, .. } => Some(*casualty),
            _ => None,
        }
    }

    /// In words, on one line unless the crew wrote more.
    pub fn text(&self) -> String {
        match self {
            Self::Note { text, .. } => text.clone(),
            Self::Handover { who, .. } => format!("{who} takes the watch"),
            Self::Declared { what } => what.to_string(),
            Self::ShipTime { ship_time_h } => match ShipTime::from_hours(*ship_time_h) {
                Some(ship) => format!("Ship's time is {ship}"),
                None => "Ship's time was set".to_owned(),
            },
            Self::OrdersRead { from } => format!("Orders read: {from}"),
            Self::StandDown { reason, .. } => reason_words(*reason),
            Self::Began { cut_off: false } => "The watch begins".to_owned(),
            Self::Began { cut_off: true } => "The watch begins again after an interruption".to_owned(),
            Self::Stopped => "The watch was stopped".to_owned(),
            Self::SetAside(aside) => aside.text(),
            Self::Removed { removed } => format!("Removed to keep the logbook within its bounds: {removed}"),
            Self::Call(call) => call.words(),
            Self::DepartureCheck { items, .. } => departure_words(items),
            Self::Anchor { position, error_m } => format!("The anchor lies at {position}, to {error_m:.0} m"),
            Self::SearchBegan { number, pattern, spacing_nm, radius_nm, .. } => format!(
                "Search {number} begins: {pattern}, {radius_nm:.2} nm round the datum, spacing {spacing_nm:.2} nm"
            ),
            Self::SearchEnded { number, run_nm, time_s, found, .. } => {
                let found = found.map_or_else(
                    || "nothing counts without a sweep width".to_owned(),
                    |p| {
                        format!(
                            "the searches so far would have found the casualty {:.0} times in 100",
                            100.0 * p
                        )
                    },
                );
                format!("Search {number} is over: {run_nm:.1} nm in {}; {found}", exact(*time_s))
            }
            Self::Waypoint { name, .. } => format!("{name} reached"),
            Self::PassageBegan { name: Some(name) } => format!("begins: {name}"),
            Self::PassageBegan { name: None } => "begins".to_owned(),
            Self::PassageEnded => "ends".to_owned(),
            Self::DrillBegan { drill, .. } => format!("EXERCISE begins: {}", drill.title()),
            Self::DrillEnded { drill, ended, measures, .. } => drill_words(*drill, *ended, measures),
        }
    }
}

/// Why a casualty was stood down, in words.
pub fn reason_words(reason: StandDown) -> String {
    reason.word().replace('-', " ")
}

/// How an exercise went.
pub fn drill_words(drill: Drill, ended: DrillEnd, measures: &Measures) -> String {
    format!("EXERCISE over, {}: {}: {measures}", ended.words(), drill.title())
}

/// How many items of a departure check have each verdict.
pub fn tally(items: &[CheckItem]) -> String {
    let n = |v: Verdict| items.iter().filter(|i| i.verdict == v).count();
    format!(
        "{} failed, {} not tried, {} passed",
        n(Verdict::Failed),
        n(Verdict::NotTried),
        n(Verdict::Passed)
    )
}

fn departure_words(items: &[CheckItem]) -> String {
    let named = |v: Verdict, word: &str| {
        let names: Vec<&str> = items.iter().filter(|i| i.verdict == v).map(|i| i.what.as_str()).collect();
        if names.is_empty() { String::new() } else { format!(". {word}: {}", names.join(", ")) }
    };
    format!(
        "Departure check: {}{}{}",
        tally(items),
        named(Verdict::Failed, "Failed"),
        named(Verdict::NotTried, "Not tried")
    )
}
