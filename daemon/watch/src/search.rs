//! A search that is being sailed.

use crate::Watch;
use lookout::search::{Pattern, Plan, Sailing};
use record::{ActError, CasualtyQuestion, Entry};
use rules::{BuiltIn, Words};
use std::time::Duration;
use terms::{CasualtyId, Moment, Subject};

/// The alert that says what to steer.
const LEG: (BuiltIn, Subject) = (BuiltIn::SearchLeg, Subject::OwnVessel);

impl Watch {
    /// Begins to sail a pattern.
    pub(crate) fn begin_search(&mut self, at: Moment, q: &CasualtyQuestion) -> Result<String, ActError> {
        if let Some(search) = &self.search {
            return Err(ActError::Nothing(format!(
                "search {} is being sailed: end it first (search end)",
                search.plan.number
            )));
        }
        let id = self.which_casualty(at, q.casualty)?;
        let pattern = q.pattern.as_deref().unwrap_or_default();
        let plan = self.plan_search(at, id, pattern, q)?;
        let done = format!("{}, spacing {:.2} nm", plan.title(), plan.spacing_nm);
        let cautions = plan.cautions.join(" ");
        self.enter(
            at,
            Entry::SearchBegan {
                casualty: id,
                number: plan.number,
                pattern: plan.pattern.words().to_owned(),
                spacing_nm: plan.spacing_nm,
                radius_nm: plan.radius_nm,
                sweep_width_nm: plan.sweep_width_nm,
            },
        );
        let mut search = Sailing::new(at, id, plan);
        search.advance(at);
        self.search = Some(search);
        self.keep_due = true;
        let words = self.search_words(at);
        let first = words.as_ref().map_or(String::new(), |w| w.written.clone());
        self.board.call(at, LEG.0, LEG.1, words.unwrap_or_default());
        Ok(format!("{done}. {first}. {cautions}"))
    }

    /// Ends the search that is being sailed, counts what own track has searched, and offers the next.
    pub(crate) fn end_search(&mut self, at: Moment, sweep_width_nm: Option<f64>) -> Result<String, ActError> {
        if sweep_width_nm.is_some_and(|w| !(w > 0.0 && w <= 5.0)) {
            return Err(ActError::Wrong("a sweep width is more than 0 and at most 5 nm".to_owned()));
        }
        let Some(search) = self.search.take() else {
            return Err(ActError::Nothing("no search is being sailed".to_owned()));
        };
        self.board.over(at, LEG.0, LEG.1);
        self.keep_due = true;
        let (id, number) = (search.casualty, search.plan.number);
        let swept = search.swept(at, sweep_width_nm);
        let counts = !swept.areas.is_empty();
        swept.areas.into_iter().for_each(|area| self.lookout.searched(id, area));
        let found = self.lookout.found_so_far(at, id).filter(|_| counts);
        let ended = Entry::SearchEnded {
            casualty: id,
            number,
            run_nm: swept.run_nm,
            time_s: swept.time.as_secs_f64(),
            found,
        };
        let done = ended.text();
        self.enter(at, ended);
        Ok(format!("{done}. {}", next_search(&search.plan, counts)))
    }

    /// Ends a search whose casualty was stood down.
    pub(crate) fn search_is_over(&mut self, at: Moment, id: CasualtyId) {
        if self.search.as_ref().is_some_and(|s| s.casualty == id) {
            // There is one, and no sweep width to refuse.
            let _ = self.end_search(at, None);
        }
    }

    /// When the next turn of a search is due, or own track's next point.
    pub(crate) fn search_due(&self) -> Option<Moment> {
        self.search.as_ref()?.due()
    }

    /// Follows own track, and announces the turn that is due.
    pub(crate) fn advance_search(&mut self, at: Moment) {
        let Some(search) = &mut self.search else { return };
        if let Some(here) = self.lookout.context(at).position_at(at) {
            search.follow(at, here);
        }
        if search.advance(at) {
            let words = self.search_words(at).unwrap_or_default();
            self.keep_due = true;
            self.board.retell(at, LEG.0, LEG.1, words);
        }
    }

    fn search_words(&self, at: Moment) -> Option<Words> {
        let utc = self.lookout.utc(at).map(|(utc, _)| utc);
        let (written, spoken) = self.search.as_ref()?.words(at, utc);
        Some(Words { written, spoken: Some(spoken) })
    }

    /// Takes up a search that an earlier run was sailing, if steady time has gone on since: after a reboot its times are not
    /// known any more.
    pub(crate) fn take_up_search(&mut self, at: Moment, search: Option<Sailing>, goes_on: bool) {
        let Some(search) = search else { return };
        if goes_on && at.since(search.began) < LONGEST {
            self.search = Some(search);
        } else {
            let text =
                format!("search {} was broken off by the restart: nothing of it counts", search.plan.number);
            self.board.note(at, "lookout", Subject::Casualty(search.casualty), text.into());
            self.board.over(at, LEG.0, LEG.1);
        }
    }
}

/// No search is longer than its track is kept.
const LONGEST: Duration = Duration::from_secs(6 * 3600);

/// What may come next, as an offer.
fn next_search(plan: &Plan, counts: bool) -> String {
    let radius_nm = if plan.second_pass { plan.next_radius_nm } else { plan.radius_nm };
    let radius = format!(" --radius {radius_nm:.2}");
    let (pattern, radius) = match plan.pattern {
        Pattern::ExpandingSquare => ("square", radius),
        Pattern::Sector => ("sector", radius),
        Pattern::TrackLine => ("line", String::new()),
    };
    let again = if plan.second_pass { "" } else { " --second-pass" };
    let sweep = if counts { "" } else { " --sweep-width NM" };
    format!("Next: search begin --pattern {pattern}{again}{radius} --spacing {:.2}{sweep}", plan.spacing_nm)
}
