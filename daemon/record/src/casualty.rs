//! What is asked about a casualty, and the answer.

use crate::{CasualtyPart, whole};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use terms::CasualtyId;

/// What is asked about a casualty.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(default, deny_unknown_fields)]
pub struct CasualtyQuestion {
    /// Which; the only one where not told.
    #[serde(deserialize_with = "whole::casualty")]
    #[schemars(with = "Option<u32>")]
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

/// What is known of a casualty, and what was asked for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CasualtyAnswer {
    /// As events have it.
    pub casualty: CasualtyPart,
    /// The whole line.
    pub words: String,
    /// The sheet to be read over the radio.
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
    /// The pattern counts as searched in vain from now on.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub searched: bool,
}
