//! `[watch]`: who keeps the watch when, ship's time, and the watch alarm.

use crate::{Crew, each};
use form::{Key, Name, Nested, Table, Word, key};
use rules::{DailyWatch, Declared, Doing, Roster, Rotation, WatchAlarm, WatchAlarmSettings};
use std::time::Duration;
use terms::{Day, Hour, Hours};

const WATCH: Key<Nested> = key("watch", "who keeps the watch, and the watch alarm");
const SKIPPER: Key<Name> =
    key("skipper", "who is called when the one on watch does not answer").example("Ada").most(60);
/// Largest offset of ship's time from UTC (UTC+14 is the furthest zone, from the tz database).
const SHIP_TIME: Key<f64> =
    key("ship_time_h", "ship's time less UTC, east positive").or("0").within("-14", "14");
const ROSTER: Key<Nested> = key("roster", "a daily watch").most(48);
const WHO: Key<Name> = key("who", "who keeps it").needed().example("Ada").most(60);
const ROSTER_HOURS: Key<Hours> = key("hours", "when, in ship's time").needed().example("20:00 to 00:00");
const ROTATION: Key<Nested> = key("rotation", "rotating watches, instead of a roster");
const PEOPLE: Key<Name> = key("people", "who keeps them, in turn").needed().example("Ada").most(60);
const WATCHES: Key<Duration> =
    key("watches", "their lengths, in turn; with dog watches 4 h, 4 h, 4 h, 4 h, 4 h, 2 h, 2 h from 20:00")
        .needed()
        .example("4 h")
        .within("1 min", "24 h");
const FROM_DAY: Key<Day> = key("from_day", "the day the first person begins the first watch").needed();
const FROM: Key<Hour> = key("from", "the hour it begins, in ship's time").needed().example("20:00");
const ALARM: Key<Nested> = key("alarm", "the watch alarm (IMO MSC.128(75))");
const DORMANT_PERIOD: Key<Duration> = key("dormant_period", "time without a reset before it asks for one")
    .needed()
    .example("12 min")
    .within("1 min", "1 h");
const RESET_FROM: Key<Name> =
    key("reset_from", "where a lookout is kept: a reset from another place is refused")
        .needed()
        .example("helm")
        .most(32);
const DURING: Key<During> =
    key("during", "on while one of these, or nothing, is declared; default always").example("under sail");
const ALARM_HOURS: Key<Hours> =
    key("hours", "on within these hours of ship's time; default always").example("20:00 to 08:00");

/// The configured watch.
#[derive(Debug, Clone, Default)]
pub struct WatchSetting {
    /// The roster: who is on watch when.
    pub roster: Roster,
    /// Offset of ship's time from UTC, seconds.
    pub ship_time_s: i64,
    /// The watch alarm's timer, if she has one.
    pub watch_alarm: Option<WatchAlarm>,
}

/// What the vessel can be declared to be doing.
#[derive(Debug, Clone, Copy)]
struct During(Doing);

const fn during(doing: Doing) -> (&'static str, During) {
    (Declared::Doing(doing).name(), During(doing))
}

impl Word for During {
    const ALL: &'static [(&'static str, Self)] = &[
        during(Doing::UnderSail),
        during(Doing::UnderPower),
        during(Doing::HoveTo),
        during(Doing::AtAnchor),
        during(Doing::Moored),
    ];
}

pub(crate) fn watch(t: &mut Table<'_>, crew: Option<&[Crew]>) -> Option<WatchSetting> {
    let Some(mut t) = t.table(&WATCH) else { return Some(WatchSetting::default()) };
    let (skipper, ship_time_h) = (t.take(&SKIPPER), t.take(&SHIP_TIME));
    let (daily, rotating) =
        (roster(&mut t, skipper.as_ref(), crew), rotation(&mut t, skipper.as_ref(), crew));
    if t.has(&ROSTER) && t.has(&ROTATION) {
        t.wrong(&ROTATION, "the watch goes by a `roster` or a `rotation`, not by both");
    }
    let roster = if t.has(&ROTATION) { rotating } else { daily };
    let alarm = alarm(&mut t);
    if let Some(skipper) = &skipper {
        warn_of_stranger(&t, &SKIPPER, &skipper.0, crew);
    }
    let ship_time_s = (ship_time_h? * 3600.0).round() as i64;
    Some(WatchSetting { roster: roster?, ship_time_s, watch_alarm: alarm? })
}

