//! The tide of the air: twice a day the pressure rises and falls everywhere by the sun's heat, most in the tropics, where it
//! would hide or feign a fall.

use std::f64::consts::TAU;
use terms::{Position, Utc};

/// Twice-daily wave of sea level pressure at a place and time, in hPa: 1.16 cos³ φ sin (2 t + 158°) with the local mean time
/// t as an angle (Simpson 1918, after Haurwitz; from memory). The mean of the world: single stations differ by a tenth or
/// two. The once-daily wave, 0.2 to 0.5 hPa, differs from coast to coast and is left in.
pub(crate) fn air_tide_hpa(utc: Utc, position: Position) -> f64 {
    let day = utc.ms_of_day() as f64 / 86_400_000.0 + position.longitude_deg() / 360.0;
    let amplitude = 1.16 * position.latitude_deg().to_radians().cos().powi(3);
    amplitude * (2.0 * TAU * day + 158f64.to_radians()).sin()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tide(latitude_deg: f64, longitude_deg: f64, hours: f64) -> f64 {
        let utc = Utc::from_date(2026, 3, 1, (hours * 3_600_000.0) as i64).unwrap();
        air_tide_hpa(utc, Position::new(latitude_deg, longitude_deg).unwrap())
    }

    #[test]
    fn highest_before_ten_and_lowest_before_four_by_local_time_and_less_toward_the_poles() {
        // Worked out from the formula apart from this: highest 09:44 and 21:44 local mean time; amplitudes by latitude.
        for (latitude, amplitude) in
            [(0.0, 1.16), (10.0, 1.11), (20.0, 0.96), (30.0, 0.75), (40.0, 0.52), (50.0, 0.31), (60.0, 0.15)]
        {
            for (longitude, utc_h) in
                [(0.0, 9.0 + 44.0 / 60.0), (-60.0, 13.0 + 44.0 / 60.0), (150.0, 11.0 + 44.0 / 60.0)]
            {
                let highest = tide(latitude, longitude, utc_h);
                assert!((highest - amplitude).abs() < 0.006, "{latitude} {longitude}: {highest}");
                assert!((tide(-latitude, longitude, utc_h + 6.0) + amplitude).abs() < 0.006);
            }
        }
        // Measured at Copenhagen, 55.7 N 12.6 E, over 66 years: 0.225 hPa (Chapman 1969, abstract).
        let measured = tide(55.7, 12.6, 9.733 - 12.6 / 15.0);
        assert!((measured - 0.225).abs() < 0.03, "{measured}");
        // In the tropics "about 3 hPa in all" with the once-daily wave (sailing handbooks); this part of it is 2.3.
        assert!((tide(0.0, 0.0, 9.73) - tide(0.0, 0.0, 15.73) - 2.32).abs() < 0.01);
    }
}
