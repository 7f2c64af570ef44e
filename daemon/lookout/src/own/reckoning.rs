//! Dead reckoning: where log and compass put her, with a fix and without, and whether the fix walks away from them.
//!
//! Heading and speed through the water, with the set and drift that were there before, say how far she has gone. Without a
//! fix she goes on by that, with an error that grows. While there is a fix the two are compared: one that goes elsewhere is
//! wrong, or log and compass are. A stream that sets in slowly is followed.

use super::OwnVessel;
use crate::casualty::SetDrift;
use std::collections::VecDeque;
use std::time::Duration;
use terms::{Moment, Plane, Position, Quantity};

/// She is reckoned in stretches of this length …
const STRETCH: Duration = Duration::from_secs(60);
/// … and judged by this many of them: a walk of 3 kn is surely seen within ten minutes.
const STRETCHES: usize = 8;
/// Fixes further apart than this are not joined, nor log and compass with a fix.
const JOINED: Duration = Duration::from_secs(20);
/// Set and drift are the mean over this many stretches, without those she is judged by.
const SET_AND_DRIFT_OF: f64 = 30.0;
/// The same while the fix walks: what is false is not to become the rule soon, and a stream in the end is.
const WALKING_OF: f64 = 120.0;
/// Known once this many have been seen, …
const KNOWN_AFTER: f64 = 5.0;
/// … and forgotten if nothing could be reckoned for this long. Without a fix the last known ones serve on.
const FORGOTTEN: Duration = Duration::from_secs(1800);
/// The fix walks if it goes at this beyond what is reckoned, and so much of the speed through the water more: log and
/// compass err by about a tenth of it, differently on each heading (common practice). It has come back below half of it.
const WALKS_KN: f64 = 1.5;
const WALKS_PART: f64 = 0.1;
/// A log that shows less than this may be fouled, and says nothing.
const LOG_LIVES_KN: f64 = 1.0;
/// While she turns or changes her speed by more than this, log and compass lag and nothing is judged.
const STEADY_KN: f64 = 1.5;
/// What dead reckoning of a small craft is uncertain by, with log and compass: the larger of 7 % of the distance run and of
/// 0.7 kn for as long as it lasts (a navigation school's glossary).
const ERROR_PART: f64 = 0.07;
const ERROR_KN: f64 = 0.7;
/// By the last course and speed alone it is half of the distance instead: nobody knows what she does (own choice).
const BLIND_PART: f64 = 0.5;
/// The error of a fix (common practice).
const FIX_ERROR_NM: f64 = 0.01;
/// A fix nearer to the reckoning than this beyond its error agrees with it: a receiver errs by less.
const AGREES_NM: f64 = 0.1;
/// A fix after a gap is doubted if it is further off than so many errors of the reckoning.
const DOUBTED_ERRORS: f64 = 2.0;
/// Fixes that agreed for this long are worth more than one that contradicts them; before, a receiver may still be finding
/// itself.
const SETTLED: Duration = Duration::from_secs(300);
/// A fix that contradicts the reckoning does so more and more if it is so much further off after a minute.
const GROWS_NM: f64 = 0.02;
/// A contradiction is over after so long, unless the fix still walks: log and compass have had their say (own choice).
const HELD_LONGEST: Duration = Duration::from_secs(6 * 3600);
/// After so long without a fix (two days) reckoning says nothing any more.
const LONGEST: Duration = Duration::from_secs(48 * 3600);

/// A stretch of her way, in nautical miles east and north.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    began: Moment,
    from: Position,
    hours: f64,
    /// By the fix.
    made_good: [f64; 2],
    /// By log and compass.
    through_water: [f64; 2],
}

impl Stretch {
    fn water_kn(&self) -> [f64; 2] {
        self.through_water.map(|nm| nm / self.hours)
    }
}

/// How she moves now as far as it is known without a fix, east and north in knots.
#[derive(Debug, Clone, Copy)]
enum Way {
    /// Through the water, by log and compass.
    Water([f64; 2]),
    /// Over the ground, as at the last fix.
    Ground([f64; 2]),
}

