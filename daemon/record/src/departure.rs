//! The departure check: its items and its acts.

use crate::schema::DateTime;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use terms::{Mmsi, Utc};

/// Who judges the items that need no person.
const LOOKOUT: &str = "the lookout";

/// The verdict on an item of the departure check; the worst sorts first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Tried and found bad.
    Failed,
    /// Not tried yet, or impossible to judge yet.
    NotTried,
    /// Good.
    Passed,
}

/// An item of the departure check.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CheckItem {
    /// What was tried.
    pub what: String,
    /// The verdict.
    pub verdict: Verdict,
    /// In words.
    pub words: String,
    /// Who judged it.
    pub by: String,
}

impl CheckItem {
    /// An item that the lookout itself judges.
    pub fn judged(what: impl Into<String>, verdict: Verdict, words: impl Into<String>) -> Self {
        Self { what: what.into(), verdict, words: words.into(), by: LOOKOUT.to_owned() }
    }
}

/// A step of the departure check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "departure", rename_all = "kebab-case", deny_unknown_fields)]
pub enum DepartureAct {
    /// Shows the check as it stands.
    Look,
    /// Begins a new check and discards earlier answers.
    Begin,
    /// Somebody reports a verdict.
    Item {
        /// What was tried, by its name in the departure check.
        what: String,
        /// The verdict.
        verdict: Verdict,
        /// In words.
        words: String,
        /// Who reports it.
        by: String,
    },
    /// The next press of a button is a trial and does nothing else. Repeat this at least every three seconds.
    Button {
        /// The button's name.
        name: String,
    },
    /// Closes the check and writes it into the logbook.
    Close {
        /// Who checked.
        by: String,
    },
}

/// Something that only a person, or somebody outside the watch, can try.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Asked {
    /// Its kind.
    pub part: Part,
    /// Its name, or the crew member's.
    pub name: String,
    /// Its name among the items.
    pub what: String,
    /// The beacon's identity.
    #[schemars(with = "Option<u32>")]
    pub beacon: Option<Mmsi>,
    /// The verdict so far.
    pub verdict: Option<Verdict>,
}

/// The kinds of things a person tries.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Part {
    /// A signal that people hear or see.
    #[serde(rename = "sounder")]
    Sounder,
    /// A signal that posts.
    #[serde(rename = "webhook")]
    Webhook,
    /// A button.
    #[serde(rename = "button")]
    Button,
    /// A life jacket's beacon.
    #[serde(rename = "beacon of")]
    BeaconOf,
}

impl Part {
    /// The word in front of a name.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Sounder => "sounder",
            Self::Webhook => "webhook",
            Self::Button => "button",
            Self::BeaconOf => "beacon of",
        }
    }
}

/// The sheet of the departure check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DepartureSheet {
    /// The vessel's name.
    pub vessel: Option<String>,
    /// UTC; `None` while it is unknown.
    #[schemars(with = "Option<DateTime>")]
    pub at: Option<Utc>,
    /// Who made the check; `None` until it is done.
    pub by: Option<String>,
    /// How many items have each verdict, in words.
    pub tally: String,
    /// All items, failures first.
    pub items: Vec<CheckItem>,
    /// What people must try.
    pub asked: Vec<Asked>,
}
