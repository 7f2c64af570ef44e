//! Leeway of a person in the water.

use crate::casualty::WindFrom;

/// How a person in the water presents to the wind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Posture {
    /// Not known.
    #[default]
    Unknown,
    /// Upright, as with an old lifejacket.
    Upright,
    /// Sitting, as in a horseshoe buoy.
    Sitting,
    /// Floating on the back in a survival suit.
    SurvivalSuit,
    /// Deceased, face down.
    Deceased,
}

/// A row of the leeway table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leeway {
    /// Leeway in knots per knot of wind at 10 m.
    pub multiplier: f64,
    /// Added to it, in knots.
    pub modifier_kn: f64,
    /// To either side of downwind, in degrees.
    pub divergence_deg: f64,
}

impl Posture {
    /// The table of Allen and Plourde 1999, as the IAMSAR manual gives it. From memory.
    pub const fn leeway(self) -> Leeway {
        let (multiplier, modifier_kn, divergence_deg) = match self {
            Self::Unknown => (0.011, 0.07, 30.0),
            Self::Upright => (0.005, 0.07, 18.0),
            Self::Sitting => (0.012, 0.0, 18.0),
            Self::SurvivalSuit => (0.014, 0.10, 30.0),
            Self::Deceased => (0.015, 0.08, 30.0),
        };
        Leeway { multiplier, modifier_kn, divergence_deg }
    }
}

impl Leeway {
    /// Components in knots: downwind, and to either side of it.
    pub fn components(self, wind_10m_kn: f64) -> (f64, f64) {
        let speed_kn = self.multiplier * wind_10m_kn + self.modifier_kn;
        let (sin, cos) = self.divergence_deg.to_radians().sin_cos();
        (speed_kn * cos, speed_kn * sin)
    }
}

/// How much individuals differ from the table: standard deviations downwind and crosswind in knots at 10 m/s of wind
/// (12 and 9.4 cm/s, Breivik and Allen 2008, from memory).
pub const SPREAD_DOWNWIND_KN: f64 = 0.12 * 3600.0 / 1852.0;
/// Crosswind.
pub const SPREAD_CROSSWIND_KN: f64 = 0.094 * 3600.0 / 1852.0;

/// How the spread varies with the wind: half of it remains without wind, all of it applies at 10 m/s (the same source).
pub fn spread_factor(wind_10m_kn: f64) -> f64 {
    0.5 + wind_10m_kn * (1852.0 / 3600.0) / 20.0
}

/// Height of a sensor about which nothing is known: a masthead (own choice).
const MASTHEAD_M: f64 = 15.0;
/// Exponent of the wind profile over the sea (common practice: 0.11).
const PROFILE_EXPONENT: f64 = 0.11;

/// A masthead wind reduced to 10 m, the height the table is for.
pub fn at_10_m(wind: WindFrom, height_m: Option<f64>) -> WindFrom {
    let height_m = height_m.filter(|h| h.is_finite()).unwrap_or(MASTHEAD_M).clamp(1.0, 100.0);
    WindFrom { speed_kn: wind.speed_kn * (10.0 / height_m).powf(PROFILE_EXPONENT), ..wind }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_and_the_height() {
        // Allen and Plourde 1999, from memory: 0.011 × 20 kn + 0.07 kn = 0.29 kn, 30° to either side.
        let (down, cross) = Posture::Unknown.leeway().components(20.0);
        assert!((down.hypot(cross) - 0.29).abs() < 1e-9);
        assert!((cross.atan2(down).to_degrees() - 30.0).abs() < 1e-9);
        let wind = WindFrom { from_deg: 270.0, speed_kn: 20.0 };
        assert!((at_10_m(wind, Some(10.0)).speed_kn - 20.0).abs() < 1e-9);
        assert!((at_10_m(wind, Some(20.0)).speed_kn - 18.53).abs() < 0.01);
        assert!(at_10_m(wind, None).speed_kn < 20.0);
        assert!((spread_factor(19.438_444_9) - 1.0).abs() < 1e-6);
    }
}
