//! The sentences of instruments (IEC 61162-1 clause 8.3), one function each, in the order of their fields there.
//!
//! Bounds: a number outside of what the sea and its instruments can show is no value. They are physical
//! bounds with room to spare, not limits of seamanship: depth 12,000 m (the deepest trench has some 10,900), air −100
//! to 100 °C, water −10 to 100 °C, pressure 800 to 1100 hPa (the records are 870 and 1085), speeds 1022 kn.

mod fix;
mod water;
mod way;
mod wind;

use crate::decoder::DecoderOptions;
use crate::refusal::Refusal;
use crate::report::Report;
use crate::sentence::Sentence;

/// Knots in a kilometre an hour (the nautical mile is 1852 m, exactly).
const KN_PER_KM_H: f64 = 1000.0 / 1852.0;
/// Knots in a metre a second.
const KN_PER_M_S: f64 = 3600.0 / 1852.0;
/// Knots in a statute mile (1609.344 m) an hour.
const KN_PER_MPH: f64 = 1609.344 / 1852.0;
/// Metres in a foot, and in a fathom.
const FOOT_M: f64 = 0.3048;
const FATHOM_M: f64 = 1.8288;

pub(crate) fn read(sentence: &Sentence<'_>, options: &DecoderOptions) -> Result<Report, Refusal> {
    Ok(match sentence.formatter_bytes() {
        b"RMC" => Report::Fix(fix::rmc(sentence, options)?),
        b"GGA" => Report::Fix(fix::gga(sentence, options)?),
        b"GLL" => Report::Fix(fix::gll(sentence, options)?),
        b"VTG" => Report::Fix(fix::vtg(sentence, options)?),
        b"HDT" => Report::Heading(way::hdt(sentence)),
        b"HDG" => Report::Heading(way::hdg(sentence)),
        b"VHW" => way::vhw(sentence),
        b"DPT" => Report::Depth(water::dpt(sentence)),
        b"DBT" => Report::Depth(water::dbt(sentence)),
        b"MWV" => Report::Wind(wind::mwv(sentence)),
        _ => Report::Unread,
    })
}
