//! AIS messages to VDM and VDO sentences. Bit numbers and special values are those of the decoder.

use super::line;
use crate::ais::{AisReport, PositionSource};
use terms::{Mmsi, Position};

/// Most armour characters in one sentence, so that a line stays within the 82 characters of IEC 61162-1.
const PART: usize = 60;

/// Bits placed one after another.
#[derive(Default)]
struct Writer {
    sixes: Vec<u8>,
    len: usize,
}

impl Writer {
    /// The lowest `len` bits of a number.
    fn u(&mut self, len: usize, number: u32) {
        for bit in (0..len).rev() {
            if self.len.is_multiple_of(6) {
                self.sixes.push(0);
            }
            if let Some(last) = self.sixes.last_mut() {
                *last |= ((u64::from(number) >> bit & 1) as u8) << (5 - self.len % 6);
            }
            self.len += 1;
        }
    }

    fn i(&mut self, len: usize, number: i32) {
        self.u(len, number as u32);
    }

    fn flag(&mut self, flag: Option<bool>) {
        self.u(1, u32::from(flag == Some(true)));
    }

    /// Six-bit text of a fixed length, padded with `@`; a character the code lacks becomes `?`.
    fn text(&mut self, characters: usize, text: Option<&str>) {
        let mut text = text.unwrap_or_default().chars();
        for _ in 0..characters {
            self.u(6, text.next().map_or(0, six));
        }
    }

    fn finish(self) -> (String, usize) {
        let armour = |six: &u8| (if *six < 40 { six + 48 } else { six + 56 }) as char;
        (self.sixes.iter().map(armour).collect(), self.sixes.len() * 6 - self.len)
    }
}

/// Six-bit code of a character.
fn six(character: char) -> u32 {
    match character.to_ascii_uppercase() {
        c @ '@'..='_' => c as u32 - 64,
        c @ ' '..='?' => c as u32,
        _ => u32::from(b'?'),
    }
}

/// The sentences of one message: several if it is long. `sequence` (0 to 9) joins those, `channel` is A or B. Types
/// whose content is not kept give only their head. VDO if the report is own vessel's.
pub fn ais(report: &AisReport, talker: &str, channel: char, sequence: u8) -> Vec<String> {
    let mut w = Writer::default();
    w.u(6, report.message.into());
    w.u(2, report.repeat.into());
    w.u(30, report.mmsi.number());
    match report.message {
        1..=3 => class_a(&mut w, report),
        4 | 11 => base(&mut w, report),
        5 => voyage(&mut w, report),
        9 => search_aircraft(&mut w, report),
        12 => {
            w.u(2, 0);
            w.u(30, report.addressee.map_or(0, Mmsi::number));
            w.u(2, 0);
            text(&mut w, report, 156);
        }
        14 => {
            w.u(2, 0);
            text(&mut w, report, 161);
        }
        18 => class_b(&mut w, report),
        19 => class_b_extended(&mut w, report),
        21 => aid(&mut w, report),
        24 => part(&mut w, report),
        27 => long_range(&mut w, report),
        _ => {}
    }
    let (payload, fill) = w.finish();
    let formatter = if report.own_vessel { "VDO" } else { "VDM" };
    let parts = payload.len().div_ceil(PART).max(1);
    let (channel, count) = (channel.to_string(), parts.to_string());
    let sequence = if parts > 1 { (sequence % 10).to_string() } else { String::new() };
    (0..parts)
        .map(|n| {
            let piece = payload.get(n * PART..payload.len().min((n + 1) * PART)).unwrap_or_default();
            let fill = if n + 1 == parts { fill } else { 0 }.to_string();
            line('!', talker, formatter, &[&count, &(n + 1).to_string(), &sequence, &channel, piece, &fill])
        })
        .collect()
}

/// Text at its actual length.
fn text(w: &mut Writer, report: &AisReport, most: usize) {
    let text = report.text.as_deref().unwrap_or_default();
    w.text(text.chars().count().min(most), Some(text));
}

/// A number in steps, or the value for "not available".
fn steps(value: Option<f64>, per_unit: f64, most: u32, none: u32) -> u32 {
    value.map_or(none, |v| ((v * per_unit).round().max(0.0) as u32).min(most))
}

fn place(w: &mut Writer, report: &AisReport) {
    w.flag(report.position_accurate);
    degrees(w, report.position, 600_000.0, [28, 27]);
}

/// Longitude, latitude; 181° and 91° if there is none.
fn degrees(w: &mut Writer, position: Option<Position>, per_deg: f64, [lon, lat]: [usize; 2]) {
    let (latitude, longitude) = position.map_or((91.0, 181.0), |p| (p.latitude_deg(), p.longitude_deg()));
    w.i(lon, (longitude * per_deg).round() as i32);
    w.i(lat, (latitude * per_deg).round() as i32);
}

fn course(report: &AisReport) -> u32 {
    report.cog_deg.map_or(3600, |deg| (deg * 10.0).round() as u32 % 3600)
}

fn second(w: &mut Writer, report: &AisReport) {
    let special = match report.position_source {
        Some(PositionSource::Manual) => 61,
        Some(PositionSource::DeadReckoning) => 62,
        Some(PositionSource::Inoperative) => 63,
        _ => 60,
    };
    w.u(6, report.utc_second.map_or(special, u32::from));
}

