//! Two crates for instruments, their answers under this crate's names and units.

use super::{Library, Said, number};
use serde_json::Value;

pub const LIBRARIES: &[Library] =
    &[("nmea-0183-rs", nmea_0183_rs), ("nmea", nmea), ("nmea-parser", nmea_parser)];

fn place(said: &mut Said, latitude: Option<f64>, longitude: Option<f64>) {
    let both = latitude.zip(longitude);
    said.push(("latitude_deg", number(both.map(|p| p.0))));
    said.push(("longitude_deg", number(both.map(|p| p.1))));
}

/// Degrees of `ddmm.mmm` with its side.
fn degrees(value: Option<f64>, side: Option<char>) -> Option<f64> {
    let value = value?;
    let degrees = (value / 100.0).trunc();
    let degrees = degrees + (value - degrees * 100.0) / 60.0;
    Some(if matches!(side?, 'S' | 'W') { -degrees } else { degrees })
}

/// An angle off the bow as this crate writes it.
fn off_bow(angle: Option<f32>) -> Value {
    number(angle.map(|a| if a > 180.0 { a - 360.0 } else { a }))
}

fn sided(value: Option<f32>, side: Option<char>, minus: char) -> Value {
    number(value.zip(side).map(|(v, s)| if s == minus { -v } else { v }))
}

fn nmea_0183_rs(lines: &[String]) -> Option<Said> {
    use nmea_0183_rs::NmeaSentence as S;
    let frame = nmea_0183_rs::parse_frame(lines.first()?).ok()?;
    let mut s = Said::new();
    match S::parse(&frame) {
        // The crate hands out the fields as sent: the status is for its user to look at, so it is looked at here.
        S::Rmc(m) if m.status == Some('A') && m.pos_mode != Some('N') || m.pos_mode == Some('S') => {
            place(&mut s, degrees(m.lat, m.ns), degrees(m.lon, m.ew));
            s.push(("sog_kn", number(m.sog)));
            s.push(("cog_deg", number(m.cog)));
            s.push(("variation_deg", sided(m.mag_var, m.mag_var_ew, 'W')));
        }
        S::Gga(m) if m.quality.is_some_and(|q| q != 0) => {
            place(&mut s, degrees(m.lat, m.ns), degrees(m.lon, m.ew));
            s.push(("satellites", number(m.num_sats)));
            s.push(("hdop", number(m.hdop)));
        }
        S::Gll(m) if m.status == Some('A') && m.mode != Some('N') => {
            place(&mut s, degrees(m.lat, m.ns), degrees(m.lon, m.ew));
        }
        S::Vtg(m) if m.mode != Some('N') => {
            s.push(("cog_deg", number(m.course_true)));
            s.push(("cog_magnetic_deg", number(m.course_mag)));
            s.push(("sog_kn", number(m.speed_kts)));
        }
        S::Hdt(m) => s.push(("true_deg", number(m.heading_true))),
        S::Hdm(m) => s.push(("magnetic_deg", number(m.heading_mag))),
        S::Hdg(m) => {
            s.push(("magnetic_deg", number(m.heading_mag)));
            s.push(("deviation_deg", sided(m.deviation, m.deviation_ew, 'W')));
            s.push(("variation_deg", sided(m.variation, m.variation_ew, 'W')));
        }
        S::Vhw(m) => {
            s.push(("true_deg", number(m.heading_true)));
            s.push(("magnetic_deg", number(m.heading_mag)));
            s.push(("speed_through_water_kn", number(m.speed_kts)));
        }
        S::Dpt(m) => {
            s.push(("below_transducer_m", number(m.depth)));
            s.push(("offset_m", number(m.offset)));
        }
        S::Dbt(m) if m.depth_meters.is_some() => s.push(("below_transducer_m", number(m.depth_meters))),
        S::Dbs(m) if m.depth_meters.is_some() => s.push(("below_surface_m", number(m.depth_meters))),
        S::Mwv(m) if m.status == Some('A') => {
            s.push(("angle_deg", off_bow(m.wind_angle)));
            if m.speed_units == Some('N') {
                s.push(("speed_kn", number(m.wind_speed)));
            }
        }
        S::Mtw(m) => s.push(("water_temperature_c", number(m.temperature))),
        S::Rot(m) if m.valid == Some('A') => s.push(("rate_of_turn_deg_min", number(m.rate_of_turn))),
        _ => {}
    }
    Some(s)
}

