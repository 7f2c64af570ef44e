//! What own vessel hears: her receiver's fixes, and the sentences of the others as real sets send them.

use super::chance::Chance;
use super::traffic::{Place, Second, Ship, knots};
use sentence::ais::AisReport;
use sentence::{Fix, SentTime, encode};
use terms::{METRES_PER_NM, Mmsi, Plane, Position, Utc, normal_deg};

/// A line that comes aboard.
pub struct Heard {
    pub at_s: f64,
    /// The ship whose place it reports.
    pub of: Option<usize>,
    pub lines: Vec<String>,
}

pub fn position(place: Place) -> Position {
    let entrance = Position::new(50.32, -4.15).unwrap();
    Plane::at(entrance).position(place[0] / METRES_PER_NM, place[1] / METRES_PER_NM)
}

/// A satellite receiver: an error that wanders, and a velocity that lags and is noisy.
struct Receiver {
    bias_m: [f64; 2],
    sigma_m: f64,
    velocity: [f64; 2],
    lag_s: f64,
}

impl Receiver {
    fn new(c: &mut Chance) -> Self {
        let sigma_m = c.between(1.5, 5.0);
        Self {
            bias_m: [c.normal(sigma_m), c.normal(sigma_m)],
            sigma_m,
            velocity: [0.0; 2],
            lag_s: c.between(0.5, 3.0),
        }
    }

    /// One second later: where, how fast and whither; the course of one that lies still is noise.
    fn tell(&mut self, truth: &Second, c: &mut Chance) -> (Position, f64, f64) {
        let keep = (-1.0_f64 / 120.0).exp();
        for n in 0..2 {
            self.bias_m[n] = self.bias_m[n] * keep + c.normal(self.sigma_m * (1.0 - keep * keep).sqrt());
            self.velocity[n] += (truth.moves[n] - self.velocity[n]) * (1.0 - (-1.0 / self.lag_s).exp());
        }
        let place = [0, 1].map(|n| truth.place[n] + self.bias_m[n] + c.normal(0.8));
        let v = self.velocity.map(|v| v + c.normal(0.05));
        let tenth = |x: f64| (x * 10.0).round() / 10.0;
        (position(place), tenth(knots(v)), tenth(normal_deg(v[0].atan2(v[1]).to_degrees())))
    }
}

/// Reporting interval in seconds (ITU-R M.1371-5 tables 1 and 2).
fn interval_s(ship: &Ship, s: &Second, kn: f64) -> f64 {
    match ship.class_b {
        true if kn <= 2.0 => 180.0,
        true => 30.0,
        false if kn <= 3.0 && matches!(ship.status, 1 | 5) => 180.0,
        false if kn > 23.0 => 2.0,
        false if kn > 14.0 => {
            if s.turns {
                2.0
            } else {
                6.0
            }
        }
        false if s.turns => 10.0 / 3.0,
        false => 10.0,
    }
}

fn range_nm(a: Place, b: Place) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1]) / METRES_PER_NM
}

/// Everything heard aboard one of the ships, in order of time.
pub fn heard(ships: &[Ship], own: usize, seed: u64) -> Vec<Heard> {
    let mut all = Vec::new();
    let c = &mut Chance::new(seed.wrapping_mul(1_000_003).wrapping_add(own as u64));
    for (n, ship) in ships.iter().enumerate() {
        let mut gps = Receiver::new(c);
        let loss = c.between(0.05, 0.35);
        let reach_nm = if ship.class_b { c.between(5.0, 8.0) } else { c.between(12.0, 20.0) };
        let (mut due_s, mut named_s) = (c.between(0.0, 180.0), c.between(0.0, 360.0));
        let mut deaf_until = 0.0;
        for (t, second) in ship.track.iter().enumerate() {
            let s = t as f64;
            let (place, sog_kn, cog_deg) = gps.tell(second, c);
            if n == own {
                let fix = Fix {
                    time: Some(SentTime::Utc(Utc(1_793_491_200_000 + t as i64 * 1000))),
                    position: Some(place),
                    sog_kn: Some(sog_kn),
                    cog_deg: Some(cog_deg),
                    ..Fix::default()
                };
                all.push(Heard { at_s: s, of: None, lines: vec![encode::rmc("GP", &fix)] });
                continue;
            }
            // What set her off reports at once that she is under way, as the shorter interval has it.
            let every_s = interval_s(ship, second, sog_kn);
            due_s = f64::min(due_s, s + every_s);
            if c.happens(0.002) {
                deaf_until = s + c.between(10.0, 40.0);
            }
            let lost = |c: &mut Chance| {
                s < deaf_until
                    || c.happens(loss)
                    || range_nm(second.place, ships[own].track[t].place) > reach_nm
            };
            let mmsi = Mmsi::new(ship.mmsi).unwrap();
            if s >= due_s {
                due_s = s + every_s + c.between(-0.3, 0.3);
                if !lost(c) {
                    let report = AisReport {
                        position: Some(place),
                        sog_kn: Some(sog_kn),
                        cog_deg: Some(cog_deg),
                        nav_status: (!ship.class_b).then_some(ship.status),
                        utc_second: u8::try_from(t % 60).ok(),
                        class_b: ship.class_b,
                        ..AisReport::new(if ship.class_b { 18 } else { 1 }, 0, mmsi)
                    };
                    let lines = encode::ais(&report, "AI", 'A', 0);
                    all.push(Heard { at_s: s + c.between(0.05, 0.9), of: Some(n), lines });
                }
            }
            if s >= named_s {
                named_s = s + 360.0;
                if !lost(c) {
                    let static_of = |message| AisReport {
                        name: Some(ship.name.clone()),
                        ship_type: Some(70),
                        dimension_a_m: Some(ship.length_m / 3),
                        dimension_b_m: Some(ship.length_m - ship.length_m / 3),
                        dimension_c_m: Some(ship.length_m / 10),
                        dimension_d_m: Some(ship.length_m / 10),
                        ..AisReport::new(message, 0, mmsi)
                    };
                    let lines = encode::ais(&static_of(if ship.class_b { 24 } else { 5 }), "AI", 'B', 1);
                    all.push(Heard { at_s: s + 0.95, of: None, lines });
                }
            }
        }
    }
    all.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    all
}
