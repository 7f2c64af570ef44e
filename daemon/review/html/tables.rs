//! Tables with heads: closest approaches, watches, alerts, extremes, feeds, the deck log.

use super::svg::short;
use super::symbols;
use crate::review::deck::Hour;
use crate::review::print::{DASH, bearing, number, who};
use crate::review::when::{When, spoken};
use crate::review::{Approach, Night, weather};
use maud::{Markup, html};
use record::Call;
use terms::Quantity;
use terms::ShipTime;

/// Most blind spans listed for each sense; the others are counted.
const SPANS: usize = 8;
/// Most calls and messages listed; the others are counted.
const CALLS: usize = 200;
/// Most approaches listed; the others are counted.
const APPROACHES: usize = 100;

/// How the page shows its times.
#[derive(Debug, Clone, Copy)]
pub(super) struct Times {
    /// The ship's time.
    pub ship: ShipTime,
    /// UTC needs its day.
    pub dated: bool,
}

impl Times {
    /// UTC, and the ship's time small behind it where UTC is known.
    pub fn show(self, at: &When) -> Markup {
        let utc = if self.dated { at.day_hm() } else { at.hms() };
        html! {
            span.t { (utc) @if at.utc.is_some() { " " small { (at.by(self.ship).hm()) } } }
        }
    }

    fn maybe(self, at: Option<When>) -> Markup {
        at.map_or_else(|| html! { (DASH) }, |t| self.show(&t))
    }
}

/// A table with its caption, its heads and its rows.
pub(super) fn table(caption: &str, heads: &[&str], rows: Markup) -> Markup {
    html! {
        table {
            caption { (caption) }
            thead { tr { @for head in heads { th scope="col" { (head) } } } }
            tbody { (rows) }
        }
    }
}

/// The symbol of the unit that a quantity is kept in.
pub(super) fn unit(quantity: Quantity) -> &'static str {
    quantity.dimension().units().first().map_or("", |u| u.symbol)
}

/// The closest approach of each ship, nearest first.
pub(super) fn approaches(night: &Night, times: Times) -> Markup {
    if night.approaches.is_empty() {
        return html! { p { "No ship was heard." } };
    }
    let called = |a: &Approach| night.alerts.iter().find(|c| Some(c.id) == a.alert);
    let before = |at: Option<When>, a: &Approach| {
        at.and_then(|t| a.at.seconds_from(&t)).map(|s| format!("{} before", spoken(s.max(0.0))))
    };
    let rows = html! {
        @for a in night.approaches.iter().take(APPROACHES) {
            tr {
                th scope="row" {
                    (who(a.name.as_deref(), a.mmsi)) br;
                    small { (a.mmsi) " " (a.kind.as_deref().unwrap_or_default()) }
                }
                td { (times.show(&a.at)) }
                td {
                    @if a.fell_silent { "last heard " }
                    span.t { (format!("{:.2}", a.range_nm)) @if let Some(b) = a.bearing_deg { ", bearing " (bearing(b)) } }
                }
                td {
                    (number(a.foretold_cpa_nm, 2))
                    @if let (Some(_), Some(since)) = (a.foretold_cpa_nm, before(a.foretold_since, a)) {
                        br; small { "known " (since) }
                    }
                }
                td {
                    (a.geometry.as_deref().unwrap_or(DASH)) br;
                    small {
                        @if let Some(c) = a.cog_deg { (bearing(c)) " " }
                        @if let Some(s) = a.sog_kn { (format!("{s:.1} kn")) }
                    }
                }
                td {
                    @if let Some(c) = called(a) {
                        (before(c.raised, a).as_deref().unwrap_or("earlier")) ", "
                        a href={ "#alert" (c.id) } { "alert " (c.id) } br;
                        small {
                            @if let Some(s) = c.acknowledged_after_s() { "acknowledged after " (spoken(s)) }
                            @else { "never acknowledged" }
                        }
                    } @else { (DASH) }
                }
            }
        }
    };
    let heads = ["ship", "closest", "CPA nm", "predicted CPA", "how she met us", "alert"];
    html! {
        (table("Closest approaches, nearest first", &heads, rows))
        @if night.approaches.len() > APPROACHES {
            p { (night.approaches.len() - APPROACHES) " more ships passed farther off." }
        }
    }
}

/// The figures of each watch.
pub(super) fn watches(night: &Night, times: Times) -> Markup {
    let rows = html! {
        @for w in night.watches() {
            tr {
                th scope="row" { (w.who.as_deref().unwrap_or("nobody named")) }
                td { (times.show(&w.from)) br; (times.show(&w.to)) }
                td {
                    (format!("{:.1}", w.distance_nm))
                    @if let Some(s) = w.mean_sog_kn { br; small { (format!("{s:.1} kn")) } }
                }
                td { (w.alerts) }
                td {
                    @if let (Some(half), Some(slowest)) = (w.median_s, w.slowest_s) {
                        "half within " (spoken(half)) ", the slowest after " (spoken(slowest))
                    } @else { (DASH) }
                    @if w.never > 0 { ", " (w.never) " never" }
                }
                td { (number(w.nearest_nm, 2)) }
                td { (number(w.wind_kn, 0)) }
                td { (w.pressure_hpa.map_or_else(|| DASH.to_owned(), |p| format!("{p:+.1}"))) }
            }
        }
    };
    let heads =
        ["watch", "from, to", "run nm", "alerts", "acknowledged", "nearest ship nm", "wind kn", "hPa"];
    table("The watches, with the alerts raised in each and how soon they were acknowledged", &heads, rows)
}

