//! What the tests of this crate share.

use sentence::ais::AisReport;
use sentence::{Decoder, DecoderOptions, Framed, Framer, FramerOptions, Refusal, Report, Sentence};
use terms::Moment;

/// What one line says to a fresh decoder.
pub fn read(line: &str) -> Result<Report, Refusal> {
    let sentence = Sentence::check(line.as_bytes(), &FramerOptions::default())?;
    Decoder::new(DecoderOptions::default()).read(Moment::ZERO, &sentence)
}

/// The AIS message of one line.
pub fn ais(line: &str) -> AisReport {
    match read(line) {
        Ok(Report::Ais(report)) => *report,
        other => panic!("{line}: {other:?}"),
    }
}

/// The last report of several lines, heard at one moment by one decoder.
pub fn last(lines: &[&str]) -> Result<Report, Refusal> {
    let mut decoder = Decoder::new(DecoderOptions::default());
    let mut report = Err(Refusal::NotASentence);
    for line in lines {
        let sentence = Sentence::check(line.as_bytes(), &FramerOptions::default())?;
        report = decoder.read(Moment::ZERO, &sentence);
    }
    report
}

/// A line with the checksum put behind it.
pub fn sealed(body: &str) -> String {
    let sum = body[1..].bytes().fold(0, |sum, b| sum ^ b);
    format!("{body}*{sum:02X}")
}

/// What one body, without its checksum, says.
pub fn said(body: &str) -> Report {
    read(&sealed(body)).unwrap_or_else(|why| panic!("{body}: {why}"))
}

/// A sentence taken, or what was refused and why.
pub type Outcome = Result<Vec<u8>, (Vec<u8>, Refusal)>;

/// Sentences and refusals of a stream that arrives in the given pieces.
pub fn framed(pieces: &[&[u8]], options: FramerOptions) -> Vec<Outcome> {
    let mut framer = Framer::new(options);
    let mut all = Vec::new();
    let mut out = |framed: Framed<'_>| {
        all.push(match framed {
            Framed::Sentence(s) => Ok(s.as_bytes().to_vec()),
            Framed::Refused { line, why } => Err((line.to_vec(), why)),
        });
    };
    for piece in pieces {
        framer.push(piece, &mut out);
    }
    framer.finish(&mut out);
    all
}

/// Equal to within `by`.
pub fn near(a: Option<f64>, b: f64, by: f64) -> bool {
    a.is_some_and(|a| (a - b).abs() <= by)
}