/// Her way since the fix that the reckoning goes on from.
#[derive(Debug, Clone, Copy, Default)]
struct Run {
    /// East and north in nautical miles, without set and drift.
    way: [f64; 2],
    /// Hours by log and compass, during which the stream carries her besides.
    water_hours: f64,
    /// Miles by log and compass, and without.
    water_nm: f64,
    blind_nm: f64,
}

impl Run {
    fn add(&mut self, time: Duration, way: Way) {
        let hours = time.as_secs_f64() / 3600.0;
        let (Way::Water(kn) | Way::Ground(kn)) = way;
        let nm = kn[0].hypot(kn[1]) * hours;
        self.way = [0, 1].map(|i| self.way[i] + kn[i] * hours);
        if matches!(way, Way::Water(_)) {
            self.water_hours += hours;
        }
        // Over a gap in log and compass what they say after it is but the best guess.
        match way {
            Way::Water(_) if time <= JOINED => self.water_nm += nm,
            _ => self.blind_nm += nm,
        }
    }

    /// Adds a stretch by log and compass.
    fn sum(&mut self, stretch: &Stretch) {
        let way = stretch.through_water;
        self.way = [0, 1].map(|i| self.way[i] + way[i]);
        self.water_hours += stretch.hours;
        self.water_nm += way[0].hypot(way[1]);
    }
}

/// The fix that the reckoning goes on from.
#[derive(Debug, Clone, Copy)]
struct Base {
    at: Moment,
    position: Position,
}

/// A fix that contradicts the reckoning.
#[derive(Debug, Clone, Copy)]
struct Held {
    since: Moment,
    /// How far off it is now, in which direction, and how far off it was when last compared.
    off_nm: f64,
    toward_deg: f64,
    before: (Moment, f64),
    grows: bool,
}

/// What dead reckoning rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReckonedBy {
    /// Log and compass all the time.
    LogAndCompass,
    /// The course and speed of the last fix, at least for some of the time.
    LastCourseAndSpeed,
}

impl ReckonedBy {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::LogAndCompass => "log and compass",
            Self::LastCourseAndSpeed => "last course and speed",
        }
    }
}

/// Where she is by dead reckoning.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DeadReckoning {
    /// Where.
    pub position: Position,
    /// How far off that may be, in nautical miles: of the fix, and for the way since the larger of 7 % of the distance run
    /// and 0.7 kn times its hours (a navigation school's glossary).
    pub error_nm: f64,
    /// When the fix was taken that it goes on from.
    pub since: Moment,
    /// Nautical miles run since.
    pub run_nm: f64,
    /// How she moves over the ground by it.
    pub velocity: SetDrift,
    /// The set and drift it reckons with.
    pub stream: Option<SetDrift>,
    /// What it rests on.
    pub by: ReckonedBy,
}

/// A fix that came back after dead reckoning.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Returned {
    /// When the last fix before was taken, and when this one.
    pub from: Moment,
    pub to: Moment,
    /// Where reckoning had put her at last.
    pub reckoned: Position,
    /// Where she is.
    pub fix: Position,
}

/// What the reckoning remembers.
#[derive(Debug, Clone, Default)]
pub(super) struct Reckoning {
    /// The last fix, and log and compass then.
    last: Option<(Moment, Position)>,
    /// The stretch that has begun: since when and where, and the way through the water since then.
    open: Option<(Moment, Position, [f64; 2])>,
    stretches: VecDeque<Stretch>,
    /// East and north in knots, of how many stretches, and when it was last seen.
    set_and_drift: Option<([f64; 2], f64, Moment)>,
    /// The judged stretches walk.
    walks: bool,
    base: Option<Base>,
    run: Run,
    /// Until when the run is summed up.
    summed: Option<Moment>,
    held: Option<Held>,
    /// Since when fixes have come without a gap or a contradiction.
    agreed_since: Option<Moment>,
    returned: Option<Returned>,
    /// At the last fix the log could not be right.
    log_fouled: bool,
}

