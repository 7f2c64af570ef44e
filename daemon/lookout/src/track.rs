//! How a vessel really moves, worked out from reports that are noisy, rare or missing.
//!
//! Two models run side by side: one of a vessel that holds on, one of a vessel that turns or changes her speed. Her
//! reports show which of them holds (an interacting multiple model filter: Blom and Bar-Shalom 1988). East and north
//! are taken to be known equally well, so that three numbers hold the whole covariance.

use crate::motion::{Motion, Sight, shifted};
use terms::{METRES_PER_NM, Moment, Position};

/// Metres a second in a knot.
pub(crate) const MPS_PER_KN: f64 = METRES_PER_NM / 3600.0;
/// After a longer silence a track starts over.
const ANEW_AFTER_S: f64 = 900.0;
/// Nothing is known about her velocity: her speed in metres a second may be anything up to some twenty knots.
const UNKNOWN_MPS: f64 = 10.0;
/// A velocity is known when its error on either axis is no greater than this.
const KNOWN_MPS: f64 = 2.0;
/// What of the standard errors expected proved true over a thousand encounters: of the place, and of what becomes of it.
const STANDS: f64 = 0.3;
const RUNS: f64 = 0.17;
/// The same of the relative velocity, in which both yaw and swing by at least this many knots.
const SWINGS: f64 = 0.08;
const SWINGS_KN: f64 = 0.19;
/// Errors of two receivers that no filter averages out, for they wander slowly, metres on each axis.
const BIAS_M: f64 = 6.0;
/// A position further off than this, and than eight times its expected error, does not belong to the track unless the
/// next one agrees with it.
const ASTRAY_M: f64 = 200.0;
const ASTRAY_SIGMAS: f64 = 8.0;

/// What to expect of the reports and of the vessel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Noise {
    /// Error of a reported position on each axis, metres.
    pub position_m: f64,
    /// Error of a reported velocity on each axis, metres a second, in a flat sea.
    pub velocity_mps: f64,
    /// How much she yaws and surges at first, as an error of velocity; learnt from then on.
    pub yaw_mps: f64,
    /// The most and least that is learnt.
    pub yaw_most_mps: f64,
    /// Errors of reports that follow one another faster than this are alike, and count as one: position, velocity.
    pub alike_s: (f64, f64),
    /// Power of the random acceleration of a vessel that holds on, and of one that turns, m²/s³.
    pub steady: f64,
    pub turning: f64,
    /// How long she holds on, and how long she turns, on average, in seconds.
    pub steady_s: f64,
    pub turning_s: f64,
}

/// A position and velocity with their covariance; offsets from the track's origin.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Model {
    /// East and north, metres.
    p: [f64; 2],
    /// East and north, metres a second.
    v: [f64; 2],
    pp: f64,
    pv: f64,
    vv: f64,
}

fn dot(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

fn minus(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] - b[0], a[1] - b[1]]
}

/// The first and a part of the second.
fn plus(a: [f64; 2], part: f64, b: [f64; 2]) -> [f64; 2] {
    [a[0] + part * b[0], a[1] + part * b[1]]
}

impl Model {
    /// Carried on by `s` seconds with a random acceleration of that power.
    fn carried(self, s: f64, power: f64) -> Self {
        Self {
            p: [self.p[0] + self.v[0] * s, self.p[1] + self.v[1] * s],
            v: self.v,
            pp: self.pp + s * (2.0 * self.pv + s * self.vv) + power * s * s * s / 3.0,
            pv: self.pv + s * self.vv + power * s * s / 2.0,
            vv: self.vv + power * s,
        }
    }

    /// Takes a measured position; returns the logarithm of its likelihood.
    fn see_position(&mut self, measured: [f64; 2], variance: f64) -> f64 {
        let s = self.pp + variance;
        let off = minus(measured, self.p);
        let (kp, kv) = (self.pp / s, self.pv / s);
        self.p = plus(self.p, kp, off);
        self.v = plus(self.v, kv, off);
        self.vv -= kv * self.pv;
        self.pv *= 1.0 - kp;
        self.pp *= 1.0 - kp;
        -dot(off, off) / (2.0 * s) - s.ln()
    }

