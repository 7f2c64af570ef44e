//! Every disagreement with another library, who is right and why.

use super::Message;
use serde_json::Value;

/// Disagreements of one kind.
pub struct Explained {
    /// Whose reading differs from ours.
    pub library: &'static str,
    /// In which field, or fields with `|` between them; `refuses` if the library gives nothing for a message we read,
    /// `panics` if it fell over.
    pub field: &'static str,
    /// Given the message, our value and theirs: whether it is this kind.
    pub when: fn(&Message, &Value, &Value) -> bool,
    /// Who is right.
    pub right: &'static str,
    /// By which rule.
    pub why: &'static str,
}

macro_rules! explained {
    ($($library:literal $field:literal, $when:expr, $right:literal, $why:literal;)+) => {
        &[$(Explained { library: $library, field: $field, when: $when, right: $right, why: $why },)+]
    };
}

/// Types whose content this crate does not keep.
fn head_only(m: &Message, _: &Value, _: &Value) -> bool {
    !matches!(m.kind(), 1..=5 | 9 | 11 | 12 | 14 | 18 | 19 | 21 | 24 | 27)
}

/// Shorter than the type's table in ITU-R M.1371-5 annex 8.
fn short(m: &Message, _: &Value, _: &Value) -> bool {
    let whole = match m.kind() {
        1..=4 | 9 | 11 | 18 | 24 => 168,
        5 => 424,
        19 => 312,
        21 => 272,
        27 => 96,
        _ => 0,
    };
    m.bits() < whole
}

/// The sign of our number is lost in theirs.
fn unsigned(_: &Message, ours: &Value, theirs: &Value) -> bool {
    ours.as_f64().zip(theirs.as_f64()).is_some_and(|(a, b)| a < 0.0 && (a + b).abs() < 1e-3)
}

/// Theirs is the raw number of the field of turning.
fn raw_turn(_: &Message, ours: &Value, theirs: &Value) -> bool {
    let raw = theirs.as_f64().unwrap_or_default();
    match ours.as_f64() {
        Some(ours) => (raw * raw.abs() / (4.733 * 4.733) - ours).abs() < 1e-6,
        None => raw.abs() == 127.0,
    }
}

/// The second is 60 or more, and the flag off.
fn no_second(m: &Message, ours: &Value, theirs: &Value) -> bool {
    ours.is_null() && theirs.is_boolean() && m.said["utc_second"].is_null()
}

/// Our value is null and theirs a number out of range.
fn beyond(limit: f64) -> impl Fn(&Value, &Value) -> bool {
    move |ours, theirs| ours.is_null() && theirs.as_f64().is_some_and(|n| n.abs() > limit)
}

/// Theirs lacks the seven digits of an IMO number.
fn no_imo_number(_: &Message, ours: &Value, theirs: &Value) -> bool {
    ours.is_null() && theirs.as_u64().is_some_and(|n| !(1_000_000..=9_999_999).contains(&n))
}

/// One of the two numbers of a position is out of range, which takes the other with it.
fn no_such_place(_: &Message, ours: &Value, theirs: &Value) -> bool {
    ours.is_null() && theirs.is_number()
}

/// Our words are theirs up to an `@`.
fn beyond_at(_: &Message, ours: &Value, theirs: &Value) -> bool {
    let theirs = theirs.as_str().unwrap_or_default();
    theirs.split('@').next().map(str::trim) == Some(ours.as_str().unwrap_or_default()) && theirs.contains('@')
}

/// Our words plus one character, or a last one from missing bits.
fn part_character(m: &Message, ours: &Value, theirs: &Value) -> bool {
    let (ours, theirs) = (ours.as_str().unwrap_or_default(), theirs.as_str().unwrap_or_default());
    theirs.starts_with(ours)
        && theirs.chars().count() == ours.chars().count() + 1
        && !(m.bits() - text_at(m)).is_multiple_of(6)
}

/// Where the text of a message begins.
fn text_at(m: &Message) -> usize {
    if m.kind() == 12 { 72 } else { 40 }
}

/// Our name continues after the twentieth character.
fn extension(_: &Message, ours: &Value, theirs: &Value) -> bool {
    let (ours, theirs) = (ours.as_str().unwrap_or_default(), theirs.as_str().unwrap_or_default());
    ours.len() > 20 && ours.get(..20).map(str::trim_end) == Some(theirs)
}

