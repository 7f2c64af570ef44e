//! Everything that reaches a watch. What is not here cannot reach it.

use crate::keep::Begin;
use crate::senses::FeedSetting;
use record::{Act, ActError, CasualtyAnswer, CasualtyQuestion, CheckItem, DepartureAct, DepartureSheet};
use rules::{BuiltIn, Orders};
use sentence::{Counts, Refusal, Report};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use terms::{FeedId, SignalId, Subject, Utc};

/// The talker of a sentence, where it has the usual two letters.
pub type Talker = Option<[u8; 2]>;

/// One thing that reaches the watch. A recording holds each of them with its moment, so that a replay gives them again:
/// the line of a feed as the sentence itself, the others as JSON.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Input {
    /// A watch begins, or one goes on in the next file of a recording.
    Begin(Box<Begin>),
    /// A line that a feed brought, checked by its framer.
    #[serde(skip)]
    Line(FeedId, Box<[u8]>),
    /// A line of a plain file, which was read for its time before.
    #[serde(skip)]
    Read(FeedId, Talker, Box<Result<Report, Refusal>>),
    /// A feed appears in a replayed file. Feeds are numbered in this order, from 0; at most 65,535.
    Named(FeedSetting),
    /// How a feed does: whether it is open, and what its framer has counted so far.
    Wire {
        /// Which.
        feed: FeedId,
        /// Whether it is open.
        open: bool,
        /// What its framer has counted.
        counts: Counts,
    },
    /// The computer's clock, when it was set: a hint until satellites give UTC.
    Clock {
        /// UTC by it.
        utc: Utc,
    },
    /// Orders in place of those in force.
    Orders(Arc<Orders>),
    /// Something outside the picture is wrong, or right again.
    Fault {
        /// What.
        what: Fault,
        /// Why; `None` once it is right again.
        why: Option<String>,
    },
    /// An act of the crew.
    Act(Act),
    /// A button was pressed, which does this act unless the departure check tries it.
    Button {
        /// Its name.
        name: String,
        /// What it does.
        act: Act,
    },
    /// The departure check goes on, with the items that the watch cannot judge.
    Departure(DepartureAct, Vec<CheckItem>),
    /// A casualty is asked about, and the pattern counts as searched in vain from now on.
    Searched(CasualtyQuestion),
    /// The watch is told to stop.
    End,
}

/// What can be wrong outside the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fault {
    /// A signal, a button or the heartbeat.
    Signal(SignalId),
    /// The logbook cannot be written.
    Logbook,
    /// Sentences are not kept.
    Recording,
    /// The orders file is bad, and others are in force.
    Orders,
}

impl Fault {
    /// The alert it raises, and what that is about.
    pub(crate) const fn alert(self) -> (BuiltIn, Subject) {
        match self {
            Self::Signal(signal) => (BuiltIn::SignalFailing, Subject::Signal(signal)),
            Self::Logbook => (BuiltIn::LogbookFailing, Subject::Logbook),
            Self::Recording => (BuiltIn::LogbookFailing, Subject::Lookout),
            Self::Orders => (BuiltIn::OrdersNotLoaded, Subject::Lookout),
        }
    }
}

/// What the watch answers to whoever gave it an input.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// Nothing is asked back.
    Taken,
    /// What was done, in words.
    Done(String),
    /// The sheet of the departure check.
    Sheet(Box<DepartureSheet>),
    /// About a casualty.
    Casualty(Box<CasualtyAnswer>),
}

impl Answer {
    /// What was done, in words; empty where the input was no act.
    pub fn words(self) -> String {
        match self {
            Self::Done(words) => words,
            Self::Taken | Self::Sheet(_) | Self::Casualty(_) => String::new(),
        }
    }
}

/// The answer, or why there is nothing to do it to.
pub type Taken = Result<Answer, ActError>;
