//! What a plotter says of its plan.

use crate::report::place;
use serde::Serialize;
use terms::Position;

/// The waypoint that a plotter leads to (RMB, APB, BWC, BWR, BOD, AAM), as far as the sentence says. All `None` while the
/// plotter leads nowhere.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Waypoint {
    /// Its name.
    #[serde(rename = "waypoint")]
    pub to: Option<String>,
    /// The name of the one that the leg begins at.
    #[serde(rename = "from_waypoint")]
    pub from: Option<String>,
    /// Where it lies.
    #[serde(flatten, serialize_with = "place")]
    pub position: Option<Position>,
    /// Off track, steer to starboard positive; `None` where the sentence stands for "that or more".
    pub cross_track_error_nm: Option<f64>,
    /// How far off it is; `None` where the sentence stands for "that or more".
    pub distance_nm: Option<f64>,
    /// Its true bearing.
    pub bearing_deg: Option<f64>,
    /// Speed toward it, negative going away.
    pub closing_kn: Option<f64>,
    /// The plotter's arrival circle is entered.
    pub circle_entered: Option<bool>,
    /// The perpendicular to the leg at the waypoint is passed.
    pub perpendicular_passed: Option<bool>,
}

/// A waypoint's place by name (WPL).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WaypointPlace {
    /// Its name.
    pub waypoint: Option<String>,
    /// Where it lies.
    #[serde(flatten, serialize_with = "place")]
    pub position: Option<Position>,
}

/// A part of a route (RTE).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RoutePart {
    /// Sentences of the route.
    pub parts: u16,
    /// Which of them this is, from 1.
    pub part: u16,
    /// The whole route; otherwise from the last waypoint passed on.
    pub whole: bool,
    /// The route's name.
    pub route: Option<String>,
    /// Names of waypoints, in order.
    pub waypoints: Vec<String>,
}
