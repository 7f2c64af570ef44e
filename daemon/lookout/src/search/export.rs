//! A plan as text, as GPX 1.1 and as waypoint and route sentences.

use super::plan::{Leg, Pattern, Plan, hm};
use sentence::encode;
use std::fmt::Write;
use std::time::Duration;
use terms::{Moment, Position, Utc, is_hidden};

/// Waypoints named in one route sentence: short enough for the 82 characters of IEC 61162-1.
const NAMES_A_SENTENCE: usize = 9;

/// UTC of a moment, from the UTC of another; `None` while UTC is unknown.
pub(crate) fn utc_at(at: Moment, now: Moment, utc: Option<Utc>) -> Option<Utc> {
    utc.map(|u| u.plus_ms(at.0.saturating_sub(now.0)))
}

/// Hours and minutes of UTC, or how long from now.
pub(crate) fn clock(at: Moment, now: Moment, utc: Option<Utc>) -> String {
    match utc_at(at, now, utc).and_then(Utc::civil) {
        Some(t) => t.format("%H:%M UTC").to_string(),
        None if at >= now => format!("{} from now", minutes(at.since(now))),
        None => format!("{} ago", minutes(now.since(at))),
    }
}

/// Minutes and seconds.
fn minutes(d: Duration) -> String {
    format!("{} min {:02} s", d.as_secs() / 60, d.as_secs() % 60)
}

impl Pattern {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::ExpandingSquare => "expanding square",
            Self::Sector => "sector search",
            Self::TrackLine => "along the datum line",
        }
    }
}

impl Plan {
    /// What it is, in a line.
    pub fn title(&self) -> String {
        let pass = if self.second_pass { ", second pass" } else { "" };
        let covers = match self.pattern {
            Pattern::TrackLine => "to either side",
            Pattern::ExpandingSquare | Pattern::Sector => "round the datum",
        };
        let (number, words) = (self.number, self.pattern.words());
        format!("Search {number}: {words}{pass}, {:.2} nm {covers}", self.radius_nm)
    }

    /// The plan to be read at the chart table: cautions first, then leg by leg. `utc` is that of `now`.
    pub fn text(&self, now: Moment, utc: Option<Utc>) -> String {
        let mut out = String::new();
        for caution in &self.cautions {
            line(&mut out, caution);
        }
        line(&mut out, &self.title());
        line(
            &mut out,
            &format!(
                "Spacing {:.2} nm, {:.1} kn through the water, laid in a drift of {:03.0} {:.1} kn.",
                self.spacing_nm, self.speed_kn, self.drift.set_deg, self.drift.drift_kn
            ),
        );
        if let Some((c, pod)) = self.coverage.zip(self.probability_of_detection) {
            line(&mut out, &format!("Coverage {c:.2}: finds what is there {:.0} times in 100.", 100.0 * pod));
        }
        if let Some(light) = &self.light {
            line(&mut out, &format!("Light: {}.", light.words(hm)));
        }
        let begins = self.legs.first().map_or(self.begin_by, |l| l.begins);
        line(
            &mut out,
            &format!(
                "First leg at {}, no later than {}; last leg ends at {}. A new fix or a shift of the wind makes it anew.",
                clock(begins, now, utc),
                clock(self.begin_by, now, utc),
                clock(self.holds_until, now, utc)
            ),
        );
        if self.pattern != Pattern::TrackLine {
            line(
                &mut out,
                "At the datum put a marker over the side that drifts as a person does and shows a light: the pattern is \
             steered from it.",
            );
        }
        if let Some(share) = self.containment {
            line(&mut out, &self.line_covered(share));
        }
        line(
            &mut out,
            &match self.pattern {
                Pattern::TrackLine => "Next search: the second pass, one spacing to either side.".to_owned(),
                Pattern::ExpandingSquare | Pattern::Sector => {
                    format!("Next search: {:.2} nm round the datum then.", self.next_radius_nm)
                }
            },
        );
        let legs = self.approach.iter().map(|l| ("to the datum".to_owned(), l));
        for (name, l) in legs
            .chain((1..).zip(&self.legs).map(|(n, l): (usize, _)| (format!("leg {n}{}", self.at_end(n)), l)))
        {
            line(&mut out, &leg_text(&name, l, now, utc));
        }
        out
    }

    /// What a search along the line is worth.
    fn line_covered(&self, share: f64) -> String {
        let within = format!(
            "The casualty lies within {:.2} nm of these legs {:.0} times in 100",
            0.5 * self.spacing_nm,
            100.0 * share
        );
        match self.probability_of_detection {
            Some(pod) => format!("{within}: this search finds it {:.0} times in 100.", 100.0 * share * pod),
            None => within + ".",
        }
    }

