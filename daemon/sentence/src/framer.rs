//! Bytes to lines. One framer per feed: reads may be split anywhere, lines may end in CR, LF or both, and anything may
//! come between them.

use crate::refusal::Refusal;
use crate::sentence::{Sentence, scan};
use memchr::memchr2;
use serde::{Deserialize, Serialize};

/// Longest line in bytes. IEC 61162-1 ends a sentence at 82, a TAG block adds as much again, and transducer
/// sentences in the field run to twice that; six sentences' worth without a line end is no sentence.
pub const MAX_LINE: usize = 512;

/// Leniency toward one feed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct FramerOptions {
    /// Take sentences without a checksum (old instruments). A checksum that is present must still be right.
    pub checksum_optional: bool,
}

/// What the bytes produced.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Framed<'a> {
    /// A checked sentence.
    Sentence(Sentence<'a>),
    /// A line, or part of one, that was refused.
    Refused {
        /// Its bytes, at most [`MAX_LINE`].
        line: &'a [u8],
        /// Why.
        why: Refusal,
    },
}

/// What a feed has delivered so far.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Counts {
    /// Bytes pushed.
    pub bytes: u64,
    /// Sentences taken.
    pub sentences: u64,
    /// TAG blocks dropped for a wrong checksum or form; their sentences were taken.
    pub tag_blocks_dropped: u64,
    refused: [u64; Refusal::ALL.len()],
}

impl Counts {
    /// How often a line was refused for this reason.
    pub fn refused(&self, why: Refusal) -> u64 {
        self.refused[why as usize]
    }

    /// All refusals together.
    pub fn all_refused(&self) -> u64 {
        self.refused.iter().sum()
    }

    /// Counts a refusal; whoever holds both also counts the decoder's here.
    pub fn refuse(&mut self, why: Refusal) {
        let n = &mut self.refused[why as usize];
        *n = n.saturating_add(1);
    }
}

/// Bytes to checked sentences. Holds at most [`MAX_LINE`] bytes.
#[derive(Debug, Clone)]
pub struct Framer {
    options: FramerOptions,
    counts: Counts,
    begun: Vec<u8>,
    overlong: bool,
}

impl Framer {
    /// A framer for one feed.
    pub fn new(options: FramerOptions) -> Self {
        Self { options, counts: Counts::default(), begun: Vec::with_capacity(MAX_LINE), overlong: false }
    }

    /// Takes the next bytes and hands out every sentence they complete, in order. For datagrams (IEC 61162-450, its
    /// `UdPbC` header included) call [`Framer::finish`] after each one.
    pub fn push(&mut self, mut bytes: &[u8], out: &mut impl FnMut(Framed<'_>)) {
        self.counts.bytes = self.counts.bytes.saturating_add(bytes.len() as u64);
        while let Some(end) = memchr2(b'\r', b'\n', bytes) {
            let (line, rest) = (&bytes[..end], &bytes[end + 1..]);
            if self.begun.is_empty() && line.len() <= MAX_LINE && !self.overlong {
                read_line(line, &self.options, &mut self.counts, out);
            } else {
                self.hold(line, out);
                self.finish(out);
            }
            bytes = rest;
        }
        self.hold(bytes, out);
    }

    /// Treats what has been begun as a whole line: at the end of a datagram, a file, a connection.
    pub fn finish(&mut self, out: &mut impl FnMut(Framed<'_>)) {
        read_line(&self.begun, &self.options, &mut self.counts, out);
        self.begun.clear();
        self.overlong = false;
    }

    /// What the feed has delivered so far.
    pub fn counts(&self) -> &Counts {
        &self.counts
    }

    /// Keeps the beginning of a line. Past the limit only the last sentence begun is kept, so that one sentence after
    /// endless garbage is still found.
    fn hold(&mut self, mut bytes: &[u8], out: &mut impl FnMut(Framed<'_>)) {
        while self.begun.len() + bytes.len() > MAX_LINE {
            let (now, later) = bytes.split_at(MAX_LINE - self.begun.len());
            self.begun.extend_from_slice(now);
            bytes = later;
            if !self.overlong {
                self.overlong = true;
                self.counts.refuse(Refusal::TooLong);
                out(Framed::Refused { line: &self.begun, why: Refusal::TooLong });
            }
            let last = self.begun.iter().rposition(|&b| b == b'$' || b == b'!').filter(|&at| at > 0);
            self.begun.drain(..last.unwrap_or(MAX_LINE));
        }
        self.begun.extend_from_slice(bytes);
    }
}

/// Hands out every sentence in one line: more than one if line ends were lost.
fn read_line(line: &[u8], options: &FramerOptions, counts: &mut Counts, out: &mut impl FnMut(Framed<'_>)) {
    let mut rest = line;
    let mut found_any = false;
    // Each turn takes at least one byte off `rest`.
    while let Some(found) = scan(rest, options) {
        found_any = true;
        let mut refuse = |line, why| {
            counts.refuse(why);
            out(Framed::Refused { line, why });
        };
        if let Some(cut) = found.cut {
            refuse(cut, Refusal::CutShort);
        }
        match found.sentence {
            Ok(sentence) => {
                counts.sentences = counts.sentences.saturating_add(1);
                counts.tag_blocks_dropped += u64::from(sentence.tag_block_dropped());
                out(Framed::Sentence(sentence));
            }
            Err(why) => refuse(found.line, why),
        }
        rest = found.rest;
    }
    let blank = |&b: &u8| b.is_ascii_whitespace() || b == 0;
    if !found_any && !line.iter().all(blank) {
        counts.refuse(Refusal::NotASentence);
        out(Framed::Refused { line, why: Refusal::NotASentence });
    }
}
