//! NAVTEX messages: NRX, in the form of IEC 61162-1 and in an older one that receivers' manuals have.

use crate::fields::{count, number, of_day_ms, text};
use crate::report::{NavtexIdentity, NavtexPart};
use crate::sentence::Sentence;
use terms::Utc;

/// Frequencies by their number in the standard's form; 0 is not over the air.
const FREQUENCIES_KHZ: [Option<f64>; 4] = [None, Some(490.0), Some(518.0), Some(4209.5)];

/// NRX. The standard's form has how many sentences there are first, the older one the message's identity, which begins
/// with a letter. `None` if the sentence does not say which part of how many it is.
pub(super) fn nrx(sentence: &Sentence<'_>) -> Option<NavtexPart> {
    let [first] = sentence.first();
    let part = if identity(first).is_some() { older(sentence) } else { standard(sentence) }?;
    (1..=part.parts).contains(&part.part).then_some(part)
}

/// Sentences, number, sequence, identity, frequency, time, day, month, year, characters, wrong ones, status, text.
fn standard(sentence: &Sentence<'_>) -> Option<NavtexPart> {
    let [parts, part, sequence, code, frequency, time, day, month, year, all, wrong, _, _] = sentence.first();
    let wrong_percent = match (count::<u32>(all), count::<u32>(wrong)) {
        (Some(all), Some(wrong)) if all > 0 => Some(f64::from(wrong.min(all)) / f64::from(all) * 100.0),
        _ => None,
    };
    Some(NavtexPart {
        parts: count(parts)?,
        part: count(part)?,
        sequence: count(sequence).filter(|n| *n < 100),
        identity: identity(code),
        frequency_khz: count::<usize>(frequency).and_then(|n| FREQUENCIES_KHZ.get(n).copied().flatten()),
        received: received(time, day, month, year),
        wrong_percent,
        text: rest(sentence, 12),
    })
}

/// Identity, line, lines, frequency in kHz, day, month, year, time, wrong characters in per cent, text.
fn older(sentence: &Sentence<'_>) -> Option<NavtexPart> {
    let [code, part, parts, frequency, day, month, year, time, wrong] = sentence.first();
    Some(NavtexPart {
        parts: count(parts)?,
        part: count(part)?,
        sequence: None,
        identity: identity(code),
        frequency_khz: number(frequency).filter(|khz| *khz > 0.0 && *khz < 30_000.0),
        received: received(time, day, month, year),
        wrong_percent: number(wrong).filter(|percent| (0.0..=100.0).contains(percent)),
        text: rest(sentence, 9),
    })
}

/// The text, with any comma that a receiver did not write as a code.
fn rest(sentence: &Sentence<'_>, behind: usize) -> String {
    let fields: Vec<String> = sentence.fields().skip(behind).map(text).collect();
    fields.join(",")
}

/// Two letters and two digits.
fn identity(field: &[u8]) -> Option<NavtexIdentity> {
    match field.trim_ascii() {
        [station @ b'A'..=b'Z', subject @ b'A'..=b'Z', number @ ..] if number.len() == 2 => {
            Some(NavtexIdentity {
                station: char::from(*station),
                subject: char::from(*subject),
                number: count(number)?,
            })
        }
        _ => None,
    }
}

fn received(time: &[u8], day: &[u8], month: &[u8], year: &[u8]) -> Option<Utc> {
    Utc::from_date(count::<i32>(year)?, count(month)?, count(day)?, i64::from(of_day_ms(time)?))
}
