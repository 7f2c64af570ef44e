//! The moon: how high she stands, and how much of her is lit.

use super::sun::{DELTA_T_S, UNIX_EPOCH_JD};
use terms::{Position, Utc};

/// Julian date of the epoch J2000.0, and days in a Julian century.
const J2000_JD: f64 = 2_451_545.0;
const CENTURY_DAYS: f64 = 36_525.0;
/// An astronomical unit in kilometres (IAU 2012).
const AU_KM: f64 = 149_597_870.7;
/// The earth's equatorial radius in kilometres, by which the parallax is reckoned.
const EARTH_KM: f64 = 6378.14;
/// Refraction at the horizon as the almanacs take it: 34′.
const REFRACTION_DEG: f64 = 34.0 / 60.0;
/// Parallax less half diameter, in parallaxes (Meeus, Astronomical Algorithms, chapter 15; from memory).
const EDGE: f64 = 0.7275;

/// Periodic terms of longitude and distance: multiples of D, M, M′ and F; millionths of a degree by the sine, and metres by
/// the cosine (Meeus, Astronomical Algorithms, table 47.A, the largest; from memory, checked against its example and an
/// almanac).
const LONGITUDE: [([i8; 4], f64, f64); 32] = [
    ([0, 0, 1, 0], 6_288_774.0, -20_905_355.0),
    ([2, 0, -1, 0], 1_274_027.0, -3_699_111.0),
    ([2, 0, 0, 0], 658_314.0, -2_955_968.0),
    ([0, 0, 2, 0], 213_618.0, -569_925.0),
    ([0, 1, 0, 0], -185_116.0, 48_888.0),
    ([0, 0, 0, 2], -114_332.0, -3_149.0),
    ([2, 0, -2, 0], 58_793.0, 246_158.0),
    ([2, -1, -1, 0], 57_066.0, -152_138.0),
    ([2, 0, 1, 0], 53_322.0, -170_733.0),
    ([2, -1, 0, 0], 45_758.0, -204_586.0),
    ([0, 1, -1, 0], -40_923.0, -129_620.0),
    ([1, 0, 0, 0], -34_720.0, 108_743.0),
    ([0, 1, 1, 0], -30_383.0, 104_755.0),
    ([2, 0, 0, -2], 15_327.0, 10_321.0),
    ([0, 0, 1, 2], -12_528.0, 0.0),
    ([0, 0, 1, -2], 10_980.0, 79_661.0),
    ([4, 0, -1, 0], 10_675.0, -34_782.0),
    ([0, 0, 3, 0], 10_034.0, -23_210.0),
    ([4, 0, -2, 0], 8_548.0, -21_636.0),
    ([2, 1, -1, 0], -7_888.0, 24_208.0),
    ([2, 1, 0, 0], -6_766.0, 30_824.0),
    ([1, 0, -1, 0], -5_163.0, -8_379.0),
    ([1, 1, 0, 0], 4_987.0, -16_675.0),
    ([2, -1, 1, 0], 4_036.0, -12_831.0),
    ([2, 0, 2, 0], 3_994.0, -10_445.0),
    ([4, 0, 0, 0], 3_861.0, -11_650.0),
    ([2, 0, -3, 0], 3_665.0, 14_403.0),
    ([0, 1, -2, 0], -2_689.0, -7_003.0),
    ([2, 0, -1, 2], -2_602.0, 0.0),
    ([2, -1, -2, 0], 2_390.0, 10_056.0),
    ([1, 0, 1, 0], -2_348.0, 6_322.0),
    ([2, -2, 0, 0], 2_236.0, -9_884.0),
];

/// The same of latitude (table 47.B).
const LATITUDE: [([i8; 4], f64); 18] = [
    ([0, 0, 0, 1], 5_128_122.0),
    ([0, 0, 1, 1], 280_602.0),
    ([0, 0, 1, -1], 277_693.0),
    ([2, 0, 0, -1], 173_237.0),
    ([2, 0, -1, 1], 55_413.0),
    ([2, 0, -1, -1], 46_271.0),
    ([2, 0, 0, 1], 32_573.0),
    ([0, 0, 2, 1], 17_198.0),
    ([2, 0, 1, -1], 9_266.0),
    ([0, 0, 2, -1], 8_822.0),
    ([2, -1, 0, -1], 8_216.0),
    ([2, 0, -2, -1], 4_324.0),
    ([2, 0, 1, 1], 4_200.0),
    ([2, 1, 0, -1], -3_359.0),
    ([2, -1, -1, 1], 2_463.0),
    ([2, -1, 0, 1], 2_211.0),
    ([2, -1, -1, -1], 2_065.0),
    ([0, 1, -1, -1], -1_870.0),
];

/// The moon as seen from the earth's middle.
#[derive(Debug, Clone, Copy)]
struct Geocentric {
    longitude_deg: f64,
    latitude_deg: f64,
    distance_km: f64,
    /// The sun's longitude and distance then.
    sun_deg: f64,
    sun_km: f64,
    /// Mean obliquity of the ecliptic.
    obliquity_deg: f64,
}

