//! Where the anchor lies, and whether she drags it.
//!
//! A vessel at anchor lies somewhere in a circle about her anchor, most often near its edge, with her bow to the anchor.
//! Neither the circle's centre nor its radius is known when she comes to rest. `Swing` therefore holds many circles that
//! could be hers and weighs each by where she has lain since and how she headed there: a place outside a circle speaks
//! against it, one near its edge for it, and a bow that points at its centre for it, too. What all likely circles leave
//! outside is a drag; what some of them explain is a swing. From the same weights come the place of the anchor and the
//! errors of both.

mod circles;
#[cfg(test)]
mod tests;

use circles::{Circles, Spot};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;
use std::time::Duration;
use terms::{METRES_PER_NM, Moment, Plane, Position, Quantity, Reading, Value};

/// How often she is judged.
const JUDGED_EVERY: Duration = Duration::from_secs(10);
/// How long fixes are gathered before their mean says something about the circles: a boat's sheer from side to
/// side and back, more or less (common practice).
const GATHERED_FOR: Duration = Duration::from_secs(120);
/// Fixes are smoothed over this before she is judged, against the noise of single ones.
const SMOOTHED_S: f64 = 30.0;
/// How long a judgement is believed.
const BELIEVED: Duration = Duration::from_secs(60);
/// Within this of each other two places are the same. The n-th minute at one place counts as the 1/n-th part of the first:
/// the errors of fixes stay alike for many minutes, and a night at one place says little about the circle.
const SAME_PLACE_M: f64 = 6.0;
/// Most places kept: the area of a circle of 50 m in pieces of that size, and some.
const PLACES_MAX: usize = 128;
/// The error of a smoothed fix in one direction, as a deviation: at first, and the most that is taken for one (GPS, common
/// practice). Between them it is what she has shown to lie beyond the likeliest circle.
const FIX_M: (f64, f64) = (3.0, 6.0);
/// Steps of learning in which the error is forgotten to a third.
const FIX_KEPT: f64 = 40.0;
/// From a deviation to the bound that is kept with 95 %, to one side.
const SURE: f64 = 1.645;
/// After the first quarter of an hour she is judged by what was learnt a quarter of an hour ago: what she does now is not
/// to explain itself. If by then she lies outside it is not learnt at all, for it was no swing.
const LEARNT_AFTER: usize = 8;
/// A bow that points this far from where it ever pointed is a swing, and learnt from at once.
const SWINGS_COS: f64 = 0.94;
const LEARNT_WITHIN_M: f64 = 4.0;
/// Where nobody said where it lies, the bow may point the wrong way: a compass is off, or a stream holds her stern to it. If she
/// has gone this far from where she lay, and her bow points as it did there, that is no swing whatever the circles say: small
/// craft lie to 35 m (own choice), and no swing goes further than right across.
const ACROSS_M: f64 = 70.0;
/// She counts as lying to her anchor from this distance on; nearer she is still falling back from where it dropped.
const LAID_OUT_M: f64 = 15.0;
/// She has fallen back if she has not gone on by [`FALLS_M`] for this long …
const FALLEN_FOR: Duration = Duration::from_secs(300);
const FALLS_M: f64 = 3.0;
/// … and at the latest this long after it dropped.
const FALLEN_AFTER: Duration = Duration::from_secs(1800);
/// The circle that stands in where it is not known on which side of her the anchor lies: 35 m of chain and a boat.
const STAND_IN_M: f64 = 45.0;
/// A drop further off than this was another one.
const DROPPED_WITHIN_M: f64 = 250.0;
/// From the antenna to the bow where the boat's file does not say, and the error of that.
const BOW_M: (f64, f64) = (6.0, 4.0);

/// From a deviation in each direction to the radius that holds 95 % of a round normal distribution.
const ROUND: f64 = 2.448;

/// What changes with a judgement.
pub(crate) const QUANTITIES: [Quantity; 3] =
    [Quantity::AnchorDrag, Quantity::AnchorDragLeast, Quantity::AnchorError];

