//! The night as one page that needs nothing else: no script, no network, no file beside it.

mod axis;
mod chart;
mod plots;
mod practice;
mod projection;
mod svg;
mod symbols;
mod tables;
mod timeline;

pub use axis::ShipTime;

use super::night::{Casualty, Night};
use super::print::range;
use super::{CAUTION, when};
use std::fmt::Write;
pub(crate) use svg::esc;

const STYLE: &str = include_str!("style.css");
const PATTERNS: &str = include_str!("patterns.svg");

impl Night {
    /// The zone kept at sea where the night ended; UTC where no position was known.
    pub fn ship_time(&self) -> ShipTime {
        self.passage.to.map_or(ShipTime { minutes: 0 }, |(_, p)| ShipTime::at_longitude(p.longitude_deg()))
    }

    /// The whole page. Names and texts are escaped.
    pub fn html(&self, ship: ShipTime) -> String {
        let axis = timeline::axis(self);
        let dated = axis.needs_date();
        let title = format!("Logbook, {}", self.span_text());
        let mut page = String::with_capacity(1 << 20);
        // Writing to a string does not fail; so below.
        let _ = write!(
            page,
            "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
             <meta name=\"viewport\" content=\"width=device-width\"><meta name=\"color-scheme\" content=\"light dark\">\
             <title>{}</title><style>{STYLE}</style></head>\n<body>{PATTERNS}\n",
            esc(&title)
        );
        self.head(&mut page, ship);
        section(
            &mut page,
            "night",
            "The night",
            &format!(
                "{}{}{}",
                timeline::draw(self, &axis, ship),
                TIMELINE_KEY,
                tables::watches(self, ship, dated)
            ),
        );
        let chart = chart::passage(self, &axis, ship);
        let chart = chart
            .map_or_else(|| "<p>No position was known.</p>".to_owned(), |c| format!("{c}{}", chart_key()));
        section(&mut page, "passage", "The passage", &chart);
        if !self.casualties.is_empty() {
            let told: String = self.casualties.iter().map(|c| self.casualty(c, ship)).collect();
            section(&mut page, "casualties", "Casualties", &told);
        }
        let drills = practice::draw(self, ship);
        if !drills.is_empty() {
            section(&mut page, "practice", "Practice", &drills);
        }
        section(&mut page, "ships", "Ships", &tables::approaches(self, ship, dated));
        section(&mut page, "alerts", "Alerts", &tables::alerts(self, ship, dated));
        let plots = plots::draw(self, &axis, ship);
        let extremes = if self.instruments.is_empty() {
            "<p>No instrument was heard.</p>".to_owned()
        } else {
            tables::extremes(self, ship, dated)
        };
        section(&mut page, "instruments", "Instruments", &format!("{plots}{extremes}"));
        section(
            &mut page,
            "feeds",
            "Feeds and gaps",
            &format!("{}{}{}", tables::feeds(self), tables::blindness(self, ship, dated), self.gaps(ship)),
        );
        let hours = self.deck_log();
        if !hours.is_empty() {
            section(&mut page, "deck", "Deck log", &tables::deck_log(&hours, ship, dated));
        }
        let _ = writeln!(
            page,
            "<footer><p>Times are UTC; ship's time ({}) stands small beside or in brackets. Ranges in nautical miles, directions true.</p></footer></body></html>",
            esc(&ship.name())
        );
        page
    }

    /// The title, the caution and the five answers.
    fn head(&self, page: &mut String, ship: ShipTime) {
        let _ = write!(
            page,
            "<label class=\"lamp\"><input type=\"checkbox\" id=\"red\"> red light</label><header><p class=\"kind\">Review of the logbook</p><h1>{}</h1><p class=\"kind\">{} to {} ship's time, {}</p></header>\n<main>\n<p class=\"caution\">{}</p>\n<div class=\"answers\">",
            esc(&self.span_text()),
            esc(&ship.of(&self.from).day_hm()),
            esc(&ship.of(&self.to).day_hm()),
            esc(&ship.name()),
            esc(CAUTION)
        );
        for s in self.sections() {
            let _ = write!(page, "<section><h2>{}</h2><ul>", s.title);
            for line in &s.lines {
                let _ = write!(page, "<li>{}</li>", esc(line));
            }
            page.push_str("</ul></section>");
        }
        page.push_str("</div>\n");
    }

