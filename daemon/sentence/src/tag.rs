//! The TAG block before a sentence (IEC 61162-450, NMEA 0183 4.x): where and when it was heard.

use crate::fields::whole;
use std::fmt;
use terms::Utc;

/// Times from here on are milliseconds: as seconds they would lie beyond the year 5000, and as milliseconds the
/// smaller ones would lie before 1973.
const SECONDS_END: i64 = 100_000_000_000;

/// Place of a line in a group of lines that belong together (parameter g).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TagGroup {
    /// Number of this line, from 1.
    pub line: u8,
    /// Lines in the group.
    pub lines: u8,
    /// The group's number.
    pub id: u32,
}

/// The content of a TAG block. Parameters not named here are passed over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct TagBlock<'a> {
    /// Where it comes from (s).
    pub source: Option<&'a str>,
    /// When it was heard (c), seconds or milliseconds since 1970.
    pub time: Option<Utc>,
    /// Relative time in milliseconds (r).
    pub relative_ms: Option<i64>,
    /// Its group (g).
    pub group: Option<TagGroup>,
    /// For whom (d).
    pub destination: Option<&'a str>,
    /// Number of the line (n).
    pub line_count: Option<u32>,
}

impl<'a> TagBlock<'a> {
    /// Reads the text between the backslashes; `None` if its checksum is missing or wrong, or it is not text.
    pub(crate) fn read(inside: &'a [u8]) -> Option<Self> {
        let star = memchr::memrchr(b'*', inside)?;
        let [high, low] = inside[star + 1..] else { return None };
        let given = (high as char).to_digit(16)? << 4 | (low as char).to_digit(16)?;
        let sum = inside[..star].iter().fold(0, |sum, &b| sum ^ b);
        // The sum covers the text between the backslashes; the example quoted from IEC 61162-450 also includes the
        // first backslash, so both are taken.
        if given != u32::from(sum) && given != u32::from(sum ^ b'\\') {
            return None;
        }
        let text = std::str::from_utf8(&inside[..star]).ok()?;
        let mut tag = Self::default();
        for parameter in text.split(',') {
            let Some((code, value)) = parameter.split_once(':') else { continue };
            let number = whole(value.as_bytes());
            match code {
                "s" => tag.source = Some(value).filter(|v| !v.is_empty()),
                "d" => tag.destination = Some(value).filter(|v| !v.is_empty()),
                "c" => tag.time = number.and_then(time),
                "r" => tag.relative_ms = number,
                "g" => tag.group = group(value),
                "n" => tag.line_count = number.and_then(|n| u32::try_from(n).ok()),
                _ => {}
            }
        }
        Some(tag)
    }
}

fn time(number: i64) -> Option<Utc> {
    match number {
        ..0 => None,
        0..SECONDS_END => Some(Utc(number * 1000)),
        _ => Some(Utc(number)),
    }
}

fn group(value: &str) -> Option<TagGroup> {
    let mut parts = value.splitn(3, '-').map(|part| whole(part.as_bytes()));
    let mut next = || parts.next().flatten();
    let (line, lines, id) = (next()?, next()?, next()?);
    let group =
        TagGroup { line: line.try_into().ok()?, lines: lines.try_into().ok()?, id: id.try_into().ok()? };
    (1..=group.lines).contains(&group.line).then_some(group)
}

impl fmt::Display for TagBlock<'_> {
    /// As it stands before a sentence, backslashes and checksum included; the time in milliseconds if it has any.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut parameters = Vec::with_capacity(6);
        if let Some(TagGroup { line, lines, id }) = self.group {
            parameters.push(format!("g:{line}-{lines}-{id}"));
        }
        parameters.extend(self.source.map(|s| format!("s:{s}")));
        parameters.extend(self.destination.map(|d| format!("d:{d}")));
        parameters.extend(
            self.time.map(
                |Utc(ms)| {
                    if ms % 1000 == 0 { format!("c:{}", ms / 1000) } else { format!("c:{ms}") }
                },
            ),
        );
        parameters.extend(self.relative_ms.map(|r| format!("r:{r}")));
        parameters.extend(self.line_count.map(|n| format!("n:{n}")));
        let text = parameters.join(",");
        let sum = text.bytes().fold(0, |sum, b| sum ^ b);
        write!(f, "\\{text}*{sum:02X}\\")
    }
}
