//! What the clues of a case are evidence of: one explanation while they agree, several while they do not.
//!
//! A burst is one piece of evidence. It counts for the explanation that it fits; one that fits none begins another. Each
//! burst that fits another takes a vote away, so that a single wrong burst is forgotten after the next right one, and a
//! beacon that finds itself late is followed after its second. What fits own track at the time of the fall is never
//! forgotten: only a person can say that it is wrong. Nor is the mark itself, unless a report fits it: one that lies elsewhere
//! on own track is of a beacon set off late, or of one that errs.

use super::case::Case;
use super::fixes::{BeaconFix, Doubt, in_whole_minutes};
use crate::drift::{DriftFrom, Drifter, Filter, Surroundings};
use std::time::Duration;
use terms::{Moment, Position};

/// Standard deviation of a beacon's fix each way: a small receiver awash (own choice, 15 m).
const FIX_DEVIATION_NM: f64 = 0.008;
/// The same for a position in whole minutes, which may be rounded or cut off.
const WHOLE_MINUTE_DEVIATION_NM: f64 = 0.5;
/// The radius of a circular normal that holds 95 %, in standard deviations: √(−2·ln 0.05).
const RADIUS95_DEVIATIONS: f64 = 2.447_747;
/// From this many bursts over this long, the drift is the beacon's own.
const OWN_DRIFT_BURSTS: u32 = 3;
const OWN_DRIFT_AFTER: Duration = Duration::from_secs(110);
/// A doubtful position, if there is nothing else (own choice).
const DOUBTFUL_DEVIATION_NM: f64 = 1.0;
/// Explanations kept at a time; the weakest goes first.
const KEPT: usize = 4;
/// Votes count up to this many: bursts that agree are not independent, since a wrong receiver stays wrong.
const MOST_VOTES: i32 = 3;
/// What a mark is worth in votes: alone, and with a burst that fits it.
const MARK_VOTES: i32 = 2;
const MARK_AND_BURST_VOTES: i32 = 4;
/// One without votes is dropped once another has as many.
const OUTVOTED: i32 = 2;
/// Odds of one vote (own choice: one burst in five is wrong where reports disagree at all).
const ODDS: f64 = 4.0;

/// A clue to a place: a beacon's fix, or what somebody saw.
struct Clue {
    fix: BeaconFix,
    deviation_nm: f64,
    burst: u32,
    by_own_track: bool,
    /// Somebody saw it; it is no beacon's word.
    seen: bool,
}

/// The clues of a case, oldest first. Each sighting counts as a burst of its own.
fn clues(case: &Case) -> Vec<Clue> {
    let reports = case.fixes.reports().map(|r| Clue {
        fix: r.fix,
        deviation_nm: fix_deviation_nm(&r.fix),
        burst: r.burst,
        by_own_track: r.by_own_track,
        seen: false,
    });
    let sightings = case.sightings.iter().zip(0..).map(|(s, n)| Clue {
        fix: BeaconFix { at: s.at, position: s.position, sog_kn: None, cog_deg: None },
        deviation_nm: s.deviation_nm,
        burst: u32::MAX - n,
        by_own_track: false,
        seen: true,
    });
    let mut all: Vec<Clue> = reports.chain(sightings).collect();
    all.sort_by_key(|c| c.fix.at);
    all
}

/// An explanation of the clues.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Hypothesis {
    /// Where it puts the casualty.
    pub filter: Filter,
    /// What the drift is worked out from.
    pub drift_from: DriftFrom,
    /// Its newest fix; none if it rests on own track alone.
    pub last: Option<BeaconFix>,
    /// When somebody last saw it there.
    pub sighted: Option<Moment>,
    /// How many bursts fit it, and when the first came.
    pub bursts: u32,
    first: Option<Moment>,
    /// When it began.
    started: Moment,
    burst: u32,
    /// The last burst that spoke against it.
    against: u32,
    votes: i32,
    by_mark: bool,
}

impl Hypothesis {
    /// Of a mark, or of a first fix.
    fn of(filter: Filter) -> Self {
        Self {
            started: filter.at,
            filter,
            drift_from: DriftFrom::Nothing,
            last: None,
            sighted: None,
            bursts: 0,
            first: None,
            burst: 0,
            against: 0,
            votes: 0,
            by_mark: false,
        }
    }

    /// What speaks for it.
    fn score(&self) -> i32 {
        self.votes
            + match (self.by_mark, self.bursts) {
                (false, _) => 0,
                (true, 0) => MARK_VOTES,
                (true, _) => MARK_AND_BURST_VOTES,
            }
    }

    /// How it ranks among others: by what speaks for it, then the more reports, none if it is own track alone, then the newer.
    fn rank(&self) -> (i32, i32, Moment) {
        (self.score(), i32::try_from(self.bursts).unwrap_or(MOST_VOTES).min(MOST_VOTES), self.at())
    }

    /// When it was last supported.
    fn at(&self) -> Moment {
        self.last.map(|f| f.at).max(self.sighted).unwrap_or(self.started)
    }

    /// Its weight, not normalised.
    pub fn weight(&self) -> f64 {
        ODDS.powi(self.score())
    }