fn class_a(w: &mut Writer, report: &AisReport) {
    w.u(4, report.nav_status.unwrap_or(15).into());
    let turn = report.rate_of_turn_deg_min.map_or(-128, |rot| {
        let raw = (4.733 * rot.abs().sqrt()).round().min(126.0) as i32;
        if rot < 0.0 { -raw } else { raw }
    });
    w.i(8, turn);
    w.u(10, steps(report.sog_kn, 10.0, 1022, 1023));
    place(w, report);
    w.u(12, course(report));
    w.u(9, report.heading_deg.unwrap_or(511).into());
    second(w, report);
    w.u(2, report.special_manoeuvre.map_or(0, |engaged| 1 + u32::from(engaged)));
    w.u(3, 0);
    w.flag(report.raim_flag);
    w.u(19, 0);
}

fn base(w: &mut Writer, report: &AisReport) {
    use chrono::{Datelike, Timelike};
    match report.utc.and_then(|utc| utc.civil()) {
        Some(t) => {
            w.i(14, t.year());
            w.u(4, t.month());
            w.u(5, t.day());
            w.u(5, t.hour());
            w.u(6, t.minute());
            w.u(6, t.second());
        }
        None => {
            w.u(14 + 4 + 5, 0);
            w.u(5, 24);
            w.u(6, 60);
            w.u(6, 60);
        }
    }
    place(w, report);
    w.u(4 + 1 + 9, 0);
    w.flag(report.raim_flag);
    w.u(19, 0);
}

fn dimensions(w: &mut Writer, report: &AisReport) {
    let metres = |dimension: Option<u16>, most: u16| u32::from(dimension.unwrap_or(0).min(most));
    w.u(9, metres(report.dimension_a_m, 511));
    w.u(9, metres(report.dimension_b_m, 511));
    w.u(6, metres(report.dimension_c_m, 63));
    w.u(6, metres(report.dimension_d_m, 63));
}

fn voyage(w: &mut Writer, report: &AisReport) {
    w.u(2, 0);
    w.u(30, report.imo.unwrap_or(0));
    w.text(7, report.call_sign.as_deref());
    w.text(20, report.name.as_deref());
    w.u(8, report.ship_type.unwrap_or(0).into());
    dimensions(w, report);
    w.u(4, 0);
    w.u(4, report.eta.map_or(0, |eta| eta.month).into());
    w.u(5, report.eta.map_or(0, |eta| eta.day).into());
    w.u(5, report.eta.and_then(|eta| eta.hour).unwrap_or(24).into());
    w.u(6, report.eta.and_then(|eta| eta.minute).unwrap_or(60).into());
    w.u(8, steps(report.draught_m, 10.0, 255, 0));
    w.text(20, report.destination.as_deref());
    w.u(2, 0);
}

fn search_aircraft(w: &mut Writer, report: &AisReport) {
    w.u(12, report.altitude_m.unwrap_or(4095).into());
    w.u(10, steps(report.sog_kn, 1.0, 1022, 1023));
    place(w, report);
    w.u(12, course(report));
    second(w, report);
    w.u(13, 0);
    w.flag(report.raim_flag);
    w.u(20, 0);
}

fn class_b_head(w: &mut Writer, report: &AisReport) {
    w.u(8, 0);
    w.u(10, steps(report.sog_kn, 10.0, 1022, 1023));
    place(w, report);
    w.u(12, course(report));
    w.u(9, report.heading_deg.unwrap_or(511).into());
    second(w, report);
}

fn class_b(w: &mut Writer, report: &AisReport) {
    class_b_head(w, report);
    // Unit "CS", band and channel flags, as most of these sets have them.
    w.u(8, 0b0010_1110);
    w.flag(report.raim_flag);
    w.u(20, 0);
}

fn class_b_extended(w: &mut Writer, report: &AisReport) {
    class_b_head(w, report);
    w.u(4, 0);
    w.text(20, report.name.as_deref());
    w.u(8, report.ship_type.unwrap_or(0).into());
    dimensions(w, report);
    w.u(4, 0);
    w.flag(report.raim_flag);
    w.u(6, 0);
}

fn aid(w: &mut Writer, report: &AisReport) {
    w.u(5, report.aid_type.unwrap_or(0).into());
    w.text(20, report.name.as_deref());
    place(w, report);
    dimensions(w, report);
    w.u(4, 0);
    second(w, report);
    w.flag(report.off_position);
    w.u(8, 0);
    w.flag(report.raim_flag);
    w.flag(report.virtual_aid);
    w.u(2, 0);
    let name = report.name.as_deref().unwrap_or_default();
    let extension: String = name.chars().skip(20).take(14).collect();
    w.text(extension.chars().count(), Some(&extension));
}

fn part(w: &mut Writer, report: &AisReport) {
    if report.part == Some('B') {
        w.u(2, 1);
        w.u(8, report.ship_type.unwrap_or(0).into());
        w.u(42, 0);
        w.text(7, report.call_sign.as_deref());
        if report.mmsi.number() / 10_000_000 == 98 {
            w.u(30, report.mother_ship.map_or(0, Mmsi::number));
        } else {
            dimensions(w, report);
        }
        w.u(6, 0);
    } else {
        w.u(2, 0);
        w.text(20, report.name.as_deref());
        w.u(8, 0);
    }
}

fn long_range(w: &mut Writer, report: &AisReport) {
    w.flag(report.position_accurate);
    w.flag(report.raim_flag);
    w.u(4, report.nav_status.unwrap_or(15).into());
    degrees(w, report.position, 600.0, [18, 17]);
    w.u(6, steps(report.sog_kn, 1.0, 62, 63));
    w.u(9, report.cog_deg.map_or(511, |deg| deg.round() as u32 % 360));
    w.u(2, 0);
}
