//! A scenario replayed by the built binary, its events, and a plain reckoning of what the truth would call for.

use scenario::{Motion, Scenario};
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use terms::{Moment, Plane, Position};

pub const ORDERS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/windlestraw-orders.toml");
pub const BOAT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/windlestraw.toml");
pub const NIGHT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/night-passage.toml");

/// A scenario and what the watch made of it.
pub struct Night {
    pub scenario: Scenario,
    pub events: Vec<Event>,
    /// The output itself.
    pub output: String,
}

/// One event record.
#[derive(Debug, Clone, PartialEq)]
pub struct Event(pub Value);

impl Event {
    pub fn at(&self) -> Moment {
        Moment::from_s(self.0["steady_s"].as_f64().unwrap())
    }

    pub fn what(&self) -> &str {
        self.0["event"].as_str().unwrap()
    }

    pub fn order(&self) -> &str {
        self.0["alert"]["order"].as_str().unwrap()
    }

    pub fn text(&self) -> &str {
        self.0["alert"]["text"].as_str().unwrap()
    }

    pub fn target(&self) -> Option<u64> {
        self.0["target"]["mmsi"].as_u64()
    }

    pub fn casualty(&self) -> Option<Position> {
        place(&self.0["casualty"])
    }

    pub fn own(&self) -> Option<Position> {
        place(&self.0["own"])
    }
}

fn place(part: &Value) -> Option<Position> {
    Position::new(part["latitude_deg"].as_f64()?, part["longitude_deg"].as_f64()?).ok()
}

/// Replays a scenario file.
pub fn replay(file: &Path, arguments: &[&str]) -> Night {
    let text = std::fs::read_to_string(file).unwrap();
    let scenario = Scenario::read(&file.display().to_string(), &text).unwrap_or_else(|p| panic!("{p}"));
    let out = Command::new(env!("CARGO_BIN_EXE_middlewatch"))
        .args(["replay", "--json"])
        .args(arguments)
        .arg(file)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let output = String::from_utf8(out.stdout).unwrap();
    let events = output.lines().map(|l| Event(serde_json::from_str(l).unwrap())).collect();
    Night { scenario, events, output }
}

/// Replays a scenario that a test has made up.
pub fn replay_text(name: &str, text: &str, arguments: &[&str]) -> Night {
    let file = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}.toml"));
    std::fs::write(&file, text).unwrap();
    replay(&file, arguments)
}

/// Miles and seconds of the closest approach of two that keep their course and speed. Done with plain vectors on a
/// plane, for the picture's own reckoning to be judged by; Bowditch, relative motion.
pub fn approach(own: &Motion, other: &Motion) -> (f64, f64) {
    let (east, north) = Plane::at(own.position).east_north(other.position);
    let velocity = |m: &Motion| {
        let (sin, cos) = m.cog_deg.to_radians().sin_cos();
        [m.sog_kn * sin, m.sog_kn * cos]
    };
    let ([own_east, own_north], [other_east, other_north]) = (velocity(own), velocity(other));
    let (u, v) = (other_east - own_east, other_north - own_north);
    let hours = if u.hypot(v) < 1e-6 { 0.0 } else { -(east * u + north * v) / (u * u + v * v) };
    ((east + u * hours).hypot(north + v * hours), hours * 3600.0)
}

/// Stretches of whole seconds in which something holds of the truth.
pub fn spans(scenario: &Scenario, holds: impl Fn(Moment) -> bool) -> Vec<(Moment, Moment)> {
    let mut spans: Vec<(Moment, Moment)> = Vec::new();
    let mut open = None;
    for s in 0..=scenario.end().0 / 1000 {
        let at = Moment(s * 1000);
        match (holds(at), open) {
            (true, None) => open = Some(at),
            (false, Some(from)) => {
                spans.push((from, at));
                open = None;
            }
            _ => {}
        }
    }
    spans.extend(open.map(|from| (from, scenario.end())));
    spans
}

/// Numbers for a made-up night, the same for the same seed.
pub struct Draw {
    seed: u64,
    state: u64,
}

impl Draw {
    pub fn seeded(seed: u64) -> Self {
        let mut draw = Self { seed, state: seed.wrapping_mul(0x9e37_79b9).wrapping_add(1) };
        for _ in 0..8 {
            draw.from(0.0, 1.0);
        }
        draw
    }

    pub const fn seed(&self) -> u64 {
        self.seed
    }

    pub fn from(&mut self, low: f64, high: f64) -> f64 {
        // The multiplier and increment of Knuth's MMIX generator.
        self.state =
            self.state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + (high - low) * ((self.state >> 11) as f64 / (1u64 << 53) as f64)
    }
}
