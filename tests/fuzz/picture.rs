//! From lines to the picture: the lookout takes whatever the decoder says, at any moment, and answers every question.
#![allow(dead_code, clippy::panic, reason = "a finding is a panic")]

#[path = "sentences.rs"]
mod sentences;

use lookout::{Lookout, Settings};
use sentence::{Decoder, DecoderOptions};
use terms::{FeedId, Moment, Quantity, Subject, Utc};

/// Lines of two feeds. Before each, one byte chooses the feed and how much time has gone.
pub fn picture(data: &[u8]) {
    let mut lookout = Lookout::new(Settings::default());
    let mut decoders = [Decoder::new(DecoderOptions::default()), Decoder::new(DecoderOptions::default())];
    // The first of November 2026.
    lookout.system_utc(Moment::ZERO, Utc(1_793_491_200_000));
    let mut at_ms: i64 = 0;
    for line in data.split(|&b| b == b'\n') {
        let Some((&how, line)) = line.split_first() else { continue };
        at_ms += i64::from(how >> 1) * i64::from(how >> 1) * 10;
        let at = Moment(at_ms);
        // As often as the lookout asks to be woken, within reason.
        for _ in 0..64 {
            match lookout.next_wake() {
                Some(wake) if wake <= at => lookout.advance(wake),
                _ => break,
            }
        }
        lookout.advance(at);
        let feed = usize::from(how & 1);
        let Some(start) = line.iter().position(|b| b"$!".contains(b)) else { continue };
        let body: Vec<u8> = line[start..].iter().copied().take_while(|&b| b != b'*').collect();
        if let Some(report) = sentences::read(&mut decoders[feed], at_ms, &body) {
            lookout.hear(at, FeedId(feed as u16), &report);
        }
        let _ = lookout.take_findings();
    }
    let at = Moment(at_ms);
    let _ = lookout.own(at);
    for target in lookout.targets(at) {
        let json = format!("{target:?}");
        assert!(!json.contains("NaN"), "{json}");
    }
    for &quantity in Quantity::ALL {
        let reading = lookout.reading(at, Subject::OwnVessel, quantity);
        let number = reading.value.as_ref().and_then(terms::Value::number);
        assert!(number.is_none_or(f64::is_finite), "{quantity}: {number:?}");
    }
}
