//! The picture as `status` tells it.

use super::parts::{casualty_part, target_part};
use super::{Watch, look};
use lookout::TargetState;
use lookout::casualty::{spoken, who};
use record::words;
use rules::Declared;
use sentence::{Counts, Refusal};
use serde_json::{Map, Value, json};
use terms::Moment;

/// Targets in the answer.
const WORST: usize = 20;

impl Watch {
    /// What the watch knows of each feed; what the feed itself counts is added by who runs it.
    fn feeds_status(&self, at: Moment) -> Vec<Value> {
        let feed = |e: &super::Ear| {
            json!({
                "name": e.name,
                "silent_s": e.heard.map(|h| at.since(h).as_secs_f64()),
                "refused": e.refused.all_refused(),
            })
        };
        self.ears.iter().map(feed).collect()
    }

    /// Refusals of a feed by reason: those of its framer, given, and those of its decoder.
    pub fn refusals(&self, feed: usize, framed: &Counts) -> Value {
        let decoded = self.ears.get(feed).map(|e| &e.refused);
        let count = |why: Refusal| framed.refused(why) + decoded.map_or(0, |d| d.refused(why));
        let counted = Refusal::ALL.iter().map(|&why| (why, count(why))).filter(|(_, n)| *n > 0);
        Value::Object(counted.map(|(why, n)| (why.text().to_owned(), n.into())).collect())
    }

    /// The picture at a moment, with every alert in the words of that moment.
    pub fn status(&self, at: Moment) -> Value {
        let open = self.open_casualties(at);
        let view = self.view(at);
        let own = self.lookout.own(at);
        let mut own_part = to_map(&super::parts::own_part(&own));
        own_part.extend(
            [
                ("position", json!(own.position.map(|p| p.to_string()))),
                ("position_age_s", json!(own.position_age_s)),
                ("heading_age_s", json!(own.heading_age_s)),
                ("speed_through_water_kn", json!(own.speed_through_water_kn)),
                ("depth_m", json!(own.depth_below_surface_m.or(own.depth_below_transducer_m))),
                ("depth_age_s", json!(own.depth_age_s)),
                ("true_wind_kn", json!(own.true_wind_kn)),
                ("true_wind_direction_deg", json!(own.true_wind_direction_deg)),
                ("pressure_hpa", json!(own.pressure_hpa)),
                ("sun_up", json!(own.sun_up)),
                ("transmitted_age_s", json!(own.transmitted_age_s)),
            ]
            .map(|(k, v)| (k.to_owned(), v)),
        );
        let casualties: Vec<Value> = open
            .iter()
            .map(|c| {
                let mut part = to_map(&casualty_part(c));
                part.insert("words".into(), spoken(c).into());
                part.insert("who".into(), words::capital(&who(c)).into());
                let relative = c.relative_bearing_deg.zip(c.relative_to);
                part.insert(
                    "look".into(),
                    look::words(c.range_nm, c.bearing_deg, relative, c.closing_kn).into(),
                );
                part.insert("closing_kn".into(), c.closing_kn.into());
                Value::Object(part)
            })
            .collect();
        let mut alerts: Vec<_> = self.board.alerts().collect();
        alerts.sort_by_key(|a| (std::cmp::Reverse(a.priority), a.id));
        let alerts: Vec<Value> = alerts
            .iter()
            .map(|a| {
                json!({
                    "id": a.id, "order": a.order, "priority": a.priority, "state": a.state_told(),
                    "text": self.board.words(a, &view).written,
                    "exercise": a.exercise, "began_s": at.since(a.began).as_secs_f64(),
                })
            })
            .collect();
        let all = self.lookout.targets(at);
        let target = |state: &TargetState| {
            let t = &target_part(state);
            let mut part = to_map(t);
            part.insert("meeting".into(), state.meeting().into());
            part.insert("described".into(), state.described().into());
            let relative = t.relative_bearing_deg.zip(t.relative_to);
            part.insert("look".into(), look::words(t.range_nm, t.bearing_deg, relative, None).into());
            Value::Object(part)
        };
        let targets: Vec<Value> = all.iter().take(WORST).map(target).collect();
        let on_watch = self.board.on_watch();
        let utc = self.lookout.utc(at);
        let declared: Vec<&str> = self.board.declared().iter().map(Declared::name).collect();
        json!({
            "version": 1,
            "at": utc.map(|(t, _)| t),
            "utc_from": utc.map(|(_, s)| s),
            "steady_s": at.as_s(),
            "casualties": casualties,
            "alerts": alerts,
            "targets": targets,
            "targets_held": all.len(),
            "watch": {
                "who": on_watch.map(|(who, _)| who),
                "since_s": on_watch.map(|(_, since)| at.since(since).as_secs_f64()),
                "alarm": self.board.watch_alarm().map(|w| w.stage()),
            },
            "own": own_part,
            "feeds": self.feeds_status(at),
            "exercise": self.exercise_status(at),
            "declared": declared,
            "orders": self.orders_from,
        })
    }
}

/// The fields of a record; a struct of numbers and texts always has them.
fn to_map(of: &impl serde::Serialize) -> Map<String, Value> {
    match serde_json::to_value(of) {
        Ok(Value::Object(map)) => map,
        _ => Map::new(),
    }
}
