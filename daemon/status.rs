//! `status`: one screen that a watchkeeper reads in five seconds at night. Plain text, 40 columns are enough.

use serde_json::Value;
use std::fmt::Write;

/// Targets that are shown.
const WORST: usize = 5;

/// The screen for the daemon's answer.
pub fn screen(v: &Value) -> String {
    let mut s = String::new();
    // Writing into a string cannot fail.
    let _ = write(&mut s, v);
    s
}

fn write(s: &mut String, v: &Value) -> std::fmt::Result {
    for c in list(&v["casualties"]) {
        writeln!(s, "CASUALTY {}  {}", c["id"], text(&c["words"]))?;
    }
    let alerts = list(&v["alerts"]);
    if alerts.is_empty() {
        writeln!(s, "No open alerts.")?;
    }
    for a in alerts {
        let state = text(&a["state"]);
        writeln!(
            s,
            "{} {}, {}\n  {}",
            text(&a["priority"]).to_uppercase(),
            a["id"],
            state,
            text(&a["text"])
        )?;
    }
    for t in list(&v["targets"]).iter().take(WORST) {
        let name = t["name"].as_str().map_or_else(|| format!("MMSI {}", t["mmsi"]), str::to_owned);
        let cpa = number(&t["cpa_nm"], 2, " nm");
        let tcpa = t["tcpa_s"].as_f64().map_or("-".into(), |t| format!("{:.0} min", t / 60.0));
        let range = number(&t["range_nm"], 1, " nm");
        writeln!(
            s,
            "{name}: {range} off, bearing {}, CPA {cpa} in {tcpa}",
            number(&t["bearing_deg"], 0, "°")
        )?;
    }
    let own = &v["own"];
    let place = own["position"].as_str().unwrap_or("position not known");
    writeln!(s, "{place}  {}", number(&own["position_age_s"], 0, " s old"))?;
    writeln!(
        s,
        "SOG {}  COG {}  heading {}  depth {}",
        number(&own["sog_kn"], 1, " kn"),
        number(&own["cog_deg"], 0, "°"),
        number(&own["heading_deg"], 0, "°"),
        number(&own["depth_m"], 1, " m")
    )?;
    for f in list(&v["feeds"]) {
        let silent = f["silent_s"].as_f64().map_or("never heard".into(), |s| format!("heard {s:.0} s ago"));
        writeln!(s, "{}: {}, {silent}, {} refused", text(&f["name"]), text(&f["state"]), f["refused"])?;
    }
    let declared: Vec<&str> = list(&v["declared"]).iter().map(|d| d.as_str().unwrap_or("")).collect();
    let declared = if declared.is_empty() { "nothing".to_owned() } else { declared.join(", ") };
    writeln!(s, "Declared: {declared}.  UTC {}", v["at"].as_str().unwrap_or("not known"))
}

fn list(v: &Value) -> &[Value] {
    v.as_array().map_or(&[], Vec::as_slice)
}

fn text(v: &Value) -> &str {
    v.as_str().unwrap_or("-")
}

fn number(v: &Value, digits: usize, unit: &str) -> String {
    v.as_f64().map_or("-".into(), |n| format!("{n:.digits$}{unit}"))
}
