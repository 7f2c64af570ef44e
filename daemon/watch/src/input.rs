//! Everything that reaches a watch. Nothing else can.

use crate::keep::Begin;
use crate::senses::FeedSetting;
use record::{
    Act, ActError, CasualtyAnswer, CasualtyQuestion, CheckItem, DepartureAct, DepartureSheet, SetAside,
};
use rules::{BuiltIn, Orders};
use sentence::{CheckedLine, Counts, Refusal, Report};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use terms::{FeedId, SignalId, Subject, Utc};

/// A sentence's talker, if it has the usual two letters.
pub type Talker = Option<[u8; 2]>;

/// One thing that reaches the watch. A recording holds each with its moment, so that a replay repeats it: a feed's
/// line as the sentence itself, everything else as JSON.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Input {
    /// A watch begins, or continues in the next file of a recording.
    Begin(Box<Begin>),
    /// A line that a feed brought, checked by its framer.
    #[serde(skip)]
    Line(FeedId, CheckedLine),
    /// A line of a plain file, already read once for its time.
    #[serde(skip)]
    Read(FeedId, Talker, Box<Result<Report, Refusal>>),
    /// A feed appears in a replayed file. Feeds are numbered in this order, from 0; at most 65,535.
    Named(FeedSetting),
    /// A feed's state: whether it is open, and its framer's counts so far.
    Wire {
        /// Which feed.
        feed: FeedId,
        /// Whether it is open.
        open: bool,
        /// The framer's counts.
        counts: Counts,
    },
    /// The computer's clock, when it was set: a hint until satellites give UTC.
    Clock {
        /// UTC by it.
        utc: Utc,
    },
    /// Orders in place of those in force.
    Orders(Arc<Orders>),
    /// Something outside the picture fails or recovers.
    Fault {
        /// What fails.
        what: Fault,
        /// Why; `None` once it has recovered.
        why: Option<String>,
    },
    /// The logbook's file was lost or spoilt, and a new one begun.
    SetAside(SetAside),
    /// An act of the crew.
    Act(Act),
    /// A button was pressed. It triggers this act unless the departure check is trying it.
    Button {
        /// Its name.
        name: String,
        /// What it does.
        act: Act,
    },
    /// A step of the departure check, with the items that the watch cannot judge.
    Departure(DepartureAct, Vec<CheckItem>),
    /// A question about a casualty; the pattern counts as searched in vain from now on.
    Searched(CasualtyQuestion),
    /// The watch is to stop.
    End,
}

/// What can fail outside the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fault {
    /// A signal, a button or the heartbeat.
    Signal(SignalId),
    /// The logbook cannot be written.
    Logbook,
    /// Sentences are not kept.
    Recording,
    /// The orders file is bad; others are in force.
    Orders,
    /// The control socket, or control over TCP, cannot be opened.
    Control,
}

impl Fault {
    /// The alert it raises, and its subject.
    pub(crate) const fn alert(self) -> (BuiltIn, Subject) {
        match self {
            Self::Signal(signal) => (BuiltIn::SignalFailing, Subject::Signal(signal)),
            Self::Logbook => (BuiltIn::LogbookFailing, Subject::Logbook),
            Self::Recording => (BuiltIn::LogbookFailing, Subject::Lookout),
            Self::Orders => (BuiltIn::OrdersNotLoaded, Subject::Lookout),
            Self::Control => (BuiltIn::ControlFailing, Subject::Lookout),
        }
    }
}

/// The watch's answer to an input.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// No answer needed.
    Taken,
    /// What was done, in words.
    Done(String),
    /// The sheet of the departure check.
    Sheet(Box<DepartureSheet>),
    /// About a casualty.
    Casualty(Box<CasualtyAnswer>),
}

impl Answer {
    /// What was done, in words; empty if the input was no act.
    pub fn words(self) -> String {
        match self {
            Self::Done(words) => words,
            Self::Taken | Self::Sheet(_) | Self::Casualty(_) => String::new(),
        }
    }
}

/// The answer, or why the act was refused.
pub type Taken = Result<Answer, ActError>;
