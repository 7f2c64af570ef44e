//! The format of a recording.

use record::Stamp;
use sentence::{CheckedLine, TagBlock};
use serde::{Deserialize, Serialize};
use terms::Moment;
use watch::Input;

/// Start of a line that is no sentence.
pub(super) const SIGN: &str = "#middlewatch ";
/// The version of the format.
pub(super) const VERSION: u32 = 1;
/// Longest source name in a TAG block (IEC 61162-450, parameter s).
const SOURCE_LETTERS: usize = 15;

/// A feed's name as a TAG block can hold it, or its number.
pub(super) fn source_name(number: usize, name: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
    if name.len() <= SOURCE_LETTERS && !name.is_empty() && name.chars().all(plain) {
        name.to_owned()
    } else {
        format!("feed{}", number + 1)
    }
}

/// An input with its moment.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Marked {
    pub steady_ms: Moment,
    #[serde(flatten)]
    pub input: Input,
}

/// This many lines and inputs are missing here: the disk could not keep up.
#[derive(Debug, Serialize, Deserialize)]
pub(super) struct Lost {
    pub steady_ms: Moment,
    pub lost: u64,
}

/// The version in the head of a newer program's recording.
#[derive(Debug, Deserialize)]
pub(super) struct Newer {
    pub begin: Versioned,
}

#[derive(Debug, Deserialize)]
pub(super) struct Versioned {
    pub version: u32,
}

/// Writes anything but a sentence as a line.
pub(super) fn json_line(of: &impl Serialize, out: &mut Vec<u8>) -> serde_json::Result<()> {
    out.extend_from_slice(SIGN.as_bytes());
    serde_json::to_writer(&mut *out, of)?;
    out.push(b'\n');
    Ok(())
}

/// Writes a checked line behind its TAG block. A TAG block that it brought gives way; only its group is kept, which
/// holds the lines of a message together.
pub(super) fn sentence_line(at: &Stamp, source: &str, line: &CheckedLine, out: &mut Vec<u8>) {
    use std::io::Write;
    let sentence = line.sentence();
    let tag = TagBlock {
        source: Some(source),
        time: at.utc.map(|(utc, _)| utc),
        relative_ms: Some(at.steady.0),
        group: sentence.tag().and_then(|tag| tag.group),
        ..TagBlock::default()
    };
    // Writing to memory does not fail.
    let _ = write!(out, "{tag}");
    out.extend_from_slice(sentence.without_tag());
    out.extend_from_slice(b"\r\n");
}
