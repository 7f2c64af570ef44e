//! Figures for a collector, in OpenMetrics text (version 1.0.0).

use serde_json::Value;
use std::fmt::Write;

/// What a collector is told the text is.
pub(super) const TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Text in the making.
struct Text(String);

impl Text {
    fn family(&mut self, name: &str, kind: &str, help: &str) {
        // Writing into a string cannot fail.
        let _ = write!(self.0, "# TYPE middlewatch_{name} {kind}\n# HELP middlewatch_{name} {help}\n");
    }

    /// One sample; what is not known is left out, never told as a number.
    fn sample(&mut self, name: &str, labels: &[(&str, &str)], value: Option<f64>) {
        let Some(value) = value.filter(|v| v.is_finite()) else { return };
        let labels: Vec<String> = labels.iter().map(|(k, v)| format!("{k}=\"{}\"", escaped(v))).collect();
        let labels = if labels.is_empty() { String::new() } else { format!("{{{}}}", labels.join(",")) };
        let _ = writeln!(self.0, "middlewatch_{name}{labels} {value}");
    }
}

fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}

fn list(v: &Value) -> impl Iterator<Item = &Value> {
    v.as_array().into_iter().flatten()
}

fn word(v: &Value) -> &str {
    v.as_str().unwrap_or("")
}

fn flag(is: bool) -> Option<f64> {
    Some(f64::from(u8::from(is)))
}

/// The figures of a status.
pub(super) fn text(status: &Value) -> String {
    let mut t = Text(String::new());
    t.family("build", "info", "The program.");
    t.sample("build_info", &[("version", env!("CARGO_PKG_VERSION"))], Some(1.0));
    feeds(&mut t, &status["feeds"]);

    t.family("alerts", "gauge", "Alerts that are not over, exercises left out.");
    for priority in ["emergency alarm", "alarm", "warning", "caution"] {
        for unheeded in [true, false] {
            let of = |a: &&Value| {
                let heeded =
                    matches!(word(&a["state"]), "active-acknowledged" | "responsibility-transferred");
                word(&a["priority"]) == priority && heeded != unheeded && a["exercise"] != true
            };
            let count = list(&status["alerts"]).filter(of).count();
            let heeded = if unheeded { "no" } else { "yes" };
            t.sample("alerts", &[("priority", priority), ("acknowledged", heeded)], Some(count as f64));
        }
    }
    t.family("casualties", "gauge", "Casualties that are not stood down.");
    t.sample("casualties", &[], Some(list(&status["casualties"]).count() as f64));
    t.family("targets", "gauge", "Targets that are held.");
    t.sample("targets", &[], status["targets_held"].as_f64());

    let own = &status["own"];
    t.family("value_age_seconds", "gauge", "Age of a value of own vessel.");
    t.0 += "# UNIT middlewatch_value_age_seconds seconds\n";
    for (value, key) in
        [("position", "position_age_s"), ("heading", "heading_age_s"), ("depth", "depth_age_s")]
    {
        t.sample("value_age_seconds", &[("value", value)], own[key].as_f64());
    }
    t.family("utc_known", "gauge", "Whether UTC is known, by a satellite or by the computer.");
    for source in ["satellite", "system"] {
        t.sample("utc_known", &[("by", source)], flag(word(&status["utc_from"]) == source));
    }
    t.family("signal_failing", "gauge", "Whether a signal, a button or the heartbeat line fails.");
    for s in list(&status["signals"]) {
        let failing = s["failing"].as_bool();
        t.sample("signal_failing", &[("signal", word(&s["name"]))], failing.and_then(flag));
    }
    logbook(&mut t, &status["logbook"]);
    t.0 += "# EOF\n";
    t.0
}

fn feeds(t: &mut Text, feeds: &Value) {
    t.family("feed_up", "gauge", "Whether a feed is open.");
    for f in list(feeds) {
        t.sample("feed_up", &[("feed", word(&f["name"]))], flag(word(&f["state"]) == "up"));
    }
    t.family("feed_silent_seconds", "gauge", "Since a feed last brought a sentence.");
    t.0 += "# UNIT middlewatch_feed_silent_seconds seconds\n";
    for f in list(feeds) {
        t.sample("feed_silent_seconds", &[("feed", word(&f["name"]))], f["silent_s"].as_f64());
    }
    for (name, key, help) in [
        ("feed_bytes", "bytes", "Bytes received."),
        ("feed_sentences", "sentences", "Sentences that were good."),
        ("feed_dropped", "dropped", "Sentences dropped under flood."),
    ] {
        t.family(name, "counter", help);
        for f in list(feeds) {
            t.sample(&format!("{name}_total"), &[("feed", word(&f["name"]))], f[key].as_f64());
        }
    }
    t.family("feed_refused", "counter", "Lines refused, by reason.");
    for f in list(feeds) {
        for (reason, n) in f["refusals"].as_object().into_iter().flatten() {
            t.sample("feed_refused_total", &[("feed", word(&f["name"])), ("reason", reason)], n.as_f64());
        }
    }
}

fn logbook(t: &mut Text, logbook: &Value) {
    t.family("logbook_failing", "gauge", "Whether the logbook cannot be written.");
    t.sample("logbook_failing", &[], flag(!logbook["failing"].is_null()));
    t.family("logbook_waiting", "gauge", "Rows and records that wait for the disk.");
    t.sample("logbook_waiting", &[], logbook["waiting"].as_f64());
    t.family("logbook_dropped", "counter", "Rows, records and deliveries given up.");
    t.sample("logbook_dropped_total", &[], logbook["dropped"].as_f64());
    t.family("deliveries_waiting", "gauge", "Events that have not reached their webhook yet.");
    t.sample("deliveries_waiting", &[], logbook["deliveries_waiting"].as_f64());
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    /// The form was held to the OpenMetrics parser of prometheus_client 0.23.
    #[test]
    fn figures() {
        let t = text(&json!({
            "feeds": [{"name": "a\"b\\", "state": "up", "silent_s": null, "bytes": 12, "sentences": 1, "dropped": 0,
                "refusals": {"no checksum": 3}}],
            "alerts": [{"priority": "alarm", "state": "active-silenced"}],
            "casualties": [], "targets_held": 2, "own": {"position_age_s": 1.5}, "utc_from": null,
            "signals": [{"name": "signal horn", "failing": true}],
            "logbook": {"failing": null, "waiting": 0, "dropped": 0, "deliveries_waiting": 7},
        }));
        for line in [
            "middlewatch_feed_up{feed=\"a\\\"b\\\\\"} 1",
            "middlewatch_feed_refused_total{feed=\"a\\\"b\\\\\",reason=\"no checksum\"} 3",
            "middlewatch_alerts{priority=\"alarm\",acknowledged=\"no\"} 1",
            "middlewatch_value_age_seconds{value=\"position\"} 1.5",
            "middlewatch_signal_failing{signal=\"signal horn\"} 1",
            "middlewatch_deliveries_waiting 7",
        ] {
            assert!(t.lines().any(|l| l == line), "{line} is not in\n{t}");
        }
        assert!(!t.contains("feed_silent_seconds{"), "what is not known is not told");
        assert!(t.ends_with("# EOF\n"));
    }
}
