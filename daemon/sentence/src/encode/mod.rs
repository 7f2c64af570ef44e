//! Reports to sentences, for scenarios, drills and tests. Lines come without CR and LF.

mod ais;

pub use ais::ais;

/// A sentence with its checksum: `$` talker, formatter, fields.
pub fn sentence(talker: &str, formatter: &str, fields: &[&str]) -> String {
    line('$', talker, formatter, fields)
}

/// The same begun with `!`, as encapsulated data are.
pub(crate) fn line(start: char, talker: &str, formatter: &str, fields: &[&str]) -> String {
    let mut body = format!("{talker}{formatter}");
    for field in fields {
        body.push(',');
        body.push_str(field);
    }
    let sum = body.bytes().fold(0, |sum, b| sum ^ b);
    format!("{start}{body}*{sum:02X}")
}

/// A TAG block with its backslashes and checksum, to stand before a sentence.
pub fn tag_block(tag: &crate::TagBlock<'_>) -> String {
    tag.to_string()
}
