//! An encounter: the closest point of approach with how well it is known, and who passes whom how.

use crate::motion::Closest;
use crate::track::Doubtful;

/// Standard errors on either side that hold 95 %.
const SIGMAS_95: f64 = 1.96;
/// Times further off than this are of no use, and bounds stop there.
const FURTHEST_S: f64 = 24.0 * 3600.0;

/// The closest point of approach of a target, and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Encounter {
    /// Range now.
    pub range_nm: f64,
    /// True bearing now.
    pub bearing_deg: f64,
    /// Distance at the closest point of approach, between the two reported points.
    pub cpa_nm: f64,
    /// Seconds until then; negative when it is past.
    pub tcpa_s: f64,
    /// True bearing then.
    pub cpa_bearing_deg: f64,
    /// The CPA is with 95 % no less than this …
    pub least_cpa_nm: f64,
    /// … and no more than this.
    pub greatest_cpa_nm: f64,
    /// The TCPA is with 95 % no sooner than this …
    pub earliest_tcpa_s: f64,
    /// … and no later than this.
    pub latest_tcpa_s: f64,
    /// Speed of the target relative to own vessel.
    pub relative_kn: f64,
}

impl Encounter {
    /// With the errors of both vessels.
    pub(crate) fn of(c: Closest, doubt: Doubtful) -> Self {
        let off_nm = SIGMAS_95 * doubt.sigma_nm(c.tcpa_s.clamp(0.0, FURTHEST_S));
        let off_s = off_nm / c.relative_kn.max(0.1) * 3600.0;
        Self {
            range_nm: c.range_nm,
            bearing_deg: c.bearing_deg,
            cpa_nm: c.cpa_nm,
            tcpa_s: c.tcpa_s,
            cpa_bearing_deg: c.cpa_bearing_deg,
            least_cpa_nm: (c.cpa_nm - off_nm).max(0.0),
            greatest_cpa_nm: c.cpa_nm + off_nm,
            earliest_tcpa_s: (c.tcpa_s - off_s).max(-FURTHEST_S),
            latest_tcpa_s: (c.tcpa_s + off_s).min(FURTHEST_S),
            relative_kn: c.relative_kn,
        }
    }
}
