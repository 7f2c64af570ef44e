//! The night as one JSON object: what `review --json` prints. Keys are in alphabetical order; times are UTC; numbers
//! carry their unit in the key; what is not known is null.

use super::night::{Alert, Approach, Blind, Casualty, Feed, Night, Passage, Remark};
use super::practice::Drilled;
use super::watches::{Blindness, WatchKept};
use super::weather;
use super::when::When;
use record::{Call, ComesFrom, Item, RestNow};
use serde::Serialize;
use std::borrow::Cow;
use terms::{Mmsi, Position};

/// The form of this record.
const VERSION: u32 = 1;

/// The night, but for the tracks and the minutes of the instruments.
#[derive(Debug, Serialize)]
struct NightRecord<'a> {
    alerts: Vec<AlertRecord<'a>>,
    approaches: Vec<ApproachRecord<'a>>,
    blind: &'a [Blind],
    blind_by_sense: Vec<BlindnessRecord>,
    boat: BoatRecord,
    calls: Vec<CallRecord<'a>>,
    casualties: Vec<CasualtyRecord<'a>>,
    drills: &'a [Drilled],
    feeds: &'a [Feed],
    from: When,
    logbook: Cow<'a, str>,
    remarks: &'a [Remark],
    rest: Vec<RestNow>,
    to: When,
    undelivered: i64,
    unreadable: usize,
    version: u32,
    watches: Vec<WatchRecord>,
    weather: Vec<WeatherRecord>,
}

#[derive(Debug, Serialize)]
struct AlertRecord<'a> {
    about: &'a Item,
    acknowledged: Option<When>,
    acknowledged_after_s: Option<f64>,
    casualty: Option<u32>,
    exercise: bool,
    id: u32,
    log_ids: Vec<i64>,
    mmsi: Option<Mmsi>,
    name: Option<&'a str>,
    order: &'a str,
    origin: ComesFrom,
    over: Option<When>,
    priority: rules::Priority,
    raised: Option<When>,
    rectified: Option<When>,
    text: &'a str,
}

#[derive(Debug, Serialize)]
struct ApproachRecord<'a> {
    alert: Option<u32>,
    at: When,
    bearing_deg: Option<f64>,
    cog_deg: Option<f64>,
    foretold_cpa_nm: Option<f64>,
    foretold_since: Option<When>,
    fell_silent: bool,
    geometry: Option<&'a str>,
    kind: Option<&'a str>,
    latitude_deg: Option<f64>,
    longitude_deg: Option<f64>,
    mmsi: Mmsi,
    name: Option<&'a str>,
    range_nm: f64,
    sog_kn: Option<f64>,
}

#[derive(Debug, Serialize)]
struct BlindnessRecord {
    sense: String,
    spans: Vec<SpanRecord>,
    total_s: f64,
}

/// `to` is null for what lasts until the end.
#[derive(Debug, Serialize)]
struct SpanRecord {
    from: When,
    to: Option<When>,
}

#[derive(Debug, Serialize)]
struct BoatRecord {
    distance_nm: f64,
    from: Option<FixRecord>,
    greatest_sog_at: Option<When>,
    greatest_sog_kn: Option<f64>,
    mean_sog_kn: Option<f64>,
    through_water_nm: Option<f64>,
    to: Option<FixRecord>,
    under_way_s: f64,
}

#[derive(Debug, Serialize)]
struct FixRecord {
    at: When,
    #[serde(flatten)]
    position: Position,
}

#[derive(Debug, Serialize)]
struct CasualtyRecord<'a> {
    alerts: &'a [u32],
    exercise: bool,
    first_position: Option<FixRecord>,
    first_position_is: Option<&'a str>,
    id: u32,
    last_position: Option<FixRecord>,
    nearest_at: Option<When>,
    nearest_nm: Option<f64>,
    raised: Option<When>,
    source: &'a str,
    stood_down: Option<When>,
    stood_down_reason: Option<&'a str>,
    who: &'a str,
}

#[derive(Debug, Serialize)]
struct CallRecord<'a> {
    at: When,
    #[serde(flatten)]
    call: &'a Call,
}

#[derive(Debug, Serialize)]
struct WatchRecord {
    alerts: usize,
    distance_nm: f64,
    from: When,
    greatest_wind_kn: Option<f64>,
    mean_sog_kn: Option<f64>,
    median_s: Option<f64>,
    nearest_nm: Option<f64>,
    never_acknowledged: usize,
    pressure_change_hpa: Option<f64>,
    slowest_s: Option<f64>,
    to: When,
    who: Option<String>,
}

#[derive(Debug, Serialize)]
struct WeatherRecord {
    first: f64,
    greatest: f64,
    greatest_at: When,
    last: f64,
    least: f64,
    least_at: When,
    mean: f64,
    quantity: &'static str,
    unit: Option<&'static str>,
}

