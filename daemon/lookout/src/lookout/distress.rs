//! The lookout's casualties, with own vessel as she is now.

use super::Lookout;
use crate::Finding;
use crate::casualty::{CasualtyState, Gap, News, NoSuchCasualty, Snapshot, StandDown};
use crate::search::{Plan, Searched, Vessel, Wish, brief};
use std::time::Duration;
use terms::{CasualtyId, Moment, Subject};

impl Lookout {
    /// A button was pushed for somebody who went over the side `late` ago. Marks own place at that time.
    pub fn overboard(&mut self, at: Moment, late: Duration, crew: Option<String>) -> CasualtyId {
        let own = self.context(at);
        let id = self.casualties.overboard(at, late, crew, &own);
        self.gather_news();
        id
    }

    /// Ends a casualty: the only way one ends.
    ///
    /// # Errors
    /// If there is none of this number, or it is over already.
    pub fn stand_down(
        &mut self,
        at: Moment,
        id: CasualtyId,
        reason: StandDown,
    ) -> Result<(), NoSuchCasualty> {
        let done = self.casualties.stand_down(at, id, reason);
        self.gather_news();
        done
    }

    /// One casualty, open or lately stood down.
    pub fn casualty(&self, at: Moment, id: CasualtyId) -> Option<CasualtyState> {
        self.casualties.state(at, id, &self.context(at))
    }

    /// All open casualties in the order they were raised.
    pub fn casualties(&self, at: Moment) -> Vec<CasualtyState> {
        self.casualties.states(at, &self.context(at))
    }

    /// The sheet for the coordinator, to be read over the radio and recomputed ashore.
    pub fn brief(&self, at: Moment, id: CasualtyId, vessel: &Vessel) -> Option<String> {
        let own = self.context(at);
        let state = self.casualties.state(at, id, &own)?;
        let datum = self.casualties.datum(at, id);
        let current = self.casualties.current(&own);
        Some(brief(at, vessel, &state, datum.as_ref(), &current, &self.casualties.searched_for(id), &own))
    }

    /// A search pattern from a casualty's datum.
    ///
    /// # Errors
    /// If there is no datum, or the pattern cannot be laid; in words.
    pub fn plan(&self, at: Moment, id: CasualtyId, wish: &Wish) -> Result<Plan, String> {
        let own = self.context(at);
        let datum = self.casualties.datum(at, id).ok_or_else(|| {
            format!("casualty {} has no datum: no fix, no mark and no own track at the time", id.0)
        })?;
        Plan::new(&datum, &own, &self.casualties.current(&own), wish).map_err(|e| e.to_string())
    }

    /// Counts an area searched in vain.
    pub fn searched(&mut self, id: CasualtyId, area: Searched) {
        self.casualties.searched(id, area);
    }

    /// How many areas were searched for a casualty.
    pub fn searches(&self, id: CasualtyId) -> usize {
        self.casualties.searched_for(id).len()
    }

    /// Numbers casualties from here on: no number is used twice in one logbook.
    pub fn number_casualties_from(&mut self, next: u32) {
        self.casualties.number_from(next);
    }

    /// The casualties as they are, for a restart.
    pub fn casualties_snapshot(&self, at: Moment) -> Snapshot {
        self.casualties.snapshot(at, &self.context(at))
    }

    /// Takes up the casualties an earlier run left.
    pub fn restore_casualties(&mut self, at: Moment, snapshot: Snapshot, gap: Gap) {
        self.casualties = super::Casualties::restore(self.settings.crew.clone(), snapshot, at, gap);
    }

    /// Advances the casualties in time.
    pub(super) fn advance_casualties(&mut self, at: Moment) {
        if self.casualties.next_wake().is_some_and(|due| due <= at) {
            let own = self.context(at);
            self.casualties.advance(at, &own);
            self.gather_news();
        }
    }

    /// Adds the casualties' news to the findings.
    pub(super) fn gather_news(&mut self) {
        self.findings.extend(self.casualties.take_news().into_iter().map(|n| match n {
            News::Casualty { id, news } => Finding::Casualty { id, news },
            News::BeaconTest { mmsi, text, .. } => Finding::BeaconTest { mmsi, text },
            News::Noted { mmsi, text } => {
                Finding::Noted { subject: mmsi.map_or(Subject::OwnVessel, Subject::Target), text }
            }
        }));
    }
}
