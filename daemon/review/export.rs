//! The night for other programs: GPX 1.1, GeoJSON (RFC 7946), CSV (RFC 4180); and the deck log as text.

use super::night::Night;
use super::passage::GAP_S;
use super::print::{DASH, bearing, number};
use super::when::When;
use lookout::search::gpx_place;
use maud::{PreEscaped, html};
use serde_json::{Value, json};
use std::fmt::Write;
use terms::{Position, Quantity, ShipTime, legible};

const GPX_HEAD: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n";

/// A line through longitudes and latitudes, cut where it crosses the antimeridian (RFC 7946 section 3.1.9).
fn line(places: impl Iterator<Item = [f64; 2]>) -> Value {
    let mut pieces: Vec<Vec<[f64; 2]>> = vec![Vec::new()];
    for place in places {
        let last = pieces.last().and_then(|piece| piece.last()).copied();
        if let Some(from) = last.filter(|from| (place[0] - from[0]).abs() > 180.0) {
            let edge = 180.0_f64.copysign(from[0]);
            let whole = place[0] + 2.0 * edge - from[0];
            let part = if whole == 0.0 { 0.0 } else { (edge - from[0]) / whole };
            let latitude = rounded(from[1] + (place[1] - from[1]) * part);
            if let Some(piece) = pieces.last_mut() {
                piece.push([edge, latitude]);
            }
            pieces.push(vec![[-edge, latitude]]);
        }
        if let Some(piece) = pieces.last_mut() {
            piece.push(place);
        }
    }
    match &pieces[..] {
        [one] => json!({"type": "LineString", "coordinates": one}),
        many => json!({"type": "MultiLineString", "coordinates": many}),
    }
}

impl Night {
    /// GPX 1.1: own track in pieces without a gap, a waypoint for each casualty, alert and closest approach.
    pub fn gpx(&self) -> String {
        let time = |at: &When| html! { @if let Some(t) = at.utc { time { (t) } } };
        legible(html! {
            (PreEscaped(GPX_HEAD))
            gpx version="1.1" creator="middlewatch" xmlns="http://www.topografix.com/GPX/1/1"
                xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
                xsi:schemaLocation="http://www.topografix.com/GPX/1/1 http://www.topografix.com/GPX/1/1/gpx.xsd" {
                "\n"
                @for (at, p, label, text, sort) in self.marks() {
                    @let (lat, lon) = gpx_place(p);
                    wpt lat=(lat) lon=(lon) {
                        (time(&at)) name { (label) } desc { (text) } type { (sort) }
                    }
                    "\n"
                }
                trk {
                    name { (self.span_text()) }
                    @for piece in self.pieces() {
                        trkseg {
                            "\n"
                            @for (at, p) in &piece {
                                @let (lat, lon) = gpx_place(*p);
                                trkpt lat=(lat) lon=(lon) { (time(at)) } "\n"
                            }
                        }
                    }
                }
                "\n"
            }
            "\n"
        })
    }

    /// GeoJSON: own track as lines, everything else as points; longitude first.
    pub fn geojson(&self) -> String {
        let at = |p: &Position| [rounded(p.longitude_deg()), rounded(p.latitude_deg())];
        let mut features: Vec<Value> = self
            .pieces()
            .iter()
            .filter(|piece| piece.len() > 1)
            .map(|piece| {
                let utc = |end: Option<&(When, Position)>| end.and_then(|(t, _)| t.utc);
                json!({
                    "type": "Feature",
                    "geometry": line(piece.iter().map(|(_, p)| at(p))),
                    "properties": {"sort": "own track", "from": utc(piece.first()), "to": utc(piece.last())},
                })
            })
            .collect();
        features.extend(self.marks().iter().map(|(when, p, name, text, sort)| {
            json!({
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": at(p)},
                "properties": {"sort": sort, "name": name, "text": text, "utc": when.utc},
            })
        }));
        format!("{}\n", json!({"type": "FeatureCollection", "features": features}))
    }

    /// CSV: a line for each row of own vessel, with the instruments of that minute; unknown values are empty.
    pub fn csv(&self) -> String {
        let quantities: Vec<Quantity> = self.instruments.keys().copied().collect();
        let mut out = String::from("utc,latitude_deg,longitude_deg,cog_deg,sog_kn,heading_deg");
        for q in &quantities {
            let unit = q.dimension().units().first().map_or("", |u| u.symbol);
            let _ = write!(out, ",\"{} mean {unit}\"", q.name());
        }
        out.push_str("\r\n");
        let number =
            |v: Option<f64>, decimals: usize| v.map(|v| format!("{v:.decimals$}")).unwrap_or_default();
        let mut next = vec![0; quantities.len()];
        for o in &self.own {
            let _ = write!(
                out,
                "{},{},{},{},{},{}",
                o.at.utc.map_or(String::new(), |t| t.to_string()),
                number(o.position.map(Position::latitude_deg), 6),
                number(o.position.map(Position::longitude_deg), 6),
                number(o.cog_deg.map(f64::from), 1),
                number(o.sog_kn.map(f64::from), 2),
                number(o.heading_deg.map(f64::from), 1)
            );
            for (q, n) in quantities.iter().zip(&mut next) {
                let minutes = self.instruments.get(q).map_or(&[][..], Vec::as_slice);
                while minutes.get(*n + 1).is_some_and(|m| m.at <= o.at) {
                    *n += 1;
                }
                let here =
                    minutes.get(*n).filter(|m| o.at.seconds_from(&m.at).is_some_and(|s| s.abs() < 60.0));
                let _ = write!(out, ",{}", number(here.and_then(|m| m.mean), 2));
            }
            out.push_str("\r\n");
        }
        out
    }