/// A fix as the reckoning takes it.
struct Taken {
    pub position: Position,
    /// It lies further from the one before than she can have moved.
    pub jumped: bool,
    /// Heading and speed through the water, if both are there.
    pub water: Option<(f64, f64)>,
}

impl Reckoning {
    /// Sums up her way until now.
    fn go_on(&mut self, at: Moment, way: Option<Way>) {
        if let (Some(way), Some(then)) = (way, self.summed) {
            self.run.add(at.since(then), way);
        }
        self.summed = self.summed.max(Some(at));
    }

    /// Takes a fix. `given` is a set and drift by hand; `way` is how she has moved since the last report.
    fn hear(&mut self, at: Moment, fix: &Taken, given: Option<SetDrift>, way: Option<Way>) {
        self.go_on(at, way);
        self.stretch(at, fix);
        self.compare(at, fix, given);
        if self.held.is_none() {
            self.base = Some(Base { at, position: fix.position });
            self.run = Run::default();
        }
    }

    /// Compares a fix with where log and compass put her.
    fn compare(&mut self, at: Moment, fix: &Taken, given: Option<SetDrift>) {
        let Some(base) = self.base else {
            self.agreed_since = Some(at);
            return;
        };
        let gap = self.held.is_none() && at.since(base.at) > super::BELIEVED;
        if self.held.is_none() && !gap && !fix.jumped && !self.walks {
            return;
        }
        if let (true, None, Some(first)) = (self.walks, self.held, self.stretches.front()) {
            // It has walked for as long as the stretches that showed it.
            self.base = Some(Base { at: first.began, position: first.from });
            self.run = Run::default();
            for s in &self.stretches {
                self.run.sum(s);
            }
        }
        let Some(dr) = self.carried(at, given, None) else {
            (self.held, self.agreed_since) = (None, Some(at));
            return;
        };
        let (off_nm, toward_deg) = dr.position.range_and_bearing(fix.position);
        let by_compass = dr.by == ReckonedBy::LogAndCompass;
        let settled = self.agreed_since.is_some_and(|since| base.at.since(since) >= SETTLED);
        let errors = if gap { DOUBTED_ERRORS } else { 1.0 };
        let astray = by_compass && off_nm > errors * dr.error_nm + AGREES_NM;
        match &mut self.held {
            Some(held) => {
                (held.off_nm, held.toward_deg) = (off_nm, toward_deg);
                if at.since(held.before.0) >= STRETCH {
                    held.grows = off_nm > held.before.1 + GROWS_NM;
                    held.before = (at, off_nm);
                }
                if !self.walks && (!astray || at.since(held.since) >= HELD_LONGEST) {
                    (self.held, self.agreed_since) = (None, Some(at));
                }
            }
            None if self.walks || (astray && settled) => {
                let (before, grows) = ((at, off_nm), self.walks);
                self.held = Some(Held { since: at, off_nm, toward_deg, before, grows });
            }
            None => {
                self.agreed_since = Some(at);
                let (from, reckoned) = (base.at, dr.position);
                self.returned = gap.then_some(Returned { from, to: at, reckoned, fix: fix.position });
            }
        }
    }

    /// Adds to the stretches she is judged by.
    fn stretch(&mut self, at: Moment, fix: &Taken) {
        let Taken { position, water, jumped } = *fix;
        let last = self.last.replace((at, position));
        // A jump is no stream, and must not pass for one.
        let Some(((heading_deg, log_kn), (then, _))) =
            water.zip(last).filter(|(_, l)| !jumped && at.since(l.0) <= JOINED)
        else {
            self.open = water.map(|_| (at, position, [0.0; 2]));
            self.stretches.clear();
            self.walks = false;
            return;
        };
        let (since, from, way) = self.open.get_or_insert((then, position, [0.0; 2]));
        let nm = log_kn * at.since(then).as_secs_f64() / 3600.0;
        let (east, north) = heading_deg.to_radians().sin_cos();
        *way = [way[0] + nm * east, way[1] + nm * north];
        let lasted = at.since(*since);
        if lasted < STRETCH {
            return;
        }
        let (e, n) = Plane::at(*from).east_north(position);
        let stretch = Stretch {
            began: *since,
            from: *from,
            hours: lasted.as_secs_f64() / 3600.0,
            made_good: [e, n],
            through_water: *way,
        };
        self.open = Some((at, position, [0.0; 2]));
        self.stretches.push_back(stretch);
        if self.stretches.len() > STRETCHES
            && let Some(old) = self.stretches.pop_front()
        {
            self.learn(at, &old);
        }
        self.judge(at);
    }

