//! What the bits of a message mean: position reports, and the choice by message type. Bit numbers are those of the
//! tables of ITU-R M.1371-5 annex 8, from 0.
//!
//! A field that is not in the message as a whole, or says "not available", or holds a reserved value, is `None`.

use super::bits::Bits;
use super::report::{AisReport, AreaNotice, PositionSource};
use super::still;
use crate::library;
use crate::refusal::Refusal;
use crate::report::Report;
use terms::{Mmsi, Position, Utc};

/// Unit of latitude and longitude: a ten-thousandth of a minute.
const FINE_PER_DEG: f64 = 600_000.0;
/// Unit of area notices: a thousandth of a minute.
const NOTICE_PER_DEG: f64 = 60_000.0;
/// Unit of message 27: a tenth of a minute.
const COARSE_PER_DEG: f64 = 600.0;

/// Reads a whole message. Any type from 1 to 63 has a head; only those below have more.
pub(super) fn read(bits: &Bits, channel: u8, own_vessel: bool) -> Result<Report, Refusal> {
    let (Some(message), Some(repeat), Some(mmsi)) = (bits.u(0, 6), bits.u(6, 2), bits.u(8, 30)) else {
        return Err(Refusal::ShortPayload);
    };
    let mmsi = Mmsi::new(mmsi).filter(|_| message != 0).ok_or(Refusal::BadHead)?;
    // Both are cut to six and two bits above.
    let mut report = Box::new(AisReport::new(message as u8, repeat as u8, mmsi));
    report.own_vessel = own_vessel;
    report.channel = radio_channel(channel);
    match message {
        1..=3 => class_a(bits, &mut report),
        4 | 11 => base(bits, &mut report),
        5 => still::voyage(bits, &mut report),
        8 => report.area_notice = area_notice(bits).map(Box::new),
        9 => search_aircraft(bits, &mut report),
        12 => {
            report.addressee = bits.u(40, 30).and_then(Mmsi::new);
            let text = library::addressed_text(bits).map(|read| read.text);
            report.text = text.and_then(super::bits::trimmed);
        }
        14 => report.text = bits.text(40, 161),
        18 => class_b(bits, &mut report),
        19 => {
            class_b(bits, &mut report);
            still::class_b_extension(bits, &mut report);
        }
        21 => aid(bits, &mut report),
        24 => still::part(bits, &mut report),
        27 => long_range(bits, &mut report),
        _ => {}
    }
    Ok(Report::Ais(report))
}

/// Message 8 with the application identifier 1, 22. Behind the head at 56 come link, kind, four fields of its beginning,
/// duration, then areas of 87 bits each: the first circle or point gives the place, texts are put together.
fn area_notice(bits: &Bits) -> Option<AreaNotice> {
    if (bits.u(40, 10), bits.u(50, 6)) != (Some(1), Some(22)) {
        return None;
    }
    let mut notice = AreaNotice {
        link: bits.u(56, 10).filter(|&n| n > 0).map(|n| n as u16),
        kind: small(bits, 66, 7)?,
        duration_min: bits.u(93, 18).filter(|&n| n > 0 && n < 262_143),
        position: None,
        radius_m: None,
        text: None,
    };
    let mut text = String::new();
    for at in (111..).step_by(87).take_while(|at| bits.reaches(at + 87)) {
        match bits.u(at, 3) {
            Some(0) if notice.position.is_none() => {
                notice.position = degrees(bits.i(at + 30, 24), bits.i(at + 5, 25), NOTICE_PER_DEG);
                let scale = bits.u(at + 3, 2).map_or(1.0, |power| 10f64.powi(power as i32));
                notice.radius_m = bits.u(at + 57, 12).map(|radius| f64::from(radius) * scale);
            }
            Some(5) => drop(bits.add_text(at + 3, 14, &mut text)),
            _ => {}
        }
    }
    notice.text = super::bits::trimmed(text);
    Some(notice)
}

/// A or B; some receivers write 1 and 2 for them.
fn radio_channel(field: u8) -> Option<char> {
    match field {
        b'A' | b'1' => Some('A'),
        b'B' | b'2' => Some('B'),
        _ => None,
    }
}

/// Messages 1, 2, 3.
fn class_a(bits: &Bits, report: &mut AisReport) {
    report.nav_status = small(bits, 38, 4);
    report.rate_of_turn_deg_min = bits.i(42, 8).and_then(rate_of_turn);
    report.sog_kn = speed_tenths(bits, 50);
    moving(bits, 60, report);
    report.heading_deg = heading(bits, 128);
    second(bits, 137, report);
    report.special_manoeuvre = match bits.u(143, 2) {
        Some(1) => Some(false),
        Some(2) => Some(true),
        _ => None,
    };
    report.raim_flag = bits.flag(148);
}

/// Accuracy, longitude, latitude and course over ground, in the order messages 1 to 3, 18 and 19 hold them.
fn moving(bits: &Bits, at: usize, report: &mut AisReport) {
    place(bits, at, report);
    // 3600 is not available, the rest up to 4095 reserved.
    report.cog_deg = bits.u(at + 56, 12).filter(|&raw| raw < 3600).map(|raw| f64::from(raw) / 10.0);
}

/// Accuracy, longitude, latitude.
fn place(bits: &Bits, at: usize, report: &mut AisReport) {
    report.position_accurate = bits.flag(at);
    report.position = degrees(bits.i(at + 29, 27), bits.i(at + 1, 28), FINE_PER_DEG);
}