    /// Takes a measured velocity; returns the logarithm of its likelihood.
    fn see_velocity(&mut self, measured: [f64; 2], variance: f64) -> f64 {
        let s = self.vv + variance;
        let off = minus(measured, self.v);
        let (kp, kv) = (self.pv / s, self.vv / s);
        self.p = plus(self.p, kp, off);
        self.v = plus(self.v, kv, off);
        self.pp -= kp * self.pv;
        self.pv *= 1.0 - kv;
        self.vv *= 1.0 - kv;
        -dot(off, off) / (2.0 * s) - s.ln()
    }

    /// Two models as one, the first with a weight: what they disagree in adds to the covariance.
    fn mixed(a: Self, b: Self, weight: f64) -> Self {
        let w = 1.0 - weight;
        let both = |x: [f64; 2], y: [f64; 2]| [weight * x[0] + w * y[0], weight * x[1] + w * y[1]];
        let (dp, dv) = (minus(a.p, b.p), minus(a.v, b.v));
        let spread = weight * w / 2.0;
        Self {
            p: both(a.p, b.p),
            v: both(a.v, b.v),
            pp: weight * a.pp + w * b.pp + spread * dot(dp, dp),
            pv: weight * a.pv + w * b.pv + spread * dot(dp, dv),
            vv: weight * a.vv + w * b.vv + spread * dot(dv, dv),
        }
    }
}

/// How well a motion is known: variances on each axis, and how they grow.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Doubtful {
    pp_m2: f64,
    pv: f64,
    vv: f64,
    power: f64,
}

impl Doubtful {
    /// Of two vessels relative to one another.
    pub fn of_both(a: Self, b: Self) -> Self {
        Self { pp_m2: a.pp_m2 + b.pp_m2, pv: a.pv + b.pv, vv: a.vv + b.vv, power: a.power + b.power }
    }

    /// The same as it proved to be: receivers are better than the filter must assume, and most vessels hold on better than
    /// it must fear (own choice, measured: see the encounters).
    pub fn measured_sigma_nm(&self, s: f64) -> f64 {
        let runs = s * (2.0 * self.pv + s * self.vv) + self.power * s.abs().powi(3) / 3.0;
        let variance = BIAS_M * BIAS_M + STANDS * STANDS * self.pp_m2 + RUNS * RUNS * runs;
        variance.max(0.0).sqrt() / METRES_PER_NM
    }

    /// The same of [`Self::sigma_kn`].
    pub fn measured_sigma_kn(&self) -> f64 {
        (SWINGS * self.sigma_kn()).hypot(SWINGS_KN)
    }

    /// Standard error of the velocity on any axis, in knots.
    pub fn sigma_kn(&self) -> f64 {
        self.vv.max(0.0).sqrt() / MPS_PER_KN
    }

    /// Standard error of the position on any axis this many seconds on, in nautical miles.
    pub fn sigma_nm(&self, s: f64) -> f64 {
        let variance = self.pp_m2 + s * (2.0 * self.pv + s * self.vv) + self.power * s.abs().powi(3) / 3.0;
        variance.max(0.0).sqrt() / METRES_PER_NM
    }
}

/// What a vessel reports about herself at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Observation {
    pub position: Option<Position>,
    /// East and north, metres a second.
    pub velocity_mps: Option<[f64; 2]>,
    /// She herself says she is turning.
    pub turns: bool,
}

/// East and north in metres a second.
pub(crate) fn velocity_mps(sog_kn: f64, cog_deg: f64) -> [f64; 2] {
    let (sin, cos) = cog_deg.to_radians().sin_cos();
    [sog_kn * MPS_PER_KN * sin, sog_kn * MPS_PER_KN * cos]
}