    /// Set and drift by a stretch on which she is no longer judged.
    fn learn(&mut self, at: Moment, old: &Stretch) {
        let seen = [0, 1].map(|i| (old.made_good[i] - old.through_water[i]) / old.hours);
        let (known, n) = match self.set_and_drift.filter(|(_, _, then)| at.since(*then) <= FORGOTTEN) {
            Some((known, n, _)) => (known, (n + 1.0).min(SET_AND_DRIFT_OF)),
            None => (seen, 1.0),
        };
        let of = if self.walks { WALKING_OF } else { n };
        self.set_and_drift = Some(([0, 1].map(|i| known[i] + (seen[i] - known[i]) / of), n, at));
    }

    fn judge(&mut self, at: Moment) {
        let known =
            self.set_and_drift.filter(|(_, n, then)| *n >= KNOWN_AFTER && at.since(*then) <= FORGOTTEN);
        let Some((set_kn, ..)) = known.filter(|_| self.stretches.len() == STRETCHES) else { return };
        let sum = |of: fn(&Stretch) -> [f64; 2]| {
            self.stretches.iter().map(of).fold([0.0; 2], |a, b| [a[0] + b[0], a[1] + b[1]])
        };
        let hours: f64 = self.stretches.iter().map(|s| s.hours).sum();
        let (made_good, way) = (sum(|s| s.made_good), sum(|s| s.through_water));
        let mean_kn = way.map(|nm| nm / hours);
        let log_kn = mean_kn[0].hypot(mean_kn[1]);
        let off = |s: &Stretch| (s.water_kn()[0] - mean_kn[0]).hypot(s.water_kn()[1] - mean_kn[1]);
        if log_kn < LOG_LIVES_KN || self.stretches.iter().any(|s| off(s) > STEADY_KN) {
            return;
        }
        let walked = [0, 1].map(|i| made_good[i] - way[i] - set_kn[i] * hours);
        let limit_nm = (WALKS_KN + WALKS_PART * log_kn) * hours;
        let limit_nm = if self.walks { limit_nm / 2.0 } else { limit_nm };
        self.walks = walked[0].hypot(walked[1]) > limit_nm;
    }

    /// Where reckoning puts her at a moment, no earlier than it is summed up to.
    fn carried(&self, at: Moment, given: Option<SetDrift>, way: Option<Way>) -> Option<DeadReckoning> {
        let base = self.base.filter(|b| at.since(b.at) <= LONGEST)?;
        let mut run = self.run;
        if let (Some(way), Some(then)) = (way, self.summed) {
            run.add(at.since(then), way);
        }
        let learnt = self.set_and_drift.filter(|(_, n, _)| *n >= KNOWN_AFTER).map(|(kn, ..)| kn);
        let stream = given.map(|s| s.components().into()).or(learnt);
        let stream_kn: [f64; 2] = stream.unwrap_or_default();
        let (east, north) =
            (run.way[0] + stream_kn[0] * run.water_hours, run.way[1] + stream_kn[1] * run.water_hours);
        let hours = at.since(base.at).as_secs_f64() / 3600.0;
        let grown_nm = (ERROR_PART * run.water_nm + BLIND_PART * run.blind_nm).max(ERROR_KN * hours);
        let set_drift = |kn: [f64; 2]| SetDrift::from_components(kn[0], kn[1]);
        let velocity_kn = match way {
            Some(Way::Water(kn)) => [0, 1].map(|i| kn[i] + stream_kn[i]),
            Some(Way::Ground(kn)) => kn,
            None => [0.0; 2],
        };
        Some(DeadReckoning {
            position: sailed(base.position, east, north),
            error_nm: FIX_ERROR_NM + grown_nm,
            since: base.at,
            run_nm: run.water_nm + run.blind_nm,
            velocity: set_drift(velocity_kn),
            stream: stream.map(set_drift),
            by: match run.blind_nm > 0.0 || matches!(way, Some(Way::Ground(_))) {
                true => ReckonedBy::LastCourseAndSpeed,
                false => ReckonedBy::LogAndCompass,
            },
        })
    }

