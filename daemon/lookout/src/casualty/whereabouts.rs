//! Where a case is: what its clues are evidence of, in words of place and drift.

use super::case::Case;
use super::evidence::{self, Hypothesis};
use super::fixes::{BeaconFix, Doubt};
use super::own::SetDrift;
use super::state::{Placed, SILENT_AFTER};
use crate::drift::{Datum, DriftFrom, Explanation, OnLine, Outline, Surroundings, radius95_nm};
use crate::search::Searched;
use terms::{Moment, Position};

/// Where it is, and what that is based on.
pub(super) struct Whereabouts {
    pub placed: Placed,
    pub place: Option<Position>,
    pub radius95_nm: Option<f64>,
    pub drift: Option<SetDrift>,
    pub drift_from: DriftFrom,
    /// The line on which it lies, if the moment of the fall is not known.
    pub line: Vec<OnLine>,
    /// The newest fix that fits.
    pub last: Option<BeaconFix>,
    /// When somebody last saw it.
    pub sighted: Option<Moment>,
    /// The other place that it may be at.
    pub elsewhere: Option<Other>,
    /// The newest position that is not believed, and why.
    pub doubtful: Option<(BeaconFix, Doubt)>,
}

/// A mark less likely than this is no longer spoken of; the region still holds it (own choice).
const LEAST_SHARE: f64 = 0.05;

/// Another place that explains some of the clues.
pub(super) struct Other {
    pub place: Position,
    pub radius95_nm: f64,
    /// How likely it is the right one, from 0 to 1.
    pub share: f64,
    /// How many bursts put it there; none: own track, or whatever marked it.
    pub bursts: u32,
}

/// Where a vessel aground lies: her last fix, else the mark, however old. She does not drift.
fn aground(case: &Case) -> Whereabouts {
    let fix = case.fixes.last().map(|f| (Placed::Reported, f.position, evidence::radius95_of_fix_nm(f)));
    let mark = || case.mark.map(|m| (Placed::Estimated, m.position, m.radius95_nm));
    let lies = fix.or_else(mark);
    Whereabouts {
        placed: lies.map_or(Placed::None, |l| l.0),
        place: lies.map(|l| l.1),
        radius95_nm: lies.map(|l| l.2),
        drift: None,
        drift_from: DriftFrom::Nothing,
        line: Vec::new(),
        last: case.fixes.last().copied(),
        sighted: None,
        elsewhere: None,
        doubtful: case.fixes.doubtful(),
    }
}

/// The best estimate available, and the next best if the clues do not agree. The beacon's own fix is carried on by the
/// drift from the moment at which it was measured.
pub(super) fn of(case: &Case, at: Moment, surroundings: &Surroundings) -> Whereabouts {
    if case.is_aground() {
        return aground(case);
    }
    let all = evidence::hypotheses(case, at, surroundings);
    let Some(first) = all.first() else {
        return Whereabouts {
            placed: Placed::None,
            place: None,
            radius95_nm: None,
            drift: None,
            drift_from: DriftFrom::Nothing,
            line: Vec::new(),
            last: None,
            sighted: None,
            elsewhere: None,
            doubtful: case.fixes.doubtful(),
        };
    };
    let motions = first.filter.motions(surroundings);
    let outline = Outline::of(&first.filter, &motions);
    let known_age = |m: Moment| case.gap_ended.is_none_or(|g| m >= g);
    let seen_since = |f: &BeaconFix| first.sighted.is_some_and(|s| s > f.at);
    let fresh = first.last.filter(|f| at.since(f.at) <= SILENT_AFTER && known_age(f.at) && !seen_since(f));
    let (placed, place) = match fresh {
        Some(fix) => (Placed::Reported, carried_on(&fix, at, outline.drift)),
        None => (Placed::Estimated, outline.place),
    };
    let since = first.last.map(|f| f.at).max(first.sighted).or(case.mark.map(|m| m.at));
    Whereabouts {
        placed,
        place: Some(place),
        // Across a gap of unknown length no radius can be promised.
        radius95_nm: since.is_none_or(known_age).then(|| radius95_nm(&first.filter, &motions, place)),
        drift: (first.drift_from != DriftFrom::Nothing).then_some(outline.drift),
        drift_from: first.drift_from,
        line: outline.line,
        last: first.last,
        sighted: first.sighted,
        elsewhere: other(&all, surroundings),
        doubtful: misfit(&all).or(case.fixes.doubtful()),
    }
}

/// Where a fix has drifted to.
fn carried_on(fix: &BeaconFix, at: Moment, drift: SetDrift) -> Position {
    let nm = drift.drift_kn * at.since(fix.at).as_secs_f64() / 3600.0;
    if nm > 0.0 { fix.position.at(drift.set_deg, nm) } else { fix.position }
}

/// The second of several explanations.
fn other(all: &[Hypothesis], surroundings: &Surroundings) -> Option<Other> {
    let whole: f64 = all.iter().map(Hypothesis::weight).sum();
    // What was reported is said; a mark only while it is likely.
    let worth = |h: &&Hypothesis| h.bursts > 0 || h.weight() >= LEAST_SHARE * whole;
    let second = all.iter().skip(1).find(worth)?;
    let motions = second.filter.motions(surroundings);
    let place = Outline::of(&second.filter, &motions).place;
    Some(Other {
        place,
        radius95_nm: radius95_nm(&second.filter, &motions, place),
        share: second.weight() / whole,
        bursts: second.bursts,
    })
}

/// The newest fix that does not fit the likeliest explanation.
fn misfit(all: &[Hypothesis]) -> Option<(BeaconFix, Doubt)> {
    let others = all.iter().skip(1).filter_map(|h| h.last);
    others.max_by_key(|f| f.at).map(|f| (f, Doubt::DoesNotFit))
}

/// The datum of a case with what was searched for it; a vessel aground has none.
pub(super) fn datum(
    case: &Case,
    at: Moment,
    surroundings: &Surroundings,
    searched: &[Searched],
) -> Option<Datum> {
    if case.is_aground() {
        return None;
    }
    let all = evidence::hypotheses(case, at, surroundings);
    let explanations: Vec<Explanation<'_>> = all
        .iter()
        .map(|h| Explanation { filter: &h.filter, weight: h.weight(), drift_from: h.drift_from })
        .collect();
    Datum::new(&explanations, surroundings, searched)
}
