//! Judging a target: where it lies, how close it will come, whether it is lost.

use crate::encounter::{Encounter, Party};
use crate::motion::Sight;
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

/// How close a target is or will be is reckoned in miles, and a mile counts as much as this many seconds until then: a
/// ship on a collision course twenty minutes off is as dangerous as one that lies a mile off (own choice).
const SECONDS_A_MILE: f64 = 20.0 * 60.0;
/// A ship that reports no course or speed, or whose meeting with own vessel is not known, may come on at this speed (own
/// choice: a fast ship and a slow boat on opposite courses).
const MAY_COME_AT_KN: f64 = 25.0;
/// Dangers differ if they differ by this much, in miles; beyond this many such steps all are alike.
const DANGER_STEP_NM: f64 = 0.25;
const DANGER_STEPS: f64 = 1_000.0;

impl Judgement {
    /// How dangerous the target is, more is worse: 0 if nobody knows where she is, 1 if nobody knows where own vessel is, from
    /// there on by how close she is or comes, and how soon.
    pub(crate) fn danger(&self, target: &Target) -> u16 {
        let Some((range_nm, _)) = self.seen else { return target.report.is_some().into() };
        let comes_nm = match self.met {
            Some(met) if met.tcpa_s > 0.0 => met.cpa_nm + met.tcpa_s / SECONDS_A_MILE,
            None if target.kind.is_ship() && !self.lost => {
                range_nm / MAY_COME_AT_KN * 3600.0 / SECONDS_A_MILE
            }
            _ => range_nm,
        };
        let steps = (comes_nm.min(range_nm) / DANGER_STEP_NM).clamp(0.0, DANGER_STEPS);
        2 + (DANGER_STEPS - steps) as u16
    }
}

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
        let new = self.judgement(at, target);
        let (seen, lost, danger) = (new.seen, new.lost, new.danger(target));
        let lost_at = target.report.map(|r| r.at + target.lost_after() + Duration::from_millis(1));
        let soon = new.met.is_some_and(|m| m.least_cpa_nm <= CLOSE_NM && (0.0..=SOON_S).contains(&m.tcpa_s));
        let every = match seen {
            Some((range_nm, _)) if range_nm <= NEAR_NM || soon => JUDGED_NEAR_EVERY,
            None if target.report.is_none() => LOOKED_AT_EVERY,
            _ => JUDGED_EVERY,
        };
        let due = lost_at.filter(|&l| l > at).map_or(at + every, |l| l.min(at + every));
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
        self.table.change(mmsi, |t| t.judge(new, danger, due));
    }

    /// How a target lies and moves now.
    pub(crate) fn judgement(&self, at: Moment, target: &Target) -> Judgement {
        let (sight, met) = self.weigh_up(at, target);
        let seen = sight.map(|s| (s.range_nm(), s.bearing_deg()));
        Judgement { at, sight, seen, met, lost: target.is_lost(at) }
    }

    /// The closest point of approach; only ships have one. The orders ask for it many times at the moment of the
    /// judgement, which then has it ready.
    pub(crate) fn encounter(&self, at: Moment, target: &Target) -> Option<Encounter> {
        target.judged.filter(|j| j.at == at).map_or_else(|| self.weigh_up(at, target).1, |j| j.met)
    }

    /// Where she lies, and the closest approach.
    fn weigh_up(&self, at: Moment, target: &Target) -> (Option<Sight>, Option<Encounter>) {
        let (Some((own, own_doubt)), Some((other, doubt))) = (self.own.motion(at), target.motion(at)) else {
            return (self.look(at, target), None);
        };
        // Where both lie still, own receiver's noise is no course either.
        let still = own.sog_kn() < STILL_KN && target.lies_still();
        let own = if still { own.at_rest() } else { own };
        let (own, other) = (own.carried(at), other.carried(at));
        let sight = Sight::of(own.position, other.position);
        if !target.kind.is_ship() {
            return (Some(sight), None);
        }
        let heading = self.own.value(at, Quantity::Heading);
        let bow_deg = heading.or_else(|| (own.sog_kn() >= STILL_KN).then(|| own.cog_deg()));
        let own = Party { motion: own, bow_deg, hull: self.settings.dimensions };
        let other = Party { motion: other, bow_deg: target.bow_deg(&other), hull: target.dimensions };
        let met = Encounter::of(&own, &other, sight, Doubtful::of_both(own_doubt, doubt));
        (Some(sight), Some(met))
    }
}