/// Where the crew says the anchor lies, seen from the bow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Said {
    /// Metres from the bow.
    pub metres: f64,
    /// True bearing from the bow in degrees; `None` for ahead.
    pub bearing_deg: Option<f64>,
}

/// Where the anchor dropped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dropped {
    /// Where the bow was.
    pub position: Position,
    /// With 95 % it lies within this of it, in metres.
    pub error_m: f64,
}

/// What is known of the anchor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AnchorState {
    /// Where it most likely lies.
    pub position: Position,
    /// With 95 % it lies within this of it, in metres.
    pub error_m: f64,
    /// How far she lies outside her circle, in metres; 0 within it.
    pub drag_m: f64,
    /// With 95 % she lies at least this far outside it, in metres.
    pub least_drag_m: f64,
    /// When this was judged.
    pub at: Moment,
}

/// Own vessel, as each fix finds her.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Lies {
    pub position: Position,
    /// True heading, if known.
    pub heading_deg: Option<f64>,
    /// From the antenna to the bow in metres, if known.
    pub bow_m: Option<f64>,
}

impl Lies {
    /// East and north part of where the bow points.
    fn bow_points(&self) -> Option<[f64; 2]> {
        self.heading_deg.map(|deg| deg.to_radians().sin_cos()).map(|(e, n)| [e, n])
    }

    /// Where the bow is, and the error of that in metres.
    fn bow(&self) -> (Position, f64) {
        let (metres, error_m) = self.bow_m.map_or(BOW_M, |m| (m, 1.0));
        match self.heading_deg {
            Some(deg) => (self.position.at(deg, metres / METRES_PER_NM), FIX_M.0.hypot(error_m)),
            None => (self.position, FIX_M.0.hypot(metres)),
        }
    }
}

/// A place where the anchor was said to lie, with the deviation of that in metres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Marked {
    position: Position,
    deviation_m: f64,
}

/// What must outlast a restart.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Kept {
    /// Where it was said to drop, while she was not yet declared at anchor.
    mark: Option<Marked>,
    swing: Option<KeptSwing>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct KeptSwing {
    lay: Position,
    marked: Option<Marked>,
    falls: bool,
    spots: Vec<Spot>,
}

/// The anchor, from when it is marked or declared until it is weighed.
#[derive(Debug, Clone, Default)]
pub(crate) struct Anchor {
    mark: Option<Marked>,
    /// She lies at anchor, and no fix has come since that was declared; with what was said.
    awaits: Option<Option<Said>>,
    swing: Option<Swing>,
}

impl Anchor {
    /// The anchor drops at the bow. If she is already declared at anchor, her circle begins again there.
    pub fn drops(&mut self, at: Moment, lies: Lies) -> Dropped {
        let (position, deviation_m) = lies.bow();
        let mark = Marked { position, deviation_m };
        if self.swing.is_some() || self.awaits.is_some() {
            self.awaits = None;
            self.swing = Some(Swing::new(at, lies, Some(mark), true));
        } else {
            self.mark = Some(mark);
        }
        Dropped { position, error_m: ROUND * deviation_m }
    }

    /// She lies at anchor. If something is said of the anchor, her circle begins again; otherwise the present one stays.
    pub fn lies(&mut self, at: Moment, lies: Option<Lies>, said: Option<Said>) {
        if self.swing.is_some() && said.is_none() {
            return;
        }
        let Some(lies) = lies else {
            self.awaits = Some(said);
            return;
        };
        self.awaits = None;
        let off_m = |p: Position| lies.position.range_and_bearing(p).0 * METRES_PER_NM;
        let mark = self.mark.take().filter(|m| off_m(m.position) < DROPPED_WITHIN_M);
        let marked = said.map_or(mark, |said| {
            let (bow, deviation_m) = lies.bow();
            // Ahead by the compass she may sheer by twenty degrees; without one the drop shows the way.
            let toward = mark.map(|m| bow.range_and_bearing(m.position).1);
            let bearing = said.bearing_deg.map(|deg| (deg, 0.1)).or(toward.map(|deg| (deg, 0.2)));
            let (deg, part) = bearing.or(lies.heading_deg.map(|deg| (deg, 0.3)))?;
            let position = bow.at(deg, said.metres / METRES_PER_NM);
            Some(Marked { position, deviation_m: deviation_m.hypot(part * said.metres) })
        });
        let falls = said.is_none() && marked.is_some_and(|m| off_m(m.position) < LAID_OUT_M);
        self.swing = Some(Swing::new(at, lies, marked, falls));
    }

