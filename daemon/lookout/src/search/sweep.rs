//! Sweep width: how wide a strip is searched along the track.

/// What the table asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// Meteorological visibility in nautical miles.
    pub visibility_nm: f64,
    /// Wind in knots.
    pub wind_kn: f64,
    /// Height of the sea in metres, if anybody looked.
    pub sea_m: Option<f64>,
    /// Whether the lookouts are tired.
    pub tired: bool,
}

/// Where a sweep width comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sweep {
    /// By hand: how far off a head in the water is surely seen, to both sides together, in nautical miles.
    ByHand(f64),
    /// By the table, which is for a ship's bridge by day.
    ByTable(Conditions),
}

/// A person in the water, by visibility in nautical miles (IAMSAR table N-4, from memory).
const TABLE: [(f64, f64); 5] = [(3.0, 0.4), (5.0, 0.5), (10.0, 0.6), (15.0, 0.7), (20.0, 0.7)];
const FEET_PER_M: f64 = 1.0 / 0.3048;
/// Where the table is of no use.
pub const TABLE_LIMITS: &str = "sweep width by the table for a merchant ship's height of eye by day (IAMSAR N-4, from \
memory): far too wide for a small boat's cockpit, and there is none for the night";

impl Sweep {
    /// Width in nautical miles; `None` if the table has none or the number makes none.
    pub fn width_nm(self) -> Option<f64> {
        match self {
            Self::ByHand(nm) => (nm.is_finite() && nm > 0.0).then_some(nm),
            Self::ByTable(c) => c.width_nm(),
        }
    }

    /// What must be said with it.
    pub fn limits(self) -> Option<&'static str> {
        matches!(self, Self::ByTable(_)).then_some(TABLE_LIMITS)
    }
}

impl Conditions {
    /// The row at or below the visibility, with the corrections for weather and weariness (JP 3-50 table D-1).
    /// Below three miles of visibility there is no row.
    fn width_nm(self) -> Option<f64> {
        let row = TABLE.iter().rev().find(|r| self.visibility_nm >= r.0)?;
        let sea_ft = self.sea_m.unwrap_or(0.0) * FEET_PER_M;
        let weather = if self.wind_kn > 25.0 || sea_ft >= 4.0 {
            0.25
        } else if self.wind_kn > 15.0 || sea_ft >= 2.0 {
            0.5
        } else {
            1.0
        };
        Some(row.1 * weather * if self.tired { 0.9 } else { 1.0 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn table_and_corrections() {
        let width = |visibility_nm, wind_kn, sea_m, tired| {
            Sweep::ByTable(Conditions { visibility_nm, wind_kn, sea_m, tired }).width_nm()
        };
        // IAMSAR table N-4 (from memory); corrections of JP 3-50 table D-1.
        assert_eq!(width(10.0, 5.0, None, false), Some(0.6));
        assert_eq!(width(12.0, 20.0, None, false), Some(0.3));
        assert_eq!(width(3.0, 30.0, None, false), Some(0.1));
        assert_eq!(width(20.0, 5.0, Some(0.7), false), Some(0.35));
        assert!((width(5.0, 5.0, None, true).unwrap() - 0.45).abs() < 1e-12);
        assert_eq!(width(2.0, 5.0, None, false), None);
        assert_eq!(Sweep::ByHand(-1.0).width_nm(), None);
    }
}
