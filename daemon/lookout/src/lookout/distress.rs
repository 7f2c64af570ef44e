//! The lookout's casualties, with own vessel as she is now.

use super::Lookout;
use crate::Finding;
use crate::casualty::{
    CasualtyState, Fell, Gap, Kind, News, NoSuchCasualty, NotPlaced, OwnContext, Seen, Snapshot, StandDown,
    Whose,
};
use crate::search::{Facts, Plan, Searched, Vessel, Wish, brief};
use std::cell::RefCell;
use terms::{CasualtyId, Moment, Position, Subject, span, three_digits};

/// What looks worked out since the last input, kept for the looks to come: several ask for the same casualty, for her alert's
/// words, its record and what is kept, and each state follows a drift through all fixes of its beacon. It changes no answer;
/// a debug build asserts that.
#[derive(Debug, Clone, Default)]
pub(crate) struct Looked {
    own: RefCell<Option<(Moment, OwnContext)>>,
    /// At most one for each casualty that is kept.
    states: RefCell<Vec<(Moment, CasualtyState)>>,
}

impl Looked {
    /// Own vessel or the time is no longer as it was.
    pub fn forget(&mut self) {
        *self.own.get_mut() = None;
        self.forget_casualties();
    }

    /// A casualty is no longer as it was.
    fn forget_casualties(&mut self) {
        self.states.get_mut().clear();
    }

    /// Own vessel at a moment.
    pub fn own(&self, at: Moment, work_out: impl Fn() -> OwnContext) -> OwnContext {
        let mut kept = self.own.borrow_mut();
        if let Some((_, own)) = kept.as_ref().filter(|(then, _)| *then == at) {
            debug_assert_eq!(*own, work_out());
            return own.clone();
        }
        count(0);
        kept.insert((at, work_out())).1.clone()
    }

    /// A casualty at a moment.
    fn casualty(
        &self,
        at: Moment,
        id: CasualtyId,
        work_out: impl Fn() -> Option<CasualtyState>,
    ) -> Option<CasualtyState> {
        let mut kept = self.states.borrow_mut();
        kept.retain(|(then, _)| *then == at);
        if let Some((_, state)) = kept.iter().find(|(_, s)| s.id == id) {
            debug_assert_eq!(Some(state), work_out().as_ref());
            return Some(state.clone());
        }
        count(1);
        let state = work_out()?;
        kept.push((at, state.clone()));
        Some(state)
    }
}

#[cfg(test)]
thread_local! {
    /// How often own vessel and a casualty were worked out.
    static WORKED_OUT: std::cell::Cell<[u32; 2]> = const { std::cell::Cell::new([0; 2]) };
}

#[cfg(not(test))]
#[inline]
fn count(_: usize) {}

#[cfg(test)]
fn count(what: usize) {
    let mut counted = WORKED_OUT.get();
    counted[what] += 1;
    WORKED_OUT.set(counted);
}

impl Lookout {
    /// A button was pushed for somebody who went over the side, or somebody is missing. Marks own place at that time, or
    /// the stretch of own track on which the fall lies.
    pub fn overboard(&mut self, at: Moment, fell: impl Into<Fell>, crew: Option<String>) -> CasualtyId {
        let own = self.context(at);
        let id = self.casualties.overboard(at, fell, crew, &own);
        self.gather_news();
        id
    }

    /// Somebody sees a casualty: a side or a bearing, and a distance in metres. Returns the place.
    ///
    /// # Errors
    /// If there is no such casualty, or own position or heading is not known.
    pub fn sighted(
        &mut self,
        at: Moment,
        id: CasualtyId,
        seen: Seen,
        metres: f64,
    ) -> Result<Position, NotPlaced> {
        let own = self.context(at);
        let placed = self.casualties.sighted(at, id, seen, metres, &own);
        self.gather_news();
        placed
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
        self.looked.casualty(at, id, || self.casualties.state(at, id, &self.context(at)))
    }

    /// What a casualty is, open or lately stood down.
    pub fn kind_of_casualty(&self, id: CasualtyId) -> Option<Kind> {
        self.casualties.kind_of(id)
    }

    /// All open casualties in the order they were raised.
    pub fn casualties(&self, at: Moment) -> Vec<CasualtyState> {
        self.casualties.open_ids().filter_map(|id| self.casualty(at, id)).collect()
    }