/// Not available is 91° and 181°, which like anything beyond 90° and 180° is no position.
fn degrees(latitude: Option<i32>, longitude: Option<i32>, per_deg: f64) -> Option<Position> {
    Position::new(f64::from(latitude?) / per_deg, f64::from(longitude?) / per_deg).ok()
}

/// Speed in tenths of a knot; 1022 is 102.2 or more, 1023 not available.
fn speed_tenths(bits: &Bits, at: usize) -> Option<f64> {
    bits.u(at, 10).filter(|&raw| raw < 1023).map(|raw| f64::from(raw) / 10.0)
}

/// ROTais = 4.733·√ROT. ±127 says "turning faster than 5° in 30 s" without a rate, −128 not available.
fn rate_of_turn(raw: i32) -> Option<f64> {
    let root = f64::from(raw) / 4.733;
    (raw.abs() < 127).then_some(root * root.abs())
}

/// True heading; 511 is not available, the rest from 360 on reserved.
fn heading(bits: &Bits, at: usize) -> Option<u16> {
    bits.u(at, 9).filter(|&raw| raw < 360).map(|raw| raw as u16)
}

/// The second of a report, or what 60 to 63 mean in its place.
fn second(bits: &Bits, at: usize, report: &mut AisReport) {
    let Some(raw) = small(bits, at, 6) else { return };
    report.utc_second = Some(raw).filter(|&s| s < 60);
    report.position_source = Some(match raw {
        0..=59 => PositionSource::Fix,
        61 => PositionSource::Manual,
        62 => PositionSource::DeadReckoning,
        63 => PositionSource::Inoperative,
        _ => PositionSource::None,
    });
}

/// A field of at most eight bits.
pub(super) fn small(bits: &Bits, at: usize, len: usize) -> Option<u8> {
    bits.u(at, len).and_then(|raw| u8::try_from(raw).ok())
}

/// Messages 4 and 11: the date and the position each stand or fall separately.
fn base(bits: &Bits, report: &mut AisReport) {
    report.utc = utc(bits);
    place(bits, 78, report);
    report.raim_flag = bits.flag(148);
}

/// Year 0, month 0, day 0, hour 24, minute 60 and second 60 are "not available"; anything above is reserved.
fn utc(bits: &Bits) -> Option<Utc> {
    let year = bits.u(38, 14).filter(|&y| (1..=9999).contains(&y))?;
    let (month, day) = (bits.u(52, 4)?, bits.u(56, 5)?);
    let hour = bits.u(61, 5).filter(|&h| h < 24)?;
    let minute = bits.u(66, 6).filter(|&m| m < 60)?;
    let second = bits.u(72, 6).filter(|&s| s < 60)?;
    Utc::from_date(year as i32, month, day, i64::from((hour * 60 + minute) * 60 + second) * 1000)
}

/// Message 9. Its speed is in whole knots; 1022 is that or more, as 4094 is of the altitude.
fn search_aircraft(bits: &Bits, report: &mut AisReport) {
    if let Some(read) = library::search_aircraft(bits) {
        report.altitude_m = read.altitude.filter(|_| bits.reaches(50));
        report.sog_kn = read.sog_knots.filter(|_| bits.reaches(60)).map(f64::from);
        let place = read.latitude.zip(read.longitude).filter(|_| bits.reaches(116));
        report.position = place.and_then(|(latitude, longitude)| Position::new(latitude, longitude).ok());
        // The library multiplies by 0.1, which is not exact: rounded to the tenth again.
        let cog = read.cog.map(|cog| (cog * 10.0).round() / 10.0);
        report.cog_deg = cog.filter(|cog| bits.reaches(128) && (0.0..360.0).contains(cog));
    }
    report.position_accurate = bits.flag(60);
    second(bits, 128, report);
    report.raim_flag = bits.flag(147);
}

/// Message 18, and the part of 19 that is the same.
fn class_b(bits: &Bits, report: &mut AisReport) {
    report.class_b = true;
    report.sog_kn = speed_tenths(bits, 46);
    moving(bits, 56, report);
    report.heading_deg = heading(bits, 124);
    second(bits, 133, report);
    if report.message == 18 {
        report.raim_flag = bits.flag(147);
    }
}

/// Message 21.
fn aid(bits: &Bits, report: &mut AisReport) {
    report.aid_type = small(bits, 38, 5).filter(|&kind| kind != 0);
    let mut name = String::with_capacity(34);
    // The extension continues if all twenty characters of the name are used; at most 14 more (88 bits).
    if bits.add_text(43, 20, &mut name) {
        bits.add_text(272, 14, &mut name);
    }
    report.name = super::bits::trimmed(name);
    place(bits, 163, report);
    still::dimensions(bits, 219, report);
    second(bits, 253, report);
    // The flag is to be believed only with a second of 0 to 59 (ITU-R M.1371-5, note to the table of message 21).
    report.off_position = bits.flag(259).filter(|_| report.utc_second.is_some());
    report.raim_flag = bits.flag(268);
    report.virtual_aid = bits.flag(269);
}

/// Message 27: whole knots and degrees, tenths of a minute.
fn long_range(bits: &Bits, report: &mut AisReport) {
    report.position_accurate = bits.flag(38);
    report.raim_flag = bits.flag(39);
    report.nav_status = small(bits, 40, 4);
    report.position = degrees(bits.i(62, 17), bits.i(44, 18), COARSE_PER_DEG);
    report.sog_kn = bits.u(79, 6).filter(|&raw| raw < 63).map(f64::from);
    report.cog_deg = bits.u(85, 9).filter(|&raw| raw < 360).map(f64::from);
}
