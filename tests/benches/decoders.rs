//! The crate `sentence` beside others on the same lines in one run. A line is checked, its checksum included, and read in
//! content; that is what each library does when given a line.
//!
//!     cargo bench --bench decoders
//!
//! Lines are recorded ones (`fixtures/recorded`), and those of the test suites of nmea-parser and pynmea2 for the
//! instruments that no recording has.
#![allow(clippy::disallowed_methods, reason = "a bench reads recordings")]

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use sentence::{Decoder, DecoderOptions, Framed, Framer, FramerOptions, Sentence};
use std::time::Duration;
use terms::Moment;

fn main() {
    divan::main();
}

/// Lines of one kind.
#[derive(Clone, Copy)]
struct Kind {
    name: &'static str,
    /// Whether a line is of this kind.
    is: fn(&str) -> bool,
    /// Lines where the recordings have none.
    made: &'static [&'static str],
}

impl std::fmt::Display for Kind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name)
    }
}

/// The payload's first character of a single VDM.
fn message(line: &str, first: &[char]) -> bool {
    let mut fields = line.split(',');
    fields.next().is_some_and(|f| f == "!AIVDM")
        && fields.next() == Some("1")
        && fields.nth(2).is_some()
        && fields.next().is_some_and(|p| p.len() >= 28 && p.starts_with(first))
}

const AIS: [Kind; 4] = [
    Kind { name: "ais 1-3", is: |l| message(l, &['1', '2', '3']), made: &[] },
    Kind { name: "ais 5", is: |l| message(l, &['5']), made: &[] },
    Kind { name: "ais 18", is: |l| message(l, &['B']), made: &[] },
    Kind { name: "ais 24", is: |l| message(l, &['H']), made: &[] },
];

const INSTRUMENTS: [Kind; 5] = [
    Kind { name: "RMC", is: |l| l.starts_with("$GPRMC"), made: &[] },
    Kind { name: "GGA", is: |l| l.starts_with("$GPGGA"), made: &[] },
    Kind { name: "HDT", is: |_| false, made: &["$HEHDT,119.9,T*2F", "$GPHDT,123.456,T*32"] },
    Kind { name: "MWV", is: |_| false, made: &["$IIMWV,271.0,R,000.2,N,A*3B", "$WIMWV,295.4,T,33.3,N,A*1C"] },
    Kind { name: "DPT", is: |_| false, made: &["$SDDPT,17.5,0.3*67", "$INDPT,2.3,0.0*46"] },
];

/// Up to 200 different lines of one kind, each with a right checksum.
fn lines(kind: Kind) -> Vec<String> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/recorded");
    let mut lines: Vec<String> = kind.made.iter().map(|&l| l.to_owned()).collect();
    let mut files: Vec<_> =
        std::fs::read_dir(folder).into_iter().flatten().flatten().map(|f| f.path()).collect();
    files.sort();
    for file in files.iter().filter(|f| f.extension().is_some_and(|e| e == "nmea")) {
        let text = String::from_utf8_lossy(&std::fs::read(file).unwrap_or_default()).into_owned();
        lines.extend(text.lines().filter(|l| (kind.is)(l)).map(str::to_owned));
    }
    lines.retain(|l| {
        Sentence::check(l.as_bytes(), &FramerOptions::default()).is_ok_and(|s| s.as_bytes() == l.as_bytes())
    });
    lines.sort();
    lines.dedup();
    lines.truncate(200);
    assert!(!lines.is_empty(), "no lines of {kind}");
    lines
}

/// Reads all lines of a kind, over and over.
fn bench(bencher: Bencher<'_, '_>, kind: Kind, mut read: impl FnMut(&str)) {
    let lines = lines(kind);
    bencher.counter(ItemsCount::new(lines.len())).bench_local(|| {
        for line in &lines {
            read(black_box(line));
        }
    });
}

#[divan::bench(args = AIS.iter().chain(&INSTRUMENTS).copied().collect::<Vec<_>>())]
fn sentence_crate(bencher: Bencher<'_, '_>, kind: Kind) {
    let mut decoder = Decoder::new(DecoderOptions::default());
    let mut at = Moment::ZERO;
    bench(bencher, kind, |line| {
        at = at + Duration::from_millis(1);
        if let Ok(sentence) = Sentence::check(line.as_bytes(), &FramerOptions::default()) {
            let _ = black_box(decoder.read(at, &sentence));
        }
    });
}

/// The same out of a stream of bytes, framing included.
#[divan::bench(args = AIS.iter().chain(&INSTRUMENTS).copied().collect::<Vec<_>>())]
fn sentence_crate_framed(bencher: Bencher<'_, '_>, kind: Kind) {
    let mut decoder = Decoder::new(DecoderOptions::default());
    let mut framer = Framer::new(FramerOptions::default());
    let lines = lines(kind);
    let stream: Vec<u8> = lines.iter().flat_map(|l| [l.as_bytes(), b"\r\n"].concat()).collect();
    bencher.counter(ItemsCount::new(lines.len())).bench_local(|| {
        framer.push(black_box(&stream), &mut |framed| {
            if let Framed::Sentence(sentence) = framed {
                let _ = black_box(decoder.read(Moment::ZERO, &sentence));
            }
        });
    });
}

#[divan::bench(args = AIS.iter().chain(&INSTRUMENTS).copied().collect::<Vec<_>>())]
fn nmea_parser(bencher: Bencher<'_, '_>, kind: Kind) {
    let mut parser = nmea_parser::NmeaParser::new();
    bench(bencher, kind, |line| drop(black_box(parser.parse_sentence(line))));
}

#[divan::bench(args = AIS)]
fn aivdm(bencher: Bencher<'_, '_>, kind: Kind) {
    let mut decoder = aivdm::LineDecoder::<512>::new();
    bench(bencher, kind, |line| {
        let _ = black_box(decoder.feed(line));
    });
}

#[divan::bench(args = AIS.iter().chain(&INSTRUMENTS).copied().collect::<Vec<_>>())]
fn nmea_0183_rs(bencher: Bencher<'_, '_>, kind: Kind) {
    let mut parser = nmea_0183_rs::ais::AisParser::new();
    bench(bencher, kind, |line| {
        let Ok(frame) = nmea_0183_rs::parse_frame(line) else { return };
        if frame.prefix == '!' {
            drop(black_box(parser.decode(&frame)));
        } else {
            drop(black_box(nmea_0183_rs::NmeaSentence::parse(&frame)));
        }
    });
}
