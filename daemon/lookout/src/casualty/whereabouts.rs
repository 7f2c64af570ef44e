//! Where a case is: its clues fed into the drift.

use super::case::Case;
use super::fixes::{BeaconFix, Doubt, in_whole_minutes};
use super::own::SetDrift;
use super::state::{Placed, SILENT_AFTER};
use crate::drift::{Datum, DriftFrom, Drifter, Filter, Outline, Surroundings, radius95_nm};
use crate::search::Searched;
use std::time::Duration;
use terms::{Moment, Position};

/// Standard deviation of a beacon's fix each way: a small receiver awash (own choice, 15 m).
const FIX_DEVIATION_NM: f64 = 0.008;
/// The same for a position in whole minutes, which may be rounded or cut off.
const WHOLE_MINUTE_DEVIATION_NM: f64 = 0.5;
/// The radius of a circular normal that holds 95 %, in standard deviations: √(−2·ln 0.05).
const RADIUS95_DEVIATIONS: f64 = 2.447_747;
/// Fixes closer together than this are one burst and add nothing new.
const BURST: Duration = Duration::from_secs(30);
/// From this many bursts over this long, the drift is the beacon's own.
const OWN_DRIFT_BURSTS: usize = 3;
const OWN_DRIFT_AFTER: Duration = Duration::from_secs(110);
/// A doubtful position, if there is nothing else (own choice).
const DOUBTFUL_DEVIATION_NM: f64 = 1.0;

/// Where it is, and what that is based on.
pub(super) struct Whereabouts {
    pub placed: Placed,
    pub place: Option<Position>,
    pub radius95_nm: Option<f64>,
    pub drift: Option<SetDrift>,
    pub drift_from: DriftFrom,
}

/// The clues of a case carried on to a moment; `None` if there is no place to start from.
fn estimate(case: &Case, at: Moment, surroundings: &Surroundings) -> Option<(Filter, DriftFrom)> {
    let drifter = if case.is_person() { Drifter::PERSON } else { Drifter::CRAFT };
    let bursts = bursts(case, at);
    let (place, since, deviation_nm) = if let Some(first) = bursts.first() {
        (first.position, first.at, fix_deviation_nm(first))
    } else if let Some(mark) = case.mark {
        (mark.position, mark.at, mark.radius95_nm / RADIUS95_DEVIATIONS)
    } else {
        let (fix, doubt) = case.fixes.doubtful()?;
        // A jump, or a position beyond the radio's range, is no clue at all.
        if !matches!(doubt, Doubt::NotByFix | Doubt::WholeMinutes) {
            return None;
        }
        (fix.position, fix.at, DOUBTFUL_DEVIATION_NM)
    };
    let mut filter = Filter::start(place, since, deviation_nm, drifter, surroundings);
    for fix in bursts.iter().skip(1) {
        filter.carry(fix.at, surroundings);
        filter.correct(fix.position, fix_deviation_nm(fix));
    }
    filter.carry(at, surroundings);
    let long = bursts.first().zip(bursts.last()).is_some_and(|(f, l)| l.at.since(f.at) >= OWN_DRIFT_AFTER);
    let (spell, _) = surroundings.spell(at);
    let from = if long && bursts.len() >= OWN_DRIFT_BURSTS {
        DriftFrom::Beacon
    } else if spell.current_known || spell.wind_kn.is_some() {
        DriftFrom::WindAndCurrent
    } else {
        DriftFrom::Nothing
    };
    Some((filter, from))
}

/// Standard deviation of a fix each way.
fn fix_deviation_nm(fix: &BeaconFix) -> f64 {
    if in_whole_minutes(fix.position) { WHOLE_MINUTE_DEVIATION_NM } else { FIX_DEVIATION_NM }
}

/// One fix of each burst, oldest first, always including the very last one.
fn bursts(case: &Case, at: Moment) -> Vec<BeaconFix> {
    let mut newest_first: Vec<BeaconFix> = Vec::new();
    for fix in case.fixes.good().rev().filter(|f| f.at <= at) {
        if newest_first.last().is_none_or(|later| later.at >= fix.at + BURST) {
            newest_first.push(*fix);
        }
    }
    newest_first.reverse();
    newest_first
}

/// Where a vessel aground lies: her last fix, else the mark, however old. She does not drift.
fn aground(case: &Case) -> Whereabouts {
    let fix =
        case.fixes.last().map(|f| (Placed::Reported, f.position, fix_deviation_nm(f) * RADIUS95_DEVIATIONS));
    let mark = || case.mark.map(|m| (Placed::Estimated, m.position, m.radius95_nm));
    let lies = fix.or_else(mark);
    Whereabouts {
        placed: lies.map_or(Placed::None, |l| l.0),
        place: lies.map(|l| l.1),
        radius95_nm: lies.map(|l| l.2),
        drift: None,
        drift_from: DriftFrom::Nothing,
    }
}

/// The beacon's fix while it is fresh; otherwise the best estimate available.
pub(super) fn of(case: &Case, at: Moment, surroundings: &Surroundings) -> Whereabouts {
    if case.is_aground() {
        return aground(case);
    }
    let Some((filter, drift_from)) = estimate(case, at, surroundings) else {
        let (placed, drift_from) = (Placed::None, DriftFrom::Nothing);
        return Whereabouts { placed, place: None, radius95_nm: None, drift: None, drift_from };
    };
    let motions = filter.motions(surroundings);
    let outline = Outline::of(&filter, &motions);
    let known_age = |m: Moment| case.gap_ended.is_none_or(|g| m >= g);
    let last = case.fixes.last().filter(|f| at.since(f.at) <= SILENT_AFTER && known_age(f.at));
    let (placed, place) = match last {
        Some(fix) => (Placed::Reported, fix.position),
        None => (Placed::Estimated, outline.place),
    };
    let since = case.fixes.last().map(|f| f.at).or(case.mark.map(|m| m.at));
    Whereabouts {
        placed,
        place: Some(place),
        // Across a gap of unknown length no radius can be promised.
        radius95_nm: since.is_none_or(known_age).then(|| radius95_nm(&filter, &motions, place)),
        drift: (drift_from != DriftFrom::Nothing).then_some(outline.drift),
        drift_from,
    }
}

/// The datum of a case with what was searched for it; a vessel aground has none.
pub(super) fn datum(
    case: &Case,
    at: Moment,
    surroundings: &Surroundings,
    searched: &[Searched],
) -> Option<Datum> {
    let (filter, from) = estimate(case, at, surroundings).filter(|_| !case.is_aground())?;
    Some(Datum::new(&filter, surroundings, searched, from))
}
