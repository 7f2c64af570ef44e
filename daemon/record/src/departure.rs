//! The departure check: its items, and what is done to it.

use serde::{Deserialize, Serialize};

/// Who judges where no person does.
const LOOKOUT: &str = "the lookout";

/// How a line of the departure check stands; what is missing comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
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
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CheckItem {
    /// What was tried.
    pub what: String,
    /// How it stands.
    pub outcome: Verdict,
    /// In words.
    pub words: String,
    /// Who says so.
    pub by: String,
}

impl CheckItem {
    /// One that the lookout judges.
    pub fn judged(what: impl Into<String>, outcome: Verdict, words: impl Into<String>) -> Self {
        Self { what: what.into(), outcome, words: words.into(), by: LOOKOUT.to_owned() }
    }
}

/// What is asked of the departure check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "departure", rename_all = "kebab-case", deny_unknown_fields)]
pub enum DepartureAct {
    /// How it stands.
    Look,
    /// It begins: what was told before counts no more.
    Begin,
    /// Somebody tells how a line stands.
    Line {
        /// What was tried, as the departure check names it.
        what: String,
        /// How it stands.
        outcome: Verdict,
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
