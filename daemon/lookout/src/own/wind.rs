//! True wind and wind over ground worked out from the apparent wind.

use terms::normal_deg;

/// A wind as it is felt or worked out: speed, and angle off the bow or direction it comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct WindVector {
    pub speed_kn: f64,
    /// Off the bow, port negative, (−180, 180]; or a direction, as the function says.
    pub angle_deg: f64,
}

/// The wind relative to the water, off the bow: the apparent wind less the part own speed ahead adds. Leeway and heel
/// are not known and are ignored.
pub(crate) fn over_water(apparent: WindVector, speed_through_water_kn: f64) -> WindVector {
    let (sin, cos) = apparent.angle_deg.to_radians().sin_cos();
    let (ahead, abeam) = (apparent.speed_kn * cos - speed_through_water_kn, apparent.speed_kn * sin);
    WindVector { speed_kn: ahead.hypot(abeam), angle_deg: abeam.atan2(ahead).to_degrees() }
}

/// The wind over the ground and the direction it comes from, [0, 360).
pub(crate) fn over_ground(apparent: WindVector, heading_deg: f64, sog_kn: f64, cog_deg: f64) -> WindVector {
    let (sin, cos) = (heading_deg + apparent.angle_deg).to_radians().sin_cos();
    let (cog_sin, cog_cos) = cog_deg.to_radians().sin_cos();
    let north = apparent.speed_kn * cos - sog_kn * cog_cos;
    let east = apparent.speed_kn * sin - sog_kn * cog_sin;
    WindVector { speed_kn: north.hypot(east), angle_deg: normal_deg(east.atan2(north).to_degrees()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn apparent_wind_less_own_speed() {
        // Close-hauled triangle by hand: 6 kn ahead, true wind 10 kn from 90° off: apparent √136 kn, atan(10/6).
        let apparent =
            WindVector { speed_kn: 136_f64.sqrt(), angle_deg: (10.0_f64 / 6.0).atan().to_degrees() };
        let t = over_water(apparent, 6.0);
        assert!((t.speed_kn - 10.0).abs() < 1e-9 && (t.angle_deg - 90.0).abs() < 1e-9, "{t:?}");
        // Heading and course north: the same wind comes from 090 over the ground.
        let g = over_ground(apparent, 0.0, 6.0, 0.0);
        assert!((g.speed_kn - 10.0).abs() < 1e-9 && (g.angle_deg - 90.0).abs() < 1e-9, "{g:?}");
        // Becalmed under engine: all of the apparent wind is her own.
        assert!(over_water(WindVector { speed_kn: 5.0, angle_deg: 0.0 }, 5.0).speed_kn < 1e-9);
    }
}
