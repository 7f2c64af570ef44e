//! The guard around nmea-parser, and which field comes from where.
//!
//! | what | read by | why |
//! |---|---|---|
//! | line, checksum, TAG block, fragments, armour, type, repeat, identity | this crate | the library takes a wrong line for a right one, glues fragments of different ships, and panics on odd payloads |
//! | AIS 1–3, 5, 14, 18, 21, 24, 27 | this crate | heard all the time, and the library has wrong bits or scales in 1–3, 5, 18, 21, 24B, 27 |
//! | AIS 4, 11 | this crate | the library loses the position where the date is missing |
//! | AIS 19 | this crate | the library does not read it |
//! | AIS 9: altitude, SOG, position, COG | nmea-parser | it reads them right |
//! | AIS 9: the second and its meaning, RAIM, accuracy | this crate | keeps "not available" distinct |
//! | AIS 12: text | nmea-parser | it reads it right |
//! | RMC GGA GLL VTG HDT HDG VHW DPT DBT MWV | this crate | heard all the time; modes, status and fractions of seconds are lost in the library |
//! | GNS: position, satellites, HDOP | nmea-parser | it reads them right |
//! | GNS: time, modes | this crate | the library drops fractions of seconds, and keeps its type of modes to itself |
//! | MTW | nmea-parser | it reads it right |
//! | all other sentences | this crate | the library does not read them, or drops their status |
//!
//! What the library lets through (reserved values, `nan`, zeros in place of missing bits) is stopped on both sides: it
//! is asked only about fields that are present, and its answer must keep to the same bounds as our own reading.

use crate::ais::bits::Bits;
use crate::sentence::Sentence;
use nmea_parser::ais::{AddressedSafetyRelatedMessage, StandardSarAircraftPositionReport};
use nmea_parser::gnss::{GnsData, MtwData};
use nmea_parser::{NmeaParser, ParsedMessage};
use std::panic::catch_unwind;

/// GNS by the library.
pub(crate) fn gns(sentence: &Sentence<'_>) -> Option<GnsData> {
    match ask(&instrument("$GPGNS", sentence)?)? {
        ParsedMessage::Gns(data) => Some(data),
        _ => None,
    }
}

/// MTW by the library.
pub(crate) fn mtw(sentence: &Sentence<'_>) -> Option<MtwData> {
    match ask(&instrument("$GPMTW", sentence)?)? {
        ParsedMessage::Mtw(data) => Some(data),
        _ => None,
    }
}

/// AIS 9 by the library. Fields the message is too short for read as zeros: see [`Bits::reaches`].
pub(crate) fn search_aircraft(bits: &Bits) -> Option<StandardSarAircraftPositionReport> {
    match ask(&message(bits))? {
        ParsedMessage::StandardSarAircraftPositionReport(report) => Some(report),
        _ => None,
    }
}

/// AIS 12 by the library.
pub(crate) fn addressed_text(bits: &Bits) -> Option<AddressedSafetyRelatedMessage> {
    match ask(&message(bits))? {
        ParsedMessage::AddressedSafetyRelatedMessage(report) => Some(report),
        _ => None,
    }
}

/// A checked sentence under an address the library knows, whoever the talker. `None` if it is not plain ASCII.
fn instrument(address: &str, sentence: &Sentence<'_>) -> Option<String> {
    let mut line = String::with_capacity(96);
    line.push_str(address);
    for field in sentence.fields() {
        line.push(',');
        line.push_str(std::str::from_utf8(field).ok().filter(|f| f.is_ascii())?);
    }
    Some(line)
}

/// A whole message as one sentence, armoured again: never a fragment, never a character outside the armour.
fn message(bits: &Bits) -> String {
    format!("!AIVDM,1,1,,A,{},0", bits.armoured())
}

/// Asks a parser made for this one question: parsers keep tables between sentences, without bound, and none of these
/// survive here. A panic costs only the answer.
fn ask(line: &str) -> Option<ParsedMessage> {
    catch_unwind(|| NmeaParser::new().parse_sentence(line)).ok()?.ok()
}
