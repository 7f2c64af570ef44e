//! Reading recordings, and any other compressed input.

use super::form::{Lost, Marked, Newer, SIGN, VERSION, source_name};
use flate2::bufread::MultiGzDecoder;
use sentence::{FramerOptions, Sentence};
use std::collections::BTreeMap;
use std::io::{self, BufRead, BufReader, Cursor, Read};
use std::sync::{Arc, Mutex, PoisonError};
use terms::{FeedId, Moment, Utc};
use watch::{Begin, Input};

/// How a gzip file begins (RFC 1952).
const GZIP: [u8; 2] = [0x1f, 0x8b];
/// Longest line of a recording; orders and saved alerts are far shorter.
const LONGEST: u64 = 16 << 20;
/// A recorded line passed its feed's own check.
const ANY: FramerOptions = FramerOptions { checksum_optional: true };

/// A truncated compressed input ends at the break: a power cut leaves it like that.
struct Whole<R>(R);

impl<R: Read> Read for Whole<R> {
    fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        match self.0.read(buf) {
            Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => Ok(0),
            other => other,
        }
    }
}

/// An opened file of sentences.
pub enum Opened {
    /// Sentences only.
    Plain(Box<dyn Read>),
    /// A recording of a watch.
    Recording(Box<Reading>),
}

/// Looks at how an input begins, and decompresses it if need be.
///
/// # Errors
/// If it cannot be read.
pub fn opened(mut input: Box<dyn Read>, boots: &Boots) -> io::Result<Opened> {
    let begin = begin_of(&mut input, GZIP.len())?;
    let packed = begin == GZIP;
    let input = Cursor::new(begin).chain(input);
    let mut input: Box<dyn Read> =
        if packed { Box::new(Whole(MultiGzDecoder::new(BufReader::new(input)))) } else { Box::new(input) };
    let begin = begin_of(&mut input, SIGN.len())?;
    let recorded = begin == SIGN.as_bytes();
    let input: Box<dyn Read> = Box::new(Cursor::new(begin).chain(input));
    Ok(if recorded { Opened::Recording(Box::new(Reading::new(input, boots))) } else { Opened::Plain(input) })
}

/// The first bytes, up to `n`.
fn begin_of(input: &mut dyn Read, n: usize) -> io::Result<Vec<u8>> {
    let mut begin = Vec::with_capacity(n);
    input.take(n as u64).read_to_end(&mut begin)?;
    Ok(begin)
}

/// Offset between each boot's steady time and the time that inputs are merged by, shared by all files of a replay.
pub type Boots = Arc<Mutex<BTreeMap<String, i64>>>;

/// A recording being read.
pub struct Reading {
    input: BufReader<Box<dyn Read>>,
    boots: Boots,
    /// Numbers of the feeds by their names in TAG blocks.
    sources: BTreeMap<String, FeedId>,
    /// Offset between steady time and the time that inputs are merged by.
    offset_ms: i64,
    next: Option<(i64, Input)>,
    /// Lines that could not be read.
    refused: u64,
}

impl Reading {
    fn new(input: Box<dyn Read>, boots: &Boots) -> Self {
        Self {
            input: BufReader::new(input),
            boots: Arc::clone(boots),
            sources: BTreeMap::new(),
            offset_ms: 0,
            next: None,
            refused: 0,
        }
    }

    /// Lines that could not be read.
    pub fn refused(&self) -> u64 {
        self.refused
    }

    /// Time of the next item in milliseconds, without taking it: UTC at the file's head and steady time from there on.
    ///
    /// # Errors
    /// If the recording cannot be read on, or a newer program made it.
    pub fn peek(&mut self) -> io::Result<Option<i64>> {
        if self.next.is_none() {
            self.next = self.read()?;
        }
        Ok(self.next.as_ref().map(|(ms, _)| *ms))
    }

    /// The next item.
    ///
    /// # Errors
    /// As `peek`.
    pub fn take_next(&mut self) -> io::Result<Option<Input>> {
        self.peek()?;
        Ok(self.next.take().map(|(_, input)| input))
    }

    fn read(&mut self) -> io::Result<Option<(i64, Input)>> {
        let mut line = Vec::new();
        loop {
            line.clear();
            if (&mut self.input).take(LONGEST).read_until(b'\n', &mut line)? == 0 {
                return Ok(None);
            }
            let whole = line.ends_with(b"\n");
            let line = line.trim_ascii_end();
            let found = match line.strip_prefix(SIGN.as_bytes()) {
                Some(json) => self.input(json)?,
                None => self.sentence(line),
            };
            match found {
                Some((at, input)) => return Ok(Some((at.0.saturating_add(self.offset_ms), input))),
                // The last line may have been cut off.
                None => self.refused += u64::from(whole && !line.is_empty()),
            }
        }
    }

    fn input(&mut self, json: &[u8]) -> io::Result<Option<(Moment, Input)>> {
        if let Ok(Lost { steady_ms, lost }) = serde_json::from_slice(json) {
            eprintln!("at {} s: {lost} lines were not recorded, the disk could not follow", steady_ms.as_s());
            return Ok(None);
        }
        let Ok(Marked { steady_ms, input }) = record::from_json(json) else {
            // This program may be unable to read the head of a later format.
            return match serde_json::from_slice::<Newer>(json) {
                Ok(newer) if newer.begin.version > VERSION => Err(newer_program()),
                _ => Ok(None),
            };
        };
        if let Input::Begin(begin) = &input {
            if begin.version > VERSION {
                return Err(newer_program());
            }
            self.begin(steady_ms, begin);
        }
        Ok(Some((steady_ms, input)))
    }

    fn begin(&mut self, at: Moment, begin: &Begin) {
        let names =
            begin.feeds.iter().zip(0..).map(|(f, n)| (source_name(usize::from(n), &f.name), FeedId(n)));
        self.sources = names.collect();
        let offset_ms = begin.utc.map_or(0, |Utc(ms)| ms.saturating_sub(at.0));
        // Files of one boot share one steady time, whatever UTC each began with.
        self.offset_ms = match &begin.boot {
            Some(boot) => {
                // Nothing under this lock can panic.
                let mut known = self.boots.lock().unwrap_or_else(PoisonError::into_inner);
                *known.entry(boot.clone()).or_insert(offset_ms)
            }
            None => offset_ms,
        };
    }

    fn sentence(&self, line: &[u8]) -> Option<(Moment, Input)> {
        let sentence = Sentence::check(line, &ANY).ok()?;
        let tag = sentence.tag()?;
        let feed = *self.sources.get(tag.source?)?;
        Some((Moment(tag.relative_ms?), Input::Line(feed, sentence.into())))
    }
}

fn newer_program() -> io::Error {
    io::Error::other("a newer program recorded this: use that program")
}
