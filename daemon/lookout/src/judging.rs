//! Judging a target: where it lies, how close it will come, whether it is lost.

use crate::encounter::{Encounter, Party};
use crate::own::STILL_KN;
use crate::target::{FORGOTTEN, Judgement, Target};
use crate::track::Doubtful;
use crate::{Finding, Lookout};
use std::time::Duration;
use terms::{Mmsi, Moment, Quantity, Subject};

/// How often a target is judged again without a new report.
const JUDGED_EVERY: Duration = Duration::from_secs(10);
/// The same for one that is near, or soon will be.
const JUDGED_NEAR_EVERY: Duration = Duration::from_secs(2);
/// How often a target without a position is looked at.
const LOOKED_AT_EVERY: Duration = Duration::from_secs(60);
/// Near: within this range, or closing to `CLOSE_NM` within `SOON_S`.
const NEAR_NM: f64 = 3.0;
pub(crate) const CLOSE_NM: f64 = 2.0;
pub(crate) const SOON_S: f64 = 15.0 * 60.0;

impl Lookout {
    /// Judges a target again and sets the time of its next judgement.
    pub(crate) fn judge(&mut self, at: Moment, mmsi: Mmsi) {
        let Some(target) = self.table.get(mmsi) else { return };
        if at.since(target.heard) > FORGOTTEN {
            self.table.remove(mmsi);
            self.findings.push(Finding::Gone(Subject::Target(mmsi)));
            self.findings.push(Finding::Changed(Subject::OwnVessel, Quantity::TargetCount));
            return;
        }
        let old = target.judged;
        let sight = self.look(at, target);
        let seen = sight.map(|s| (s.range_nm(), s.bearing_deg()));
        let lost = target.is_lost(at);
        let new = Judgement { at, sight, seen, met: self.meet(at, target), lost };
        let lost_at = target.report.map(|r| r.at + target.lost_after() + Duration::from_millis(1));
        let soon = new.met.is_some_and(|m| m.least_cpa_nm <= CLOSE_NM && (0.0..=SOON_S).contains(&m.tcpa_s));
        let (rank, every) = match seen {
            Some((range_nm, _)) if range_nm <= NEAR_NM || soon => (3, JUDGED_NEAR_EVERY),
            Some(_) => (2, JUDGED_EVERY),
            None if target.report.is_some() => (1, JUDGED_EVERY),
            None => (0, LOOKED_AT_EVERY),
        };
        let differs = |of: fn(&Judgement) -> Option<f64>| old.as_ref().and_then(of) != of(&new);
        let met =
            |of: fn(&Encounter) -> f64| old.and_then(|j| j.met).map(|m| of(&m)) != new.met.map(|m| of(&m));
        let turned = differs(|j| j.seen.map(|s| s.1));
        let changes = [
            (Quantity::Range, differs(|j| j.seen.map(|s| s.0))),
            (Quantity::Bearing, turned),
            (Quantity::RelativeBearing, turned),
            (Quantity::Cpa, met(|m| m.cpa_nm)),
            (Quantity::Tcpa, met(|m| m.tcpa_s)),
            (Quantity::CpaLeast, met(|m| m.least_cpa_nm)),
            (Quantity::CpaMost, met(|m| m.greatest_cpa_nm)),
            (Quantity::TcpaLeast, met(|m| m.earliest_tcpa_s)),
            (Quantity::TcpaPrudent, met(Encounter::prudent_tcpa_s)),
            (Quantity::TcpaMost, met(|m| m.latest_tcpa_s)),
            (Quantity::BearingDrift, met(|m| m.bearing_drift_deg_min)),
            (Quantity::BowCrossingRange, differs(|j| j.met?.crosses_bow.map(|c| c.0))),
            (Quantity::BowCrossingTime, differs(|j| j.met?.crosses_bow.map(|c| c.1))),
            (Quantity::Situation, old.and_then(|j| j.met?.situation) != new.met.and_then(|m| m.situation)),
            (Quantity::Passing, old.and_then(|j| j.met?.passing()) != new.met.and_then(|m| m.passing())),
            (Quantity::Contact, old.is_some_and(|j| j.lost) != lost),
        ];
        self.findings.extend(
            changes.iter().filter(|(_, c)| *c).map(|(q, _)| Finding::Changed(Subject::Target(mmsi), *q)),
        );
        self.table.change(mmsi, |t| {
            t.judged = Some(new);
            t.rank = rank;
            t.due = lost_at.filter(|&l| l > at).map_or(at + every, |l| l.min(at + every));
        });
    }

    /// The closest point of approach; only ships have one. The orders ask for it many times at the moment of the
    /// judgement, which then has it ready.
    pub(crate) fn encounter(&self, at: Moment, target: &Target) -> Option<Encounter> {
        target.judged.filter(|j| j.at == at).map_or_else(|| self.meet(at, target), |j| j.met)
    }

    fn meet(&self, at: Moment, target: &Target) -> Option<Encounter> {
        if !target.kind.is_ship() {
            return None;
        }
        let ((own, own_doubt), (other, doubt)) = (self.own.motion(at)?, target.motion(at)?);
        let heading = self.own.value(at, Quantity::Heading);
        let bow_deg = heading.or_else(|| (own.sog_kn() >= STILL_KN).then(|| own.cog_deg()));
        let own = Party { motion: own, bow_deg, hull: self.settings.dimensions };
        let other = Party { motion: other, bow_deg: target.bow_deg(&other), hull: target.dimensions };
        Some(Encounter::of(&own, &other, Doubtful::of_both(own_doubt, doubt), at))
    }
}
