//! Own vessel, the waters and the feeds.

use super::table::{Table, number};
use crate::plan::{Beacon, Class, Feed, Formatter, Hearing, Leg, Own, Span, Steer, Waters};
use crate::profile::{Profile, east_north};
use std::ops::RangeInclusive;
use std::time::Duration;
use terms::{Moment, nearest};

/// The most legs of one vessel.
const MOST_LEGS: usize = 500;
/// The most points of one profile.
const MOST_POINTS: usize = 2_000;
/// The most feeds.
const MOST_FEEDS: usize = 16;
/// The most spans in one list.
const MOST_SPANS: usize = 100;
/// Seconds between two sentences of one kind: a tenth of a second, as the fastest instruments do, to an hour.
const INTERVALS_S: RangeInclusive<f64> = 0.1..=3_600.0;

/// Own vessel.
pub fn own(mut t: Table<'_>, beacons: &[Beacon]) -> Option<Own> {
    t.needs(&["mmsi", "name", "position", "course_deg", "speed_kn"]);
    let (mmsi, name, position) = (t.mmsi("mmsi"), t.ais_text("name", 20), t.position("position"));
    let (course_deg, speed_kn) = (t.number("course_deg", 0.0..=360.0), t.number("speed_kn", 0.0..=60.0));
    let class = t.choice("class", &Class::ALL[..3]).unwrap_or(Class::BCarrierSense);
    let nav_status = t.whole("nav_status", 0..=15).unwrap_or(0) as u8;
    let transmits = t.flag("transmits").unwrap_or(false);
    let turn_deg_min = t.number("turn_deg_min", 1.0..=1_200.0).unwrap_or(180.0);
    let yaw_deg = t.number("yaw_deg", 0.0..=45.0).unwrap_or(0.0);
    let yaw_period_s = t.number("yaw_period_s", 2.0..=60.0).unwrap_or(8.0);
    let variation_deg = t.number("variation_deg", -180.0..=180.0).unwrap_or(0.0);
    let legs = legs(&mut t, 60.0, Some(beacons));
    t.finish();
    let (mmsi, name, position) = (mmsi?, name?, position?);
    let (course_deg, speed_kn) = (course_deg?, speed_kn?);
    Some(Own {
        mmsi,
        name,
        class,
        nav_status,
        transmits,
        position,
        course_deg,
        speed_kn,
        turn_deg_min,
        yaw_deg,
        yaw_period_s,
        variation_deg,
        legs,
    })
}

/// Legs of a vessel, in order of time. Own vessel can also steer toward one of the beacons.
pub fn legs(vessel: &mut Table<'_>, most_kn: f64, beacons: Option<&[Beacon]>) -> Vec<Leg> {
    let mut legs = Vec::new();
    for mut t in vessel.tables("leg", MOST_LEGS) {
        t.needs(&["at"]);
        let at = t.moment("at");
        let course = t.number("course_deg", 0.0..=360.0).map(Steer::Course);
        let toward = beacons.and_then(|beacons| {
            let mmsi = t.mmsi("toward")?;
            let worn = beacons.iter().find(|b| b.mmsi == mmsi);
            let fell = worn.and_then(|b| b.overboard.as_ref()).map(|o| o.at);
            if fell.is_none_or(|fell| at.is_some_and(|at| at < fell)) {
                t.tell(t.span_of("toward"), format!("nobody is overboard with the beacon {mmsi} by then"));
            }
            Some(Steer::Beacon(mmsi))
        });
        if course.is_some() && toward.is_some() {
            t.tell(t.span_of("toward"), "a leg has either course_deg or toward");
        }
        let speed_kn = t.number("speed_kn", 0.0..=most_kn);
        let nav_status = t.whole("nav_status", 0..=15).map(|n| n as u8);
        t.finish();
        let Some(at) = at else { continue };
        legs.push(Leg { at, steer: course.or(toward), speed_kn, nav_status });
    }
    legs.sort_by_key(|leg| leg.at);
    legs
}

