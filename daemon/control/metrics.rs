//! Figures for a collector, in OpenMetrics text (version 1.0.0).

use record::{AlertNow, FeedNow, LogbookNow, Status};
use rules::Priority;
use std::fmt::Write;
use terms::UtcSource;

/// The content type for a collector.
pub(super) const TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

/// Text under construction.
struct Text(String);

impl Text {
    fn family(&mut self, name: &str, kind: &str, help: &str) {
        // Writing into a string cannot fail.
        let _ = write!(self.0, "# TYPE middlewatch_{name} {kind}\n# HELP middlewatch_{name} {help}\n");
    }

    /// Adds one sample; an unknown value is left out rather than given a number.
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

fn flag(is: bool) -> Option<f64> {
    Some(f64::from(u8::from(is)))
}

/// Each figure with what it says.
pub(super) fn families() -> Vec<(String, String)> {
    let named =
        |l: &str| l.strip_prefix("# HELP ")?.split_once(' ').map(|(n, h)| (n.to_owned(), h.to_owned()));
    text(&Status::default()).lines().filter_map(named).collect()
}

/// The figures of a status.
pub(super) fn text(status: &Status) -> String {
    let mut t = Text(String::new());
    t.family("build", "info", "The program.");
    t.sample("build_info", &[("version", env!("CARGO_PKG_VERSION"))], Some(1.0));
    feeds(&mut t, &status.feeds);

    t.family("alerts", "gauge", "Alerts that are not over, exercises left out.");
    for priority in Priority::ALL.into_iter().rev().filter(|p| *p > Priority::Notice) {
        for unheeded in [true, false] {
            let of = |a: &&AlertNow| a.priority == priority && a.unheeded() == unheeded && !a.exercise;
            let count = status.alerts.iter().filter(of).count();
            let heeded = if unheeded { "no" } else { "yes" };
            let labels = [("priority", priority.to_string()), ("acknowledged", heeded.to_owned())];
            let labels: Vec<(&str, &str)> = labels.iter().map(|(k, v)| (*k, v.as_str())).collect();
            t.sample("alerts", &labels, Some(count as f64));
        }
    }
    t.family("casualties", "gauge", "Casualties that are not stood down.");
    t.sample("casualties", &[], Some(status.casualties.len() as f64));
    t.family("targets", "gauge", "Targets that are held.");
    t.sample("targets", &[], Some(status.targets_held as f64));

    let own = &status.own;
    t.family("value_age_seconds", "gauge", "Age of a value of own vessel.");
    t.0 += "# UNIT middlewatch_value_age_seconds seconds\n";
    for (value, age_s) in
        [("position", own.position_age_s), ("heading", own.heading_age_s), ("depth", own.depth_age_s)]
    {
        t.sample("value_age_seconds", &[("value", value)], age_s);
    }
    t.family("utc_known", "gauge", "Whether UTC is known, by a satellite or by the computer.");
    for (by, source) in [("satellite", UtcSource::Satellite), ("system", UtcSource::System)] {
        t.sample("utc_known", &[("by", by)], flag(status.utc_from == Some(source)));
    }
    t.family("signal_failing", "gauge", "Whether a signal, a button or the heartbeat line fails.");
    for s in &status.signals {
        t.sample("signal_failing", &[("signal", &s.name)], flag(s.failing));
    }
    logbook(&mut t, &status.logbook);
    t.0 += "# EOF\n";
    t.0
}

fn feeds(t: &mut Text, feeds: &[FeedNow]) {
    t.family("feed_up", "gauge", "Whether a feed is open.");
    for f in feeds {
        t.sample("feed_up", &[("feed", &f.name)], flag(f.state.as_deref() == Some("up")));
    }
    t.family("feed_silent_seconds", "gauge", "Since a feed last brought a sentence.");
    t.0 += "# UNIT middlewatch_feed_silent_seconds seconds\n";
    for f in feeds {
        t.sample("feed_silent_seconds", &[("feed", &f.name)], f.silent_s);
    }
    type Counted = fn(&FeedNow) -> u64;
    let counters: [(&str, Counted, &str); 3] = [
        ("feed_bytes", |f| f.bytes, "Bytes received."),
        ("feed_sentences", |f| f.sentences, "Sentences that were good."),
        ("feed_dropped", |f| f.dropped, "Sentences and datagrams dropped under flood."),
    ];
    for (name, counted, help) in counters {
        t.family(name, "counter", help);
        for f in feeds {
            t.sample(&format!("{name}_total"), &[("feed", &f.name)], Some(counted(f) as f64));
        }
    }
    t.family("feed_refused", "counter", "Lines refused, by reason.");
    for f in feeds {
        for (reason, n) in &f.refusals {
            t.sample("feed_refused_total", &[("feed", &f.name), ("reason", reason)], Some(*n as f64));
        }
    }
}

fn logbook(t: &mut Text, logbook: &LogbookNow) {
    t.family("logbook_failing", "gauge", "Whether the logbook cannot be written.");
    t.sample("logbook_failing", &[], flag(logbook.failing.is_some()));
    t.family("logbook_waiting", "gauge", "Rows and records that wait for the disk.");
    t.sample("logbook_waiting", &[], Some(logbook.waiting as f64));
    t.family("logbook_dropped", "counter", "Rows, records and deliveries given up.");
    t.sample("logbook_dropped_total", &[], Some(logbook.dropped as f64));
    t.family("deliveries_waiting", "gauge", "Events that have not reached their webhook yet.");
    t.sample("deliveries_waiting", &[], Some(logbook.deliveries_waiting as f64));
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    /// The format was checked with the OpenMetrics parser of prometheus_client 0.23.
    #[test]
    fn figures() {
        let mut status = serde_json::to_value(Status::default()).unwrap();
        let some = json!({
            "feeds": [{"name": "a\"b\\", "state": "up", "silent_s": null, "bytes": 12, "sentences": 1, "dropped": 0, "refused": 3,
                "refusals": {"no checksum": 3}}],
            "alerts": [{"id": 1, "order": "depth", "origin": "order", "priority": "alarm", "state": "active-silenced", "text": "",
                "about": "own vessel", "state_words": "silenced, not acknowledged", "spoken": "", "exercise": false, "began_s": 1.0}],
            "casualties": [], "targets_held": 2, "utc_from": null,
            "signals": [{"name": "signal horn", "failing": true}],
            "logbook": {"failing": null, "waiting": 0, "dropped": 0, "deliveries_waiting": 7},
        });
        for (key, value) in some.as_object().unwrap() {
            status[key] = value.clone();
        }
        status["own"]["position_age_s"] = json!(1.5);
        let t = text(&serde_json::from_value(status).unwrap());
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