/// Our name has a blank in its twentieth place and theirs does not.
fn inner_blank(_: &Message, ours: &Value, theirs: &Value) -> bool {
    let (ours, theirs) = (ours.as_str().unwrap_or_default(), theirs.as_str().unwrap_or_default());
    ours.as_bytes().get(19) == Some(&b' ') && ours.replacen(' ', "", 20) == theirs.replacen(' ', "", 20)
}

/// Our value comes from missing bits.
fn missing_bits(m: &Message, ours: &Value, theirs: &Value) -> bool {
    ours.is_null() && !theirs.is_null() && short(m, ours, theirs)
}

/// Message 24 part B of a craft of a parent ship, 98 and a MID.
fn craft(m: &Message, ours: &Value, _: &Value) -> bool {
    ours.is_null() && m.kind() == 24 && m.said["mmsi"].as_u64().is_some_and(|n| n / 10_000_000 == 98)
}

pub const AIS: &[Explained] = explained! {
    "aivdm" "refuses", head_only, "each", "a type that we tell by its head only, and short or unknown for them";
    "aivdm" "refuses", short, "we", "a short message gives the fields that are whole: it may be a beacon's";
    "aivdm" "refuses", |m, _, _| m.kind() == 24 && m.said["part"].is_null(), "each", "a part of message 24 that is reserved still has its head";
    "aivdm" "refuses", |m, _, _| m.field(3) == "A", "we", "the sequence identifier of a single sentence means nothing";
    "aivdm" "refuses", |m, _, _| m.field(6) == "6", "we", "wrong fill bits can only hide half a character";
    "aivdm" "dimension_a_m|dimension_b_m|dimension_c_m|dimension_d_m", craft, "we", "a craft of a parent ship carries its parent's identity there";
    "aivdm" "off_position", no_second, "we", "M.1371-5 message 21: to be believed only with a second of 0 to 59";
    "aivdm" "latitude_deg", no_such_place, "we", "latitude beyond 90° or longitude beyond 180° is reserved";
    "aivdm" "longitude_deg", no_such_place, "we", "latitude beyond 90° or longitude beyond 180° is reserved";
    "aivdm" "heading_deg", |_, a, b| beyond(359.0)(a, b), "we", "360 to 510 are reserved";
    "aivdm" "imo", no_imo_number, "we", "M.1371-5 message 5: an IMO number has seven digits; less is not used, more is a flag state's number";
    "aivdm" "name|destination", beyond_at, "we", "@ ends a text";
    "aivdm" "text", beyond_at, "we", "@ ends a text";
    "aivdm" "name", inner_blank, "we", "a blank at the end of the name stays before its extension";

    "ais" "refuses", head_only, "each", "a type that we tell by its head only, and they do not read";
    "ais" "refuses", short, "we", "a short message gives the fields that are whole";
    "ais" "refuses", |m, _, _| m.kind() == 12 && m.bits() <= 84, "we", "a text of one or two characters is a text";
    "ais" "refuses", |m, _, _| m.field(3) == "A", "we", "the sequence identifier of a single sentence means nothing";
    "ais" "refuses", |m, _, _| m.field(6) == "6", "we", "wrong fill bits can only hide half a character";
    "ais" "dimension_a_m|dimension_b_m|dimension_c_m|dimension_d_m", craft, "we", "a craft of a parent ship carries its parent's identity there";
    "ais" "off_position", no_second, "we", "M.1371-5 message 21: to be believed only with a second of 0 to 59";
    "ais" "rate_of_turn_deg_min", unsigned, "we", "turning to port is negative; the library tells the side apart from the rate";
    "ais" "latitude_deg", no_such_place, "we", "latitude beyond 90° or longitude beyond 180° is reserved";
    "ais" "longitude_deg", no_such_place, "we", "latitude beyond 90° or longitude beyond 180° is reserved";
    "ais" "heading_deg", |_, a, b| beyond(359.0)(a, b), "we", "360 to 510 are reserved";
    "ais" "cog_deg", |_, a, b| beyond(359.9)(a, b), "we", "360 and more are reserved or not available";
    "ais" "imo", no_imo_number, "we", "M.1371-5 message 5: an IMO number has seven digits; less is not used, more is a flag state's number";
    "ais" "name|destination", beyond_at, "we", "@ ends a text";
    "ais" "text", beyond_at, "we", "@ ends a text";
    "ais" "text", part_character, "we", "a character of fewer than six bits is none";
    "ais" "name", extension, "we", "the library leaves the extension of the name of message 21 out";
    "ais" "virtual_aid", missing_bits, "we", "bits that are not there are no answer";
    "ais" "call_sign", |m, a, b| missing_bits(m, a, b) || beyond_at(m, a, b), "we", "@ ends a text";
    "ais" "dimension_c_m", short, "we", "bits that are not there are no answer";
    "ais" "dimension_d_m", short, "we", "bits that are not there are no answer";

    "nmea-0183-rs" "refuses", head_only, "each", "a type that we tell by its head only, and short or unknown for them";
    "nmea-0183-rs" "refuses", short, "we", "a short message gives the fields that are whole";
    "nmea-0183-rs" "refuses", |m, _, _| m.kind() == 24 && m.said["part"].is_null(), "each", "a part of message 24 that is reserved still has its head";
    "nmea-0183-rs" "refuses", |m, _, _| m.lines[0].starts_with('$'), "each", "VDM begins with !, but its checksum holds and a beacon may be in it";
    "nmea-0183-rs" "refuses", |m, _, _| m.field(6) == "6", "we", "wrong fill bits can only hide half a character";
    "nmea-0183-rs" "refuses", |m, _, _| m.field(3).is_empty() && m.lines.len() > 1, "each", "parts without a sequence identifier, in order and alone, are one message";
    "nmea-0183-rs" "dimension_a_m|dimension_b_m|dimension_c_m|dimension_d_m", craft, "we", "a craft of a parent ship carries its parent's identity there";
    "nmea-0183-rs" "off_position", no_second, "we", "M.1371-5 message 21: to be believed only with a second of 0 to 59";
    "nmea-0183-rs" "rate_of_turn_deg_min", raw_turn, "we", "the library hands out the raw number, not degrees a minute";
    "nmea-0183-rs" "imo", no_imo_number, "we", "M.1371-5 message 5: an IMO number has seven digits; less is not used, more is a flag state's number";
    "nmea-0183-rs" "name|destination", beyond_at, "we", "@ ends a text";
    "nmea-0183-rs" "text", beyond_at, "we", "@ ends a text";
    "nmea-0183-rs" "name", inner_blank, "we", "a blank at the end of the name stays before its extension";

    "nmea-parser" "refuses", head_only, "each", "a type that we tell by its head only, and they do not read";
    "nmea-parser" "refuses", |m, _, _| matches!(m.kind(), 4 | 11), "we", "a date that is not available or odd does not take the position with it";
    "nmea-parser" "refuses", |m, _, _| m.kind() == 19, "we", "the library does not read message 19";
    "nmea-parser" "refuses", |m, _, _| m.lines[0].starts_with('$'), "each", "VDM begins with !, but its checksum holds and a beacon may be in it";
    "nmea-parser" "refuses", |m, _, _| m.kind() == 24, "we", "a part of message 24 that is reserved, or short, still has its head";
    "nmea-parser" "text", part_character, "we", "a character of fewer than six bits is none";
    "nmea-parser" "latitude_deg", no_such_place, "we", "beyond 90° or 180°, or bits that are not there read as zeros";
    "nmea-parser" "longitude_deg", no_such_place, "we", "beyond 90° or 180°, or bits that are not there read as zeros";
    "nmea-parser" "cog_deg", missing_bits, "we", "bits that are not there read as zeros";
    "nmea-parser" "heading_deg", missing_bits, "we", "bits that are not there read as zeros";
};

