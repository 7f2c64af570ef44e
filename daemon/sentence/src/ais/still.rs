//! What does not change under way: messages 5 and 24, and the static part of 19 (ITU-R M.1371-5 annex 8).

use super::bits::Bits;
use super::decode::small;
use super::report::{AisReport, Eta};
use terms::Mmsi;

/// Message 5.
pub(super) fn voyage(bits: &Bits, report: &mut AisReport) {
    // An IMO number has seven digits; below is unused, above are numbers of flag states.
    report.imo = bits.u(40, 30).filter(|n| (1_000_000..=9_999_999).contains(n));
    report.call_sign = bits.text(70, 7);
    report.name = bits.text(112, 20);
    report.ship_type = ship_type(bits, 232);
    dimensions(bits, 240, report);
    report.eta = eta(bits);
    // 0 is not available, 255 is 25.5 m or more.
    report.draught_m = bits.u(294, 8).filter(|&raw| raw != 0).map(|raw| f64::from(raw) / 10.0);
    report.destination = bits.text(302, 20);
}

/// Message 19 after the part it shares with 18.
pub(super) fn class_b_extension(bits: &Bits, report: &mut AisReport) {
    report.name = bits.text(143, 20);
    report.ship_type = ship_type(bits, 263);
    dimensions(bits, 271, report);
    report.raim_flag = bits.flag(305);
}

/// Message 24, part A or B; parts 2 and 3 are reserved and only a head.
pub(super) fn part(bits: &Bits, report: &mut AisReport) {
    report.class_b = true;
    match bits.u(38, 2) {
        Some(0) => {
            report.part = Some('A');
            report.name = bits.text(40, 20);
        }
        Some(1) => {
            report.part = Some('B');
            report.ship_type = ship_type(bits, 40);
            report.call_sign = bits.text(90, 7);
            // A craft of a parent ship (98 and a MID) carries the parent's identity in place of dimensions. Whether the
            // MID exists does not affect what its maker put there.
            if report.mmsi.number() / 10_000_000 == 98 {
                report.mother_ship = bits.u(132, 30).filter(|&n| n != 0).and_then(Mmsi::new);
            } else {
                dimensions(bits, 132, report);
            }
        }
        _ => {}
    }
}

/// The number as sent, reserved ones too: what it means is for the reader of the table. 0 is not available.
fn ship_type(bits: &Bits, at: usize) -> Option<u8> {
    small(bits, at, 8).filter(|&kind| kind != 0)
}

/// To bow and stern, to port and starboard. A pair that is zero is not available. A zero in a pair that is not is kept:
/// A and C zero say that B and D are length and breadth, with no reference point.
pub(super) fn dimensions(bits: &Bits, at: usize, report: &mut AisReport) {
    let field = |at, len| bits.u(at, len).map(|metres| metres as u16);
    let pair =
        |a: Option<u16>, b: Option<u16>| if (a, b) == (Some(0), Some(0)) { (None, None) } else { (a, b) };
    (report.dimension_a_m, report.dimension_b_m) = pair(field(at, 9), field(at + 9, 9));
    (report.dimension_c_m, report.dimension_d_m) = pair(field(at + 18, 6), field(at + 24, 6));
}

/// Month and day must be a day of some year; hour 24 and minute 60 are not available, above is reserved.
fn eta(bits: &Bits) -> Option<Eta> {
    let (month, day) = (small(bits, 274, 4)?, small(bits, 278, 5)?);
    let days = match month {
        2 => 29,
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => return None,
    };
    (1..=days).contains(&day).then(|| Eta {
        month,
        day,
        hour: small(bits, 283, 5).filter(|&hour| hour < 24),
        minute: small(bits, 288, 6).filter(|&minute| minute < 60),
    })
}
