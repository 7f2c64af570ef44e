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

use super::CAUTION;
use super::night::{Casualty, Night};
use super::print::range;
use super::when::spoken;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use record::Entry;
use svg::{Svg, Xy};
use tables::Times;
use terms::{ShipTime, legible};

const STYLE: &str = include_str!("style.css");
const PATTERNS: &str = include_str!("patterns.svg");

impl Night {
    /// Ship's time as it was last set at sea; else the zone kept where the night ended, and UTC where no position was known.
    pub fn ship_time(&self) -> ShipTime {
        let set = self.remarks.iter().rev().find_map(|r| match r.entry {
            Some(Entry::ShipTime { ship_time_h }) => ShipTime::from_hours(ship_time_h),
            _ => None,
        });
        if let Some(set) = set {
            return set;
        }
        self.passage.to.map_or(ShipTime { minutes: 0 }, |(_, p)| ShipTime::at_longitude(p.longitude_deg()))
    }

    /// The whole page.
    pub fn html(&self, ship: ShipTime) -> String {
        let axis = timeline::axis(self);
        let times = Times { ship, dated: self.is_dated() };
        let hours = self.deck_log();
        let calls = self.calls();
        legible(html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width";
                    meta name="color-scheme" content="light dark";
                    title { "Logbook, " (self.span_text()) }
                    style { (PreEscaped(STYLE)) }
                }
                body {
                    (PreEscaped(PATTERNS))
                    label.lamp { input type="checkbox" id="red"; " red light" }
                    header {
                        p.kind { "Review of the logbook" }
                        h1 { (self.span_text()) }
                        p.kind {
                            (self.from.by(ship).day_hm()) " to " (self.to.by(ship).day_hm()) " ship's time, "
                            (ship)
                        }
                    }
                    main {
                        p.caution { (CAUTION) }
                        ul.lessons { @for lesson in self.lessons() { li { (lesson) } } }
                        div.answers {
                            @for s in self.sections() {
                                section { h2 { (s.title) } ul { @for line in &s.lines { li { (line) } } } }
                            }
                        }
                        section id="night" {
                            h2 { "The night" }
                            (timeline::draw(self, &axis, ship))
                            (timeline::key())
                            (tables::watches(self, times))
                        }
                        section id="passage" {
                            h2 { "The passage" }
                            @if let Some(chart) = chart::passage(self, &axis, ship) { (chart) (chart_key()) }
                            @else { p { "No position was known." } }
                        }
                        @if !self.casualties.is_empty() {
                            section id="casualties" {
                                h2 { "Casualties" }
                                @for c in &self.casualties { (self.casualty(c, times)) }
                            }
                        }
                        @if !self.drills.is_empty() {
                            section id="practice" { h2 { "Practice" } (practice::draw(self, ship)) }
                        }
                        @if !calls.is_empty() {
                            section id="received" { h2 { "Received" } (tables::calls(&calls, times)) }
                        }
                        section id="ships" { h2 { "Ships" } (tables::approaches(self, times)) }
                        section id="alerts" { h2 { "Alerts" } (tables::alerts(self, times)) }
                        section id="instruments" {
                            h2 { "Instruments" }
                            (plots::draw(self, &axis, ship))
                            @if self.instruments.is_empty() { p { "No instrument was heard." } }
                            @else { (tables::extremes(self, times)) }
                        }
                        section id="feeds" {
                            h2 { "Feeds and gaps" }
                            (tables::feeds(self))
                            (tables::blindness(self, times))
                            (tables::gaps(self, times))
                        }
                        @if !hours.is_empty() {
                            section id="deck" { h2 { "Deck log" } (tables::deck_log(&hours, times)) }
                        }
                        footer {
                            p {
                                "Times are UTC, with ship's time (" (ship) ") small beside them or in brackets. "
                                "Ranges in nautical miles, directions true."
                            }
                        }
                    }
                }
            }
        })
    }

    fn casualty(&self, c: &Casualty, times: Times) -> Markup {
        html! {
            article {
                h3 { (c.who) @if c.exercise { ", exercise" } }
                dl {
                    dt { "heard by" } dd { (c.source) }
                    dt { "raised" }
                    dd { @if let Some(t) = &c.raised { (times.show(t)) } @else { "before this span" } }
                    @if let Some((at, position, how)) = &c.first_position {
                        dt { "first position" } dd { (times.show(at)) " " (position) " " small { (how) } }
                    }
                    @if let Some((at, nm)) = &c.nearest {
                        dt { "nearest again" } dd { (times.show(at)) " " (range(*nm)) }
                    }
                    dt { "stood down" }
                    dd {
                        @if let Some((at, why)) = &c.stood_down {
                            (times.show(at)) " " (why)
                            @if let Some(s) = c.raised.and_then(|r| at.seconds_from(&r)) { ", after " (spoken(s)) }
                        } @else { strong { "not stood down" } }
                    }
                }
                @if let Some(chart) = chart::of_casualty(self, c) { (chart) }
                @else { p { "Its position was never known." } }
            }
        }
    }
}

/// The chart's symbols with their names.
fn chart_key() -> Markup {
    const MIDDLE: Xy = (12.0, 12.0);
    let symbol = |id: &str, name: &str, draw: fn(&mut Svg)| {
        let mut svg = Svg::default();
        draw(&mut svg);
        html! { li { (svg.finish(&format!("key-{id}"), (24.0, 24.0), name, "")) " " (name) } }
    };
    html! {
        ul.key.symbols {
            (symbol("own", "own vessel at the end", |s| symbols::own_ship(s, MIDDLE, "")))
            (symbol("ship", "ship at its closest", |s| symbols::target(s, MIDDLE, Some(30.0), false, "")))
            (symbol("called", "ship that raised an alert", |s| symbols::target(s, MIDDLE, Some(30.0), true, "")))
            (symbol("beacon", "beacon of a casualty", |s| symbols::beacon(s, MIDDLE, "")))
            (symbol("event", "event: alert by its letter and number", |s| symbols::event_mark(s, MIDDLE, "pa", "")))
            li { "thick line: own track; dashed: no position between" }
        }
    }
}