/// A formatter that the library does not know.
fn unknown(known: &'static [&'static str]) -> impl Fn(&Message) -> bool {
    move |m| !known.contains(&m.formatter.as_str())
}

/// A mode indicator N, which says that there is no fix whatever the status is.
fn mode_n(m: &Message, ours: &Value, theirs: &Value) -> bool {
    ours.is_null() && theirs.is_number() && m.formatter == "RMC" && m.field(12) == "N"
}

/// Formatters that crate nmea reads.
const NMEA: &[&str] =
    &["DBS", "DPT", "GGA", "GLL", "GNS", "HDT", "MDA", "MTW", "MWV", "RMC", "TTM", "VHW", "VTG", "ZDA"];
/// Formatters that nmea-parser reads.
const NMEA_PARSER: &[&str] =
    &["DBS", "DPT", "GGA", "GLL", "GNS", "HDT", "MTW", "MWV", "RMC", "VBW", "VHW", "VTG", "ZDA"];

/// Degrees and minutes that are not written as `ddmm.mmm`.
fn odd_place(m: &Message, ours: &Value, theirs: &Value) -> bool {
    let at = if m.formatter == "RMC" { 3 } else { 2 };
    ours.is_null() && theirs.is_number() && m.field(at).find('.') != Some(4)
}

