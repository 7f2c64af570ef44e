//! A button pushed aboard.

use super::case::{Case, Kind, Mark, Source, Why};
use super::fall::{Fell, Line};
use super::intake::near;
use super::news::CasualtyNews;
use super::own::OwnContext;
use super::{Casualties, TAKEN_OVER_WITHIN};
use std::time::Duration;
use terms::{CasualtyId, Moment};

/// Open casualties raised by button; a further push counts for the last of them.
const BUTTON_CASES: usize = 32;
/// Pushes of the button no further apart than this count as one (a trembling hand).
const ONE_PUSH: Duration = Duration::from_secs(10);

impl Casualties {
    /// A button was pushed, or somebody is missing. `fell`: when the fall was, as far as whoever says so knows; the mark is
    /// own place then, or the stretch of own track that the time allows. Counts for an open casualty if it is the same crew member's, if it is a trembling hand, or if a beacon was
    /// raised within five minutes and half a mile and no button has been pushed for it yet.
    pub fn overboard(
        &mut self,
        at: Moment,
        fell: impl Into<Fell>,
        crew: Option<String>,
        own: &OwnContext,
    ) -> CasualtyId {
        self.follow(at, own);
        let fell = fell.into();
        let (Fell::Ago(late) | Fell::Between { last_seen: late, .. }) = fell;
        let crew = crew.map(|c| c.trim().to_owned()).filter(|c| !c.is_empty());
        let began = at - late;
        let mark = self.track.place_or_now(began, own).map(|p| Mark {
            at: began,
            position: p.position,
            radius95_nm: p.radius95_nm.max(0.02),
        });
        let line = Line::of(fell, at, &self.track, own);
        if let Some(index) = self.pushed_already(at, late, crew.as_deref(), mark, own) {
            let case = &mut self.open[index];
            case.pushed = case.pushed.saturating_add(1);
            case.crew = case.crew.take().or(crew);
            case.began = case.began.min(began);
            // Who says when somebody was last seen knows better than who pushed a button.
            if line.as_ref().is_some_and(|l| l.unseen || case.mark.is_none()) {
                (case.mark, case.line) = (mark, line);
            } else {
                case.mark = case.mark.or(mark);
            }
            case.kind = Kind::PersonOverboard;
            let id = case.id;
            self.tell(id, CasualtyNews::Joined);
            return id;
        }
        let id = self.number();
        let case = Case::new(id, Kind::PersonOverboard, Source::Button, Why::Button, at, began);
        self.open.push(Case { crew, mark, line, pushed: 1, ..case });
        self.tell(id, CasualtyNews::Raised);
        id
    }

    /// The open casualty that a push of the button counts for.
    fn pushed_already(
        &self,
        at: Moment,
        late: Duration,
        crew: Option<&str>,
        mark: Option<Mark>,
        own: &OwnContext,
    ) -> Option<usize> {
        let same_name = |c: &Case| match (c.crew.as_deref(), crew) {
            (Some(a), Some(b)) => a.eq_ignore_ascii_case(b),
            _ => false,
        };
        if let Some(i) = self.open.iter().position(same_name) {
            return Some(i);
        }
        let other_name = |c: &Case| c.crew.is_some() && crew.is_some();
        let buttons = self.open.iter().filter(|c| c.source == Source::Button).count();
        self.open.iter().rposition(|c| {
            let trembles = c.source == Source::Button && at.since(c.raised) <= ONE_PUSH;
            let place = c.fixes.last().map(|f| f.position).or(own.position_at(at)).map(|p| (p, 0.0));
            let beacon = c.pushed == 0
                && matches!(c.kind, Kind::PersonOverboard | Kind::Sart)
                && late <= TAKEN_OVER_WITHIN
                && at.since(c.raised) <= TAKEN_OVER_WITHIN
                && near(place, mark.map(|m| m.position));
            let full = buttons >= BUTTON_CASES && c.source == Source::Button;
            full || (!other_name(c) && (trembles || beacon))
        })
    }
}
