//! One checked line: its TAG block, talker, formatter and fields.

use crate::ais::bits;
use crate::framer::{FramerOptions, MAX_LINE};
use crate::refusal::Refusal;
use crate::tag::TagBlock;
use memchr::{memchr, memchr2, memrchr};
use std::str::FromStr;
use terms::Mmsi;

/// A checked line, borrowed from the bytes that hold it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sentence<'a> {
    /// From the TAG block, or the `$` or `!`, to the checksum.
    line: &'a [u8],
    shape: Shape,
    tag: Option<TagBlock<'a>>,
}

/// Where the parts of a checked line lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Shape {
    /// Length of the TAG block, right or dropped; the `$` or `!` follows it.
    tag: u16,
    /// Length from behind the `$` or `!` to the `*`.
    body: u16,
    /// Length of the address, in ASCII. No control characters anywhere.
    address: u8,
    tag_dropped: bool,
}

/// A checked line with bytes of its own, to be kept or sent on. At most [`MAX_LINE`] bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckedLine {
    line: Box<[u8]>,
    shape: Shape,
}

impl CheckedLine {
    /// The sentence. Nothing is checked again.
    pub fn sentence(&self) -> Sentence<'_> {
        let Self { line, shape } = self;
        let tag = usize::from(shape.tag);
        let tag = if tag > 0 && !shape.tag_dropped { TagBlock::read(&line[1..tag - 1]) } else { None };
        Sentence { line, shape: *shape, tag }
    }

    /// The whole line from TAG block to checksum, without line end.
    pub fn as_bytes(&self) -> &[u8] {
        &self.line
    }
}

/// Checks a line strictly: it needs its checksum.
impl FromStr for CheckedLine {
    type Err = Refusal;

    fn from_str(line: &str) -> Result<Self, Refusal> {
        Sentence::check(line.as_bytes(), &FramerOptions::default()).map(Self::from)
    }
}

impl From<Sentence<'_>> for CheckedLine {
    fn from(s: Sentence<'_>) -> Self {
        Self { line: s.line.into(), shape: s.shape }
    }
}

impl<'a> Sentence<'a> {
    /// Checks the first sentence of a line without its line end. Anything before `$` or `!` (a log's clock time, a
    /// datagram's header) and after the checksum is passed over.
    ///
    /// # Errors
    /// If there is no sentence, or it is not whole; see [`Refusal`].
    pub fn check(line: &'a [u8], options: &FramerOptions) -> Result<Self, Refusal> {
        if line.len() > MAX_LINE {
            return Err(Refusal::TooLong);
        }
        scan(line, options).map_or(Err(Refusal::NotASentence), |found| found.sentence)
    }

    /// The TAG block before it, if there is one with a right checksum.
    pub fn tag(&self) -> Option<&TagBlock<'a>> {
        self.tag.as_ref()
    }

    /// Whether it had a TAG block that was dropped. A wrong TAG checksum costs the time and the source, never the
    /// sentence: that has its own checksum and may be a beacon's.
    pub fn tag_block_dropped(&self) -> bool {
        self.shape.tag_dropped
    }

    /// Who talks: two characters, or `P` for a proprietary sentence.
    pub fn talker(&self) -> &'a str {
        ascii(self.talker_bytes())
    }

    /// What kind of sentence: three characters, or the maker's mnemonic and what follows it.
    pub fn formatter(&self) -> &'a str {
        ascii(self.formatter_bytes())
    }

    /// Whether it is a maker's own sentence.
    pub fn is_proprietary(&self) -> bool {
        self.body().first() == Some(&b'P')
    }

    /// The fields after the address, in order, as sent.
    pub fn fields(&self) -> impl Iterator<Item = &'a [u8]> + use<'a> {
        let behind = self.body().get(usize::from(self.shape.address) + 1..);
        behind.into_iter().flat_map(|fields| fields.split(|&b| b == b','))
    }

    /// The first `N` fields; missing ones are empty.
    pub(crate) fn first<const N: usize>(&self) -> [&'a [u8]; N] {
        let mut fields = [&[][..]; N];
        let mut rest = self.body().get(usize::from(self.shape.address) + 1..).unwrap_or_default();
        for field in &mut fields {
            // Fields are a few bytes long: a plain loop beats a call optimised for long ones.
            match rest.iter().position(|&b| b == b',') {
                Some(comma) => (*field, rest) = (&rest[..comma], &rest[comma + 1..]),
                None => {
                    *field = rest;
                    break;
                }
            }
        }
        fields
    }

    /// The whole line from TAG block to checksum, without line end.
    pub fn as_bytes(&self) -> &'a [u8] {
        self.line
    }

    /// The line behind its TAG block.
    pub fn without_tag(&self) -> &'a [u8] {
        &self.line[usize::from(self.shape.tag)..]
    }

    /// Whether the line must not be dropped under flood: an AIS message whose first 42 bits name a distress beacon
    /// or one of the crew, or a sentence about a person overboard or a distress call.
    pub fn is_urgent(&self, crew: &[Mmsi]) -> bool {
        match self.formatter_bytes() {
            b"MOB" | b"DSC" | b"DSE" => !self.is_proprietary(),
            b"VDM" | b"VDO" => {
                let [_, number, _, _, payload] = self.first();
                number == b"1" && bits::identity(payload).is_some_and(|m| m.is_beacon() || crew.contains(&m))
            }
            _ => false,
        }
    }

    /// After the `$` or `!`, before the `*`.
    fn body(&self) -> &'a [u8] {
        let start = usize::from(self.shape.tag) + 1;
        &self.line[start..start + usize::from(self.shape.body)]
    }

    fn talker_len(&self) -> usize {
        if self.is_proprietary() { 1 } else { 2 }
    }

    pub(crate) fn formatter_bytes(&self) -> &'a [u8] {
        &self.body()[self.talker_len()..usize::from(self.shape.address)]
    }

    pub(crate) fn talker_bytes(&self) -> &'a [u8] {
        &self.body()[..self.talker_len()]
    }
}

