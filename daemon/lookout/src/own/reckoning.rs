//! Whether the fix walks away from log and compass.
//!
//! Heading and speed through the water, with the set and drift that were there before, say how far she has gone; a fix that
//! goes elsewhere is wrong, or log and compass are. A stream that sets in slowly is followed.

use super::OwnVessel;
use std::collections::VecDeque;
use std::time::Duration;
use terms::{Moment, Plane, Position, Quantity, normal_deg};

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
/// … and forgotten if nothing could be reckoned for this long.
const FORGOTTEN: Duration = Duration::from_secs(1800);
/// The fix walks if it goes at this beyond what is reckoned, and so much of the speed through the water more: log and
/// compass err by about a tenth of it, differently on each heading (common practice). It has come back below half of it.
const WALKS_KN: f64 = 1.5;
const WALKS_PART: f64 = 0.1;
/// A log that shows less than this may be fouled, and says nothing.
const LOG_LIVES_KN: f64 = 1.0;
/// While she turns or changes her speed by more than this, log and compass lag and nothing is judged.
const STEADY_KN: f64 = 1.5;

/// A stretch of her way, in nautical miles east and north.
#[derive(Debug, Clone, Copy)]
struct Stretch {
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
    walks: Option<String>,
}

impl Reckoning {
    /// Takes a fix, with heading and speed through the water if both are there.
    pub fn hear(&mut self, at: Moment, position: Position, water: Option<(f64, f64)>) {
        let last = self.last.replace((at, position));
        let Some(((heading_deg, log_kn), (then, _))) =
            water.zip(last).filter(|(_, l)| at.since(l.0) <= JOINED)
        else {
            self.open = water.map(|_| (at, position, [0.0; 2]));
            self.stretches.clear();
            self.walks = None;
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
        let stretch =
            Stretch { hours: lasted.as_secs_f64() / 3600.0, made_good: [e, n], through_water: *way };
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
        let of = if self.walks.is_some() { WALKING_OF } else { n };
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
        let nm = walked[0].hypot(walked[1]);
        let limit_nm = (WALKS_KN + WALKS_PART * log_kn) * hours;
        let limit_nm = if self.walks.is_some() { limit_nm / 2.0 } else { limit_nm };
        self.walks = (nm > limit_nm).then(|| {
            format!(
                "position has walked {nm:.2} nm toward {:03.0}° in {:.0} min, away from log and compass: it cannot be \
                 relied on unless a strong stream set in",
                normal_deg(walked[0].atan2(walked[1]).to_degrees().round()),
                hours * 60.0
            )
        });
    }

    /// That the fix walks away, in words.
    pub fn walks(&self) -> Option<String> {
        self.walks.clone()
    }
}

impl OwnVessel {
    /// Where she was last, however long ago.
    pub fn last_position(&self) -> Option<Position> {
        self.position.current().map(|h| h.value)
    }

    /// Compares a fix with log and compass.
    pub(super) fn reckon(&mut self, at: Moment, position: Position) {
        let recent = |q| self.last(q).filter(|h| at.since(h.at) <= JOINED).map(|h| h.value);
        let water = recent(Quantity::Heading).zip(recent(Quantity::SpeedThroughWater));
        self.reckoning.hear(at, position, water);
    }
}
