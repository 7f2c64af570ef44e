//! The same recorded sentences read by this crate and by four others, field by field. Every disagreement must fall
//! under an entry of `explained.rs`, which says who is right and why; every entry must still be needed.

mod ais;
mod explained;
mod instruments;

use explained::Explained;
use sentence::{Decoder, DecoderOptions, Framed, Framer, FramerOptions, Report, Sentence};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use terms::Moment;

/// A library's reading of one message: field by field, null if it says "not available".
pub type Said = Vec<(&'static str, Value)>;

/// A library under comparison: the lines of one message to what it says; `None` when it refuses them.
pub type Library = (&'static str, fn(&[String]) -> Option<Said>);

/// Lines of one message, and this crate's reading of it.
pub struct Message {
    lines: Vec<String>,
    formatter: String,
    said: Value,
}

impl Message {
    /// Type of an AIS message.
    fn kind(&self) -> u64 {
        self.said["message"].as_u64().unwrap_or_default()
    }

    /// Bits of an AIS message.
    fn bits(&self) -> usize {
        let fields = |line: &String| line.split([',', '*']).map(str::to_owned).collect::<Vec<_>>();
        let fill = |f: &[String]| f[6].parse().ok().filter(|&n: &usize| n < 6).unwrap_or(0);
        self.lines.iter().map(fields).map(|f| f[5].len() * 6 - fill(&f)).sum()
    }

    /// A field of a sentence as sent, the first behind the address being 1.
    fn field(&self, n: usize) -> &str {
        self.lines[0].split([',', '*']).nth(n).unwrap_or_default()
    }
}

/// All lines of `fixtures/recorded`, the files in order of their names.
fn recorded() -> Vec<Vec<u8>> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/recorded");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    let is_recorded = |p: &std::path::Path| p.extension().is_some_and(|e| e == "nmea");
    files.iter().filter(|p| is_recorded(p)).map(|p| std::fs::read(p).unwrap()).collect()
}

/// Every message of the recordings that this crate reads, with the lines that it came in.
fn messages() -> Vec<Message> {
    let mut messages = Vec::new();
    for file in recorded() {
        let mut framer = Framer::new(FramerOptions::default());
        let mut decoder = Decoder::new(DecoderOptions { simulator: true });
        let mut parts: BTreeMap<String, Vec<String>> = BTreeMap::new();
        let mut at = 0;
        framer.push(&file, &mut |framed| {
            let Framed::Sentence(sentence) = framed else { return };
            at += 3_000;
            let line = without_tag(&sentence);
            // Parts are kept three seconds apart only between messages, so that no part meets a stranger.
            let key = part_key(&sentence);
            let moment = if key.as_deref().is_some_and(|k| parts.contains_key(k)) { at - 3_000 } else { at };
            at = moment;
            match (decoder.read(Moment(moment), &sentence), key) {
                (Ok(Report::Fragment), Some(key)) => parts.entry(key).or_default().push(line),
                (Ok(Report::Unread), _) => {}
                (Ok(report), key) => {
                    let mut lines = key.and_then(|key| parts.remove(&key)).unwrap_or_default();
                    lines.push(line);
                    let formatter = sentence.formatter().to_owned();
                    messages.push(Message { lines, formatter, said: serde_json::to_value(report).unwrap() });
                }
                (Err(_), Some(key)) => drop(parts.remove(&key)),
                (Err(_), None) => {}
            }
        });
    }
    messages
}

fn without_tag(sentence: &Sentence<'_>) -> String {
    let line = String::from_utf8_lossy(sentence.as_bytes()).into_owned();
    line[line.find(['$', '!']).unwrap()..].to_owned()
}

/// What the parts of a multi-line message share.
fn part_key(sentence: &Sentence<'_>) -> Option<String> {
    let fields: Vec<_> = sentence.fields().map(String::from_utf8_lossy).collect();
    let in_parts = matches!(sentence.formatter(), "VDM" | "VDO") && fields.len() > 4 && fields[0] != "1";
    in_parts.then(|| {
        format!("{}{}{}{}{}", sentence.talker(), sentence.formatter(), fields[0], fields[2], fields[3])
    })
}

/// Numbers equal but for the single precision of some libraries, words equal.
fn alike(field: &str, ours: &Value, theirs: &Value) -> bool {
    match (ours.as_f64(), theirs.as_f64()) {
        // A latitude of 90° in single precision is 7.6e-6° coarse.
        (Some(a), Some(b)) => {
            (a - b).abs() <= 1e-5_f64.max(a.abs() * 1e-6)
                || (field == "longitude_deg" && (a - b).abs() == 360.0)
        }
        _ => ours == theirs,
    }
}

fn compare(libraries: &[Library], wanted: impl Fn(&str) -> bool, explained: &[Explained]) {
    let mut used = vec![0u32; explained.len()];
    let mut unexplained = Vec::new();
    let (mut compared, mut fields) = (0, 0);
    let messages: Vec<Message> = messages().into_iter().filter(|m| wanted(&m.formatter)).collect();
    for message in &messages {
        for (name, read) in libraries {
            let mut disagree = |field: &'static str, ours: &Value, theirs: &Value| {
                let found = explained.iter().position(|e| {
                    e.library == *name
                        && e.field.split('|').any(|f| f == field)
                        && (e.when)(message, ours, theirs)
                });
                match found {
                    Some(at) => used[at] += 1,
                    None => unexplained.push(format!(
                        "{name} {field}: ours {ours}, theirs {theirs}: {}",
                        message.lines.join(" ")
                    )),
                }
            };
            // A library that panics on a line is not asked again about it.
            let lines = &message.lines;
            let Ok(said) = std::panic::catch_unwind(|| read(lines)) else {
                disagree("panics", &Value::Null, &Value::Null);
                continue;
            };
            let Some(said) = said else {
                disagree("refuses", &Value::Null, &Value::Null);
                continue;
            };
            compared += 1;
            for (field, theirs) in said {
                let ours =
                    message.said.get(field).unwrap_or_else(|| panic!("{field} of {}", message.formatter));
                fields += 1;
                if !alike(field, ours, &theirs) {
                    disagree(field, ours, &theirs);
                }
            }
        }
    }
    println!("{} messages, {compared} comparisons, {fields} fields", messages.len());
    for (entry, times) in explained.iter().zip(&used) {
        println!("{times:6} × {} {}: right: {}: {}", entry.library, entry.field, entry.right, entry.why);
    }
    assert!(
        unexplained.is_empty(),
        "{} disagreements unexplained:\n{}",
        unexplained.len(),
        unexplained.join("\n")
    );
    let idle: Vec<_> = explained
        .iter()
        .zip(&used)
        .filter(|(_, n)| **n == 0)
        .map(|(e, _)| (e.library, e.field, e.why))
        .collect();
    assert!(idle.is_empty(), "explanations that explain nothing any more: {idle:?}");
    assert!(compared > 0 && fields > 0);
}

#[test]
fn ais_messages() {
    compare(ais::LIBRARIES, |formatter| matches!(formatter, "VDM" | "VDO"), explained::AIS);
}

#[test]
fn instruments() {
    compare(instruments::LIBRARIES, |formatter| !matches!(formatter, "VDM" | "VDO"), explained::INSTRUMENTS);
}

/// A number, or null.
fn number<T: Into<f64>>(value: Option<T>) -> Value {
    value.map_or(Value::Null, |v| json!(v.into()))
}

/// Words, null when there are none.
fn words(text: &str) -> Value {
    let text = text.trim();
    if text.is_empty() { Value::Null } else { json!(text) }
}