/// Addresses are checked to be ASCII before a sentence is made; the empty string is never reached.
fn ascii(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).unwrap_or_default()
}

/// A sentence, or a failed one, found in a line.
pub(crate) struct Found<'a> {
    pub sentence: Result<Sentence<'a>, Refusal>,
    /// From `$` or `!` (with its TAG block) to the end of what was examined.
    pub line: &'a [u8],
    /// A sentence that began before this one and never reached its checksum.
    pub cut: Option<&'a [u8]>,
    /// The rest of the line.
    pub rest: &'a [u8],
}

/// Finds the first sentence in the rest of a line; `None` if no other begins. Linear in the length.
pub(crate) fn scan<'a>(text: &'a [u8], options: &FramerOptions) -> Option<Found<'a>> {
    // A line nearly always begins with its sentence.
    let start = if matches!(text.first(), Some(b'$' | b'!')) { 0 } else { memchr2(b'$', b'!', text)? };
    let Some(star) = memchr(b'*', &text[start..]).map(|at| start + at) else {
        return Some(without_checksum(text, start, options));
    };
    let found = checked(text, start, star);
    if found.sentence.is_ok() {
        return Some(found);
    }
    // `$` and `!` are reserved characters: inside a sentence that fails its checksum they mean that its end was lost.
    match text[start + 1..star].iter().rposition(|&b| b == b'$' || b == b'!') {
        Some(at) => {
            let begin = start + 1 + at;
            let again = checked(text, begin, star);
            let cut = &text[start..begin - tag_len(text, start + 1, begin)];
            Some(Found { cut: Some(cut), ..again })
        }
        None => Some(found),
    }
}

/// Length of a TAG block, both backslashes included, that ends right before `start` and begins at `from` or later.
fn tag_len(text: &[u8], from: usize, start: usize) -> usize {
    if start <= from || text[start - 1] != b'\\' {
        return 0;
    }
    let before = &text[from..start - 1];
    match memrchr(b'\\', before) {
        // The start of another sentence inside shows that the backslash belongs to something cut short.
        Some(open) if memchr2(b'$', b'!', &before[open..]).is_none() => before.len() + 1 - open,
        _ => 0,
    }
}

fn checked(text: &[u8], start: usize, star: usize) -> Found<'_> {
    let body = &text[start + 1..star];
    let hex = |at: usize| text.get(at).and_then(|&b| (b as char).to_digit(16));
    let sum = body.iter().fold(0, |sum, &b| sum ^ b);
    let (given, end) = match (hex(star + 1), hex(star + 2)) {
        // A third digit means that these are not the two of a checksum.
        (Some(high), Some(low)) if !text.get(star + 3).is_some_and(u8::is_ascii_alphanumeric) => {
            (Some(high << 4 | low), star + 3)
        }
        _ => (None, star + 1),
    };
    let sentence = if given == Some(u32::from(sum)) {
        sentence(text, start, body, end)
    } else {
        Err(Refusal::BadChecksum)
    };
    let from = start - tag_len(text, 0, start);
    Found { sentence, line: &text[from..end], cut: None, rest: &text[end..] }
}

fn without_checksum<'a>(text: &'a [u8], start: usize, options: &FramerOptions) -> Found<'a> {
    let behind = &text[start + 1..];
    // The next sentence's TAG block belongs to that one; at the end of the line there is none.
    let next = memchr2(b'$', b'!', behind).map(|next| next - tag_len(behind, 0, next));
    let end = start + 1 + next.unwrap_or(behind.len());
    let body = text[start + 1..end].trim_ascii_end();
    let sentence = if options.checksum_optional {
        sentence(text, start, body, start + 1 + body.len())
    } else {
        Err(Refusal::NoChecksum)
    };
    let from = start - tag_len(text, 0, start);
    Found { sentence, line: &text[from..end], cut: None, rest: &text[end..] }
}

fn sentence<'a>(text: &'a [u8], start: usize, body: &'a [u8], end: usize) -> Result<Sentence<'a>, Refusal> {
    // Without a way out in the middle the loop runs over many bytes at once.
    if body.iter().fold(false, |found, b| found | b.is_ascii_control()) {
        return Err(Refusal::BadCharacter);
    }
    // Searched no further than an address reaches.
    let head = &body[..body.len().min(17)];
    let address = head.iter().position(|&b| b == b',').unwrap_or(body.len());
    let proprietary = body.first() == Some(&b'P') && (2..=16).contains(&address);
    let plain = |b: &u8| b.is_ascii_uppercase() || b.is_ascii_digit();
    if !(proprietary || address == 5) || !body[..address].iter().all(plain) {
        return Err(Refusal::BadAddress);
    }
    let from = start - tag_len(text, 0, start);
    let tag = if from < start { TagBlock::read(&text[from + 1..start - 1]) } else { None };
    // A line is at most `MAX_LINE` bytes long, and an address 16.
    let shape = Shape {
        tag: (start - from) as u16,
        body: body.len() as u16,
        address: address as u8,
        tag_dropped: from < start && tag.is_none(),
    };
    Ok(Sentence { line: &text[from..end], shape, tag })
}
