//! How often a station reports (ITU-R M.1371-5, annex 1 tables 1 and 2; the figures as secondary pages quote them).

use crate::plan::Class;

/// Seconds between two static reports.
pub const STATIC_S: f64 = 360.0;
/// Seconds between two reports of a base station.
pub const BASE_S: f64 = 10.0;
/// Seconds between two reports of an aid to navigation.
pub const AID_S: f64 = 180.0;
/// A turn that counts as changing course: 5° in 30 s (ITU-R M.1371-5 annex 2, 4.3.2; from memory).
const TURNING_DEG_MIN: f64 = 10.0;

/// Seconds between two position reports.
pub fn position_s(class: Class, nav_status: u8, sog_kn: f64, turn_deg_min: f64) -> f64 {
    let turning = turn_deg_min.abs() >= TURNING_DEG_MIN;
    match class {
        // 1 is at anchor, 5 moored.
        Class::A if matches!(nav_status, 1 | 5) => {
            if sog_kn <= 3.0 {
                180.0
            } else {
                10.0
            }
        }
        Class::A => match (sog_kn, turning) {
            (v, false) if v <= 14.0 => 10.0,
            (v, true) if v <= 14.0 => 10.0 / 3.0,
            (v, false) if v <= 23.0 => 6.0,
            _ => 2.0,
        },
        Class::BCarrierSense | Class::BSelfOrganised if sog_kn <= 2.0 => 180.0,
        Class::BCarrierSense => 30.0,
        Class::BSelfOrganised => match sog_kn {
            v if v <= 14.0 => 30.0,
            v if v <= 23.0 => 15.0,
            _ => 5.0,
        },
        Class::SearchAircraft => 10.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_of_m_1371() {
        // Rows of the table of reporting intervals, ITU-R M.1371-5 annex 1 (quoted by secondary pages).
        for (class, status, sog, turn, s) in [
            (Class::A, 1, 0.0, 0.0, 180.0),
            (Class::A, 5, 3.1, 0.0, 10.0),
            (Class::A, 0, 14.0, 0.0, 10.0),
            (Class::A, 0, 12.0, -20.0, 10.0 / 3.0),
            (Class::A, 0, 18.0, 0.0, 6.0),
            (Class::A, 0, 18.0, 20.0, 2.0),
            (Class::A, 0, 24.0, 0.0, 2.0),
            (Class::BCarrierSense, 0, 2.0, 0.0, 180.0),
            (Class::BCarrierSense, 0, 30.0, 0.0, 30.0),
            (Class::BSelfOrganised, 0, 15.0, 0.0, 15.0),
            (Class::BSelfOrganised, 0, 24.0, 0.0, 5.0),
        ] {
            assert_eq!(position_s(class, status, sog, turn), s, "{class:?} {status} {sog} {turn}");
        }
    }
}