    /// It is weighed, or she never lay to it.
    pub fn weighed(&mut self) {
        *self = Self::default();
    }

    /// Takes a fix; whether something new is known of the anchor.
    pub fn hear(&mut self, at: Moment, lies: Lies) -> bool {
        if let Some(said) = self.awaits {
            self.lies(at, Some(lies), said);
        }
        self.swing.as_mut().is_some_and(|swing| swing.hear(at, lies))
    }

    /// What is known of it, while fixes come.
    pub fn state(&self, at: Moment) -> Option<AnchorState> {
        self.swing.as_ref()?.state.filter(|s| at.since(s.at) <= BELIEVED)
    }

    /// Whether she lies at anchor.
    pub fn is_watched(&self) -> bool {
        self.swing.is_some() || self.awaits.is_some()
    }

    /// When it was last judged.
    fn judged(&self) -> Option<Moment> {
        Some(self.swing.as_ref()?.state?.at)
    }

    /// One of [`QUANTITIES`].
    pub fn reading(&self, at: Moment, quantity: Quantity) -> Reading {
        let value = self.state(at).and_then(|s| match quantity {
            Quantity::AnchorDrag => Some(s.drag_m),
            Quantity::AnchorDragLeast => Some(s.least_drag_m),
            Quantity::AnchorError => Some(s.error_m),
            _ => None,
        });
        Reading { value: value.map(Value::Number), heard: self.judged() }
    }

    /// When what is known of it stops being believed.
    pub fn ends(&self) -> Option<Moment> {
        self.judged().map(|at| at + BELIEVED + Duration::from_millis(1))
    }

    pub fn keep(&self) -> Kept {
        Kept { mark: self.mark, swing: self.swing.as_ref().map(Swing::keep) }
    }

    pub fn take_up(&mut self, at: Moment, kept: Kept) {
        self.mark = kept.mark;
        self.swing = kept.swing.map(|k| Swing::again(at, k));
    }
}

/// Her circle, as far as it is known.
#[derive(Debug, Clone)]
struct Swing {
    /// East and north of where she lay when it began.
    plane: Plane,
    marked: Option<Marked>,
    /// She still falls back from where it dropped: since when she has not gone on, how far she had got, and by when it is
    /// enough.
    falls: Option<(Moment, f64, Moment)>,
    circles: Circles,
    spots: Vec<Spot>,
    gathered: Gathered,
    /// Minutes that wait to be learnt from, oldest first.
    waiting: VecDeque<Minute>,
    /// Square of the deviation of a fix.
    fix_m2: f64,
    /// Where she lies, and the east and north part of where her bow points.
    smooth: Option<(Moment, [f64; 2], Option<[f64; 2]>)>,
    state: Option<AnchorState>,
}

/// The means of a minute: where she lay, and east and north part of where the bow pointed.
type Minute = ([f64; 2], Option<[f64; 2]>);

/// Fixes of the present minute.
#[derive(Debug, Clone, Copy, Default)]
struct Gathered {
    since: Option<Moment>,
    sum: [f64; 2],
    fixes: f64,
    /// Sums of the heading's east and north parts.
    bow: [f64; 2],
}

impl Swing {
    fn new(at: Moment, lies: Lies, marked: Option<Marked>, falls: bool) -> Self {
        let heading = lies.bow_points();
        let first = Spot { at: [0.0; 2], times: 1.0, bow: heading };
        let kept = KeptSwing { lay: lies.position, marked, falls, spots: vec![first] };
        let mut swing = Self::again(at, kept);
        swing.smooth = Some((at, [0.0; 2], heading));
        swing.judge(at);
        swing
    }

