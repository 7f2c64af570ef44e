//! Prints a scenario's lines as JSON, one object a line, with the truth that they were made from: what a check
//! with another decoder compares. `cargo run -p scenario --example lines -- FILE`
#![allow(clippy::disallowed_methods, reason = "an example reads and prints")]

use scenario::{Motion, Scenario, What};
use serde_json::{Value, json};
use std::io::{BufWriter, Write};
use terms::Moment;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let file = std::env::args().nth(1).ok_or("usage: lines FILE")?;
    let scenario = Scenario::read(&file, &std::fs::read_to_string(&file)?).map_err(|p| p.to_string())?;
    let mut out = BufWriter::new(std::io::stdout().lock());
    for timed in scenario.play() {
        let object = match timed.what {
            What::Line { feed, line } => {
                json!({"at_ms": timed.at.0, "utc": timed.utc, "feed": feed, "line": line})
            }
            What::Act(act) => {
                json!({"at_ms": timed.at.0, "utc": timed.utc, "act": format!("{:?}", act.verb), "words": act.words})
            }
        };
        writeln!(out, "{object}")?;
    }
    // The truth once a second: linear between is near enough for any check.
    for s in 0..=scenario.end().0 / 1000 {
        let at = Moment(s * 1000);
        let ships: Vec<Value> = scenario
            .ships()
            .filter_map(|mmsi| scenario.ship(mmsi, at).map(|m| of(mmsi.number(), &m)))
            .collect();
        let people: Vec<Value> = scenario
            .casualties()
            .filter_map(|(mmsi, _, _)| scenario.casualty(mmsi, at).map(|m| of(mmsi.number(), &m)))
            .collect();
        let own = of(scenario.own_mmsi().number(), &scenario.own(at));
        writeln!(out, "{}", json!({"truth_ms": at.0, "own": own, "ships": ships, "people": people}))?;
    }
    Ok(out.flush()?)
}

fn of(mmsi: u32, m: &Motion) -> Value {
    json!({
        "mmsi": mmsi,
        "latitude_deg": m.position.latitude_deg(),
        "longitude_deg": m.position.longitude_deg(),
        "cog_deg": m.cog_deg,
        "sog_kn": m.sog_kn,
        "course_deg": m.course_deg,
        "speed_kn": m.speed_kn,
        "turn_deg_min": m.turn_deg_min,
    })
}
