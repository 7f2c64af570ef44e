//! The passage as planned: where she is on it.

use lookout::PassageState;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use terms::{one_line, span, three_digits};

/// How she stands to the plotter's plan. `None` is not known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PassageNow {
    /// The waypoint that the plotter leads to.
    pub waypoint: String,
    /// ahead, reached or passed.
    pub arrival: String,
    /// Off track, nautical miles, steer to starboard positive.
    pub cross_track_error_nm: Option<f64>,
    /// To the waypoint, nautical miles.
    pub distance_nm: Option<f64>,
    /// Its true bearing.
    pub bearing_deg: Option<f64>,
    /// To the end of the route, nautical miles.
    pub to_go_nm: Option<f64>,
    /// Speed toward the waypoint, knots, negative going away.
    pub toward_kn: Option<f64>,
    /// Until she is there, seconds, at the mean speed of ten minutes.
    pub time_s: Option<f64>,
}

impl From<PassageState> for PassageNow {
    fn from(p: PassageState) -> Self {
        Self {
            waypoint: one_line(&p.waypoint),
            arrival: p.arrival.to_owned(),
            cross_track_error_nm: p.cross_track_error_nm,
            distance_nm: p.distance_nm,
            bearing_deg: p.bearing_deg,
            to_go_nm: p.to_go_nm,
            toward_kn: p.toward_kn,
            time_s: p.time_s,
        }
    }
}

impl PassageNow {
    /// The waypoint, and how she stands to its leg.
    pub fn words(&self) -> String {
        let mut words = self.waypoint.clone();
        if self.arrival != "ahead" {
            words += &format!(" {}", self.arrival);
        }
        match (self.distance_nm, self.bearing_deg) {
            (Some(nm), Some(deg)) => words += &format!(" {nm:.1} nm, {}°", three_digits(deg)),
            _ => words += ", distance not known",
        }
        words += &self.toward_kn.map_or(String::new(), |kn| format!(", at {kn:.1} kn"));
        let time = self.time_s.and_then(|s| Duration::try_from_secs_f64(s).ok());
        words += &time.map_or(String::new(), |time| format!(" in {}", span(time)));
        words += &match self.cross_track_error_nm {
            Some(nm) if nm.abs() < 0.05 => "; on track".to_owned(),
            Some(nm) => {
                format!(
                    "; {:.1} nm off track, steer to {}",
                    nm.abs(),
                    if nm > 0.0 { "starboard" } else { "port" }
                )
            }
            None => String::new(),
        };
        words += &self.to_go_nm.map_or(String::new(), |nm| format!("; {nm:.0} nm to go"));
        words
    }
}
