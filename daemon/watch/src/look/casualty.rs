//! What a casualty's coordinator and searchers need: the sheet for the radio, and a search pattern.

use super::parts::casualty_part;
use crate::Watch;
use lookout::casualty::in_full;
use lookout::search::{Pattern, Plan, Searched, Sweep, Vessel, Wish};
use record::{ActError, CasualtyAnswer, CasualtyQuestion};
use terms::{CasualtyId, Moment};

impl Watch {
    /// Answers a question about a casualty; logs a pattern as searched if it says so.
    ///
    /// # Errors
    /// If there is no such casualty, or the pattern cannot be laid.
    pub(crate) fn searched(&mut self, at: Moment, q: &CasualtyQuestion) -> Result<CasualtyAnswer, ActError> {
        let (id, mut told, area) = self.casualty_answer(at, q)?;
        if let Some(area) = area.filter(|_| q.searched) {
            self.lookout.searched(id, area);
            told.searched = true;
        }
        Ok(told)
    }

    /// Looks at a casualty: its line and, if asked, the sheet for the radio or a search pattern. Changes nothing.
    ///
    /// # Errors
    /// If there is no such casualty, or the pattern cannot be laid.
    pub fn casualty_look(&self, at: Moment, q: &CasualtyQuestion) -> Result<CasualtyAnswer, ActError> {
        self.casualty_answer(at, q).map(|(_, told, _)| told)
    }

    fn casualty_answer(
        &self,
        at: Moment,
        q: &CasualtyQuestion,
    ) -> Result<(CasualtyId, CasualtyAnswer, Option<Searched>), ActError> {
        let id = self.which_casualty(at, q.casualty)?;
        let state = self
            .lookout
            .casualty(at, id)
            .ok_or_else(|| ActError::Nothing(format!("no casualty {}", id.0)))?;
        let mut told = CasualtyAnswer {
            casualty: casualty_part(&state, at),
            words: in_full(&state),
            brief: q.brief.then(|| self.lookout.brief(at, id, &self.vessel)).flatten(),
            plan: None,
            gpx: None,
            sentences: None,
            searched: false,
        };
        let mut area = None;
        if let Some(pattern) = &q.pattern {
            let plan = self.plan_search(at, id, pattern, q)?;
            let utc = self.lookout.utc(at).map(|(utc, _)| utc);
            told.plan = Some(plan.text(at, utc));
            told.gpx = Some(plan.gpx(at, utc));
            told.sentences = Some(plan.sentences("II"));
            area = plan.area;
        }
        Ok((id, told, area))
    }

    /// Lays the pattern that a question asks for.
    ///
    /// # Errors
    /// If it names no pattern, or that cannot be laid.
    pub(crate) fn plan_search(
        &self,
        at: Moment,
        id: CasualtyId,
        pattern: &str,
        q: &CasualtyQuestion,
    ) -> Result<Plan, ActError> {
        let pattern = match pattern {
            "square" => Pattern::ExpandingSquare,
            "sector" => Pattern::Sector,
            "line" => Pattern::TrackLine,
            other => {
                return Err(ActError::Wrong(format!("`{other}` is no pattern: square, sector or line")));
            }
        };
        let own = self.lookout.own(at);
        let speed_kn = q.speed_kn.or(own.speed_through_water_kn).or(own.sog_kn).ok_or_else(|| {
            ActError::Nothing(
                "own speed is not known: say at which speed the pattern is to be laid".to_owned(),
            )
        })?;
        let wish = Wish {
            pattern,
            second_pass: q.second_pass,
            number: self.lookout.searches(id) + 1,
            spacing_nm: q.spacing_nm,
            sweep: q.sweep_width_nm.map(Sweep::ByHand),
            radius_nm: q.radius_nm,
            speed_kn,
            first_course_deg: q.first_course_deg,
        };
        self.lookout.plan(at, id, &wish).map_err(ActError::Wrong)
    }

    /// The casualty asked for, or the only one.
    pub(crate) fn which_casualty(
        &self,
        at: Moment,
        which: Option<CasualtyId>,
    ) -> Result<CasualtyId, ActError> {
        let open: Vec<CasualtyId> = self.open_casualties(at).iter().map(|c| c.id).collect();
        match (which, open.as_slice()) {
            (Some(id), _) => Ok(id),
            (None, [only]) => Ok(*only),
            (None, []) => Err(ActError::Nothing("there is no casualty".to_owned())),
            (None, _) => Err(ActError::Nothing("there are several casualties: say which".to_owned())),
        }
    }
}

/// The vessel as named on the sheet for the radio.
pub(crate) fn vessel_of(boat: &boat::Boat) -> Vessel {
    Vessel {
        name: boat.vessel.name.clone(),
        call_sign: boat.vessel.call_sign.clone(),
        mmsi: boat.vessel.mmsi,
        persons: u32::try_from(boat.crew.len()).ok().filter(|n| *n > 0),
    }
}
