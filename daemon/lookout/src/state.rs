//! Own vessel and targets as plain numbers, for the screen, the record and the page.

use crate::Kind;
use crate::Situation;
use crate::casualty::RelativeTo;
use terms::{Mmsi, Position};

/// Own vessel. `None` is not available or no longer believed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct OwnState {
    /// Last fix.
    pub position: Option<Position>,
    /// Seconds since it.
    pub position_age_s: Option<f64>,
    /// Speed over ground.
    pub sog_kn: Option<f64>,
    /// Course over ground, true.
    pub cog_deg: Option<f64>,
    /// Heading, true.
    pub heading_deg: Option<f64>,
    /// Seconds since it was heard.
    pub heading_age_s: Option<f64>,
    /// Seconds since course or speed over ground was heard, whichever is older.
    pub course_age_s: Option<f64>,
    /// Speed through water.
    pub speed_through_water_kn: Option<f64>,
    /// Depth below the transducer.
    pub depth_below_transducer_m: Option<f64>,
    /// Depth below the surface.
    pub depth_below_surface_m: Option<f64>,
    /// Depth below the keel; known only if the transducer's distance from it is.
    pub depth_below_keel_m: Option<f64>,
    /// Seconds since it was heard.
    pub depth_age_s: Option<f64>,
    /// True wind speed, over the water.
    pub true_wind_kn: Option<f64>,
    /// Direction it comes from.
    pub true_wind_direction_deg: Option<f64>,
    /// Seconds since it was heard or worked out.
    pub true_wind_age_s: Option<f64>,
    /// Air pressure.
    pub pressure_hpa: Option<f64>,
    /// Seconds since it was heard.
    pub pressure_age_s: Option<f64>,
    /// Whether the sun is up at the boat.
    pub sun_up: Option<bool>,
    /// Seconds since own AIS transmitter was last heard.
    pub transmitted_age_s: Option<f64>,
}

/// A target. `None` is not available.
#[derive(Debug, Clone, PartialEq)]
pub struct TargetState {
    /// Identity.
    pub mmsi: Mmsi,
    /// Kind of station.
    pub kind: Kind,
    /// Class B.
    pub class_b: bool,
    /// Name.
    pub name: Option<String>,
    /// Call sign.
    pub call_sign: Option<String>,
    /// Type of ship, as a word.
    pub ship_type: Option<&'static str>,
    /// Navigational status, as a word.
    pub status: Option<&'static str>,
    /// Length over all.
    pub length_m: Option<f64>,
    /// Destination.
    pub destination: Option<String>,
    /// Where she was at her last report.
    pub position: Option<Position>,
    /// Speed over ground.
    pub sog_kn: Option<f64>,
    /// Course over ground, true.
    pub cog_deg: Option<f64>,
    /// Heading, true.
    pub heading_deg: Option<f64>,
    /// Range, carried to now.
    pub range_nm: Option<f64>,
    /// True bearing, carried to now.
    pub bearing_deg: Option<f64>,
    /// Bearing off the bow, or off the course, port negative, (−180, 180].
    pub relative_bearing_deg: Option<f64>,
    /// Which of the two.
    pub relative_to: Option<RelativeTo>,
    /// Distance at the closest point of approach.
    pub cpa_nm: Option<f64>,
    /// Seconds until then; negative once it is past.
    pub tcpa_s: Option<f64>,
    /// Her true bearing then.
    pub cpa_bearing_deg: Option<f64>,
    /// The CPA is with 95 % no less than this …
    pub least_cpa_nm: Option<f64>,
    /// … and no more than this.
    pub greatest_cpa_nm: Option<f64>,
    /// The TCPA is with 95 % no sooner than this …
    pub earliest_tcpa_s: Option<f64>,
    /// … and no later than this.
    pub latest_tcpa_s: Option<f64>,
    /// Between the two hulls at the closest approach, where a length is known.
    pub clearance_nm: Option<f64>,
    /// How fast her true bearing changes, degrees a minute, clockwise positive; near 0 on a collision course.
    pub bearing_drift_deg_min: Option<f64>,
    /// How they meet, as a word.
    pub situation: Option<&'static str>,
    /// Where she passes, as a word: ahead or astern.
    pub passing: Option<&'static str>,
    /// From own bow to the nearest of her hull when she crosses own bow line; negative where that is astern.
    pub crosses_bow_nm: Option<f64>,
    /// Seconds until then; negative when it is past.
    pub crosses_bow_s: Option<f64>,
    /// From her bow to own hull when own vessel crosses her bow line; negative where that is astern of her.
    pub crossed_bow_nm: Option<f64>,
    /// Seconds until then; negative when it is past.
    pub crossed_bow_s: Option<f64>,
    /// Which rule of the road applies to the meeting, if the watch has declared what it needs. No instruction.
    pub rule: Option<String>,
    /// A radar follows her, too, or only a radar does.
    pub by_radar: bool,
    /// Seconds since her last position report.
    pub age_s: Option<f64>,
    /// Her reports have stopped.
    pub lost: bool,
}

/// A bearing that changes more slowly than this, in degrees a minute, is reported as steady: half a degree is what a
/// hand bearing compass shows over two minutes (common practice).
const STEADY_DEG_MIN: f64 = 0.3;

/// Nearer to own bow or stern than this, nobody can say on which side of it she passes (own choice: the errors of two
/// receivers and of two courses over some minutes).
const TOUCHING_NM: f64 = 0.05;

impl TargetState {
    /// How she meets own vessel, in words and without advice: situation, who passes where and at what distance, whether
    /// her bearing is steady, the rule that applies. `None` once she is past, or if nothing is known.
    pub fn meeting(&self) -> Option<String> {
        if !self.tcpa_s.is_some_and(|s| s > 0.0) {
            return None;
        }
        let mut parts: Vec<String> = self.situation.iter().map(|s| (*s).to_owned()).collect();
        let is = |situation: Situation| self.situation == Some(situation.word());
        let overtaking = is(Situation::SheOvertakes) || is(Situation::OwnOvertakes);
        // One that lies still passes nowhere. Of one on nearly the same course, the distance at which she crosses own bow
        // line is far from the CPA; the CPA alone counts.
        match (self.passing, self.crosses_bow_nm.map(f64::abs)) {
            _ if is(Situation::Stopped) => {}
            (Some(_), Some(nm)) if nm < TOUCHING_NM && overtaking => {}
            (Some(passing), Some(_)) if overtaking => parts.push(format!("passes {passing}")),
            (Some(_), Some(nm)) if nm < TOUCHING_NM => {
                parts.push("passes neither clear ahead nor clear astern".to_owned());
            }
            (Some(passing), Some(nm)) => parts.push(format!("passes {passing}, {nm:.2} nm off")),
            _ => {}
        }
        if self.bearing_drift_deg_min.is_some_and(|d| d.abs() < STEADY_DEG_MIN) {
            parts.push("bearing steady".to_owned());
        }
        parts.extend(self.rule.clone());
        (!parts.is_empty()).then(|| parts.join("; "))
    }

    /// What she is, as far as she reports it: type, length, status.
    pub fn described(&self) -> String {
        let kind = self.ship_type.unwrap_or_else(|| self.kind.word()).to_owned();
        let length = self.length_m.map(|m| format!("{m:.0} m"));
        let status = self.status.map(str::to_owned);
        let lost = self.lost.then(|| "lost target".to_owned());
        [Some(kind), length, status, lost].into_iter().flatten().collect::<Vec<_>>().join(", ")
    }
}
