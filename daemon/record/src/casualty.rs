//! What is asked about a casualty.

use serde::{Deserialize, Serialize};
use terms::CasualtyId;

/// What is asked about a casualty.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct CasualtyQuestion {
    /// Which; the only one where not told.
    pub casualty: Option<CasualtyId>,
    /// The sheet to be read over the radio.
    pub brief: bool,
    /// A search pattern: square or sector.
    pub pattern: Option<String>,
    /// Track spacing in nautical miles.
    pub spacing_nm: Option<f64>,
    /// How far off a head in the water is surely seen, to both sides together, in nautical miles.
    pub sweep_width_nm: Option<f64>,
    /// Radius in nautical miles; else by the datum.
    pub radius_nm: Option<f64>,
    /// Speed through the water in knots; else the present one.
    pub speed_kn: Option<f64>,
    /// Course of the first leg, true; else down-drift.
    pub first_course_deg: Option<f64>,
    /// The second pass of the same pattern.
    pub second_pass: bool,
    /// The pattern was searched in vain: it counts for the datum from now on.
    pub searched: bool,
}
