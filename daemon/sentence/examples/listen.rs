//! Reads sentences from standard input and writes what each says as one JSON object a line, for comparison with other
//! decoders. Usage: `listen [--simulator] < lines`.
#![allow(clippy::disallowed_methods, reason = "an example reads and prints")]

use sentence::{Decoder, DecoderOptions, Framed, Framer, FramerOptions};
use serde_json::{Map, Value, json};
use std::io::{self, BufWriter, Read, Write};
use std::time::Duration;
use terms::Moment;

fn main() -> io::Result<()> {
    let simulator = std::env::args().any(|a| a == "--simulator");
    let mut bytes = Vec::new();
    io::stdin().read_to_end(&mut bytes)?;
    let mut out = BufWriter::new(io::stdout().lock());
    let mut framer = Framer::new(FramerOptions::default());
    let mut decoder = Decoder::new(DecoderOptions { simulator });
    let (mut written, mut at) = (Ok(()), Moment::ZERO);
    let mut each = |framed: Framed<'_>| {
        // Five lines a second, about what a quiet wire brings.
        at = at + Duration::from_millis(200);
        let line = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        let object = match framed {
            Framed::Refused { line: bytes, why } => json!({"line": line(bytes), "refused": why.text()}),
            Framed::Sentence(sentence) => match decoder.read(at, &sentence) {
                Err(why) => json!({"line": line(sentence.as_bytes()), "refused": why.text()}),
                Ok(report) => {
                    let mut object = Map::new();
                    object.insert("line".to_owned(), line(sentence.as_bytes()).into());
                    object.insert("talker".to_owned(), sentence.talker().into());
                    object.insert("formatter".to_owned(), sentence.formatter().into());
                    if let Ok(Value::Object(said)) = serde_json::to_value(report) {
                        object.extend(said);
                    }
                    Value::Object(object)
                }
            },
        };
        if written.is_ok() {
            written = writeln!(out, "{object}");
        }
    };
    framer.push(&bytes, &mut each);
    framer.finish(&mut each);
    written?;
    out.flush()
}
