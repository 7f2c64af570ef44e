//! Positions on the WGS 84 ellipsoid, geodesics between them, and the local plane.

use crate::angle::normal_deg;
use geographiclib_rs::{DirectGeodesic, Geodesic, InverseGeodesic};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::sync::OnceLock;
use thiserror::Error;

/// Metres in a nautical mile (International Hydrographic Conference, 1929; exact).
pub const METRES_PER_NM: f64 = 1852.0;

/// Semi-major axis of WGS 84 in metres (NIMA TR8350.2; exact).
const WGS84_A_M: f64 = 6_378_137.0;
/// Flattening of WGS 84 (NIMA TR8350.2; exact).
const WGS84_F: f64 = 1.0 / 298.257_223_563;

/// The ellipsoid, worked out once.
fn wgs84() -> &'static Geodesic {
    static ELLIPSOID: OnceLock<Geodesic> = OnceLock::new();
    ELLIPSOID.get_or_init(Geodesic::wgs84)
}

/// Why a pair of numbers is no position.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[error("latitude {latitude_deg}, longitude {longitude_deg} is not a position: at most 90 and 180 degrees")]
pub struct PositionError {
    /// As given.
    pub latitude_deg: f64,
    /// As given.
    pub longitude_deg: f64,
}

/// A position on WGS 84: latitude within ±90° (north positive), longitude in [−180°, 180°) (east positive).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Degrees")]
pub struct Position {
    /// Degrees, north positive.
    latitude_deg: f64,
    /// Degrees, east positive.
    longitude_deg: f64,
}

/// A position as read, before its range is checked.
#[derive(Deserialize)]
struct Degrees {
    latitude_deg: f64,
    longitude_deg: f64,
}

impl TryFrom<Degrees> for Position {
    type Error = PositionError;
    fn try_from(d: Degrees) -> Result<Self, PositionError> {
        Self::new(d.latitude_deg, d.longitude_deg)
    }
}

impl Position {
    /// Takes latitude within ±90° and longitude within ±180°; 180° is kept as −180°.
    ///
    /// # Errors
    /// If either is out of range or not a number.
    pub fn new(latitude_deg: f64, longitude_deg: f64) -> Result<Self, PositionError> {
        if latitude_deg.abs() <= 90.0 && longitude_deg.abs() <= 180.0 {
            let longitude_deg = if longitude_deg == 180.0 { -180.0 } else { longitude_deg };
            Ok(Self { latitude_deg, longitude_deg })
        } else {
            Err(PositionError { latitude_deg, longitude_deg })
        }
    }

    /// Degrees, north positive.
    pub fn latitude_deg(self) -> f64 {
        self.latitude_deg
    }

    /// Degrees, east positive.
    pub fn longitude_deg(self) -> f64 {
        self.longitude_deg
    }

    /// Length of the geodesic to another position in nautical miles, and its true bearing here in [0, 360).
    pub fn range_and_bearing(self, to: Self) -> (f64, f64) {
        let (metres, azimuth, _, _) =
            wgs84().inverse(self.latitude_deg, self.longitude_deg, to.latitude_deg, to.longitude_deg);
        (metres / METRES_PER_NM, normal_deg(azimuth))
    }

    /// The position reached along the geodesic that leaves here on a true bearing.
    pub fn at(self, bearing_deg: f64, range_nm: f64) -> Self {
        let (lat, lon): (f64, f64) =
            wgs84().direct(self.latitude_deg, self.longitude_deg, bearing_deg, range_nm * METRES_PER_NM);
        Self { latitude_deg: lat.clamp(-90.0, 90.0), longitude_deg: wrapped_longitude(lon) }
    }
}

/// Longitude in [−180, 180).
fn wrapped_longitude(deg: f64) -> f64 {
    normal_deg(deg + 180.0) - 180.0
}

impl fmt::Display for Position {
    /// Degrees and minutes as the trade writes them: `49°12.34′N 006°07.80′W`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let part = |deg: f64, width: usize, hemispheres: [char; 2]| {
            // Rounded as a whole number of hundredths of a minute, so that 59.999′ carries into the degree.
            let hundredths = (deg.abs() * 6000.0).round() as u64;
            let (d, m) = (hundredths / 6000, hundredths % 6000);
            let side = if deg < 0.0 { hemispheres[1] } else { hemispheres[0] };
            format!("{d:0width$}°{:02}.{:02}′{side}", m / 100, m % 100)
        };
        write!(f, "{} {}", part(self.latitude_deg, 2, ['N', 'S']), part(self.longitude_deg, 3, ['E', 'W']))
    }
}

