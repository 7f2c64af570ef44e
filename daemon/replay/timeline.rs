//! Recorded lines in the order of their times, from one or several inputs.
//!
//! A line's time is the first that applies: its TAG block's, that of a dated sentence of the feed, that of a time-only
//! sentence with the last date, or else `--start` (or an unknown UTC) with even spacing. A line without a time of its
//! own has that of the line before it.

use sentence::{Decoder, DecoderOptions, Framed, Framer, FramerOptions, Refusal, Report, SentTime};
use std::collections::{BTreeMap, VecDeque};
use std::io::{self, Read};
use terms::{Moment, Utc};
use watch::{Talker, talker};

/// Most lines held back at the start of an input until one gives the time.
const HELD_BACK: usize = 2000;
/// Spacing of lines in an input without times, in milliseconds.
const SPACING_MS: i64 = 100;
/// Most bytes per read.
const CHUNK: usize = 65_536;
/// Most sources kept apart in one file; further ones share the file's own.
const SOURCES: usize = 32;

/// What a line said, and when.
#[derive(Debug)]
pub struct Heard {
    /// Milliseconds: of UTC if `dated`, else since the input's first line.
    pub ms: i64,
    /// Whether that is UTC.
    pub dated: bool,
    /// Which source of this input: 0 for lines whose TAG block names none.
    pub source: usize,
    /// The talker of the device behind it.
    pub talker: Talker,
    /// What it said.
    pub report: Result<Report, Refusal>,
}

/// One input being read.
pub struct PlainFile {
    reader: Box<dyn Read>,
    framer: Framer,
    options: DecoderOptions,
    sources: BTreeMap<String, usize>,
    decoders: Vec<Decoder>,
    /// Lines ready to hand out, in order.
    ready: VecDeque<Heard>,
    ended: bool,
    now_ms: i64,
    dated: bool,
    lines: u64,
    chunk: Vec<u8>,
}

impl PlainFile {
    /// Opens an input. A simulator's recorded values are as good as any here.
    pub fn new(reader: Box<dyn Read>, start: Option<Utc>) -> Self {
        let options = DecoderOptions { simulator: true };
        Self {
            reader,
            framer: Framer::new(FramerOptions::default()),
            options,
            sources: BTreeMap::new(),
            decoders: vec![Decoder::new(options)],
            ready: VecDeque::new(),
            ended: false,
            now_ms: start.map_or(0, |t| t.0),
            dated: start.is_some(),
            lines: 0,
            chunk: vec![0; CHUNK],
        }
    }

    /// Names of the sources in TAG blocks, by number.
    pub fn source_name(&self, source: usize) -> Option<&str> {
        self.sources.iter().find(|(_, n)| **n == source).map(|(name, _)| name.as_str())
    }

    /// Bytes, sentences and refusals of the framing.
    pub fn counts(&self) -> &sentence::Counts {
        self.framer.counts()
    }

    /// Time of the next line, without taking it.
    ///
    /// # Errors
    /// If the input cannot be read on.
    pub fn peek(&mut self) -> io::Result<Option<(i64, bool)>> {
        self.fill()?;
        Ok(self.ready.front().map(|h| (h.ms, h.dated)))
    }

    /// The next line.
    ///
    /// # Errors
    /// If the input cannot be read on.
    pub fn next(&mut self) -> io::Result<Option<Heard>> {
        self.fill()?;
        Ok(self.ready.pop_front())
    }

    /// Reads until a line is ready: at the start of an undated input, until a line gives the time.
    fn fill(&mut self) -> io::Result<()> {
        while !self.ended && (self.ready.is_empty() || (!self.dated && self.ready.len() < HELD_BACK)) {
            let n = match self.reader.read(&mut self.chunk) {
                Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
                other => other?,
            };
            let mut taken = Taken {
                options: self.options,
                sources: &mut self.sources,
                decoders: &mut self.decoders,
                ready: &mut self.ready,
                now_ms: &mut self.now_ms,
                dated: &mut self.dated,
                lines: &mut self.lines,
            };
            if n == 0 {
                self.ended = true;
                self.framer.finish(&mut |f| taken.framed(&f));
            } else {
                self.framer.push(&self.chunk[..n], &mut |f| taken.framed(&f));
            }
        }
        Ok(())
    }
}

/// The parts of an input that take the framer's lines.
struct Taken<'i> {
    options: DecoderOptions,
    sources: &'i mut BTreeMap<String, usize>,
    decoders: &'i mut Vec<Decoder>,
    ready: &'i mut VecDeque<Heard>,
    now_ms: &'i mut i64,
    dated: &'i mut bool,
    lines: &'i mut u64,
}