/// How long each sense was blind.
pub(super) fn blindness(night: &Night, times: Times) -> Markup {
    let blind = night.blindness();
    if blind.is_empty() {
        return html! { p { "No sense was blind." } };
    }
    let rows = html! {
        @for b in &blind {
            tr {
                th scope="row" { (b.sense) }
                td { (spoken(b.total_s)) }
                td {
                    @for (n, (from, to)) in b.spans.iter().take(SPANS).enumerate() {
                        @if n > 0 { br; }
                        (times.show(from)) " to "
                        @if let Some(to) = to { (times.show(to)) } @else { "the end" }
                    }
                    @if b.spans.len() > SPANS { br; "and " (b.spans.len() - SPANS) " more" }
                }
            }
        }
    };
    table("How long each sense was blind, from its alert on", &["sense", "total", "from and to"], rows)
}

/// When the lookout itself did not run.
pub(super) fn gaps(night: &Night, times: Times) -> Markup {
    if night.blind.is_empty() {
        return html! { p { "The lookout ran without a gap." } };
    }
    let times = Times { dated: true, ..times };
    let rows = html! {
        @for b in &night.blind {
            tr {
                th scope="row" { (times.show(&b.from)) }
                td { (times.show(&b.to)) }
                td { (b.to.seconds_from(&b.from).map_or_else(|| "unknown".to_owned(), spoken)) }
                td { (b.why) }
            }
        }
    };
    table("Gaps in the lookout", &["from", "to", "for", "why"], rows)
}

/// Every alert and notice.
pub(super) fn alerts(night: &Night, times: Times) -> Markup {
    if night.alerts.is_empty() {
        return html! { p { "No alerts, no notices." } };
    }
    let rows = html! {
        @for a in &night.alerts {
            tr {
                th scope="row" { (symbols::badge(a.priority)) " " span id={ "alert" (a.id) } { (a.id) } }
                td { (a.order) @if a.exercise { " " small { "exercise" } } }
                td { (times.maybe(a.raised)) }
                td {
                    @if !a.needs_acknowledgement() { (DASH) }
                    @else if let Some(t) = a.acknowledged {
                        span.t { (if times.dated { t.day_hm() } else { t.hms() }) }
                        @if let Some(s) = a.acknowledged_after_s() { " " small { "after " (spoken(s)) } }
                    } @else { strong { "never" } }
                }
                td {
                    (times.maybe(a.over.or(a.rectified)))
                    @if a.over.is_none() && a.rectified.is_some() { " " small { "rectified" } }
                }
                td { (a.text()) }
            }
        }
    };
    table("Alerts and notices", &["", "order", "raised", "acknowledged", "over", "text"], rows)
}

/// Calls and messages received by radio.
pub(super) fn calls(calls: &[(When, &Call)], times: Times) -> Markup {
    let rows = html! {
        @for (at, c) in calls.iter().take(CALLS) {
            tr {
                th scope="row" { (times.show(at)) }
                td { (c.kind.by()) }
                td { (c.words()) }
            }
        }
    };
    html! {
        (table("Calls and messages", &["received", "by", "what"], rows))
        @if calls.len() > CALLS { p { (calls.len() - CALLS) " more are in the logbook." } }
    }
}

/// Least, mean and greatest of each quantity.
pub(super) fn extremes(night: &Night, times: Times) -> Markup {
    let rows = html! {
        @for e in night.instruments.iter().filter_map(|(q, minutes)| weather::extremes(*q, minutes)) {
            tr {
                th scope="row" { (e.quantity.name()) " " small { (unit(e.quantity)) } }
                td { (short(e.least.1)) }
                td { (times.show(&e.least.0)) }
                td { (short(e.mean)) }
                td { (short(e.greatest.1)) }
                td { (times.show(&e.greatest.0)) }
            }
        }
    };
    table("Extremes", &["quantity", "least", "at", "mean", "greatest", "at"], rows)
}

/// What each feed brought.
pub(super) fn feeds(night: &Night) -> Markup {
    if night.feeds.is_empty() {
        return html! { p { "No feed has figures." } };
    }
    let rows = html! {
        @for f in &night.feeds {
            tr {
                th scope="row" { (f.name) }
                @for n in [f.sentences, f.refused, f.dropped, f.bytes / 1000] { td { (n) } }
            }
        }
    };
    table("Feeds", &["feed", "sentences", "refused", "dropped", "kB"], rows)
}

/// The deck log by the hour.
pub(super) fn deck_log(hours: &[Hour], times: Times) -> Markup {
    let rows = html! {
        @for h in hours {
            tr {
                th scope="row" {
                    @if times.dated { (times.show(&h.at)) }
                    @else { span.t { (h.at.hm()) } " " small { (h.at.by(times.ship).hm()) } }
                }
                td { (h.place().unwrap_or_else(|| DASH.to_owned())) }
                td { (h.course_deg.map_or_else(|| DASH.to_owned(), bearing)) }
                td { (number(h.log_nm, 1)) }
                td {
                    @if let (Some(from), Some(_)) = (h.wind_from_deg, h.wind_kn) { (bearing(from)) " " }
                    (number(h.wind_kn, 0))
                }
                td { (number(h.pressure_hpa, 1)) }
                td { @for (n, r) in h.remarks.iter().enumerate() { @if n > 0 { br; } (r) } }
            }
        }
    };
    let heads = ["UTC (ship)", "position", "course", "log nm", "wind kn", "hPa", "remarks"];
    table("Deck log by the hour", &heads, rows)
}