/// An odd position beside good fields, or a checksum in lower case.
fn odd_place_or_lower_case(m: &Message, _: &Value, _: &Value) -> bool {
    m.formatter == "GGA" || m.lines[0].ends_with(|c: char| c.is_ascii_lowercase())
}

/// Nothing in it is valid, by our reading too; its time may be.
fn empty(m: &Message, _: &Value, _: &Value) -> bool {
    let values = m.said.as_object().into_iter().flatten();
    let values = values.filter(|(name, _)| !matches!(name.as_str(), "time" | "quality" | "reference"));
    values.map(|(_, value)| value).all(Value::is_null)
}

pub const INSTRUMENTS: &[Explained] = explained! {
    "nmea" "refuses", empty, "each", "void or empty: no value for us, an error for them";
    "nmea" "refuses", |m, _, _| matches!(m.formatter.as_str(), "GLL" | "GNS" | "DPT" | "DBS" | "VTG"), "we", "fewer or more fields, as editions of the standard have them, are read as far as they go";
    "nmea" "refuses", |m, _, _| m.formatter == "RMC" && m.field(12) == "S", "each", "a simulator's sentence without a status, on a feed that is declared a simulator";
    "nmea" "refuses", |m, _, _| unknown(NMEA)(m), "each", "the library does not read this formatter";
    "nmea" "latitude_deg", mode_n, "we", "mode N is no fix";
    "nmea" "longitude_deg", mode_n, "we", "mode N is no fix";
    "nmea" "latitude_deg", odd_place, "we", "decimal degrees in the place of degrees and minutes are no position";
    "nmea" "longitude_deg", odd_place, "we", "decimal degrees in the place of degrees and minutes are no position";
    "nmea" "cog_deg", |_, a, b| a == 0.0 && b == 360.0, "each", "north is 0 here";

    "nmea-0183-rs" "cog_deg", |_, a, b| a == 0.0 && b == 360.0, "each", "north is 0 here";
    "nmea-0183-rs" "water_temperature_c", |m, a, _| a.is_null() && m.field(2) != "C", "we", "a unit that is not C is no Celsius";

    "nmea-0183-rs" "latitude_deg", odd_place, "we", "decimal degrees in the place of degrees and minutes are no position";
    "nmea-0183-rs" "longitude_deg", odd_place, "we", "decimal degrees in the place of degrees and minutes are no position";

    "nmea-parser" "refuses", empty, "each", "void or empty: no value for us, an error for them";
    "nmea-parser" "refuses", odd_place_or_lower_case, "we", "a good field beside an odd one is a value; hexadecimal has both cases";
    "nmea-parser" "refuses", |m, _, _| unknown(NMEA_PARSER)(m), "each", "the library does not read this formatter";
    "nmea-parser" "latitude_deg", mode_n, "we", "mode N is no fix";
    "nmea-parser" "longitude_deg", mode_n, "we", "mode N is no fix";
    "nmea-parser" "cog_deg", |_, a, b| a == 0.0 && b == 360.0, "each", "north is 0 here";
    "nmea-parser" "water_temperature_c", |m, a, _| a.is_null() && m.field(2) != "C", "we", "a unit that is not C is no Celsius";
    "nmea-parser" "satellites", |m, a, _| a.is_null() && m.formatter == "GNS", "we", "no system has a fix: no value";
    "nmea-parser" "hdop", |m, a, _| a.is_null() && m.formatter == "GNS", "we", "no system has a fix: no value";
};
