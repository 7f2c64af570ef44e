//! Which rule of the road applies to a meeting, in words.

use crate::encounter::{Encounter, Situation};
use crate::kind::ship_type_word;
use crate::target::Target;

/// What drives own vessel, as declared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Propulsion {
    /// Engine running, sails or not (COLREG rule 3 b).
    Power,
    /// Under sail only.
    Sail,
}

/// Visibility, as declared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Visibility {
    /// Vessels at these ranges see one another.
    InSight,
    /// Fog, rain, snow: restricted (rule 3 l).
    Restricted,
}

/// A meeting involves risk of collision when it may come closer than this within this time (the rules give no
/// number; common practice for a small boat).
const RISK_NM: f64 = 1.0;
const RISK_S: f64 = 30.0 * 60.0;

/// What drives a target, as far as she reports it; rule 18's privileged ones first.
fn drives(t: &Target) -> Option<&'static str> {
    match t.nav_status {
        Some(2) => Some("not under command"),
        Some(3) => Some("restricted in her ability to manoeuvre"),
        Some(4) => Some("constrained by her draught"),
        Some(7) => Some("fishing"),
        Some(8) => Some("sail"),
        Some(0 | 11 | 12) => Some("power"),
        _ => {
            let power = ["cargo", "tanker", "passenger", "high-speed", "tug", "towing", "pilot"];
            t.ship_type.map(ship_type_word).filter(|w| power.contains(w)).map(|_| "power")
        }
    }
}

/// Which rule applies to a meeting: a reminder, never an instruction. Only if both are declared and the rule's
/// conditions hold.
pub(crate) fn rule(
    met: &Encounter,
    t: &Target,
    propulsion: Option<Propulsion>,
    visibility: Option<Visibility>,
) -> Option<String> {
    let own = propulsion?;
    let risk = met.least_cpa_nm <= RISK_NM && (0.0..=RISK_S).contains(&met.tcpa_s);
    if !risk {
        return None;
    }
    if visibility? == Visibility::Restricted {
        return Some("rule 19, vessels not in sight of one another in restricted visibility".to_owned());
    }
    let her = drives(t);
    let text = match (met.situation?, own, her) {
        (Situation::SheOvertakes, ..) => "rule 13, she is overtaking".to_owned(),
        (Situation::OwnOvertakes, ..) => "rule 13, own vessel is overtaking".to_owned(),
        (Situation::Opening | Situation::Stopped, ..) => return None,
        (_, Propulsion::Sail, Some("sail")) => "rule 12, both under sail".to_owned(),
        (_, Propulsion::Sail, Some("power")) => "rule 18, own vessel under sail, she under power".to_owned(),
        (_, Propulsion::Power, Some("sail")) => "rule 18, own vessel under power, she under sail".to_owned(),
        (Situation::Meeting, Propulsion::Power, Some("power")) => "rule 14, head-on".to_owned(),
        (Situation::CrossingFromStarboard, Propulsion::Power, Some("power")) => {
            "rule 15, crossing, she is on the starboard side".to_owned()
        }
        (Situation::CrossingFromPort, Propulsion::Power, Some("power")) => {
            "rule 15, crossing, she is on the port side".to_owned()
        }
        (_, _, Some(other)) if other != "power" => format!("rule 18, she is {other}"),
        _ => return None,
    };
    Some(format!("{text} (rules 9 and 10 as well in a narrow channel or a traffic lane)"))
}