/// The track of one vessel.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Track {
    noise: Noise,
    at: Moment,
    origin: Position,
    steady: Model,
    turning: Model,
    /// Probability that she is turning.
    turning_p: f64,
    /// Variance of velocity caused by her yawing, learnt.
    yaw: f64,
    /// When position and velocity were last taken.
    taken: (Option<Moment>, Option<Moment>),
    /// A position that did not belong to the track.
    astray: Option<(Moment, Position)>,
}

impl Track {
    /// Begins with a position, and a velocity if it is reported.
    pub fn new(at: Moment, position: Position, velocity: Option<[f64; 2]>, noise: Noise) -> Self {
        let yaw = noise.yaw_mps * noise.yaw_mps;
        let vv = match velocity {
            Some(_) => noise.velocity_mps * noise.velocity_mps + yaw,
            None => UNKNOWN_MPS * UNKNOWN_MPS,
        };
        let model = Model {
            p: [0.0; 2],
            v: velocity.unwrap_or_default(),
            pp: noise.position_m * noise.position_m,
            pv: 0.0,
            vv,
        };
        Self {
            noise,
            at,
            origin: position,
            steady: model,
            turning: model,
            turning_p: 0.05,
            yaw,
            taken: (Some(at), velocity.map(|_| at)),
            astray: None,
        }
    }

    /// Takes a report.
    pub fn hear(&mut self, at: Moment, o: Observation) {
        let s = at.seconds_from(self.at);
        if s < 0.0 {
            return;
        }
        if s > ANEW_AFTER_S {
            if let Some(position) = o.position {
                *self = Self::new(at, position, o.velocity_mps, self.noise);
            }
            return;
        }
        let mut next = self.clone();
        next.carry(at, s, o.turns);
        if let Some(position) = o.position {
            let seen = Sight::of(next.origin, position);
            let off = [seen.east_nm * METRES_PER_NM, seen.north_nm * METRES_PER_NM];
            let room = next.turning.pp.sqrt() * ASTRAY_SIGMAS;
            if dot(off, off).sqrt() > room.max(ASTRAY_M) {
                self.go_astray(at, position, o);
                return;
            }
            next.astray = None;
            let variance = next.noise.position_m * next.noise.position_m;
            let variance = variance * alike(next.taken.0, at, next.noise.alike_s.0);
            next.taken.0 = Some(at);
            next.weigh(|m| m.see_position(off, variance));
        }
        if let Some(v) = o.velocity_mps {
            next.learn_yaw(v);
            let variance = next.noise.velocity_mps * next.noise.velocity_mps + next.yaw;
            let variance = variance * alike(next.taken.1, at, next.noise.alike_s.1);
            next.taken.1 = Some(at);
            next.weigh(|m| m.see_velocity(v, variance));
        }
        next.recentre();
        *self = next;
    }

    /// A position far off: the track starts over at the second such position that agrees with the first.
    fn go_astray(&mut self, at: Moment, position: Position, o: Observation) {
        let agrees = self.astray.is_some_and(|(then, p)| {
            let s = at.seconds_from(then);
            let v = o.velocity_mps.unwrap_or_else(|| self.whole().v);
            let there = shifted(p, v[0] * s / METRES_PER_NM, v[1] * s / METRES_PER_NM);
            Sight::of(there, position).range_nm() * METRES_PER_NM < ASTRAY_M + 2.0 * s
        });
        if agrees {
            let yaw = self.yaw;
            *self = Self::new(at, position, o.velocity_mps, self.noise);
            self.yaw = yaw;
        } else {
            self.astray = Some((at, position));
        }
    }