impl Taken<'_> {
    fn framed(&mut self, framed: &Framed<'_>) {
        let Framed::Sentence(s) = framed else { return };
        let source = self.source(s.tag().and_then(|t| t.source));
        let report = self.decoders[source].read(Moment(*self.now_ms), s);
        let tagged = s.tag().and_then(|t| t.time).map(|t| t.0);
        if let Some(ms) = tagged.or_else(|| self.told(&report)) {
            self.set(ms);
        } else if !*self.dated && *self.lines > 0 {
            *self.now_ms += SPACING_MS;
        }
        *self.lines += 1;
        self.ready.push_back(Heard {
            ms: *self.now_ms,
            dated: *self.dated,
            source,
            talker: talker(s),
            report,
        });
    }

    fn source(&mut self, name: Option<&str>) -> usize {
        let Some(name) = name else { return 0 };
        if let Some(&known) = self.sources.get(name) {
            return known;
        }
        if self.decoders.len() >= SOURCES {
            return 0;
        }
        let number = self.decoders.len();
        self.decoders.push(Decoder::new(self.options));
        self.sources.insert(name.to_owned(), number);
        number
    }

    /// The UTC of a sentence: its own date and time, or its time of day nearest to the time so far.
    fn told(&self, report: &Result<Report, Refusal>) -> Option<i64> {
        match report {
            Ok(Report::Time { utc }) => utc.map(|t| t.0),
            Ok(Report::Fix(f)) => match f.time? {
                SentTime::Utc(utc) => Some(utc.0),
                SentTime::OfDayMs(ms) if *self.dated => {
                    let day = 86_400_000;
                    let off =
                        (i64::from(ms) - Utc(*self.now_ms).ms_of_day() + day / 2).rem_euclid(day) - day / 2;
                    Some(*self.now_ms + off)
                }
                SentTime::OfDayMs(_) => None,
            },
            _ => None,
        }
    }

    /// Sets the time, also for lines held back until now.
    fn set(&mut self, ms: i64) {
        if !*self.dated {
            *self.dated = true;
            for held in self.ready.iter_mut() {
                held.ms = ms;
                held.dated = true;
            }
        }
        *self.now_ms = ms;
    }
}

/// Steady time of a replay, made from recorded times that may jump. It starts at zero and never runs backwards. A jump
/// of more than an hour back or a day ahead is a break in the recording and counts as one second.
#[derive(Debug, Default)]
pub struct Steady {
    last_ms: Option<i64>,
    now: i64,
}

impl Steady {
    /// The steady time of a recorded time, and whether the recording broke here.
    pub fn at(&mut self, ms: i64) -> (Moment, bool) {
        const BACK: i64 = -3_600_000;
        const ON: i64 = 86_400_000;
        let Some(last) = self.last_ms else {
            self.last_ms = Some(ms);
            return (Moment(self.now), true);
        };
        let step = ms.saturating_sub(last);
        let broken = !(BACK..=ON).contains(&step);
        if broken {
            self.now += 1000;
            self.last_ms = Some(ms);
        } else if step > 0 {
            self.now += step;
            self.last_ms = Some(ms);
        }
        (Moment(self.now), broken)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(bodies: &[&str]) -> String {
        bodies.iter().map(|b| format!("${b}*{:02X}\n", b.bytes().fold(0, |a, b| a ^ b))).collect()
    }

    fn input(text: &str, start: Option<Utc>) -> Vec<(i64, bool)> {
        let mut input = PlainFile::new(Box::new(io::Cursor::new(text.to_owned())), start);
        let mut times = Vec::new();
        while let Some(h) = input.next().unwrap() {
            times.push((h.ms, h.dated));
        }
        times
    }

    #[test]
    fn time_of_a_line_by_precedence() {
        let text = lines(&[
            "IIHDT,10.0,T",
            "GPZDA,235959.50,31,12,2025,00,00",
            "IIHDT,11.0,T",
            "GPGLL,4900.00,N,00600.00,W,000001.00,A,A",
        ]);
        let midnight = Utc::parse("2026-01-01T00:00:00Z").unwrap().0;
        assert_eq!(
            input(&text, None),
            [(midnight - 500, true), (midnight - 500, true), (midnight - 500, true), (midnight + 1000, true)]
        );
    }

    #[test]
    fn lines_without_any_time_are_evenly_spaced() {
        let text = lines(&["IIHDT,10.0,T", "IIHDT,11.0,T"]);
        assert_eq!(input(&text, None), [(0, false), (100, false)]);
        assert_eq!(input(&text, Some(Utc(5000))).first(), Some(&(5000, true)));
    }

    #[test]
    fn steady_time_never_goes_back() {
        let mut s = Steady::default();
        assert_eq!(s.at(1_000_000), (Moment(0), true));
        assert_eq!(s.at(1_002_000), (Moment(2000), false));
        assert_eq!(s.at(1_001_000), (Moment(2000), false), "a little disorder is no step");
        assert_eq!(s.at(1_003_000), (Moment(3000), false));
        assert_eq!(s.at(1_003_000 + 86_400_001), (Moment(4000), true), "a break in the recording");
        assert_eq!(s.at(0), (Moment(5000), true));
    }
}