/// A plane that touches the ellipsoid at one position: east and north in nautical miles. Good to a few metres within
/// 12 nm; near a pole its east axis turns too fast to be useful, so use the geodesic there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane {
    origin: Position,
    north_nm_per_deg: f64,
    east_nm_per_deg: f64,
}

impl Plane {
    /// The plane that touches at `origin`, by the meridian and prime-vertical radii of curvature there.
    pub fn at(origin: Position) -> Self {
        let e2 = WGS84_F * (2.0 - WGS84_F);
        let (sin, cos) = origin.latitude_deg.to_radians().sin_cos();
        let w2 = 1.0 - e2 * sin * sin;
        let prime_vertical = WGS84_A_M / w2.sqrt();
        let meridian = prime_vertical * (1.0 - e2) / w2;
        let nm_per_deg = |radius_m: f64| radius_m.to_radians() / METRES_PER_NM;
        Self {
            origin,
            north_nm_per_deg: nm_per_deg(meridian),
            east_nm_per_deg: nm_per_deg(prime_vertical * cos),
        }
    }

    /// Where the plane touches.
    pub fn origin(&self) -> Position {
        self.origin
    }

    /// East and north of the origin in nautical miles, across 180° if that is nearer.
    pub fn east_north(&self, p: Position) -> (f64, f64) {
        (
            wrapped_longitude(p.longitude_deg - self.origin.longitude_deg) * self.east_nm_per_deg,
            (p.latitude_deg - self.origin.latitude_deg) * self.north_nm_per_deg,
        )
    }

    /// The position this far east and north of the origin; latitude stops at the pole.
    pub fn position(&self, east_nm: f64, north_nm: f64) -> Position {
        let longitude = if self.east_nm_per_deg > 1e-9 { east_nm / self.east_nm_per_deg } else { 0.0 };
        Position {
            latitude_deg: (self.origin.latitude_deg + north_nm / self.north_nm_per_deg).clamp(-90.0, 90.0),
            longitude_deg: wrapped_longitude(self.origin.longitude_deg + longitude),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flinders_peak_to_buninyong() {
        // GDA technical manual, worked example on GRS 80: 54,972.271 m, 306°52′05.37″. From memory; recomputed.
        // GRS 80 and WGS 84 differ by 0.1 mm in the semi-minor axis.
        let dms = |d: f64, m: f64, s: f64| d + m / 60.0 + s / 3600.0;
        let flinders = Position::new(-dms(37.0, 57.0, 3.72030), dms(144.0, 25.0, 29.52440)).unwrap();
        let buninyong = Position::new(-dms(37.0, 39.0, 10.15610), dms(143.0, 55.0, 35.38390)).unwrap();
        let (nm, deg) = flinders.range_and_bearing(buninyong);
        assert!((nm * METRES_PER_NM - 54_972.271).abs() < 0.002, "{}", nm * METRES_PER_NM);
        assert!((deg - dms(306.0, 52.0, 5.37)).abs() < 0.01 / 3600.0, "{deg}");
    }

    #[test]
    fn plane_agrees_with_the_geodesic_within_12_nm_and_across_180() {
        for lat in [-75.0, -40.0, 0.0, 51.0, 75.0] {
            let origin = Position::new(lat, 179.95).unwrap();
            let plane = Plane::at(origin);
            for bearing in [10.0, 85.0, 200.0, 310.0] {
                let p = origin.at(bearing, 6.0);
                let (east, north) = plane.east_north(p);
                // 0.03 nm in 6 nm at 75° of latitude: convergence of the meridians, which the caller must allow for.
                assert!((east.hypot(north) - 6.0).abs() < 0.03, "{lat} {bearing}: {}", east.hypot(north));
                let back = plane.position(east, north);
                assert!(back.range_and_bearing(p).0 < 1e-6);
            }
        }
    }

    #[test]
    fn out_of_range_is_no_position_and_minutes_carry() {
        assert!(Position::new(91.0, 0.0).is_err() && Position::new(0.0, 181.0).is_err());
        assert!(Position::new(f64::NAN, 0.0).is_err());
        assert_eq!(Position::new(49.999_999, -6.13).unwrap().to_string(), "50°00.00′N 006°07.80′W");
    }
}
