//! Alerts, the list of them, the supervision sentence, and places to mark: what goes to a bridge. Field orders as
//! pynmeagps 1.1.8 reads them; lengths of IEC 61162-1 as quoted there.

use super::{Fields, sentence};
use crate::report::{DeviceAlert, SentTime};
use terms::{Position, Utc};

/// Characters of a sentence without CR and LF (IEC 61162-1: 82 with them).
const LINE: usize = 80;
/// Characters of an alert's title (ALF, first sentence).
const TITLE: usize = 16;
/// Sentences that may belong to one list.
const MOST_SENTENCES: usize = 99;

/// Counters of an alert's sentences.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counters {
    /// Binds the sentences of one message, 0 to 9.
    pub sequence: u8,
    /// Counts the changes of the alert, 1 to 99.
    pub revision: u8,
    /// How often it has been passed on to somebody else, 0 to 9.
    pub escalation: u8,
}

/// One line of a list of alerts (ALC).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// Manufacturer's mnemonic; empty if there is none.
    pub source: String,
    /// Identifier of the alert.
    pub identifier: u32,
    /// Instance.
    pub instance: u32,
    /// As last sent in ALF.
    pub revision: u8,
}

fn of_day(time: Option<SentTime>) -> Option<Utc> {
    time.map(|t| match t {
        SentTime::Utc(utc) => utc,
        SentTime::OfDayMs(ms) => Utc(ms.into()),
    })
}

/// As much of a text as fits, cut between words if that leaves half of it.
fn fitting(text: &str, room: usize) -> String {
    let mut cut: String = text.chars().take(room).collect();
    if text.chars().count() > room
        && let Some(blank) = cut.rfind(' ').filter(|b| *b * 2 >= room)
    {
        cut.truncate(blank);
    }
    cut
}

/// ALF: the alert with its title and, if it has words, a second sentence with as many of them as fit. Category B: no
/// further information is needed to decide.
pub fn alf(talker: &str, alert: &DeviceAlert, title: &str, counters: Counters) -> Vec<String> {
    let words = alert.text.as_deref().unwrap_or("");
    let total = if words.is_empty() { "1" } else { "2" };
    let sequence = (counters.sequence % 10).to_string();
    let first = Fields::default()
        .text(total)
        .text("1")
        .text(&sequence)
        .time(of_day(alert.time))
        .text("B")
        .maybe(alert.priority.map(String::from))
        .maybe(alert.state.map(String::from))
        .maybe(alert.source.clone())
        .maybe(alert.identifier.map(|n| n.to_string()))
        .maybe(alert.instance.map(|n| n.to_string()))
        .text(&counters.revision.clamp(1, 99).to_string())
        .text(&counters.escalation.min(9).to_string())
        .text(&fitting(title, TITLE))
        .seal(talker, "ALF");
    let mut lines = vec![first];
    if !words.is_empty() {
        let second = |words: &str| {
            sentence(talker, "ALF", &["2", "2", &sequence, "", "", "", "", "", "", "", "", "", words])
        };
        let room = LINE.saturating_sub(second("").len());
        lines.push(second(&fitting(words, room)));
    }
    lines
}

/// ALC: the list of all standing alerts, in as many sentences as it takes; an empty list is one sentence.
pub fn alc(talker: &str, alerts: &[Listed], sequence: u8) -> Vec<String> {
    let sequence = format!("{:02}", sequence % 100);
    let write = |total: usize, number: usize, part: &[&Listed]| {
        let mut fields = Fields::default();
        fields
            .text(&format!("{total:02}"))
            .text(&format!("{number:02}"))
            .text(&sequence)
            .text(&part.len().to_string());
        for a in part {
            fields
                .text(&a.source)
                .text(&a.identifier.to_string())
                .text(&a.instance.to_string())
                .text(&a.revision.clamp(1, 99).to_string());
        }
        fields.seal(talker, "ALC")
    };
    let mut parts: Vec<Vec<&Listed>> = vec![Vec::new()];
    for alert in alerts {
        let mut longer = parts.last().cloned().unwrap_or_default();
        longer.push(alert);
        if longer.len() > 1 && write(1, 1, &longer).len() > LINE {
            parts.push(vec![alert]);
        } else if let Some(last) = parts.last_mut() {
            *last = longer;
        }
    }
    parts.truncate(MOST_SENTENCES);
    let total = parts.len();
    parts.iter().zip(1..).map(|(part, n)| write(total, n, part)).collect()
}

/// ALR: time, number, condition, acknowledgement and as many words as fit.
pub fn alr(talker: &str, alert: &DeviceAlert) -> String {
    let write = |words: &str| {
        Fields::default()
            .time(of_day(alert.time))
            .maybe(alert.identifier.map(|n| format!("{n:03}")))
            .maybe(alert.state.map(String::from))
            .maybe(alert.acknowledged.map(|a| String::from(if a { "A" } else { "V" })))
            .text(words)
            .seal(talker, "ALR")
    };
    let room = LINE.saturating_sub(write("").len());
    write(&fitting(alert.text.as_deref().unwrap_or(""), room))
}

/// HBT: seconds to the next one, normal operation, and a number from 0 to 9 that counts them.
pub fn hbt(talker: &str, interval_s: f64, normal: bool, sequence: u8) -> String {
    Fields::default()
        .number(Some(interval_s), 1)
        .text(if normal { "A" } else { "V" })
        .text(&(sequence % 10).to_string())
        .seal(talker, "HBT")
}

/// TLL: a target with a number from 0 to 99 at a position. Status T tracked, Q in doubt, L lost.
pub fn tll(
    talker: &str,
    number: u8,
    position: Position,
    name: &str,
    time: Option<Utc>,
    status: char,
) -> String {
    Fields::default()
        .text(&format!("{:02}", number % 100))
        .position(Some(position))
        .text(&fitting(name, TITLE))
        .time(time)
        .text(&status.to_string())
        .text("")
        .seal(talker, "TLL")
}

/// WPL: a named place.
pub fn wpl(talker: &str, position: Position, name: &str) -> String {
    Fields::default().position(Some(position)).text(&fitting(name, TITLE)).seal(talker, "WPL")
}
