//! How a recording is written down.

use record::Act;
use record::Stamp;
use record::{CasualtyQuestion, CheckItem, DepartureAct};
use rules::BuiltIn;
use sentence::{Counts, FramerOptions, Sentence, TagBlock};
use serde::{Deserialize, Serialize};
use std::time::Duration;
use terms::{FeedId, Moment, Subject, Utc};
use watch::{FeedSetting, Numbers};

/// What a line that is no sentence begins with.
pub(super) const SIGN: &str = "#middlewatch ";
/// The version of the form.
pub(super) const VERSION: u32 = 1;
/// The line was checked by its feed's own rule before.
pub(super) const ANY: FramerOptions = FramerOptions { checksum_optional: true };
/// A name of a source in a TAG block has so many letters at most (IEC 61162-450, parameter s).
const SOURCE_LETTERS: usize = 15;

/// What is recorded beside the sentences.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Mark {
    /// The begin of a file.
    Head(Box<Head>),
    /// The crew did something; the same was done again.
    Act(Act),
    /// A casualty was asked about in a way that counts: a pattern was searched in vain.
    Casualty(CasualtyQuestion),
    /// The departure check went on.
    Departure {
        /// By this.
        ask: DepartureAct,
        /// What the watch was told with it.
        outside: Vec<CheckItem>,
    },
    /// A button was pressed that the departure check had asked for.
    Tried {
        /// Its name.
        button: String,
    },
    /// How a feed does.
    Feed {
        /// Which.
        feed: FeedId,
        /// Whether it is open.
        open: bool,
        /// What it has brought.
        counts: Counts,
    },
    /// Something outside the picture is wrong, or right again.
    Trouble {
        /// What.
        what: BuiltIn,
        /// About what.
        about: Subject,
        /// In words; `None` when it is over.
        words: Option<String>,
    },
    /// Orders were put in force.
    Orders {
        /// Where they come from.
        from: String,
        /// Their text; `None` for the built-in ones.
        text: Option<String>,
    },
    /// The computer's clock was set.
    Clock {
        /// UTC by it.
        utc: Utc,
    },
    /// So many lines and marks are missing here: the disk could not follow.
    Lost {
        /// How many.
        lines: u64,
    },
}

/// All that a watch needs to go on from here as the recorded one did.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Head {
    /// Of this form.
    pub version: u32,
    /// The program that writes.
    pub program: String,
    /// The kernel's name for the boot that steady time belongs to.
    pub boot: Option<String>,
    /// UTC then; `None` while it was unknown.
    pub utc: Option<Utc>,
    /// Whether a watch began here; else one goes on.
    pub begins: bool,
    /// The feeds by their numbers.
    pub feeds: Vec<HeadFeed>,
    /// The last number of an alert.
    pub last_alert: u32,
    /// The last number of a casualty.
    pub last_casualty: u32,
    /// The alerts as the watch saves them.
    pub alerts: String,
    /// The casualties likewise.
    pub casualties: String,
    /// What was heard of others so far; empty in recordings of before.
    #[serde(default)]
    pub hearing: String,
    /// The usual rates of the feeds.
    #[serde(default)]
    pub rates: String,
    /// Where the orders in force come from.
    pub orders_from: String,
    /// Their text; `None` for the built-in ones.
    pub orders: Option<String>,
}

/// A feed of a recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HeadFeed {
    /// Its name in the configuration.
    pub name: String,
    /// Its name in the TAG blocks.
    pub source: String,
    /// Lines without a checksum are taken.
    pub checksum_optional: bool,
    /// Sentences in simulator mode are taken.
    pub simulator: bool,
    /// Acknowledgements that come by it count.
    pub trusted: bool,
    /// Silence after which an alert is raised.
    pub silent_after_s: Option<f64>,
}

impl HeadFeed {
    /// As the watch has it.
    pub fn of(number: usize, feed: &FeedSetting) -> Self {
        Self {
            name: feed.name.clone(),
            source: source_name(number, &feed.name),
            checksum_optional: feed.checksum_optional,
            simulator: feed.simulator,
            trusted: feed.trusted,
            silent_after_s: feed.silent_after.map(|d| d.as_secs_f64()),
        }
    }

    /// As the watch is told of it.
    pub fn setting(&self) -> FeedSetting {
        FeedSetting {
            name: self.name.clone(),
            checksum_optional: self.checksum_optional,
            simulator: self.simulator,
            trusted: self.trusted,
            silent_after: self.silent_after_s.and_then(|s| Duration::try_from_secs_f64(s).ok()),
        }
    }
}

impl Head {
    /// The last numbers used.
    pub fn numbers(&self) -> Numbers {
        Numbers { alert: self.last_alert, casualty: self.last_casualty }
    }
}

/// A feed's name as a TAG block can hold it, or its number.
fn source_name(number: usize, name: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
    if name.len() <= SOURCE_LETTERS && !name.is_empty() && name.chars().all(plain) {
        name.to_owned()
    } else {
        format!("feed{}", number + 1)
    }
}

/// A line with its moment.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Marked {
    pub steady_ms: Moment,
    #[serde(flatten)]
    pub mark: Mark,
}

/// A mark as a line.
pub(super) fn mark_line(at: Moment, mark: Mark, out: &mut Vec<u8>) -> serde_json::Result<()> {
    out.extend_from_slice(SIGN.as_bytes());
    serde_json::to_writer(&mut *out, &Marked { steady_ms: at, mark })?;
    out.push(b'\n');
    Ok(())
}

/// A checked line behind its TAG block. A TAG block that it brought gives way: only its group is kept, which holds the lines
/// of a message together.
pub(super) fn sentence_line(at: &Stamp, source: &str, line: &[u8], out: &mut Vec<u8>) {
    use std::io::Write;
    let group = Sentence::check(line, &ANY).ok().and_then(|s| s.tag()?.group);
    let bare = match line.split_first() {
        Some((b'\\', rest)) => rest.iter().position(|b| *b == b'\\').map_or(line, |end| &rest[end + 1..]),
        _ => line,
    };
    let tag = TagBlock {
        source: Some(source),
        time: at.utc.map(|(utc, _)| utc),
        relative_ms: Some(at.steady.0),
        group,
        ..TagBlock::default()
    };
    // Writing to memory does not fail.
    let _ = write!(out, "{tag}");
    out.extend_from_slice(bare);
    out.extend_from_slice(b"\r\n");
}