    /// Carries both models to a moment, after letting each take its share of what may have changed meanwhile.
    fn carry(&mut self, at: Moment, s: f64, turns: bool) {
        let n = self.noise;
        let begins = 1.0 - (-s / n.steady_s).exp();
        let ends = 1.0 - (-s / n.turning_s).exp();
        if turns {
            self.turning_p = self.turning_p.max(0.5);
        }
        let turning_p = (self.turning_p * (1.0 - ends) + (1.0 - self.turning_p) * begins).clamp(1e-4, 0.999);
        let from_steady = (1.0 - self.turning_p) * (1.0 - begins) / (1.0 - turning_p);
        let from_turning = self.turning_p * (1.0 - ends) / turning_p;
        let (a, b) = (self.steady, self.turning);
        self.steady = Model::mixed(a, b, from_steady.clamp(0.0, 1.0)).carried(s, n.steady);
        self.turning = Model::mixed(b, a, from_turning.clamp(0.0, 1.0)).carried(s, n.turning);
        self.turning_p = turning_p;
        self.at = at;
        self.recentre();
    }

    /// Lets both models take a measurement, and weighs them by it.
    fn weigh(&mut self, mut see: impl FnMut(&mut Model) -> f64) {
        let steady = see(&mut self.steady) + (1.0 - self.turning_p).ln();
        let turning = see(&mut self.turning) + self.turning_p.ln();
        let p = 1.0 / (1.0 + (steady - turning).clamp(-700.0, 700.0).exp());
        self.turning_p = p.clamp(1e-4, 0.999);
    }

    /// Learns how much reported velocities wander while she holds on.
    fn learn_yaw(&mut self, v: [f64; 2]) {
        let off = minus(v, self.steady.v);
        let most = self.noise.yaw_most_mps * self.noise.yaw_most_mps;
        let seen = (dot(off, off) / 2.0 - self.steady.vv).clamp(0.0, most);
        // A gain of a twentieth for reports that are each their own, less for those that are alike.
        let gain = 0.05 * (1.0 - self.turning_p) / alike(self.taken.1, self.at, self.noise.alike_s.1);
        self.yaw += gain * (seen - self.yaw);
    }

    /// Both models as one.
    fn whole(&self) -> Model {
        Model::mixed(self.turning, self.steady, self.turning_p)
    }

    /// Moves the origin to where she is, along a rhumb line.
    fn recentre(&mut self) {
        let p = self.whole().p;
        self.origin = shifted(self.origin, p[0] / METRES_PER_NM, p[1] / METRES_PER_NM);
        for m in [&mut self.steady, &mut self.turning] {
            m.p = minus(m.p, p);
        }
    }

    /// Where she is and how she moves; `None` while her velocity is not known.
    pub fn motion(&self) -> Option<Motion> {
        let m = self.whole();
        (m.vv.sqrt() <= KNOWN_MPS).then(|| Motion {
            at: self.at,
            position: self.origin,
            east_kn: m.v[0] / MPS_PER_KN,
            north_kn: m.v[1] / MPS_PER_KN,
        })
    }

    /// How well that is known at a later moment. It does not count that any vessel may begin to turn at any time; it
    /// does count that this one seems to be turning now.
    pub fn doubt(&self, at: Moment) -> Doubtful {
        let s = at.seconds_from(self.at).max(0.0);
        let n = self.noise;
        let rest = n.turning_s / (n.turning_s + n.steady_s);
        let turns = ((self.turning_p - 2.0 * rest).max(0.0) / (1.0 - 2.0 * rest)).clamp(0.0, 1.0);
        // Unheard she may have begun to turn: the part of the time she does so on average.
        let unheard = rest * (1.0 - (-s / n.steady_s).exp());
        let power = n.steady + (turns * (-s / n.turning_s).exp()).max(unheard) * n.turning;
        let m = Model::mixed(self.turning, self.steady, turns).carried(s, power);
        Doubtful { pp_m2: m.pp, pv: m.pv, vv: m.vv, power: n.steady }
    }
}

/// How much more the variance of a measurement counts because the one before it was alike.
fn alike(before: Option<Moment>, at: Moment, alike_s: f64) -> f64 {
    before.map_or(1.0, |b| (alike_s / at.seconds_from(b).max(0.05)).max(1.0))
}
