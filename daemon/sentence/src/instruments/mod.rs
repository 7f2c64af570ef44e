//! The sentences of instruments (IEC 61162-1 clause 8.3), one function each, in the order of their fields there.
//!
//! Bounds: a number beyond what the sea and its instruments can show is no value. They are physical bounds with room to
//! spare, not limits of seamanship: depth 12,000 m (the deepest trench has some 10,900), air −100 to 100 °C, water −10
//! to 100 °C, pressure 800 to 1100 hPa (the records are 870 and 1085), speeds 1022 kn.

mod alert;
mod distress;
mod fix;
mod navtex;
mod plan;
mod radar;
mod time;
mod water;
mod way;
mod weather;
mod wind;

pub(crate) use alert::AlertParts;

use crate::decoder::DecoderOptions;
use crate::fields::letter;
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
/// Nautical miles in a kilometre, and in a statute mile: the same numbers as of the speeds.
const NM_PER_KM: f64 = KN_PER_KM_H;
const NM_PER_MILE: f64 = KN_PER_MPH;

/// The letter A for valid; anything else, or nothing, is not.
fn valid(status: &[u8]) -> bool {
    letter(status) == Some(b'A')
}

/// The meaning of a sentence; see the module.
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
        b"GNS" => Report::Fix(fix::gns(sentence, options)?),
        b"ZDA" => time::zda(sentence),
        b"HDM" => Report::Heading(way::hdm(sentence)),
        b"THS" => Report::Heading(way::ths(sentence, options)?),
        b"VBW" => way::vbw(sentence),
        b"ROT" => way::rot(sentence),
        b"RSA" => way::rsa(sentence),
        b"RPM" => way::rpm(sentence),
        b"XTE" => way::xte(sentence, options)?,
        b"DBS" => Report::Depth(water::dbs(sentence)),
        b"MWD" => Report::Wind(wind::mwd(sentence)),
        b"VWR" => Report::Wind(wind::vwr(sentence)),
        b"MTW" => Report::Weather(weather::mtw(sentence)),
        b"MDA" => Report::Weather(weather::mda(sentence)),
        b"XDR" => weather::xdr(sentence),
        b"RMB" => plan::rmb(sentence, options)?,
        b"APB" => plan::apb(sentence, options)?,
        b"BWC" | b"BWR" => plan::bwc(sentence, options)?,
        b"BOD" => plan::bod(sentence),
        b"AAM" => plan::aam(sentence),
        b"WPL" => plan::wpl(sentence),
        b"RTE" => plan::rte(sentence),
        b"MOB" => Report::Overboard(distress::mob(sentence)),
        b"DSC" => Report::SelectiveCall(distress::dsc(sentence)),
        b"DSE" => Report::CallExpansion(distress::dse(sentence)),
        b"NRX" => navtex::nrx(sentence).map_or(Report::Unread, Report::Navtex),
        b"TTM" => Report::RadarPlot(radar::ttm(sentence)),
        b"TLL" => Report::RadarPlot(radar::tll(sentence)),
        b"ALR" => Report::DeviceAlert(alert::alr(sentence)),
        b"ACK" => Report::DeviceAlert(alert::ack(sentence)),
        b"ACN" => Report::DeviceAlert(alert::acn(sentence)),
        b"HBT" => alert::hbt(sentence),
        _ => Report::Unread,
    })
}