    fn again(at: Moment, kept: KeptSwing) -> Self {
        let plane = Plane::at(kept.lay);
        let marked = kept.marked.map(|m| (in_metres(&plane, m.position), m.deviation_m));
        let mut circles = Circles::about(marked);
        kept.spots.iter().for_each(|s| circles.weigh(s, 1.0));
        circles.sum_up();
        Self {
            plane,
            marked: kept.marked,
            falls: kept.falls.then(|| (at, 0.0, at + FALLEN_AFTER)),
            circles,
            spots: kept.spots,
            gathered: Gathered::default(),
            waiting: VecDeque::new(),
            fix_m2: FIX_M.0 * FIX_M.0,
            smooth: None,
            state: None,
        }
    }

    fn keep(&self) -> KeptSwing {
        KeptSwing {
            lay: self.plane.origin(),
            marked: self.marked,
            falls: self.falls.is_some(),
            spots: self.spots.clone(),
        }
    }

    fn hear(&mut self, at: Moment, lies: Lies) -> bool {
        let (now, bow) = (in_metres(&self.plane, lies.position), lies.bow_points());
        let (smooth, smooth_bow) = match self.smooth {
            Some((then, was, bow_was)) => {
                let part = 1.0 - (-at.since(then).as_secs_f64() / SMOOTHED_S).exp();
                let toward = |was: [f64; 2], now: [f64; 2]| [0, 1].map(|i| was[i] + part * (now[i] - was[i]));
                (toward(was, now), bow_was.zip(bow).map(|(was, now)| toward(was, now)).or(bow))
            }
            None => (now, bow),
        };
        self.smooth = Some((at, smooth, smooth_bow));
        self.gather(at, now, bow);
        let due = self.state.is_none_or(|s| at.since(s.at) >= JUDGED_EVERY);
        if due {
            if self.falls.is_some() {
                self.fall_back(at, lies, smooth);
            }
            self.judge(at);
        }
        due
    }

    /// She falls back from where the anchor dropped, until she goes on no more.
    fn fall_back(&mut self, at: Moment, lies: Lies, now: [f64; 2]) {
        let (Some((since, got_m, enough)), Some(marked)) = (self.falls, self.marked) else { return };
        let off_m = distance(now, in_metres(&self.plane, marked.position));
        if off_m > got_m + FALLS_M {
            self.falls = Some((at, off_m, enough));
        } else if at >= enough || (got_m >= LAID_OUT_M && at.since(since) >= FALLEN_FOR) {
            *self = Self::new(at, lies, Some(marked), false);
        }
    }

    /// Adds a fix to those of the minute, and learns from their mean.
    fn gather(&mut self, at: Moment, now: [f64; 2], bow: Option<[f64; 2]>) {
        let g = &mut self.gathered;
        let since = *g.since.get_or_insert(at);
        g.fixes += 1.0;
        g.sum = [g.sum[0] + now[0], g.sum[1] + now[1]];
        if let Some([e, n]) = bow {
            g.bow = [g.bow[0] + e, g.bow[1] + n];
        }
        if at.since(since) < GATHERED_FOR {
            return;
        }
        let g = std::mem::take(&mut self.gathered);
        if self.falls.is_some() {
            return;
        }
        // A bow that went all round within the minute points nowhere.
        let steady = g.bow[0].hypot(g.bow[1]) / g.fixes;
        let bow = (steady > 0.7).then(|| g.bow.map(|part| part / (steady * g.fixes)));
        self.waiting.push_back((g.sum.map(|s| s / g.fixes), bow));
        let settled = self.spots.iter().map(|s| s.times).sum::<f64>() > LEARNT_AFTER as f64;
        let swings = match bow {
            Some(bow) => self.spots.iter().filter_map(|s| s.bow).all(|b| along(b, bow) < SWINGS_COS),
            None => !self.circles.found.knows_side,
        };
        if settled && !swings && self.waiting.len() <= LEARNT_AFTER {
            return;
        }
        let outside = self.state.is_some_and(|s| s.least_drag_m > LEARNT_WITHIN_M);
        if outside {
            self.waiting.pop_front();
            return;
        }
        let learnt = if swings { self.waiting.len() } else { 1 };
        for (now, bow) in self.waiting.drain(..learnt).collect::<Vec<_>>() {
            let (beyond_m, _) = self.circles.outside(now, 0.0);
            if settled && beyond_m > 0.0 {
                self.fix_m2 += (beyond_m * beyond_m - self.fix_m2) / FIX_KEPT;
            }
            self.learn(now, bow);
        }
        self.circles.sum_up();
    }