    fn casualty(&self, c: &Casualty, ship: ShipTime) -> String {
        let exercise = if c.exercise { ", exercise" } else { "" };
        let mut out = format!("<article><h3>{}{exercise}</h3>", esc(&c.who));
        let mut facts: Vec<(&str, String)> = Vec::new();
        facts.push(("heard by", esc(&c.source)));
        facts.push((
            "raised",
            c.raised.map_or("before this span".to_owned(), |t| tables::time(&t, ship, self.is_dated())),
        ));
        if let Some((at, position, how)) = &c.first_position {
            facts.push((
                "first position",
                format!(
                    "{} {} <small>{}</small>",
                    tables::time(at, ship, self.is_dated()),
                    esc(&position.to_string()),
                    esc(how)
                ),
            ));
        }
        if let Some((at, nm)) = c.nearest {
            facts.push((
                "nearest again",
                format!("{} {}", tables::time(&at, ship, self.is_dated()), range(nm)),
            ));
        }
        let ended = c.stood_down.as_ref().map(|(at, why)| {
            let long = c
                .raised
                .and_then(|r| at.seconds_from(&r))
                .map_or(String::new(), |s| format!(", after {}", when::spoken(s)));
            format!("{} {}{long}", tables::time(at, ship, self.is_dated()), esc(why))
        });
        facts.push(("stood down", ended.unwrap_or_else(|| "<strong>not stood down</strong>".to_owned())));
        out.push_str("<dl>");
        for (name, value) in facts {
            let _ = write!(out, "<dt>{name}</dt><dd>{value}</dd>");
        }
        out.push_str("</dl>");
        match chart::of_casualty(self, c) {
            Some(chart) => out.push_str(&chart),
            None => out.push_str("<p>No position of it was ever known.</p>"),
        }
        out.push_str("</article>\n");
        out
    }

    fn gaps(&self, ship: ShipTime) -> String {
        if self.blind.is_empty() {
            return "<p>The lookout ran without a gap.</p>\n".to_owned();
        }
        let rows = self.blind.iter().map(|b| {
            let long = b.to.seconds_from(&b.from).map_or("unknown".to_owned(), when::spoken);
            vec![tables::time(&b.from, ship, true), tables::time(&b.to, ship, true), long, esc(b.why)]
        });
        tables::table("Times without a lookout here", &["from", "to", "for", "why"], rows)
    }
}

fn section(page: &mut String, id: &str, title: &str, body: &str) {
    let _ = write!(page, "<section id=\"{id}\"><h2>{title}</h2>\n{body}</section>\n");
}

const TIMELINE_KEY: &str = "<p class=\"key\"><svg class=\"k\" viewBox=\"0 0 96 12\" aria-hidden=\"true\"><g class=\"bar pa\"><rect class=\"full\" width=\"32\" height=\"11\"/><rect class=\"hatch\" x=\"32\" width=\"32\" height=\"11\"/><rect class=\"open\" x=\"64\" width=\"31\" height=\"11\"/></g></svg> full: sounding until acknowledged; hatched: acknowledged, its condition goes on; open: rectified, not yet over. Crossed columns: no lookout here. Letters: E emergency alarm, A alarm, W warning, C caution.</p>";

/// The chart's symbols with their names.
fn chart_key() -> String {
    let mut key = String::from("<ul class=\"key symbols\">");
    let mut add = |name: &str, draw: &dyn Fn(&mut svg::Svg)| {
        let mut s =
            svg::Svg::new(&format!("key-{}", name.split(' ').next().unwrap_or("x")), 24.0, 24.0, name, "");
        draw(&mut s);
        let _ = write!(key, "<li>{} {name}</li>", s.finish().trim_end());
    };
    add("own vessel at the end", &|s| symbols::own_ship(s, 12.0, 12.0, ""));
    add("ship at its closest", &|s| symbols::target(s, 12.0, 12.0, Some(30.0), false, ""));
    add("called by an alert", &|s| symbols::target(s, 12.0, 12.0, Some(30.0), true, ""));
    add("beacon of a casualty", &|s| symbols::beacon(s, 12.0, 12.0, ""));
    add("event: alert by its letter and number", &|s| symbols::event_mark(s, 12.0, 12.0, "pa", ""));
    key.push_str("<li>thick line: own track; dashed: no position between</li></ul>");
    key
}
