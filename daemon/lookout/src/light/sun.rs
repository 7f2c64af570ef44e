//! Whether the sun is up at the boat.

use solar_positioning::time::JulianDate;
use solar_positioning::{Location, SolarPositions};
use terms::{Position, Utc};

/// Altitude of the sun's centre when its upper edge is on the horizon: refraction 34′ and half diameter 16′, as the
/// almanacs take them.
pub(super) const UPPER_EDGE_DEG: f64 = -50.0 / 60.0;
/// Julian date of 1970-01-01T00:00:00Z.
pub(super) const UNIX_EPOCH_JD: f64 = 2_440_587.5;
/// Terrestrial less universal time in seconds, in the 2020s; a minute of it moves the sun too little to matter.
pub(super) const DELTA_T_S: f64 = 69.0;

/// `None` only for dates that no calendar has.
pub(crate) fn is_up(utc: Utc, position: Position) -> Option<bool> {
    Some(altitude_deg(utc, position)? > UPPER_EDGE_DEG)
}

/// Altitude of the sun's centre above the horizon in degrees, without refraction. `None` only for dates no calendar
/// has.
pub fn altitude_deg(utc: Utc, position: Position) -> Option<f64> {
    let julian = JulianDate::new(utc.0 as f64 / 86_400_000.0 + UNIX_EPOCH_JD, DELTA_T_S).ok()?;
    let location = Location { latitude: position.latitude_deg(), longitude: position.longitude_deg() };
    let sun = SolarPositions::new().at_from_julian(julian, location, 0.0, None).ok()?;
    Some(sun.elevation_angle())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rises_and_sets_by_the_almanac() {
        // Almanac for Computers 1990, worked example: 25 June 1990, 40.9° N 74.3° W, sunrise 09:26:29 UT (recomputed)
        // and sunset 00:33 UT of the next day.
        let wayne = Position::new(40.9, -74.3).unwrap();
        let day = |s: i64| is_up(Utc::from_date(1990, 6, 25, s * 1000).unwrap(), wayne);
        let rise = 9 * 3600 + 26 * 60 + 29;
        assert_eq!((day(rise - 60), day(rise + 60)), (Some(false), Some(true)));
        let next = |s: i64| is_up(Utc::from_date(1990, 6, 26, s * 1000).unwrap(), wayne);
        assert_eq!((next(31 * 60), next(35 * 60)), (Some(true), Some(false)));
        // 69.65° N: midnight sun at midsummer, polar night at midwinter.
        let tromso = Position::new(69.65, 18.96).unwrap();
        for hour in [0, 6, 12, 18] {
            let at = |month| Utc::from_date(2026, month, 21, hour * 3_600_000).unwrap();
            assert_eq!(is_up(at(6), tromso), Some(true));
            assert_eq!(is_up(at(12), tromso), Some(false));
        }
    }
}