impl Geocentric {
    /// At a Julian date of terrestrial time. Good to 0.02° and 100 km in this century.
    fn at(julian: f64) -> Self {
        let t = (julian - J2000_JD) / CENTURY_DAYS;
        let mean_deg = 218.316_447_7 + 481_267.881_234_21 * t - 0.001_578_6 * t * t;
        let arguments = [
            297.850_192_1 + 445_267.111_403_4 * t - 0.001_881_9 * t * t,
            357.529_109_2 + 35_999.050_290_9 * t,
            134.963_396_4 + 477_198.867_505_5 * t + 0.008_741_4 * t * t,
            93.272_095_0 + 483_202.017_523_3 * t - 0.003_653_9 * t * t,
        ];
        let angle = |multiples: &[i8; 4]| {
            let deg: f64 = multiples.iter().zip(arguments).map(|(n, a)| f64::from(*n) * a).sum();
            deg.to_radians()
        };
        let (venus, flattening) = ((119.75 + 131.849 * t).to_radians(), mean_deg.to_radians());
        let longitude: f64 = LONGITUDE.iter().map(|(m, l, _)| l * angle(m).sin()).sum::<f64>()
            + 3_958.0 * venus.sin()
            + 1_962.0 * (flattening - arguments[3].to_radians()).sin();
        let metres: f64 = LONGITUDE.iter().map(|(m, _, r)| r * angle(m).cos()).sum();
        let latitude: f64 =
            LATITUDE.iter().map(|(m, b)| b * angle(m).sin()).sum::<f64>() - 2_235.0 * flattening.sin();
        let anomaly = arguments[1].to_radians();
        let centre_deg = 1.914_602 * anomaly.sin() + 0.019_993 * (2.0 * anomaly).sin();
        let eccentricity = 0.016_708_6;
        let true_anomaly = anomaly + centre_deg.to_radians();
        let sun_au = (1.0 - eccentricity * eccentricity) / (1.0 + eccentricity * true_anomaly.cos());
        Self {
            longitude_deg: (mean_deg + longitude / 1e6).rem_euclid(360.0),
            latitude_deg: latitude / 1e6,
            distance_km: 385_000.56 + metres / 1e3,
            sun_deg: (280.466_46 + 36_000.769_83 * t + centre_deg).rem_euclid(360.0),
            sun_km: sun_au * AU_KM,
            obliquity_deg: 23.439_291 - 0.013_004_2 * t,
        }
    }

    fn parallax_deg(&self) -> f64 {
        (EARTH_KM / self.distance_km).asin().to_degrees()
    }

    /// The lit part of her disc, 0 to 1 (Meeus, chapter 48).
    fn lit(&self) -> f64 {
        let (b, l) = (self.latitude_deg.to_radians(), (self.longitude_deg - self.sun_deg).to_radians());
        let elongation = (b.cos() * l.cos()).clamp(-1.0, 1.0).acos();
        let phase = (self.sun_km * elongation.sin()).atan2(self.distance_km - self.sun_km * elongation.cos());
        (1.0 + phase.cos()) / 2.0
    }
}

fn julian(utc: Utc) -> f64 {
    utc.0 as f64 / 86_400_000.0 + UNIX_EPOCH_JD
}

fn geocentric(utc: Utc) -> Geocentric {
    Geocentric::at(julian(utc) + DELTA_T_S / 86_400.0)
}

/// The lit part of the moon's disc, 0 to 1.
pub(super) fn lit(utc: Utc) -> f64 {
    geocentric(utc).lit()
}

/// How far the moon's upper edge stands above the horizon, in degrees, as the almanacs take rise and set: zero then.
pub(super) fn edge_deg(utc: Utc, position: Position) -> f64 {
    let moon = geocentric(utc);
    let (sin_e, cos_e) = moon.obliquity_deg.to_radians().sin_cos();
    let (sin_l, cos_l) = moon.longitude_deg.to_radians().sin_cos();
    let (sin_b, cos_b) = moon.latitude_deg.to_radians().sin_cos();
    let ascension = (sin_l * cos_e - sin_b / cos_b * sin_e).atan2(cos_l);
    let declination = (sin_b * cos_e + cos_b * sin_e * sin_l).asin();
    // Sidereal time at Greenwich (IAU 1982, its linear part).
    let sidereal_deg = 280.460_618_37 + 360.985_647_366_29 * (julian(utc) - J2000_JD);
    let hour_angle = (sidereal_deg + position.longitude_deg()).to_radians() - ascension;
    let (sin, cos) = position.latitude_deg().to_radians().sin_cos();
    let altitude = (sin * declination.sin() + cos * declination.cos() * hour_angle.cos()).asin();
    altitude.to_degrees() - (EDGE * moon.parallax_deg() - REFRACTION_DEG)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_in_the_worked_examples() {
        // Meeus, Astronomical Algorithms, examples 47.a and 48.a, 12 April 1992 0h TD: from memory, recomputed.
        let moon = Geocentric::at(2_448_724.5);
        assert!((moon.longitude_deg - 133.162_655).abs() < 0.02, "{moon:?}");
        assert!((moon.latitude_deg + 3.229_126).abs() < 0.02, "{moon:?}");
        assert!((moon.distance_km - 368_409.7).abs() < 100.0, "{moon:?}");
        assert!((moon.parallax_deg() - 0.991_990).abs() < 5e-4);
        assert!((moon.lit() - 0.6786).abs() < 0.001, "{}", moon.lit());
        // 22 December 1994 13:53:34 UT: 81.5 % (recomputed by PyEphem).
        let then = Utc::parse("1994-12-22T13:53:34Z").unwrap();
        assert!((lit(then) - 0.815).abs() < 0.002, "{}", lit(then));
        // Phases of 2026 by PyEphem, UT.
        for (utc, part) in [
            ("2026-02-17T12:01:00Z", 0.0),
            ("2026-02-24T12:27:00Z", 0.5),
            ("2026-03-03T11:38:00Z", 1.0),
            ("2026-03-11T09:38:00Z", 0.5),
        ] {
            let lit = lit(Utc::parse(utc).unwrap());
            assert!((lit - part).abs() < 0.005, "{utc}: {lit}");
        }
    }
}
