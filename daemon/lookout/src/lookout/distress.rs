//! The lookout's casualties, with own vessel as she is.

use super::Lookout;
use crate::Finding;
use crate::casualty::{CasualtyState, Gap, News, NoSuchCasualty, Snapshot, StandDown};
use std::time::Duration;
use terms::{CasualtyId, Moment, Subject};

impl Lookout {
    /// A button was pushed for somebody who went over the side so long ago. Marks own place then.
    pub fn overboard(&mut self, at: Moment, late: Duration, crew: Option<String>) -> CasualtyId {
        let own = self.context(at);
        let id = self.casualties.overboard(at, late, crew, &own);
        self.gather_news();
        id
    }

    /// Ends a casualty: the only way that one ends.
    ///
    /// # Errors
    /// When there is none of this number, or it is over already.
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

    /// All open casualties in the order in which they were raised.
    pub fn casualties(&self, at: Moment) -> Vec<CasualtyState> {
        self.casualties.states(at, &self.context(at))
    }

    /// Numbers casualties from here on: no number is used twice in one logbook.
    pub fn number_casualties_from(&mut self, next: u32) {
        self.casualties.number_from(next);
    }

    /// The casualties as they are, for a restart.
    pub fn casualties_snapshot(&self, at: Moment) -> Snapshot {
        self.casualties.snapshot(at, &self.context(at))
    }

    /// Takes the casualties up again that an earlier run left.
    pub fn restore_casualties(&mut self, at: Moment, snapshot: Snapshot, gap: Gap) {
        self.casualties = super::Casualties::restore(self.settings.crew.clone(), snapshot, at, gap);
    }

    /// Passes time on for the casualties.
    pub(super) fn advance_casualties(&mut self, at: Moment) {
        if self.casualties.next_wake().is_some_and(|due| due <= at) {
            let own = self.context(at);
            self.casualties.advance(at, &own);
            self.gather_news();
        }
    }

    /// The casualties' news among the findings.
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