impl Night {
    /// Everything but the tracks and the minutes of the instruments, on one line.
    pub fn json(&self) -> String {
        let weather = self.instruments.iter().filter_map(|(q, minutes)| weather::extremes(*q, minutes));
        line(&NightRecord {
            alerts: self.alerts.iter().map(AlertRecord::from).collect(),
            approaches: self.approaches.iter().map(ApproachRecord::from).collect(),
            blind: &self.blind,
            blind_by_sense: self.blindness().into_iter().map(BlindnessRecord::from).collect(),
            boat: BoatRecord::from(&self.passage),
            calls: self.calls().into_iter().map(|(at, call)| CallRecord { at, call }).collect(),
            casualties: self.casualties.iter().map(CasualtyRecord::from).collect(),
            drills: &self.drills,
            feeds: &self.feeds,
            from: self.from,
            logbook: self.logbook.to_string_lossy(),
            remarks: &self.remarks,
            rest: self.rests(),
            to: self.to,
            undelivered: self.undelivered,
            unreadable: self.unreadable,
            version: VERSION,
            watches: self.watches().into_iter().map(WatchRecord::from).collect(),
            weather: weather.map(WeatherRecord::from).collect(),
        })
    }
}

/// A record on a line of its own.
pub(super) fn line(record: &impl Serialize) -> String {
    // Texts, numbers and lists always have a form in JSON.
    serde_json::to_string(record).unwrap_or_default() + "\n"
}

impl<'a> From<&'a Alert> for AlertRecord<'a> {
    fn from(a: &'a Alert) -> Self {
        Self {
            about: &a.about,
            acknowledged: a.acknowledged,
            acknowledged_after_s: a.acknowledged_after_s(),
            casualty: a.casualty,
            exercise: a.exercise,
            id: a.id,
            log_ids: a.history.iter().map(|t| t.log_id).collect(),
            mmsi: a.mmsi,
            name: a.name.as_deref(),
            order: &a.order,
            origin: a.origin,
            over: a.over,
            priority: a.priority,
            raised: a.raised,
            rectified: a.rectified,
            text: a.text(),
        }
    }
}

impl<'a> From<&'a Approach> for ApproachRecord<'a> {
    fn from(a: &'a Approach) -> Self {
        Self {
            alert: a.alert,
            at: a.at,
            bearing_deg: a.bearing_deg,
            cog_deg: a.cog_deg,
            foretold_cpa_nm: a.foretold_cpa_nm,
            foretold_since: a.foretold_since,
            fell_silent: a.fell_silent,
            geometry: a.geometry.as_deref(),
            kind: a.kind.as_deref(),
            latitude_deg: a.position.map(Position::latitude_deg),
            longitude_deg: a.position.map(Position::longitude_deg),
            mmsi: a.mmsi,
            name: a.name.as_deref(),
            range_nm: a.range_nm,
            sog_kn: a.sog_kn,
        }
    }
}

impl From<Blindness> for BlindnessRecord {
    fn from(b: Blindness) -> Self {
        let spans = b.spans.into_iter().map(|(from, to)| SpanRecord { from, to }).collect();
        Self { sense: b.sense, spans, total_s: b.total_s }
    }
}

impl From<(When, Position)> for FixRecord {
    fn from((at, position): (When, Position)) -> Self {
        Self { at, position }
    }
}

impl From<&Passage> for BoatRecord {
    fn from(p: &Passage) -> Self {
        Self {
            distance_nm: p.distance_nm,
            from: p.from.map(FixRecord::from),
            greatest_sog_at: p.greatest_sog.map(|(at, _)| at),
            greatest_sog_kn: p.greatest_sog.map(|(_, kn)| kn),
            mean_sog_kn: p.mean_sog_kn(),
            through_water_nm: p.water_nm,
            to: p.to.map(FixRecord::from),
            under_way_s: p.under_way_s,
        }
    }
}

impl<'a> From<&'a Casualty> for CasualtyRecord<'a> {
    fn from(c: &'a Casualty) -> Self {
        let first = c.first_position.as_ref();
        Self {
            alerts: &c.alerts,
            exercise: c.exercise,
            first_position: first.map(|(at, p, _)| FixRecord::from((*at, *p))),
            first_position_is: first.map(|(.., how)| how.as_str()),
            id: c.id,
            last_position: c.track.last().map(|(at, p, _)| FixRecord::from((*at, *p))),
            nearest_at: c.nearest.map(|(at, _)| at),
            nearest_nm: c.nearest.map(|(_, nm)| nm),
            raised: c.raised,
            source: &c.source,
            stood_down: c.stood_down.as_ref().map(|(at, _)| *at),
            stood_down_reason: c.stood_down.as_ref().map(|(_, why)| why.as_str()),
            who: &c.who,
        }
    }
}

impl From<WatchKept> for WatchRecord {
    fn from(w: WatchKept) -> Self {
        Self {
            alerts: w.alerts,
            distance_nm: w.distance_nm,
            from: w.from,
            greatest_wind_kn: w.wind_kn,
            mean_sog_kn: w.mean_sog_kn,
            median_s: w.median_s,
            nearest_nm: w.nearest_nm,
            never_acknowledged: w.never,
            pressure_change_hpa: w.pressure_hpa,
            slowest_s: w.slowest_s,
            to: w.to,
            who: w.who,
        }
    }
}

impl From<weather::Extremes> for WeatherRecord {
    fn from(e: weather::Extremes) -> Self {
        Self {
            first: e.first,
            greatest: e.greatest.1,
            greatest_at: e.greatest.0,
            last: e.last,
            least: e.least.1,
            least_at: e.least.0,
            mean: e.mean,
            quantity: e.quantity.name(),
            unit: e.quantity.dimension().units().first().map(|u| u.symbol),
        }
    }
}