    /// That the fix contradicts the reckoning, in words.
    pub fn in_doubt(&self) -> Option<String> {
        let held = self.held?;
        let grows = if held.grows { " and growing" } else { "" };
        Some(format!(
            "position doubtful: {:.2} nm toward {:03.0}° from dead reckoning{grows}, away from log and compass: it cannot \
             be relied on unless a strong stream set in",
            held.off_nm,
            held.toward_deg.round() % 360.0,
        ))
    }
}

/// Mid-latitude sailing: a course kept is no geodesic.
fn sailed(from: Position, east_nm: f64, north_nm: f64) -> Position {
    let half = Plane::at(from).position(0.0, north_nm / 2.0);
    let across = Plane::at(half).position(east_nm, 0.0);
    Plane::at(across).position(0.0, north_nm / 2.0)
}

impl OwnVessel {
    /// Where she was last, however long ago.
    pub fn last_position(&self) -> Option<Position> {
        self.position.current().map(|h| h.value)
    }

    /// Heading and speed through the water, heard together.
    fn water(&self, at: Moment) -> Option<(f64, f64)> {
        let recent = |q| self.last(q).filter(|h| at.since(h.at) <= JOINED).map(|h| h.value);
        recent(Quantity::Heading).zip(recent(Quantity::SpeedThroughWater))
    }

    /// How she moves, without a fix.
    fn way(&self, at: Moment) -> Option<Way> {
        let components =
            |deg: f64, kn: f64| <[f64; 2]>::from(SetDrift { set_deg: deg, drift_kn: kn }.components());
        if let Some((heading_deg, log_kn)) = self.water(at).filter(|_| !self.reckoning.log_fouled) {
            return Some(Way::Water(components(heading_deg, log_kn)));
        }
        let last = |q| self.last(q).map(|h| h.value);
        let sog_kn = last(Quantity::Sog)?;
        let cog_deg = last(Quantity::Cog).or((sog_kn < super::STILL_KN).then_some(0.0))?;
        Some(Way::Ground(components(cog_deg, sog_kn)))
    }

    /// Heading or log were heard: she goes on by them.
    pub(super) fn go_on(&mut self, at: Moment) {
        let way = self.way(at);
        self.reckoning.go_on(at, way);
    }

    /// Compares a fix with log and compass, and goes on from it.
    pub(super) fn reckon(&mut self, at: Moment, position: Position, given: Option<SetDrift>) {
        self.reckoning.log_fouled = self.log_fouled(at).is_some();
        let (water, way) = (self.water(at), self.way(at));
        let jumped = self.watched.jumped_at(at);
        let fix = Taken { position, jumped, water };
        self.reckoning.hear(at, &fix, given, way);
    }

    /// Where she is by dead reckoning: on from the last fix, or from the last one that log and compass agreed with. A set
    /// and drift given by hand go before those that were measured.
    pub fn dead_reckoning(&self, at: Moment, given: Option<SetDrift>) -> Option<DeadReckoning> {
        self.reckoning.carried(at, given, Some(self.way(at)?))
    }

    /// The fix that came back since the last call.
    pub fn take_returned(&mut self) -> Option<Returned> {
        self.reckoning.returned.take()
    }

    /// That the fix contradicts dead reckoning, in words of now.
    pub fn fix_in_doubt(&self) -> Option<String> {
        self.reckoning.in_doubt()
    }
}