    /// The sheet for the coordinator, to be read over the radio and recomputed ashore.
    pub fn brief(&self, at: Moment, id: CasualtyId, vessel: &Vessel) -> Option<String> {
        let own = self.context(at);
        let state = self.casualty(at, id)?;
        let datum = self.casualties.datum(at, id);
        let current = self.casualties.current(&own);
        let facts = Facts {
            vessel,
            casualty: &state,
            ours: self.casualties(at).iter().filter(|c| c.whose == Whose::Ours).count(),
            datum: datum.as_ref(),
            current: &current,
            searched: &self.casualties.searched_for(id),
            own: &own,
        };
        Some(brief(at, &facts))
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

    /// How many searches for a casualty were counted.
    pub fn searches(&self, id: CasualtyId) -> usize {
        self.casualties.searched_for(id).iter().map(|s| s.number).max().unwrap_or(0)
    }

    /// How likely the searches so far would have found a casualty, wherever it is in its region (0 to 1).
    pub fn found_so_far(&self, at: Moment, id: CasualtyId) -> Option<f64> {
        self.casualties.datum(at, id).map(|datum| 1.0 - datum.missed_so_far())
    }

    /// Numbers casualties from here on: no number is used twice in one logbook.
    pub fn number_casualties_from(&mut self, next: u32) {
        self.casualties.number_from(next);
    }

    /// The casualties as they are, for a restart.
    pub fn casualties_snapshot(&self, at: Moment) -> Snapshot {
        self.casualties.snapshot(at, self.utc(at))
    }

    /// Takes up the casualties an earlier run left.
    pub fn restore_casualties(&mut self, at: Moment, snapshot: Snapshot, gap: Gap) {
        self.looked.forget();
        self.casualties = super::Casualties::restore(self.settings.crew.clone(), snapshot, at, gap);
    }

    /// Joins what dead reckoning placed to a fix that came back.
    pub(super) fn join_returned(&mut self) {
        let Some(returned) = self.own.take_returned() else { return };
        self.casualties.join(&returned);
        let (off_nm, toward_deg) = returned.reckoned.range_and_bearing(returned.fix);
        let text = format!(
            "position by satellite again after {}: {off_nm:.2} nm toward {}° from dead reckoning",
            span(returned.to.since(returned.from)),
            three_digits(toward_deg)
        );
        self.findings.push(Finding::Noted { subject: Subject::OwnVessel, text });
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
        self.looked.forget_casualties();
        self.findings.extend(self.casualties.take_news().into_iter().map(|n| match n {
            News::Casualty { id, news } => Finding::Casualty { id, news },
            News::BeaconTest { mmsi, text, .. } => Finding::BeaconTest { mmsi, text },
            News::Noted { mmsi, text } => {
                Finding::Noted { subject: mmsi.map_or(Subject::OwnVessel, Subject::Target), text }
            }
        }));
    }
}

#[cfg(test)]
mod tests {
    use super::{Looked, WORKED_OUT};
    use crate::casualty::CasualtyNews;
    use crate::{Finding, Lookout, Settings};
    use sentence::ais::AisReport;
    use sentence::{Fix, Report};
    use terms::{CasualtyId, FeedId, Mmsi, Moment, Position};

    /// A person's beacon with its position.
    fn burst() -> Report {
        let mut report = AisReport::new(1, 0, Mmsi::new(972_001_234).unwrap());
        report.nav_status = Some(14);
        report.position = Position::new(50.01, -1.0).ok();
        Report::Ais(Box::new(report))
    }

    fn at_sea() -> Lookout {
        let mut lookout = Lookout::new(Settings::default());
        let fix = Fix {
            position: Position::new(50.0, -1.0).ok(),
            sog_kn: Some(5.0),
            cog_deg: Some(90.0),
            ..Fix::default()
        };
        lookout.hear(Moment(0), FeedId(0), &Report::Fix(fix));
        lookout
    }

    /// All that a watch asks of one casualty when there is news of it.
    fn look(lookout: &mut Lookout, at: Moment) -> CasualtyId {
        let casualty = |f: &Finding| match f {
            Finding::Casualty { id, .. } => Some(*id),
            _ => None,
        };
        let id = lookout.take_findings().iter().find_map(casualty).unwrap();
        lookout.kind_of_casualty(id).unwrap();
        let words = lookout.casualty(at, id).unwrap();
        let record = lookout.casualty(at, id).unwrap();
        assert_eq!(words, record);
        assert_eq!(lookout.casualties(at), [record]);
        lookout.casualties_snapshot(at);
        id
    }

    #[test]
    fn for_one_line_of_a_beacon_own_vessel_and_the_casualty_are_worked_out_once() {
        let mut lookout = at_sea();
        for n in 1..4 {
            let at = Moment::from_s(200.0 * f64::from(n));
            // It falls silent between, so that each burst is news.
            lookout.advance(at - std::time::Duration::from_secs(1));
            lookout.take_findings();
            WORKED_OUT.set([0; 2]);
            lookout.hear(at, FeedId(0), &burst());
            look(&mut lookout, at);
            assert_eq!(WORKED_OUT.get(), [1, 1], "line {n}");
        }
    }

    #[test]
    fn what_was_worked_out_ends_with_the_moment_and_with_each_input() {
        let mut lookout = at_sea();
        let at = Moment::from_s(10.0);
        lookout.hear(at, FeedId(0), &burst());
        let id = look(&mut lookout, at);
        let state = lookout.casualty(at, id).unwrap();
        let later = Moment::from_s(20.0);
        assert!(lookout.casualty(later, id).unwrap().range_nm != state.range_nm, "she sails on");
        assert_eq!(lookout.casualty(at, id).unwrap(), state);
        let fix = Fix { position: Position::new(50.005, -1.0).ok(), ..Fix::default() };
        lookout.hear(at, FeedId(0), &Report::Fix(fix));
        let nearer = lookout.casualty(at, id).unwrap().range_nm;
        assert!(nearer < state.range_nm, "{nearer:?} {:?}", state.range_nm);
        lookout.stand_down(at, id, crate::casualty::StandDown::Recovered).unwrap();
        assert!(lookout.casualty(at, id).unwrap().stood_down.is_some());
        let news = lookout.take_findings();
        assert!(news.iter().any(|f| matches!(f, Finding::Casualty { news: CasualtyNews::StoodDown(_), .. })));
        // What is kept is bounded by the casualties, whatever is asked.
        for n in 0..100 {
            lookout.casualty(at + std::time::Duration::from_secs(n), id);
        }
        let Looked { states, .. } = &lookout.looked;
        assert_eq!(states.borrow().len(), 1);
    }
}