/// Warns of a name that is not among the crew, if any crew are named.
fn warn_of_stranger<T>(t: &Table<'_>, key: &Key<T>, name: &str, crew: Option<&[Crew]>) {
    if crew.is_some_and(|crew| !crew.is_empty() && crew.iter().all(|c| c.name != name)) {
        t.warn(key, format!("no [[crew]] is called \"{name}\""));
    }
}

fn roster(t: &mut Table<'_>, skipper: Option<&Name>, crew: Option<&[Crew]>) -> Option<Roster> {
    let mut spans = Vec::new();
    let watches = each(t, &ROSTER, |mut t| {
        let (who, hours) = (t.take(&WHO), t.take(&ROSTER_HOURS));
        t.was("from", "hours = \"20:00 to 00:00\"");
        t.was("to", "hours = \"20:00 to 00:00\"");
        spans.push(t.span());
        if let Some(who) = &who {
            warn_of_stranger(&t, &WHO, &who.0, crew);
        }
        Some(DailyWatch { who: who?.0, hours: hours? })
    })?;
    let mut roster = Roster::default();
    for n in 0..=watches.len() {
        match Roster::daily(skipper.map(|s| s.0.clone()), &watches[..n]) {
            Ok(longer) => roster = longer,
            Err(why) => {
                t.wrong_at(spans[n - 1].clone(), why.to_string());
                return None;
            }
        }
    }
    Some(roster)
}

/// The rotating watches.
fn rotation(t: &mut Table<'_>, skipper: Option<&Name>, crew: Option<&[Crew]>) -> Option<Roster> {
    let mut t = t.table(&ROTATION)?;
    let (people, lengths) = (t.list(&PEOPLE), t.list(&WATCHES));
    let (day, hour) = (t.take(&FROM_DAY), t.take(&FROM));
    let people: Vec<String> = people?.into_iter().map(|p: Name| p.0).collect();
    for name in &people {
        warn_of_stranger(&t, &PEOPLE, name, crew);
    }
    let start = day?.begins().plus_ms(i64::from(hour?.minutes()) * 60_000);
    let rotation = Rotation { start, lengths: lengths?, people };
    match Roster::rotating(skipper.map(|s| s.0.clone()), rotation) {
        Ok(roster) => Some(roster),
        Err(why) => {
            t.wrong(&WATCHES, why.to_string());
            None
        }
    }
}

/// The watch alarm; `Some(None)` if there is none.
fn alarm(t: &mut Table<'_>) -> Option<Option<WatchAlarm>> {
    let Some(mut t) = t.table(&ALARM) else { return Some(None) };
    let (dormant, positions) = (t.take(&DORMANT_PERIOD), t.list(&RESET_FROM));
    let (during, hours) = (t.list(&DURING), t.list(&ALARM_HOURS));
    let positions = positions?.into_iter().map(|p: Name| p.0).collect();
    let hours =
        hours.unwrap_or_default().iter().map(|h: &Hours| (h.from.seconds(), h.to.seconds())).collect();
    let during = during.unwrap_or_default().into_iter().map(|d: During| d.0).collect();
    let settings = WatchAlarmSettings { dormant: dormant?, positions, hours, during };
    let alarm = WatchAlarm::new(settings).ok()?;
    if !alarm.within_standard() {
        t.warn(&DORMANT_PERIOD, "the standard (MSC.128(75)) has 3 min to 12 min");
    }
    Some(Some(alarm))
}
