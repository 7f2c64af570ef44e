//! Questions about a casualty, and the answer.

use crate::{CasualtyPart, whole};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use terms::CasualtyId;

/// A question about a casualty.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct CasualtyQuestion {
    /// Which casualty; may be omitted if there is only one.
    #[serde(deserialize_with = "whole::casualty")]
    #[schemars(with = "Option<u32>")]
    pub casualty: Option<CasualtyId>,
    /// Asks for the sheet to read over the radio.
    pub brief: bool,
    /// A search pattern: square, sector, or line, along the datum line.
    pub pattern: Option<String>,
    /// Track spacing in nautical miles.
    pub spacing_nm: Option<f64>,
    /// Sweep width: the total width, both sides together, in which a head in the water is surely seen, in nautical
    /// miles.
    pub sweep_width_nm: Option<f64>,
    /// Radius in nautical miles; from the datum by default.
    pub radius_nm: Option<f64>,
    /// Speed through the water in knots; the present speed by default.
    pub speed_kn: Option<f64>,
    /// Course of the first leg, true; down-drift by default.
    pub first_course_deg: Option<f64>,
    /// Asks for the second pass of the same pattern.
    pub second_pass: bool,
    /// Reports that the pattern was searched in vain: it counts for the datum from now on.
    pub searched: bool,
}

/// What is known of a casualty, and what was asked for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CasualtyAnswer {
    /// The casualty as events describe it.
    pub casualty: CasualtyPart,
    /// The whole line.
    pub words: String,
    /// The sheet to read over the radio.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub brief: Option<String>,
    /// The search pattern in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plan: Option<String>,
    /// The search pattern as GPX 1.1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gpx: Option<String>,
    /// The search pattern as WPL and RTE sentences.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sentences: Option<Vec<String>>,
    /// The pattern now counts as searched in vain.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub searched: bool,
}
