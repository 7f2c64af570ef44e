//! The watch in `boat.toml`: who keeps it when, ship's time, and the watch alarm.

use super::read::{Reader, parse_duration};
use rules::{DailyWatch, Declared, Doing, Roster, WatchAlarm, WatchAlarmSettings};
use serde::Deserialize;
use std::ops::Range;
use terms::nearest;
use toml::Spanned;

/// Ship's time is at most so far from UTC (UTC+14 is the furthest zone, from the tz database).
const ZONE_MOST_H: f64 = 14.0;

/// What the configuration says of the watch.
#[derive(Debug, Clone, Default)]
pub struct WatchSetting {
    /// Who is on watch when.
    pub roster: Roster,
    /// Ship's time less UTC, in seconds.
    pub ship_time_s: i64,
    /// The watch alarm's timer, where there is one.
    pub watch_alarm: Option<WatchAlarm>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawWatch {
    skipper: Option<String>,
    ship_time_h: Option<Spanned<f64>>,
    #[serde(default)]
    roster: Vec<Spanned<DailyWatch>>,
    alarm: Option<Spanned<RawAlarm>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawAlarm {
    dormant_period: Spanned<String>,
    reset_from: Vec<String>,
    #[serde(default)]
    during: Vec<Spanned<String>>,
    #[serde(default)]
    hours: Vec<Spanned<[String; 2]>>,
}

impl Reader {
    pub(super) fn watch(&mut self, raw: RawWatch) -> WatchSetting {
        let ship_time_s = raw.ship_time_h.map_or(0, |h| {
            if h.get_ref().abs() > ZONE_MOST_H || h.get_ref().is_nan() {
                self.problem(h.span(), "ship's time is at most 14 hours from UTC, east positive");
                return 0;
            }
            (h.get_ref() * 3600.0).round() as i64
        });
        let span =
            raw.roster.first().zip(raw.roster.last()).map_or(0..0, |(a, b)| a.span().start..b.span().end);
        let watches: Vec<DailyWatch> = raw.roster.into_iter().map(Spanned::into_inner).collect();
        let roster = Roster::daily(raw.skipper, &watches).unwrap_or_else(|e| {
            self.problem(span, e.to_string());
            Roster::default()
        });
        let watch_alarm = raw.alarm.and_then(|k| self.keeper(k.span(), k.into_inner()));
        WatchSetting { roster, ship_time_s, watch_alarm }
    }

    fn keeper(&mut self, span: Range<usize>, raw: RawAlarm) -> Option<WatchAlarm> {
        let Some(dormant) = parse_duration(raw.dormant_period.get_ref()) else {
            self.problem(raw.dormant_period.span(), "a time is a number and s, min or h: \"12 min\"");
            return None;
        };
        let during = raw.during.iter().filter_map(|d| self.doing(d)).collect();
        let hours = raw.hours.iter().filter_map(|h| {
            let [from, to] = h.get_ref();
            let both = rules::seconds_of_day(from).zip(rules::seconds_of_day(to));
            if both.is_none() {
                self.problem(h.span(), "hours are a pair of times of the day: [\"20:00\", \"08:00\"]");
            }
            both
        });
        let settings =
            WatchAlarmSettings { dormant, positions: raw.reset_from, hours: hours.collect(), during };
        WatchAlarm::new(settings).map_err(|e| self.problem(span, e.to_string())).ok()
    }

    fn doing(&mut self, word: &Spanned<String>) -> Option<Doing> {
        if let Some(Declared::Doing(d)) = Declared::named(word.get_ref()) {
            return Some(d);
        }
        let known: Vec<&str> =
            Declared::ALL.iter().filter(|d| matches!(d, Declared::Doing(_))).map(|d| d.name()).collect();
        let hint = nearest(word.get_ref(), known.iter().copied());
        let hint =
            hint.map_or(format!("expected one of {}", known.join(", ")), |n| format!("did you mean `{n}`?"));
        self.problem(
            word.span(),
            format!("`{}` is nothing she can be declared to do; {hint}", word.get_ref()),
        );
        None
    }
}