    /// Takes a report that fits it; `by_mark`: and the mark too.
    fn take(&mut self, report: &Clue, by_mark: bool) {
        if report.burst != self.burst {
            self.bursts += 1;
            self.votes = (self.votes + 1).min(MOST_VOTES);
        }
        self.burst = report.burst;
        self.by_mark |= by_mark;
        if report.seen {
            self.sighted = Some(report.fix.at);
            return;
        }
        self.first = self.first.or(Some(report.fix.at));
        self.last = Some(report.fix);
        let long = self.first.is_some_and(|f| report.fix.at.since(f) >= OWN_DRIFT_AFTER);
        if long && self.bursts >= OWN_DRIFT_BURSTS {
            self.drift_from = DriftFrom::Beacon;
        }
    }

    /// Takes a burst that fits another.
    fn hear_against(&mut self, burst: u32) {
        if self.burst != burst && self.against != burst {
            self.against = burst;
            self.votes = (self.votes - 1).max(0);
        }
    }
}

/// The explanations of a case's clues, carried on to a moment, the likeliest first; none if there is no place to start
/// from.
pub(super) fn hypotheses(case: &Case, at: Moment, surroundings: &Surroundings) -> Vec<Hypothesis> {
    let drifter = if case.is_person() { Drifter::PERSON } else { Drifter::CRAFT };
    let start = |place: Position, at: Moment, deviation_nm: f64| {
        Hypothesis::of(Filter::start(place, at, deviation_nm, drifter, surroundings))
    };
    let mut all: Vec<Hypothesis> = Vec::new();
    let line = case.line.as_ref().and_then(|l| Filter::along(&l.starts(), drifter, surroundings));
    let point = || {
        let mark = case.mark?;
        let deviation_nm = mark.radius95_nm / RADIUS95_DEVIATIONS;
        Some(Filter::start(mark.position, mark.at, deviation_nm, drifter, surroundings))
    };
    all.extend(line.or_else(point).map(|fell| Hypothesis { by_mark: true, ..Hypothesis::of(fell) }));
    for report in clues(case).iter().filter(|r| r.fix.at <= at) {
        let (fix, deviation_nm) = (report.fix, report.deviation_nm);
        if case.gap_ended.is_some_and(|g| fix.at >= g && all.iter().all(|h| h.at() < g)) {
            // Nobody knows how far anything drifted in a gap of unknown length.
            all.clear();
        }
        // The mark speaks for one explanation only.
        let by_mark = report.by_own_track && !all.iter().any(|h| h.by_mark && h.bursts > 0);
        for h in &mut all {
            h.filter.carry(fix.at, surroundings);
        }
        let fits = |h: &&mut Hypothesis| {
            h.last.is_some_and(|l| !report.seen && fast(&l, &fix))
                || h.filter.fits(fix.position, deviation_nm)
        };
        match all.iter_mut().filter(fits).max_by_key(|h| (h.bursts > 0, h.rank())) {
            // What was seen narrows down what own track says, too.
            Some(h) if h.bursts > 0 || report.seen => {
                h.filter.correct(fix.position, deviation_nm);
                h.take(report, false);
            }
            // The beacon's own fix takes the place of what was guessed before it.
            Some(h) => {
                h.filter = Filter::start(fix.position, fix.at, deviation_nm, drifter, surroundings);
                h.take(report, by_mark);
            }
            None => {
                let mut begun = start(fix.position, fix.at, deviation_nm);
                begun.take(report, by_mark);
                all.push(begun);
            }
        }
        all.iter_mut().filter(|h| h.bursts > 0).for_each(|h| h.hear_against(report.burst));
        // Not at the first word against it: nobody knows yet which of the two is wrong.
        let best = all.iter().map(Hypothesis::score).max().unwrap_or_default();
        all.retain(|h| h.score() > 0 || best < OUTVOTED);
        all.sort_by_key(|h| std::cmp::Reverse(h.rank()));
        all.truncate(KEPT);
    }
    // A jump, or a position beyond the radio's range, is no clue at all.
    let least = case.fixes.doubtful().filter(|(fix, doubt)| {
        all.is_empty() && fix.at <= at && matches!(doubt, Doubt::NotByFix | Doubt::WholeMinutes)
    });
    all.extend(least.map(|(fix, _)| start(fix.position, fix.at, DOUBTFUL_DEVIATION_NM)));
    let (spell, _) = surroundings.spell(at);
    for h in &mut all {
        h.filter.carry(at, surroundings);
        if h.drift_from == DriftFrom::Nothing && (spell.current_known || spell.wind_kn.is_some()) {
            h.drift_from = DriftFrom::WindAndCurrent;
        }
    }
    all.sort_by_key(|h| std::cmp::Reverse(h.rank()));
    all
}

/// Whether a beacon that says it moves faster than anything drifts (in a helicopter, aboard a ship) can have come so far.
fn fast(last: &BeaconFix, fix: &BeaconFix) -> bool {
    let moves = |f: &BeaconFix| f.sog_kn.is_some_and(|kn| kn > MOVES_KN);
    (moves(last) || moves(fix)) && super::fixes::agree(last, fix)
}

/// Faster than a drifting thing goes, in knots: then the drift says nothing about where it will be.
const MOVES_KN: f64 = 5.0;

/// Standard deviation of a fix each way.
fn fix_deviation_nm(fix: &BeaconFix) -> f64 {
    if in_whole_minutes(fix.position) { WHOLE_MINUTE_DEVIATION_NM } else { FIX_DEVIATION_NM }
}

/// Radius around a fix that holds the casualty with 95 %.
pub(super) fn radius95_of_fix_nm(fix: &BeaconFix) -> f64 {
    fix_deviation_nm(fix) * RADIUS95_DEVIATIONS
}
