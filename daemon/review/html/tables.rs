//! Tables with heads: closest approaches, alerts, extremes, feeds, the deck log.

use super::axis::ShipTime;
use super::svg::{esc, short};
use super::symbols;
use crate::review::deck::Hour;
use crate::review::print::{bearing, who};
use crate::review::when::{When, spoken};
use crate::review::{Approach, Night, weather};
use std::fmt::Write;

/// Blind spans listed of each sense; the rest is counted.
const SPANS: usize = 8;
/// Approaches listed; the rest is counted.
const APPROACHES: usize = 100;

/// A table: its caption, its heads, its rows of cells that are markup already.
pub(super) fn table(caption: &str, heads: &[&str], rows: impl Iterator<Item = Vec<String>>) -> String {
    let mut out = format!("<table><caption>{}</caption><thead><tr>", esc(caption));
    for head in heads {
        // Writing to a string does not fail; so below.
        let _ = write!(out, "<th scope=\"col\">{}</th>", esc(head));
    }
    out.push_str("</tr></thead><tbody>\n");
    for row in rows {
        out.push_str("<tr>");
        for (n, cell) in row.into_iter().enumerate() {
            let _ = if n == 0 {
                write!(out, "<th scope=\"row\">{cell}</th>")
            } else {
                write!(out, "<td>{cell}</td>")
            };
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table>\n");
    out
}

/// UTC, and small behind it the ship's time; where UTC is not known neither is that.
pub(super) fn time(at: &When, ship: ShipTime, with_date: bool) -> String {
    let utc = if with_date { at.day_hm() } else { at.hms() };
    if at.utc.is_none() {
        return format!("<span class=\"t\">{}</span>", esc(&utc));
    }
    format!("<span class=\"t\">{} <small>{}</small></span>", esc(&utc), esc(&ship.of(at).hm()))
}

fn maybe_time(at: Option<When>, ship: ShipTime, with_date: bool) -> String {
    at.map_or_else(|| "–".to_owned(), |t| time(&t, ship, with_date))
}

fn maybe(v: Option<f64>, decimals: usize) -> String {
    v.map_or_else(|| "–".to_owned(), |v| format!("{v:.decimals$}"))
}

/// The closest of each ship, nearest first.
pub(super) fn approaches(night: &Night, ship: ShipTime, dated: bool) -> String {
    if night.approaches.is_empty() {
        return "<p>No ship was heard.</p>\n".to_owned();
    }
    let called = |a: &Approach| night.alerts.iter().find(|c| Some(c.id) == a.alert);
    let before = |at: Option<When>, a: &Approach| {
        at.and_then(|t| a.at.seconds_from(&t)).map(|s| format!("{} before", spoken(s.max(0.0))))
    };
    let rows = night.approaches.iter().take(APPROACHES).map(|a| {
        let kind = a.kind.as_deref().unwrap_or("");
        let course = a.cog_deg.map(|c| format!("{} ", bearing(c))).unwrap_or_default();
        let speed = a.sog_kn.map(|s| format!("{s:.1} kn")).unwrap_or_default();
        let foretold = a.foretold_cpa_nm.map_or_else(
            || "–".to_owned(),
            |nm| {
                let since = before(a.foretold_since, a)
                    .map_or(String::new(), |t| format!("<br><small>known {t}</small>"));
                format!("{nm:.2}{since}")
            },
        );
        let call = called(a).map_or_else(
            || "–".to_owned(),
            |c| {
                let when = before(c.raised, a).unwrap_or_else(|| "earlier".to_owned());
                let after = c.acknowledged_after_s().map_or_else(
                    || "never acknowledged".to_owned(),
                    |s| format!("acknowledged after {}", spoken(s)),
                );
                format!("{when}, <a href=\"#alert{0}\">alert {0}</a><br><small>{after}</small>", c.id)
            },
        );
        vec![
            format!("{}<br><small>{} {}</small>", esc(&who(a.name.as_deref(), a.mmsi)), a.mmsi, esc(kind)),
            time(&a.at, ship, dated),
            format!(
                "<span class=\"t\">{:.2} {}</span>",
                a.range_nm,
                a.bearing_deg.map_or(String::new(), |b| format!("in {}", bearing(b)))
            ),
            foretold,
            format!("{}<br><small>{course}{speed}</small>", esc(a.geometry.as_deref().unwrap_or("–"))),
            call,
        ]
    });
    let heads = ["ship", "closest", "CPA nm", "CPA foretold", "how she met us", "called"];
    let mut out = table("Closest approaches, nearest first", &heads, rows);
    if night.approaches.len() > APPROACHES {
        let _ = write!(out, "<p>{} more ships passed further off.</p>", night.approaches.len() - APPROACHES);
    }
    out
}

/// The figures of each watch.
pub(super) fn watches(night: &Night, ship: ShipTime, dated: bool) -> String {
    let rows = night.watches().into_iter().map(|w| {
        let soon = match (w.median_s, w.slowest_s) {
            (Some(half), Some(slowest)) => {
                format!("half within {}, the slowest after {}", spoken(half), spoken(slowest))
            }
            _ => "–".to_owned(),
        };
        let never = if w.never > 0 { format!(", {} never", w.never) } else { String::new() };
        let speed = w.mean_sog_kn.map_or(String::new(), |s| format!("<br><small>{s:.1} kn</small>"));
        vec![
            esc(w.who.as_deref().unwrap_or("nobody named")),
            format!("{}<br>{}", time(&w.from, ship, dated), time(&w.to, ship, dated)),
            format!("{:.1}{speed}", w.distance_nm),
            w.alerts.to_string(),
            format!("{soon}{never}"),
            maybe(w.nearest_nm, 2),
            maybe(w.wind_kn, 0),
            w.pressure_hpa.map_or_else(|| "–".to_owned(), |p| format!("{p:+.1}")),
        ]
    });
    let heads =
        ["watch", "from, to", "run nm", "alerts", "acknowledged", "nearest ship nm", "wind kn", "hPa"];
    table("The watches, with the alerts raised in each and how soon they were acknowledged", &heads, rows)
}

/// How long each sense was blind.
pub(super) fn blindness(night: &Night, ship: ShipTime, dated: bool) -> String {
    let blind = night.blindness();
    if blind.is_empty() {
        return "<p>No sense was blind.</p>\n".to_owned();
    }
    let rows = blind.into_iter().map(|b| {
        let span = |(from, to): &(When, Option<When>)| {
            let to = to.map_or_else(|| "the end".to_owned(), |t| time(&t, ship, dated));
            format!("{} to {to}", time(from, ship, dated))
        };
        let mut spans: Vec<String> = b.spans.iter().take(SPANS).map(span).collect();
        if b.spans.len() > SPANS {
            spans.push(format!("and {} more", b.spans.len() - SPANS));
        }
        vec![esc(&b.sense), spoken(b.total_s), spans.join("<br>")]
    });
    table("How long each sense was blind, from its alert on", &["sense", "together", "from and to"], rows)
}

/// Every alert and notice.
pub(super) fn alerts(night: &Night, ship: ShipTime, dated: bool) -> String {
    if night.alerts.is_empty() {
        return "<p>No alert and no notice.</p>\n".to_owned();
    }
    let rows = night.alerts.iter().map(|a| {
        let exercise = if a.exercise { " <small>exercise</small>" } else { "" };
        vec![
            format!("{} <span id=\"alert{}\">{}</span>", symbols::badge(a.priority), a.id, a.id),
            format!("{}{exercise}", esc(&a.order)),
            maybe_time(a.raised, ship, dated),
            match (a.needs_acknowledgement(), a.acknowledged) {
                (false, _) => "–".to_owned(),
                (true, None) => "<strong>never</strong>".to_owned(),
                (true, Some(t)) => {
                    let after = a
                        .acknowledged_after_s()
                        .map_or(String::new(), |s| format!(" <small>after {}</small>", spoken(s)));
                    format!(
                        "<span class=\"t\">{}</span>{after}",
                        esc(&if dated { t.day_hm() } else { t.hms() })
                    )
                }
            },
            match (a.over, a.rectified) {
                (None, Some(t)) => format!("{} <small>rectified</small>", time(&t, ship, dated)),
                (over, _) => maybe_time(over, ship, dated),
            },
            esc(a.text()),
        ]
    });
    table("Alerts and notices", &["", "order", "raised", "acknowledged", "over", "told"], rows)
}

/// Least, mean and greatest of each quantity.
pub(super) fn extremes(night: &Night, ship: ShipTime, dated: bool) -> String {
    let rows = night.instruments.iter().filter_map(|(quantity, minutes)| {
        let e = weather::extremes(*quantity, minutes)?;
        let unit = quantity.dimension().units().first().map_or("", |u| u.symbol);
        Some(vec![
            format!("{} <small>{unit}</small>", esc(quantity.name())),
            short(e.least.1),
            time(&e.least.0, ship, dated),
            short(e.mean),
            short(e.greatest.1),
            time(&e.greatest.0, ship, dated),
        ])
    });
    table("Extremes", &["quantity", "least", "at", "mean", "greatest", "at"], rows)
}

/// What each feed brought.
pub(super) fn feeds(night: &Night) -> String {
    if night.feeds.is_empty() {
        return "<p>No feed was counted.</p>\n".to_owned();
    }
    let rows = night.feeds.iter().map(|f| {
        vec![
            esc(&f.name),
            f.sentences.to_string(),
            f.refused.to_string(),
            f.dropped.to_string(),
            (f.bytes / 1000).to_string(),
        ]
    });
    table("Feeds", &["feed", "sentences", "refused", "dropped", "kB"], rows)
}

/// The deck log by the hour.
pub(super) fn deck_log(hours: &[Hour], ship: ShipTime, dated: bool) -> String {
    let rows = hours.iter().map(|h| {
        let wind = match (h.wind_from_deg, h.wind_kn) {
            (Some(from), Some(kn)) => format!("{} {kn:.0}", bearing(from)),
            (None, Some(kn)) => format!("{kn:.0}"),
            _ => "–".to_owned(),
        };
        vec![
            if dated {
                time(&h.at, ship, true)
            } else {
                format!("<span class=\"t\">{}</span> <small>{}</small>", h.at.hm(), ship.of(&h.at).hm())
            },
            h.position.map_or_else(|| "–".to_owned(), |p| esc(&p.to_string())),
            h.course_deg.map_or_else(|| "–".to_owned(), bearing),
            maybe(h.log_nm, 1),
            wind,
            maybe(h.pressure_hpa, 1),
            h.remarks.iter().map(|r| esc(r)).collect::<Vec<_>>().join("<br>"),
        ]
    });
    let heads = ["UTC (ship)", "position", "course", "log nm", "wind kn", "hPa", "remarks"];
    table("Deck log by the hour", &heads, rows)
}