    /// Where a leg (from 1) ends, if that can be seen.
    pub(super) fn at_end(&self, leg: usize) -> &'static str {
        let back = self.pattern == Pattern::Sector && leg.is_multiple_of(3);
        if back { " to the marker" } else { "" }
    }

    /// Points of the route over ground with their names and the times to be there.
    fn points(&self) -> Vec<(String, Position, Moment, String)> {
        let mut points: Vec<_> = (0..)
            .zip(&self.legs)
            .map(|(n, l): (usize, &Leg)| (format!("S{n:02}"), l.from, l.begins, leg_steer(l)))
            .collect();
        if let Some(l) = self.legs.last() {
            points.push((format!("S{:02}", self.legs.len()), l.to, l.begins + l.time, "end".to_owned()));
        }
        points
    }

    /// The plan as a GPX 1.1 route (topografix.com/GPX/1/1).
    pub fn gpx(&self, now: Moment, utc: Option<Utc>) -> String {
        let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
        out.push_str(
            "<gpx version=\"1.1\" creator=\"middlewatch\" xmlns=\"http://www.topografix.com/GPX/1/1\">\n  <metadata>\n",
        );
        let holds = format!("Holds until {}. {}", clock(self.holds_until, now, utc), self.cautions.join(" "));
        line(&mut out, &format!("    <name>{}</name>", escaped(&self.title())));
        line(&mut out, &format!("    <desc>{}</desc>", escaped(&holds)));
        if let Some(t) = utc {
            line(&mut out, &format!("    <time>{t}</time>"));
        }
        out.push_str("  </metadata>\n  <rte>\n");
        line(&mut out, &format!("    <name>{}</name>", escaped(&self.title())));
        line(&mut out, &format!("    <desc>{}</desc>", escaped(&holds)));
        for (name, place, at, steer) in self.points() {
            let (latitude, longitude) = gpx_place(place);
            line(&mut out, &format!("    <rtept lat=\"{latitude}\" lon=\"{longitude}\">"));
            if let Some(t) = utc_at(at, now, utc) {
                line(&mut out, &format!("      <time>{t}</time>"));
            }
            line(&mut out, &format!("      <name>{}</name>", escaped(&name)));
            line(&mut out, &format!("      <desc>{}</desc>", escaped(&steer)));
            out.push_str("    </rtept>\n");
        }
        out.push_str("  </rte>\n</gpx>\n");
        out
    }

    /// The plan as WPL sentences and the RTE sentences that name them in order (IEC 61162-1).
    pub fn sentences(&self, talker: &str) -> Vec<String> {
        let points = self.points();
        let mut out: Vec<String> = points.iter().map(|(name, p, ..)| waypoint(talker, name, *p)).collect();
        let names: Vec<&str> = points.iter().map(|p| p.0.as_str()).collect();
        let parts = names.chunks(NAMES_A_SENTENCE);
        let total = parts.len().to_string();
        for (n, part) in (1..).zip(parts) {
            let number: u32 = n;
            let number = number.to_string();
            let mut fields = vec![total.as_str(), number.as_str(), "c", "SEARCH"];
            fields.extend(part);
            out.push(encode::sentence(talker, "RTE", &fields));
        }
        out
    }
}

/// Latitude and longitude as GPX has them: its longitudeType ends below 180, after rounding too.
pub fn gpx_place(p: Position) -> (String, String) {
    let longitude = format!("{:.6}", p.longitude_deg());
    let longitude = if longitude == "180.000000" { "-180.000000".to_owned() } else { longitude };
    (format!("{:.6}", p.latitude_deg()), longitude)
}

/// A WPL sentence.
fn waypoint(talker: &str, name: &str, p: Position) -> String {
    let part = |deg: f64, width: usize| {
        // Rounded as a whole, so that 59.9999′ carries into the degree.
        let ten_thousandths = (deg.abs() * 600_000.0).round() as u64;
        let (d, m) = (ten_thousandths / 600_000, ten_thousandths % 600_000);
        format!("{d:0width$}{:02}.{:04}", m / 10_000, m % 10_000)
    };
    let side = |deg: f64, plus: &'static str, minus: &'static str| if deg < 0.0 { minus } else { plus };
    let (latitude, longitude) = (part(p.latitude_deg(), 2), part(p.longitude_deg(), 3));
    let fields =
        [&latitude, side(p.latitude_deg(), "N", "S"), &longitude, side(p.longitude_deg(), "E", "W"), name];
    encode::sentence(talker, "WPL", &fields)
}

/// What to steer on a leg.
fn leg_steer(l: &Leg) -> String {
    let magnetic = l.heading_magnetic_deg.map_or(String::new(), |m| format!(" ({:03.0} magnetic)", whole(m)));
    format!(
        "steer {:03.0} true{magnetic} for {}, {:.2} nm through the water",
        whole(l.heading_deg),
        minutes(l.time),
        l.through_water_nm
    )
}

/// Degrees rounded within the circle.
fn whole(deg: f64) -> f64 {
    deg.round() % 360.0
}

/// One line of the plan.
fn leg_text(name: &str, l: &Leg, now: Moment, utc: Option<Utc>) -> String {
    let sail = if l.under_sail == Some(false) { "; not under sail" } else { "" };
    format!(
        "{name}, at {}: {}; over ground {:03.0} {:.2} nm to {}{sail}",
        clock(l.begins, now, utc),
        leg_steer(l),
        whole(l.track_deg),
        l.over_ground_nm,
        l.to
    )
}

/// Appends a line.
fn line(out: &mut String, text: &str) {
    // Writing to a string cannot fail.
    let _ = writeln!(out, "{text}");
}

/// Text escaped for XML, without hidden characters.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c if is_hidden(c) => {}
            c => out.push(c),
        }
    }
    out
}