/// Points of a profile, each made of its entries by `point`.
fn profile<const N: usize>(
    root: &mut Table<'_>,
    key: &'static str,
    needs: &[&'static str],
    point: impl Fn(&mut Table<'_>) -> Option<[f64; N]>,
) -> Profile<N> {
    let mut points = Vec::new();
    for mut t in root.tables(key, MOST_POINTS) {
        t.needs(&["at"]);
        t.needs(needs);
        let (at, numbers) = (t.moment("at"), point(&mut t));
        t.finish();
        points.extend(at.zip(numbers));
    }
    Profile::new(points)
}

/// One number at each point.
fn line(
    root: &mut Table<'_>,
    key: &'static str,
    entry: &'static str,
    range: RangeInclusive<f64>,
) -> Profile<1> {
    profile(root, key, &[entry], |t| Some([t.number(entry, range.clone())?]))
}

/// Sea, air and what measures them.
pub fn waters(root: &mut Table<'_>) -> Waters {
    let current = profile(root, "current", &["set_deg", "drift_kn"], |t| {
        let (set, drift) = (t.number("set_deg", 0.0..=360.0), t.number("drift_kn", 0.0..=15.0));
        Some(east_north(set?, drift?))
    });
    let wind = profile(root, "wind", &["from_deg", "speed_kn"], |t| {
        let (from, speed) = (t.number("from_deg", 0.0..=360.0), t.number("speed_kn", 0.0..=150.0));
        Some(east_north(from? + 180.0, speed?))
    });
    let depth_below_transducer_m = line(root, "depth", "below_transducer_m", 0.0..=12_000.0);
    let pressure_hpa = line(root, "pressure", "hpa", 850.0..=1_100.0);
    let water_temperature_c = line(root, "water_temperature", "celsius", -3.0..=45.0);
    let battery_v = line(root, "battery", "volts", 0.0..=100.0);
    let (mut gust_kn, mut depth_offset_m, mut sounder_range_m) = (0.0, 0.0, 12_000.0);
    if let Some(mut t) = root.table("instruments") {
        gust_kn = t.number("gust_kn", 0.0..=30.0).unwrap_or(gust_kn);
        depth_offset_m = t.number("depth_offset_m", -10.0..=10.0).unwrap_or(depth_offset_m);
        sounder_range_m = t.number("sounder_range_m", 1.0..=12_000.0).unwrap_or(sounder_range_m);
        t.finish();
    }
    Waters {
        current,
        wind,
        gust_kn,
        depth_below_transducer_m,
        depth_offset_m,
        sounder_range_m,
        pressure_hpa,
        water_temperature_c,
        battery_v,
    }
}

/// The wires.
pub fn feeds(root: &mut Table<'_>, waters: &Waters) -> Vec<Feed> {
    root.needs(&["feed"]);
    let mut feeds: Vec<Feed> = Vec::new();
    for mut t in root.tables("feed", MOST_FEEDS) {
        t.needs(&["name", "talker"]);
        let name = t.text("name", 40);
        if let Some(name) = name.filter(|name| feeds.iter().any(|f| f.name == *name)) {
            t.tell(t.span_of("name"), format!("there is a feed {name} already"));
        }
        let talker = t.text("talker", 2);
        if talker.is_some_and(|k| k.len() != 2 || !k.bytes().all(|b| b.is_ascii_uppercase())) {
            t.tell(t.span_of("talker"), "talker takes two capital letters: \"GP\"");
        }
        let tag_source = t.text("tag_source", 15).map(str::to_owned);
        if tag_source.as_ref().is_some_and(|s| !s.bytes().all(|b| b.is_ascii_alphanumeric())) {
            t.tell(t.span_of("tag_source"), "tag_source takes letters and digits");
        }
        let sentences = t.table("sentences").map_or(Vec::new(), |t| sentences(t, waters));
        let hears = t.table("hears").map(hearing);
        let gps_error_m = t.number("gps_error_m", 0.0..=1_000.0).unwrap_or(0.0);
        let delay = t.seconds("delay_s", 0.0..=60.0).unwrap_or(Duration::ZERO);
        let damaged = t.number("damaged", 0.0..=1.0).unwrap_or(0.0);
        let (outages, no_fix) = (spans(&mut t, "outages"), spans(&mut t, "no_fix"));
        t.finish();
        let (Some(name), Some(talker)) = (name, talker) else { continue };
        feeds.push(Feed {
            name: name.to_owned(),
            talker: talker.to_owned(),
            tag_source,
            sentences,
            hears,
            gps_error_m,
            delay,
            damaged,
            outages,
            no_fix,
        });
    }
    feeds
}

/// How an AIS receiver hears; everything within 30 nm where nothing is said.
fn hearing(mut t: Table<'_>) -> Hearing {
    let probability = t.number("probability", 0.0..=1.0).unwrap_or(1.0);
    let range_nm = t.number("range_nm", 0.0..=1_000.0).unwrap_or(30.0);
    t.finish();
    Hearing { probability, range_nm }
}

/// Formatters with their intervals.
fn sentences(t: Table<'_>, waters: &Waters) -> Vec<(Formatter, Duration)> {
    let mut list = Vec::new();
    for (letters, span, value) in t.pairs() {
        let Some((_, formatter)) = Formatter::ALL.iter().find(|(known, _)| *known == letters) else {
            let hint = nearest(letters, Formatter::ALL.iter().map(|(known, _)| *known));
            let hint = hint.map_or(String::new(), |h| format!("; did you mean {h}?"));
            t.tell(span, format!("no feed of a scenario sends {letters}{hint}"));
            continue;
        };
        let lacking = match formatter {
            Formatter::Dpt if waters.depth_below_transducer_m.is_empty() => "[[depth]]",
            Formatter::Mwv | Formatter::Mwd if waters.wind.is_empty() => "[[wind]]",
            Formatter::Mtw if waters.water_temperature_c.is_empty() => "[[water_temperature]]",
            Formatter::Mda if waters.pressure_hpa.is_empty() => "[[pressure]]",
            Formatter::Xdr if waters.battery_v.is_empty() => "[[battery]]",
            _ => "",
        };
        if !lacking.is_empty() {
            t.tell(span, format!("{letters} measures what the scenario does not have: give {lacking}"));
        }
        match number(value.get_ref()).filter(|s| INTERVALS_S.contains(s)) {
            Some(s) => list.push((*formatter, Duration::from_millis((s * 1000.0).round() as u64))),
            None => t.tell(value.span(), format!("{letters} takes seconds between two, from 0.1 to 3600")),
        }
    }
    list
}

/// Stretches of time.
pub fn spans(table: &mut Table<'_>, key: &'static str) -> Vec<Span> {
    let mut spans = Vec::new();
    for mut t in table.tables(key, MOST_SPANS) {
        t.needs(&["from"]);
        let from = t.moment("from");
        let until = if t.has("until") { t.moment("until") } else { Some(Moment(i64::MAX)) };
        if from.zip(until).is_some_and(|(from, until)| until <= from) {
            t.tell(t.span_of("until"), "until comes after from");
        }
        t.finish();
        spans.extend(from.zip(until).map(|(from, until)| Span { from, until }));
    }
    spans
}