fn nmea(lines: &[String]) -> Option<Said> {
    use nmea::ParseResult as R;
    use nmea::sentences::rmc::RmcStatusOfFix;
    let mut s = Said::new();
    match nmea::parse_str(lines.first()?).ok()? {
        R::RMC(m) if m.status_of_fix != RmcStatusOfFix::Invalid => {
            place(&mut s, m.lat, m.lon);
            s.push(("sog_kn", number(m.speed_over_ground)));
            s.push(("cog_deg", number(m.true_course)));
            s.push(("variation_deg", number(m.magnetic_variation)));
        }
        R::GGA(m) if m.fix_type.is_some_and(|t| t != nmea::sentences::FixType::Invalid) => {
            place(&mut s, m.latitude, m.longitude);
            s.push(("satellites", number(m.fix_satellites)));
            s.push(("hdop", number(m.hdop)));
        }
        R::GLL(m) if m.valid => place(&mut s, m.latitude, m.longitude),
        R::VTG(m) => {
            s.push(("cog_deg", number(m.true_course)));
            s.push(("sog_kn", number(m.speed_over_ground)));
        }
        R::HDT(m) => s.push(("true_deg", number(m.heading))),
        R::VHW(m) => {
            s.push(("true_deg", number(m.heading_true)));
            s.push(("magnetic_deg", number(m.heading_magnetic)));
            s.push(("speed_through_water_kn", number(m.relative_speed_knots)));
        }
        R::DPT(m) => {
            s.push(("below_transducer_m", number(m.water_depth)));
            s.push(("offset_m", number(m.offset)));
        }
        R::MWV(m) if m.data_valid => s.push(("angle_deg", off_bow(m.wind_direction))),
        R::MTW(m) => s.push(("water_temperature_c", number(m.temperature))),
        R::Unsupported(_) => return None,
        _ => {}
    }
    Some(s)
}

fn nmea_parser(lines: &[String]) -> Option<Said> {
    use nmea_parser::ParsedMessage as M;
    let mut s = Said::new();
    match nmea_parser::NmeaParser::new().parse_sentence(lines.first()?).ok()? {
        M::Rmc(m) if m.status_active == Some(true) => {
            place(&mut s, m.latitude, m.longitude);
            s.push(("sog_kn", number(m.sog_knots)));
            s.push(("cog_deg", number(m.bearing)));
            s.push(("variation_deg", number(m.variation)));
        }
        M::Gga(m) if m.quality != nmea_parser::gnss::GgaQualityIndicator::Invalid => {
            place(&mut s, m.latitude, m.longitude);
            s.push(("satellites", number(m.satellite_count)));
            s.push(("hdop", number(m.hdop)));
        }
        M::Gns(m) => {
            place(&mut s, m.latitude, m.longitude);
            s.push(("satellites", number(m.satellite_count)));
            s.push(("hdop", number(m.hdop)));
        }
        M::Vtg(m) => {
            s.push(("cog_deg", number(m.cog_true)));
            s.push(("sog_kn", number(m.sog_knots)));
        }
        M::Hdt(m) => s.push(("true_deg", number(m.heading_true))),
        M::Vhw(m) => {
            s.push(("true_deg", number(m.heading_true)));
            s.push(("speed_through_water_kn", number(m.speed_through_water_knots)));
        }
        M::Dpt(m) => s.push(("below_transducer_m", number(m.depth_relative_to_transducer))),
        M::Mtw(m) => s.push(("water_temperature_c", number(m.temperature))),
        _ => {}
    }
    Some(s)
}
