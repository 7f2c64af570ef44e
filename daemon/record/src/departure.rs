//! The departure check: its items, and what is done to it.

use crate::schema::DateTime;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use terms::{Mmsi, Utc};

/// Who judges where no person does.
const LOOKOUT: &str = "the lookout";

/// How a line of the departure check stands; what is missing comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Tried, and not good.
    Failed,
    /// Nobody has tried it, or it cannot be told yet.
    NotTried,
    /// Good.
    Passed,
}

/// A line of the departure check.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CheckItem {
    /// What was tried.
    pub what: String,
    /// How it stands.
    pub verdict: Verdict,
    /// In words.
    pub words: String,
    /// Who says so.
    pub by: String,
}

impl CheckItem {
    /// One that the lookout judges.
    pub fn judged(what: impl Into<String>, verdict: Verdict, words: impl Into<String>) -> Self {
        Self { what: what.into(), verdict, words: words.into(), by: LOOKOUT.to_owned() }
    }
}

/// What is asked of the departure check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "departure", rename_all = "kebab-case", deny_unknown_fields)]
pub enum DepartureAct {
    /// How it stands.
    Look,
    /// It begins: what was told before counts no more.
    Begin,
    /// Somebody tells how a line stands.
    Item {
        /// What was tried, as the departure check names it.
        what: String,
        /// How it stands.
        verdict: Verdict,
        /// In words.
        words: String,
        /// Who says so.
        by: String,
    },
    /// The next press of a button is a try and does nothing else, as long as this is asked again every three seconds.
    Button {
        /// The button's name.
        name: String,
    },
    /// It is done and goes into the logbook.
    Close {
        /// Who checked.
        by: String,
    },
}

/// What only a person, or somebody outside the watch, can try.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Asked {
    /// What sort of thing.
    pub part: Part,
    /// Its name, or the crew member's.
    pub name: String,
    /// What it is called among the items.
    pub what: String,
    /// The beacon's identity.
    #[schemars(with = "Option<u32>")]
    pub beacon: Option<Mmsi>,
    /// How it stands.
    pub verdict: Option<Verdict>,
}

/// What is tried by a person.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Part {
    /// A signal that is heard or seen.
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
    /// As it stands before a name.
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
    /// How many stand how, in words.
    pub tally: String,
    /// All items, what failed first.
    pub items: Vec<CheckItem>,
    /// What people are asked to try.
    pub asked: Vec<Asked>,
}
