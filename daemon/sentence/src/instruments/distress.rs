//! People overboard and distress calls: MOB, DSC, DSE.

use crate::fields::{count, direction, letter, of_day_ms, position, speed, time_only, utc, words};
use crate::report::{CallExpansion, Distress, MobStatus, Overboard, SelectiveCall, SentTime};
use crate::sentence::Sentence;
use terms::{Mmsi, Position};

/// MOB: emitter, status, time of activation, position source, date of position, its time, latitude, N/S, longitude,
/// E/W, COG, SOG, MMSI, battery. The date is `ddmmyy`; emitters that write a count of days there have no date.
pub(super) fn mob(sentence: &Sentence<'_>) -> Overboard {
    let [emitter, status, activated, source, date, time, lat, ns, lon, ew, cog, sog, mmsi, battery] =
        sentence.first();
    Overboard {
        emitter: words(emitter),
        status: match letter(status) {
            Some(b'T') => MobStatus::Test,
            Some(b'V') => MobStatus::NotInUse,
            Some(b'M') => MobStatus::Manual,
            // A missing or unknown status is taken for the worst: a person may be in the water.
            _ => MobStatus::Active,
        },
        activated_of_day_ms: of_day_ms(activated),
        position_from_emitter: zero_or_one(source),
        time: of_day_ms(time).and_then(|ms| utc(date, ms)).map(SentTime::Utc).or_else(|| time_only(time)),
        position: position(lat, ns, lon, ew),
        sog_kn: speed(sog, 1.0),
        cog_deg: direction(cog),
        mmsi: identity(mmsi),
        battery_low: zero_or_one(battery),
    }
}

fn zero_or_one(field: &[u8]) -> Option<bool> {
    match letter(field)? {
        b'0' => Some(false),
        b'1' => Some(true),
        _ => None,
    }
}

/// An identity of nine digits, or of ten with the zero that a selective call appends (ITU-R M.493). All zeros mean
/// none.
fn identity(field: &[u8]) -> Option<Mmsi> {
    let digits = match field.trim_ascii() {
        [nine @ .., b'0'] if nine.len() == 9 => nine,
        other => other,
    };
    Mmsi::parse(std::str::from_utf8(digits).ok()?).filter(|m| m.number() != 0)
}

/// DSC: format, address, category, nature or first telecommand, second telecommand, position or channel, time, vessel
/// in distress, its nature of distress, acknowledgement, expansion. Codes are those of ITU-R M.493 less 100.
pub(super) fn dsc(sentence: &Sentence<'_>) -> SelectiveCall {
    let [format, caller, category, first, _, place, time, casualty, nature, acknowledgement, expansion] =
        sentence.first();
    let (format, category): (Option<u8>, Option<u8>) = (count(format), count(category));
    let casualty = identity(casualty);
    // A distress call has its nature in place of the first telecommand; a relay has it after the vessel it speaks of,
    // though it may not know which.
    let is_distress_call = format == Some(DISTRESS);
    let is_distress = is_distress_call || category == Some(DISTRESS);
    let nature = if is_distress_call {
        distress(first)
    } else {
        distress(nature).filter(|_| is_distress || casualty.is_some())
    };
    let telecommand = count(first).filter(|_| !is_distress_call);
    // In other calls the same field is a channel or a frequency, unless they ask for a position or give one. No channel
    // has ten digits.
    let has_place = is_distress || telecommand == Some(POSITION);
    SelectiveCall {
        format,
        caller: identity(caller),
        category,
        nature,
        telecommand,
        channel: if has_place { None } else { channel(place) },
        position: if has_place { quadrant_position(place) } else { None },
        position_of_day_min: if has_place { minutes_of_day(time) } else { None },
        casualty,
        acknowledgement: letter(acknowledgement).filter(|a| b"RBS".contains(a)).map(char::from),
        expansion_follows: letter(expansion) == Some(b'E'),
    }
}

/// Format specifier and category 112.
const DISTRESS: u8 = 12;
/// First telecommand 121: a position is asked for or given.
const POSITION: u8 = 21;

fn distress(field: &[u8]) -> Option<Distress> {
    Some(match count::<u8>(field)? {
        0 => Distress::Fire,
        1 => Distress::Flooding,
        2 => Distress::Collision,
        3 => Distress::Grounding,
        4 => Distress::Listing,
        5 => Distress::Sinking,
        6 => Distress::Adrift,
        7 => Distress::Undesignated,
        8 => Distress::Abandoning,
        9 => Distress::Piracy,
        10 => Distress::ManOverboard,
        12 => Distress::EpirbEmission,
        _ => return None,
    })
}

/// Six digits, or twelve where both frequencies of a pair are given, of which the first is that to answer on. 9 and five
/// digits are a VHF channel, 3 and five digits a working channel of medium or high frequency, other six digits hundreds of
/// hertz (ITU-R M.493, from memory).
fn channel(field: &[u8]) -> Option<String> {
    let digits = field.trim_ascii();
    if !matches!(digits.len(), 6 | 12) || !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    let (first, rest) = digits.get(..6)?.split_first()?;
    let number: u32 = count(rest)?;
    match first {
        b'9' if number > 0 => Some(format!("channel {number:02}")),
        b'3' if number > 0 => Some(format!("HF channel {number}")),
        b'0'..=b'2' => {
            let tenths_khz: u32 = count(&digits[..6])?;
            let tenth =
                if tenths_khz.is_multiple_of(10) { String::new() } else { format!(".{}", tenths_khz % 10) };
            (tenths_khz > 0).then(|| format!("{}{tenth} kHz", tenths_khz / 10))
        }
        _ => None,
    }
}

/// Ten digits: quadrant (0 NE, 1 NW, 2 SE, 3 SW), latitude `ddmm`, longitude `dddmm`. All nines is "none".
fn quadrant_position(field: &[u8]) -> Option<Position> {
    let digits: &[u8; 10] = field.trim_ascii().try_into().ok()?;
    let (ns, ew): (&[u8], &[u8]) = match digits[0] {
        b'0' => (b"N", b"E"),
        b'1' => (b"N", b"W"),
        b'2' => (b"S", b"E"),
        b'3' => (b"S", b"W"),
        _ => return None,
    };
    position(&digits[1..5], ns, &digits[5..], ew)
}

/// `hhmm`; 8888 is "none".
fn minutes_of_day(field: &[u8]) -> Option<u16> {
    let field = field.trim_ascii();
    let (hour, minute) = (count::<u16>(field.get(..2)?)?, count::<u16>(field.get(2..)?)?);
    (field.len() == 4 && hour < 24 && minute < 60).then_some(hour * 60 + minute)
}

/// DSE: sentences, number, query flag, address, then pairs of code and data. Code 00 holds four digits behind
/// the minutes of latitude and four of longitude.
pub(super) fn dse(sentence: &Sentence<'_>) -> CallExpansion {
    let [_, _, _, caller] = sentence.first();
    let mut fields = sentence.fields().skip(4);
    let mut expansion =
        CallExpansion { caller: identity(caller), latitude_extra_min: None, longitude_extra_min: None };
    while let (Some(code), Some(data)) = (fields.next(), fields.next()) {
        if let (b"00", Some(digits)) = (code.trim_ascii(), data.trim_ascii().first_chunk::<8>()) {
            let part = |four: &[u8]| count::<u16>(four).map(|n| f64::from(n) / 10_000.0);
            expansion.latitude_extra_min = part(&digits[..4]);
            expansion.longitude_extra_min = part(&digits[4..]);
        }
    }
    expansion
}