    /// The deck log as plain text in columns.
    pub fn deck_log_text(&self, ship: ShipTime) -> String {
        let mut out = format!("{}\nship's time {ship}\n\n", self.span_text());
        let heads = ["UTC", "ship", "position", "course", "log nm", "wind kn", "hPa", "remarks"];
        let mut row = |cells: [&str; 8]| {
            let [utc, own, position, course, log, wind, pressure, remarks] = cells;
            let line = format!(
                "{utc:<13} {own:<5} {position:<27} {course:>6} {log:>7} {wind:>9} {pressure:>7}  {remarks}"
            );
            let _ = writeln!(out, "{}", line.trim_end());
        };
        row(heads);
        for h in self.deck_log() {
            let direction = |v: Option<f64>| v.map_or_else(|| DASH.to_owned(), bearing);
            let mut remarks = h.remarks.iter();
            row([
                &h.at.day_hm(),
                &h.at.by(ship).hm(),
                &h.place().unwrap_or_else(|| DASH.to_owned()),
                &direction(h.course_deg),
                &number(h.log_nm, 1),
                &format!("{} {}", direction(h.wind_from_deg), number(h.wind_kn, 0)),
                &number(h.pressure_hpa, 1),
                remarks.next().map_or("", String::as_str),
            ]);
            remarks.for_each(|r| row(["", "", "", "", "", "", "", r]));
        }
        out
    }

    /// Own positions in pieces without a gap.
    fn pieces(&self) -> Vec<Vec<(When, Position)>> {
        let mut pieces: Vec<Vec<(When, Position)>> = Vec::new();
        for o in &self.own {
            let Some(p) = o.position else { continue };
            let last = pieces.last_mut().filter(|piece| {
                piece
                    .last()
                    .is_some_and(|(at, _)| o.at.seconds_from(at).is_some_and(|s| (0.0..=GAP_S).contains(&s)))
            });
            match last {
                Some(piece) => piece.push((o.at, p)),
                None => pieces.push(vec![(o.at, p)]),
            }
        }
        pieces
    }

    /// Everything that has a place: casualties, alerts, closest approaches; with name, text and sort.
    fn marks(&self) -> Vec<(When, Position, String, String, &'static str)> {
        let mut marks = Vec::new();
        for c in &self.casualties {
            if let Some((at, p, how)) = &c.first_position {
                marks.push((*at, *p, format!("MOB {}", c.who), format!("first position, {how}"), "casualty"));
            }
            if let Some((at, p, _)) = c.track.last() {
                marks.push((*at, *p, format!("MOB {} last", c.who), "last position".to_owned(), "casualty"));
            }
        }
        // A position told by radio is a mark; those of distress are their casualties'.
        for (at, call) in self.calls() {
            if let Some(p) = call.position() {
                marks.push((at, p, format!("call {}", call.number.0), call.words(), "call"));
            }
        }
        for a in &self.alerts {
            if let Some((t, p)) = a.history.first().and_then(|t| Some((t, t.own?))) {
                marks.push((
                    t.at,
                    p,
                    format!("{} {}", a.order, a.id),
                    format!("{}: {}", a.priority, t.text),
                    "alert",
                ));
            }
        }
        for a in self.approaches.iter().filter(|a| !a.track.is_empty()) {
            if let Some(p) = a.position {
                let name = super::print::who(a.name.as_deref(), a.mmsi);
                marks.push((a.at, p, name, format!("closest, {:.2} nm off", a.range_nm), "ship"));
            }
        }
        marks
    }
}

/// Seven decimals are a centimetre.
fn rounded(deg: f64) -> f64 {
    (deg * 1e7).round() / 1e7
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The line from 45°N 170°E to 45°N 170°W is RFC 7946's own example (section 3.1.9).
    #[test]
    fn a_track_across_the_antimeridian_is_cut_there() {
        let cut = line([[170.0, 45.0], [-170.0, 45.0]].into_iter());
        assert_eq!(
            cut,
            json!({"type": "MultiLineString", "coordinates": [
                [[170.0, 45.0], [180.0, 45.0]], [[-180.0, 45.0], [-170.0, 45.0]]
            ]})
        );
        let back = line([[-179.5, 10.0], [179.5, 11.0], [179.0, 11.0]].into_iter());
        assert_eq!(
            back,
            json!({"type": "MultiLineString", "coordinates": [
                [[-179.5, 10.0], [-180.0, 10.5]], [[180.0, 10.5], [179.5, 11.0], [179.0, 11.0]]
            ]})
        );
        let whole = line([[1.0, 2.0], [3.0, 4.0]].into_iter());
        assert_eq!(whole["type"], "LineString");
    }
}
