//! Sentences of instruments (IEC 61162-1), fields in the order of the standard.

use super::Fields;
use crate::report::{
    Depth, Fix, FixQuality, Heading, RadarPlot, SentTime, Transducer, Weather, Wind, WindReference,
};
use terms::{Utc, normal_deg};

/// The moment of a fix, if it has a date.
fn utc(fix: &Fix) -> Option<Utc> {
    match fix.time? {
        SentTime::Utc(utc) => Some(utc),
        SentTime::OfDayMs(ms) => Some(Utc(ms.into())),
    }
}

/// Status and mode of a fix: V and N if there is no position, also V for anything not measured.
fn validity(fix: &Fix, usable: bool) -> [&'static str; 2] {
    let mode = match fix.quality {
        Some(FixQuality::Autonomous) | None => ["A", "A"],
        Some(FixQuality::Differential) => ["A", "D"],
        Some(FixQuality::Precise) => ["A", "P"],
        Some(FixQuality::Estimated) => ["V", "E"],
        Some(FixQuality::Manual) => ["V", "M"],
        Some(FixQuality::Simulator) => ["V", "S"],
    };
    if usable { mode } else { ["V", "N"] }
}

/// RMC; status V if there is no position.
pub fn rmc(talker: &str, fix: &Fix) -> String {
    let [status, mode] = validity(fix, fix.position.is_some());
    let date = match fix.time {
        Some(SentTime::Utc(utc)) => utc.civil().map(|t| t.format("%d%m%y").to_string()),
        _ => None,
    };
    Fields::default()
        .time(utc(fix))
        .text(status)
        .position(fix.position)
        .number(fix.sog_kn, 2)
        .number(fix.cog_deg, 1)
        .maybe(date)
        .sided(fix.variation_deg, 1, ["E", "W"])
        .text(mode)
        .seal(talker, "RMC")
}

/// GGA; quality 0 if there is no position.
pub fn gga(talker: &str, fix: &Fix) -> String {
    let quality = match fix.quality {
        _ if fix.position.is_none() => "0",
        Some(FixQuality::Autonomous) | None => "1",
        Some(FixQuality::Differential) => "2",
        Some(FixQuality::Precise) => "4",
        Some(FixQuality::Estimated) => "6",
        Some(FixQuality::Manual) => "7",
        Some(FixQuality::Simulator) => "8",
    };
    Fields::default()
        .time(utc(fix))
        .position(fix.position)
        .text(quality)
        .maybe(fix.satellites.map(|n| format!("{n:02}")))
        .number(fix.hdop, 1)
        .text("")
        .text("M")
        .text("")
        .text("M")
        .text("")
        .text("")
        .seal(talker, "GGA")
}

/// GLL; status V if there is no position.
pub fn gll(talker: &str, fix: &Fix) -> String {
    let [status, mode] = validity(fix, fix.position.is_some());
    Fields::default().position(fix.position).time(utc(fix)).text(status).text(mode).seal(talker, "GLL")
}

/// VTG; mode N if there is neither course nor speed.
pub fn vtg(talker: &str, fix: &Fix) -> String {
    let [_, mode] = validity(fix, fix.sog_kn.is_some() || fix.cog_deg.is_some());
    Fields::default()
        .number(fix.cog_deg, 1)
        .text("T")
        .number(fix.cog_magnetic_deg, 1)
        .text("M")
        .number(fix.sog_kn, 2)
        .text("N")
        .number(fix.sog_kn.map(|kn| kn * 1.852), 2)
        .text("K")
        .text(mode)
        .seal(talker, "VTG")
}

/// ZDA, in UTC.
pub fn zda(talker: &str, utc: Utc) -> String {
    let date = utc.civil().map(|t| t.format("%d,%m,%Y").to_string()).unwrap_or_default();
    let mut date = date.split(',').map(str::to_owned);
    Fields::default()
        .time(Some(utc))
        .maybe(date.next())
        .maybe(date.next())
        .maybe(date.next())
        .text("00")
        .text("00")
        .seal(talker, "ZDA")
}

/// HDT.
pub fn hdt(talker: &str, true_deg: Option<f64>) -> String {
    Fields::default().number(true_deg, 1).text("T").seal(talker, "HDT")
}

/// HDM.
pub fn hdm(talker: &str, magnetic_deg: Option<f64>) -> String {
    Fields::default().number(magnetic_deg, 1).text("M").seal(talker, "HDM")
}

/// HDG.
pub fn hdg(talker: &str, heading: &Heading) -> String {
    Fields::default()
        .number(heading.magnetic_deg, 1)
        .sided(heading.deviation_deg, 1, ["E", "W"])
        .sided(heading.variation_deg, 1, ["E", "W"])
        .seal(talker, "HDG")
}