    /// The error of a fix, 95 % to one side.
    fn fix_m(&self) -> f64 {
        SURE * self.fix_m2.sqrt().clamp(FIX_M.0, FIX_M.1)
    }

    fn learn(&mut self, now: [f64; 2], bow: Option<[f64; 2]>) {
        let room = self.spots.len() < PLACES_MAX;
        let nearest = self.spots.iter_mut().map(|s| (distance(s.at, now), s));
        let nearest = nearest.min_by(|a, b| a.0.total_cmp(&b.0)).filter(|(m, _)| *m < SAME_PLACE_M);
        match nearest {
            Some((_, spot)) => {
                self.circles.weigh(spot, -1.0);
                spot.add(now, bow);
                self.circles.weigh(spot, 1.0);
            }
            None if room => {
                let spot = Spot { at: now, times: 1.0, bow };
                self.circles.weigh(&spot, 1.0);
                self.spots.push(spot);
            }
            None => {}
        }
    }

    /// How far she lies from the nearest place where her bow pointed as it does now; `None` where there is no such place, or
    /// it was said where the anchor lies.
    fn unswung_m(&self, now: [f64; 2], bow: Option<[f64; 2]>) -> Option<f64> {
        let bow = bow.filter(|_| self.marked.is_none())?;
        let alike = self.spots.iter().filter(|s| s.bow.is_some_and(|b| along(b, bow) > SWINGS_COS));
        alike.map(|s| distance(s.at, now)).min_by(f64::total_cmp)
    }

    fn judge(&mut self, at: Moment) {
        let Some((_, now, bow)) = self.smooth else { return };
        let (found, fix_m) = (self.circles.found, self.fix_m());
        let plain = |centre: [f64; 2]| distance(now, centre) - STAND_IN_M;
        let (drag_m, least_m) = match (self.falls.zip(self.marked), found.knows_side) {
            (Some((_, marked)), _) => {
                let m = plain(in_metres(&self.plane, marked.position));
                (m, m - fix_m)
            }
            (None, true) => self.circles.outside(now, fix_m),
            (None, false) => {
                let (m, least_m) = self.circles.outside(now, fix_m);
                let stand_in = plain([0.0; 2]);
                (m.max(stand_in), least_m.max(stand_in - fix_m))
            }
        };
        let unswung = self.unswung_m(now, bow).map_or(f64::NEG_INFINITY, |m| m - ACROSS_M);
        let (drag_m, least_m) = (drag_m.max(unswung), least_m.max(unswung - fix_m));
        self.state = Some(AnchorState {
            position: self.plane.position(found.centre[0] / METRES_PER_NM, found.centre[1] / METRES_PER_NM),
            error_m: found.error_m,
            drag_m: drag_m.max(0.0),
            least_drag_m: least_m.max(0.0),
            at,
        });
    }
}

/// East and north of a plane's origin in metres.
fn in_metres(plane: &Plane, p: Position) -> [f64; 2] {
    let (e, n) = plane.east_north(p);
    [e * METRES_PER_NM, n * METRES_PER_NM]
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// The cosine of the angle between two directions that need not be of length 1.
fn along(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] * b[0] + a[1] * b[1]) / (a[0].hypot(a[1]) * b[0].hypot(b[1])).max(1e-9)
}
