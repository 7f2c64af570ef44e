//! The night as one JSON object: what `review --json` prints.

use super::night::{Alert, Approach, Casualty, Night, Passage};
use super::weather;
use super::when::When;
use serde_json::{Value, json};
use terms::Position;

impl Night {
    /// Everything but the tracks and the minutes of the instruments, on one line. Times are UTC or null, numbers
    /// have their unit in the key, and what is not known is null.
    pub fn json(&self) -> String {
        let weather = self.instruments.iter().filter_map(|(quantity, minutes)| {
            let e = weather::extremes(*quantity, minutes)?;
            let unit = quantity.dimension().units().first().map(|u| u.symbol);
            Some(json!({
                "quantity": quantity.name(), "unit": unit, "least": e.least.1, "least_at": utc(e.least.0), "mean": e.mean,
                "greatest": e.greatest.1, "greatest_at": utc(e.greatest.0), "first": e.first, "last": e.last,
            }))
        });
        let night = json!({
            "version": 1,
            "logbook": self.logbook,
            "from": utc(self.from),
            "to": utc(self.to),
            "casualties": self.casualties.iter().map(casualty).collect::<Vec<_>>(),
            "alerts": self.alerts.iter().map(alert).collect::<Vec<_>>(),
            "approaches": self.approaches.iter().map(approach).collect::<Vec<_>>(),
            "boat": boat(&self.passage),
            "weather": weather.collect::<Vec<_>>(),
            "blind": self.blind.iter()
                .map(|b| json!({"from": utc(b.from), "to": utc(b.to), "why": b.why}))
                .collect::<Vec<_>>(),
            "blind_by_sense": self.blindness().iter()
                .map(|b| json!({"sense": b.sense, "total_s": b.total_s,
                    "spans": b.spans.iter().map(|(f, t)| json!({"from": utc(*f), "to": maybe(*t)})).collect::<Vec<_>>()}))
                .collect::<Vec<_>>(),
            "watches": self.watches().iter()
                .map(|w| json!({"who": w.who, "from": utc(w.from), "to": utc(w.to), "distance_nm": w.distance_nm,
                    "mean_sog_kn": w.mean_sog_kn, "alerts": w.alerts, "median_s": w.median_s, "slowest_s": w.slowest_s,
                    "never_acknowledged": w.never, "nearest_nm": w.nearest_nm, "greatest_wind_kn": w.wind_kn,
                    "pressure_change_hpa": w.pressure_hpa}))
                .collect::<Vec<_>>(),
            "feeds": self.feeds.iter()
                .map(|f| json!({"feed": f.name, "sentences": f.sentences, "refused": f.refused, "dropped": f.dropped,
                    "bytes": f.bytes}))
                .collect::<Vec<_>>(),
            "remarks": self.remarks.iter()
                .map(|r| json!({"at": utc(r.at), "kind": r.kind, "who": r.who, "text": r.text}))
                .collect::<Vec<_>>(),
            "drills": self.drills.iter()
                .map(|d| json!({"at": utc(d.at), "title": d.title, "who": d.who, "ended": d.ended,
                    "acknowledged_s": d.acknowledged_s, "spotter_told_s": d.spotter_told_s, "speed_off_s": d.speed_off_s,
                    "turned_s": d.turned_s, "alongside_s": d.alongside_s, "greatest_nm": d.greatest_nm,
                    "closest_nm": d.closest_nm, "sog_kn": d.sog_kn}))
                .collect::<Vec<_>>(),
            "undelivered": self.undelivered,
            "unreadable": self.unreadable,
        });
        format!("{night}\n")
    }
}

fn utc(at: When) -> Value {
    json!(at.utc)
}

fn maybe(at: Option<When>) -> Value {
    json!(at.and_then(|t| t.utc))
}

fn fix(fix: Option<(When, Position)>) -> Value {
    let Some((at, p)) = fix else { return Value::Null };
    json!({"at": utc(at), "latitude_deg": p.latitude_deg(), "longitude_deg": p.longitude_deg()})
}

fn casualty(c: &Casualty) -> Value {
    json!({
        "id": c.id, "who": c.who, "source": c.source, "exercise": c.exercise, "raised": maybe(c.raised),
        "first_position": fix(c.first_position.as_ref().map(|(at, p, _)| (*at, *p))),
        "first_position_is": c.first_position.as_ref().map(|(_, _, how)| how),
        "last_position": fix(c.track.last().map(|(at, p, _)| (*at, *p))),
        "nearest_at": maybe(c.nearest.map(|(at, _)| at)), "nearest_nm": c.nearest.map(|(_, nm)| nm),
        "stood_down": maybe(c.stood_down.as_ref().map(|(at, _)| *at)),
        "stood_down_reason": c.stood_down.as_ref().map(|(_, why)| why),
        "alerts": c.alerts,
    })
}

fn alert(a: &Alert) -> Value {
    json!({
        "id": a.id, "order": a.order, "priority": a.priority, "exercise": a.exercise, "text": a.text(),
        "mmsi": a.mmsi, "name": a.name, "casualty": a.casualty, "raised": maybe(a.raised),
        "acknowledged": maybe(a.acknowledged), "acknowledged_after_s": a.acknowledged_after_s(),
        "rectified": maybe(a.rectified), "over": maybe(a.over),
        "log_ids": a.told.iter().map(|t| t.log_id).collect::<Vec<_>>(),
    })
}

fn approach(a: &Approach) -> Value {
    json!({
        "mmsi": a.mmsi, "name": a.name, "kind": a.kind, "at": utc(a.at), "range_nm": a.range_nm,
        "bearing_deg": a.bearing_deg, "cog_deg": a.cog_deg, "sog_kn": a.sog_kn,
        "foretold_cpa_nm": a.foretold_cpa_nm, "foretold_since": maybe(a.foretold_since),
        "geometry": a.geometry, "alert": a.alert,
        "latitude_deg": a.position.map(Position::latitude_deg), "longitude_deg": a.position.map(Position::longitude_deg),
    })
}

fn boat(p: &Passage) -> Value {
    json!({
        "from": fix(p.from), "to": fix(p.to), "distance_nm": p.distance_nm, "through_water_nm": p.water_nm, "under_way_s": p.under_way_s,
        "mean_sog_kn": p.mean_sog_kn(), "greatest_sog_kn": p.greatest_sog.map(|(_, s)| s),
        "greatest_sog_at": maybe(p.greatest_sog.map(|(at, _)| at)),
    })
}
