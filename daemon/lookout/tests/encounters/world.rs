//! The true world of an encounter: two vessels that yaw and turn, stepped along the geodesic second by second, and
//! receivers whose errors are another model than the lookout's own: a bias that wanders, white noise, a velocity
//! that lags, and now and then a position far off.

use super::chance::Chance;
use terms::{METRES_PER_NM, Plane, Position, normal_deg};

/// A turn: when it begins, how fast (to starboard positive) and how long.
#[derive(Clone, Copy)]
pub struct Turn {
    pub from_s: f64,
    pub deg_s: f64,
    pub for_s: f64,
}

/// A vessel as she is steered.
#[derive(Clone)]
pub struct Vessel {
    pub start: Position,
    pub course_deg: f64,
    pub speed_kn: f64,
    pub yaw_deg: f64,
    pub yaw_s: f64,
    pub turns: Vec<Turn>,
}

/// One second of a vessel.
#[derive(Clone, Copy)]
pub struct Second {
    pub position: Position,
    /// Without yawing: the best a report could show.
    pub course_deg: f64,
    pub speed_kn: f64,
    /// East and north, metres a second, as she moves at that instant.
    pub velocity_mps: [f64; 2],
    pub turn_deg_s: f64,
}

impl Vessel {
    /// Her whole course, second by second.
    pub fn sail(&self, seconds: usize, chance: &mut Chance) -> Vec<Second> {
        let phase = chance.between(0.0, std::f64::consts::TAU);
        let (mut position, mut course_deg) = (self.start, self.course_deg);
        (0..=seconds)
            .map(|t| {
                let s = t as f64;
                let turns = |u: &&Turn| (u.from_s..u.from_s + u.for_s).contains(&s);
                let turn_deg_s = self.turns.iter().find(turns).map_or(0.0, |u| u.deg_s);
                course_deg = normal_deg(course_deg + turn_deg_s);
                let wave = (std::f64::consts::TAU * s / self.yaw_s + phase).sin();
                let slow = (std::f64::consts::TAU * s / (7.3 * self.yaw_s) + 2.0 * phase).sin();
                let now_deg = course_deg + self.yaw_deg * (0.8 * wave + 0.2 * slow);
                let now_kn = self.speed_kn * (1.0 + 0.03 * slow);
                let (sin, cos) = now_deg.to_radians().sin_cos();
                let mps = now_kn * METRES_PER_NM / 3600.0;
                let second = Second {
                    position,
                    course_deg,
                    speed_kn: self.speed_kn,
                    velocity_mps: [mps * sin, mps * cos],
                    turn_deg_s,
                };
                position = position.at(now_deg, now_kn / 3600.0);
                second
            })
            .collect()
    }
}

/// A satellite receiver aboard.
pub struct Receiver {
    bias_m: [f64; 2],
    velocity_mps: Option<[f64; 2]>,
    sigma_m: f64,
    wander_s: f64,
    white_m: f64,
    lag_s: f64,
    white_mps: f64,
    outlier: f64,
}

/// What a receiver reports, rounded as AIS rounds it.
#[derive(Clone, Copy)]
pub struct Told {
    pub position: Position,
    pub sog_kn: f64,
    pub cog_deg: f64,
}

impl Receiver {
    pub fn new(chance: &mut Chance) -> Self {
        let sigma_m = chance.between(1.5, 6.0);
        Self {
            bias_m: [chance.normal(sigma_m), chance.normal(sigma_m)],
            velocity_mps: None,
            sigma_m,
            wander_s: chance.between(60.0, 300.0),
            white_m: chance.between(0.2, 1.5),
            lag_s: chance.between(0.5, 3.0),
            white_mps: chance.between(0.03, 0.12),
            outlier: 0.0005,
        }
    }

    /// One second later.
    pub fn tell(&mut self, truth: &Second, chance: &mut Chance) -> Told {
        let keep = (-1.0 / self.wander_s).exp();
        let fresh = self.sigma_m * (1.0 - keep * keep).sqrt();
        for b in &mut self.bias_m {
            *b = *b * keep + chance.normal(fresh);
        }
        let follow = 1.0 - (-1.0 / self.lag_s).exp();
        let mut v = self.velocity_mps.unwrap_or(truth.velocity_mps);
        for (v, now) in v.iter_mut().zip(truth.velocity_mps) {
            *v += follow * (now - *v);
        }
        self.velocity_mps = Some(v);
        let mut off = self.bias_m;
        if chance.happens(self.outlier) {
            off = [chance.normal(40.0), chance.normal(40.0)];
        }
        let nm = |m: f64, c: &mut Chance| (m + c.normal(self.white_m)) / METRES_PER_NM;
        let (east, north) = (nm(off[0], chance), nm(off[1], chance));
        let p = Plane::at(truth.position).position(east, north);
        let tick = |deg: f64| (deg * 600_000.0).round() / 600_000.0;
        let (e, n) = (v[0] + chance.normal(self.white_mps), v[1] + chance.normal(self.white_mps));
        Told {
            position: Position::new(tick(p.latitude_deg()), tick(p.longitude_deg())).unwrap(),
            sog_kn: (e.hypot(n) * 3600.0 / METRES_PER_NM * 10.0).round() / 10.0,
            cog_deg: normal_deg((e.atan2(n).to_degrees() * 10.0).round() / 10.0),
        }
    }
}