/// VHW.
pub fn vhw(talker: &str, speed_kn: Option<f64>, heading: &Heading) -> String {
    Fields::default()
        .number(heading.true_deg, 1)
        .text("T")
        .number(heading.magnetic_deg, 1)
        .text("M")
        .number(speed_kn, 2)
        .text("N")
        .number(speed_kn.map(|kn| kn * 1.852), 2)
        .text("K")
        .seal(talker, "VHW")
}

/// ROT; status V if there is none.
pub fn rot(talker: &str, rate_of_turn_deg_min: Option<f64>) -> String {
    let status = if rate_of_turn_deg_min.is_some() { "A" } else { "V" };
    Fields::default().number(rate_of_turn_deg_min, 1).text(status).seal(talker, "ROT")
}

/// XTE; status V if there is none.
pub fn xte(talker: &str, cross_track_error_nm: Option<f64>) -> String {
    let status = if cross_track_error_nm.is_some() { "A" } else { "V" };
    Fields::default()
        .text(status)
        .text(status)
        .sided(cross_track_error_nm, 3, ["R", "L"])
        .text("N")
        .seal(talker, "XTE")
}

/// DPT.
pub fn dpt(talker: &str, depth: &Depth) -> String {
    Fields::default()
        .number(depth.below_transducer_m, 1)
        .number(depth.offset_m, 1)
        .text("")
        .seal(talker, "DPT")
}

/// DBT.
pub fn dbt(talker: &str, depth: &Depth) -> String {
    let metres = depth.below_transducer_m;
    Fields::default()
        .number(metres.map(|m| m / 0.3048), 1)
        .text("f")
        .number(metres, 1)
        .text("M")
        .number(metres.map(|m| m / 1.8288), 1)
        .text("F")
        .seal(talker, "DBT")
}

/// MWV: apparent or true wind. Status V if there is no angle.
pub fn mwv(talker: &str, wind: &Wind) -> String {
    let reference = if wind.reference == WindReference::True { "T" } else { "R" };
    Fields::default()
        .number(wind.angle_deg.map(normal_deg), 1)
        .text(reference)
        .number(wind.speed_kn, 1)
        .text("N")
        .text(if wind.angle_deg.is_some() { "A" } else { "V" })
        .seal(talker, "MWV")
}

/// MWD: wind over the ground.
pub fn mwd(talker: &str, wind: &Wind) -> String {
    Fields::default()
        .number(wind.direction_deg, 1)
        .text("T")
        .number(wind.direction_magnetic_deg, 1)
        .text("M")
        .number(wind.speed_kn, 1)
        .text("N")
        .number(wind.speed_kn.map(|kn| kn * 1852.0 / 3600.0), 1)
        .text("M")
        .seal(talker, "MWD")
}

/// MTW.
pub fn mtw(talker: &str, water_temperature_c: Option<f64>) -> String {
    Fields::default().number(water_temperature_c, 1).text("C").seal(talker, "MTW")
}

/// MDA.
pub fn mda(talker: &str, weather: &Weather) -> String {
    let mut fields = Fields::default();
    fields
        .number(weather.pressure_hpa.map(|hpa| hpa / 33.863_89), 4)
        .text("I")
        .number(weather.pressure_hpa.map(|hpa| hpa / 1000.0), 4)
        .text("B")
        .number(weather.air_temperature_c, 1)
        .text("C")
        .number(weather.water_temperature_c, 1)
        .text("C");
    for empty in ["", "", "", "C"] {
        fields.text(empty);
    }
    fields
        .number(weather.wind_direction_deg, 1)
        .text("T")
        .text("")
        .text("M")
        .number(weather.wind_speed_kn, 1)
        .text("N")
        .text("")
        .text("M")
        .seal(talker, "MDA")
}

/// XDR. A line of 80 characters holds about four transducers.
pub fn xdr(talker: &str, transducers: &[Transducer]) -> String {
    let mut fields = Fields::default();
    for t in transducers {
        fields
            .text(&t.kind.to_string())
            .maybe(Some(t.value.to_string()))
            .maybe(t.unit.map(String::from))
            .text(&t.name);
    }
    fields.seal(talker, "XDR")
}

/// TTM, in nautical miles and knots.
pub fn ttm(talker: &str, plot: &RadarPlot) -> String {
    let of_day_ms = match plot.time {
        Some(SentTime::Utc(utc)) => Some(utc),
        Some(SentTime::OfDayMs(ms)) => Some(Utc(ms.into())),
        None => None,
    };
    Fields::default()
        .maybe(plot.number.map(|n| format!("{n:02}")))
        .number(plot.range_nm, 2)
        .number(plot.bearing_deg, 1)
        .text(if plot.bearing_relative { "R" } else { "T" })
        .number(plot.speed_kn, 1)
        .number(plot.course_deg, 1)
        .text(if plot.course_relative { "R" } else { "T" })
        .text("")
        .text("")
        .text("N")
        .maybe(plot.name.clone())
        .maybe(plot.status.map(String::from))
        .text("")
        .time(of_day_ms)
        .text("A")
        .seal(talker, "TTM")
}
