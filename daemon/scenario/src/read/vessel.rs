//! Own vessel, the waters and the feeds.

use super::keys::*;
use crate::plan::{Beacon, Class, Feed, Formatter, Hearing, Leg, Own, Steer, Waters};
use crate::profile::{Profile, east_north};
use form::{Key, Name, Nested, Table, key};
use std::time::Duration;
use terms::{Mmsi, nearest};

const OWN_NAME: Key<SixBit> = SENT_NAME.needed();
const OWN_COURSE: Key<f64> = COURSE.needed();
const OWN_SPEED: Key<f64> = key("speed_kn", "speed through the water in knots").needed().within("0", "60");
const OWN_LEG_SPEED: Key<f64> = SPEED.within("0", "60");
const OWN_CLASS: Key<Class> = CLASS.or("B");
const TRANSMITS: Key<bool> = key("transmits", "her own receivers hear her").or("false");
const OWN_TURN: Key<f64> = TURN.or("180");
const YAW: Key<f64> = key("yaw_deg", "how far her bow swings, in degrees").or("0").within("0", "45");
const YAW_PERIOD: Key<Duration> = key("yaw_period", "how long a swing takes").or("8 s").within("2 s", "60 s");
const VARIATION: Key<f64> =
    key("variation_deg", "magnetic variation in degrees, east positive").or("0").within("-180", "180");
const LEG: Key<Nested> = key("leg", "from a moment on, another course, speed or status").most(500);
const LEG_STATUS: Key<u8> = key("nav_status", "navigational status as AIS numbers it").within("0", "15");
const TOWARD: Key<Mmsi> =
    key("toward", "the beacon of somebody overboard, in place of a course").example("972000001");

const CURRENT: Key<Nested> =
    key("current", "the current, in a straight line from entry to entry").most(2_000);
const CURRENT_SET: Key<f64> = SET.needed();
const CURRENT_DRIFT: Key<f64> = DRIFT.needed();
const WIND: Key<Nested> = key("wind", "the wind over the ground").most(2_000);
const FROM: Key<f64> = key("from_deg", "where it comes from, in degrees").needed().within("0", "360");
const WIND_SPEED: Key<f64> = key("speed_kn", "its speed in knots").needed().within("0", "150");
const DEPTH: Key<Nested> = key("depth", "the depth").most(2_000);
const BELOW: Key<f64> =
    key("below_transducer_m", "metres below the transducer").needed().within("0", "12000");
const PRESSURE: Key<Nested> = key("pressure", "the pressure of the air").most(2_000);
const HPA: Key<f64> = key("hpa", "hectopascals").needed().example("1013").within("850", "1100");
const WATER: Key<Nested> = key("water_temperature", "the temperature of the sea").most(2_000);
const CELSIUS: Key<f64> = key("celsius", "degrees Celsius").needed().within("-3", "45");
const BATTERY: Key<Nested> = key("battery", "the voltage of the battery").most(2_000);
const VOLTS: Key<f64> = key("volts", "volts").needed().within("0", "100");
const INSTRUMENTS: Key<Nested> = key("instruments", "what the instruments add");
const GUST: Key<f64> = key("gust_kn", "how much the wind gusts, in knots").or("0").within("0", "30");
const OFFSET: Key<f64> = key("depth_offset_m", "the sounder's offset in metres, to the waterline positive")
    .or("0")
    .within("-10", "10");
const SOUNDER: Key<f64> =
    key("sounder_range_m", "where the sounder loses the bottom, in metres").or("12000").within("1", "12000");

const FEED: Key<Nested> = key("feed", "a wire by which sentences come").needed().most(16);
const FEED_NAME: Key<Name> = key("name", "its name").needed().most(40);
const TALKER: Key<String> = key("talker", "its two letters").needed().example("GP");
const TAG: Key<String> =
    key("tag_source", "source of the TAG blocks that it writes").example("GPS1").most(15);
const SENTENCES: Key<Nested> = key("sentences", "its instruments' sentences");
const INTERVAL: Key<Duration> =
    key("RMC", "time between two sentences of these letters").example("\"1 s\"").within("0.1 s", "1 h");
const HEARS: Key<Nested> = key("hears", "it has an AIS receiver");
const PROBABILITY: Key<f64> = key("probability", "share of what is heard").or("1").within("0", "1");
const HEARS_RANGE: Key<f64> = RANGE.or("30");
const GPS_ERROR: Key<f64> =
    key("gps_error_m", "error of its positions, in metres").or("0").within("0", "1000");
const DELAY: Key<Duration> = key("delay", "from measuring to sending").or("0 s").within("0 s", "60 s");
const DAMAGED: Key<f64> = key("damaged", "share of lines with one character wrong").or("0").within("0", "1");
const OUTAGES: Key<Nested> = key("outages", "when nothing comes").most(100);

/// Own vessel.
pub fn own(mut t: Table<'_>, beacons: &[Beacon]) -> Option<Own> {
    let (mmsi, name, position) = (t.take(&MMSI), t.take(&OWN_NAME), t.take(&POSITION));
    let (course_deg, speed_kn, class) = (t.take(&OWN_COURSE), t.take(&OWN_SPEED), t.take(&OWN_CLASS));
    if class == Some(Class::SearchAircraft) {
        t.wrong(&OWN_CLASS, "own vessel is no aircraft");
    }
    t.was("yaw_period_s", "yaw_period = \"8 s\"");
    let (nav_status, transmits, turn) = (t.take(&NAV_STATUS), t.take(&TRANSMITS), t.take(&OWN_TURN));
    let (yaw_deg, yaw_period, variation) = (t.take(&YAW), t.take(&YAW_PERIOD), t.take(&VARIATION));
    let legs = legs(&mut t, &OWN_LEG_SPEED, Some(beacons));
    Some(Own {
        mmsi: mmsi?,
        name: name?.0,
        class: class?,
        nav_status: nav_status?,
        transmits: transmits?,
        position: position?,
        course_deg: course_deg?,
        speed_kn: speed_kn?,
        turn_deg_min: turn?,
        yaw_deg: yaw_deg?,
        yaw_period_s: yaw_period?.as_secs_f64(),
        variation_deg: variation?,
        legs,
    })
}

/// Legs of a vessel, in order of time, with the bounds of `speed`. Own vessel can also steer toward one of the beacons.
pub fn legs(vessel: &mut Table<'_>, speed: &'static Key<f64>, beacons: Option<&[Beacon]>) -> Vec<Leg> {
    let leg = |mut t: Table<'_>| {
        let (at, course) = (t.take(&AT), t.take(&COURSE).map(Steer::Course));
        let toward = beacons.and_then(|beacons| {
            let mmsi = t.take(&TOWARD)?;
            let worn = beacons.iter().find(|b| b.mmsi == mmsi);
            let fell = worn.and_then(|b| b.overboard.as_ref()).map(|o| o.at);
            if fell.is_none_or(|fell| at.is_some_and(|at| at < fell)) {
                t.wrong(&TOWARD, format!("nobody is overboard with the beacon {mmsi} by then"));
            }
            Some(Steer::Beacon(mmsi))
        });
        if course.is_some() && toward.is_some() {
            t.wrong(&TOWARD, "a leg has either `course_deg` or `toward`");
        }
        let speed_kn = t.take(speed);
        let nav_status = t.take(&LEG_STATUS);
        Some(Leg { at: at?, steer: course.or(toward), speed_kn, nav_status })
    };
    let mut legs: Vec<Leg> = vessel.tables(&LEG).into_iter().filter_map(leg).collect();
    legs.sort_by_key(|leg| leg.at);
    legs
}

/// Points of a profile, each made of its entries by `point`.
fn profile<const N: usize>(
    root: &mut Table<'_>,
    key: &'static Key<Nested>,
    point: impl Fn(&mut Table<'_>) -> Option<[f64; N]>,
) -> Profile<N> {
    let points = root.tables(key).into_iter().filter_map(|mut t| {
        let (at, numbers) = (t.take(&AT), point(&mut t));
        at.zip(numbers)
    });
    Profile::new(points.collect())
}

/// Sea, air and the instruments that measure them.
pub fn waters(root: &mut Table<'_>) -> Waters {
    let current = profile(root, &CURRENT, |t| {
        let (set, drift) = (t.take(&CURRENT_SET), t.take(&CURRENT_DRIFT));
        Some(east_north(set?, drift?))
    });
    let wind = profile(root, &WIND, |t| {
        let (from, speed) = (t.take(&FROM), t.take(&WIND_SPEED));
        Some(east_north(from? + 180.0, speed?))
    });
    let mut one = |key, number| profile(root, key, |t| t.take(number).map(|n| [n]));
    let (depth_below_transducer_m, pressure_hpa) = (one(&DEPTH, &BELOW), one(&PRESSURE, &HPA));
    let (water_temperature_c, battery_v) = (one(&WATER, &CELSIUS), one(&BATTERY, &VOLTS));
    let instruments = root.table(&INSTRUMENTS).and_then(|mut t| {
        let (gust, offset, range) = (t.take(&GUST), t.take(&OFFSET), t.take(&SOUNDER));
        Some((gust?, offset?, range?))
    });
    let (gust_kn, depth_offset_m, sounder_range_m) = instruments.unwrap_or((0.0, 0.0, 12_000.0));
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
    root.tables(&FEED).into_iter().filter_map(|t| feed(t, waters)).collect()
}

fn feed(mut t: Table<'_>, waters: &Waters) -> Option<Feed> {
    let (name, talker, tag_source) = (t.take(&FEED_NAME), t.take(&TALKER), t.take(&TAG));
    if let Some(name) = &name {
        t.once(&FEED_NAME, "feed", &name.0);
    }
    if talker.as_ref().is_some_and(|k| k.len() != 2 || !k.bytes().all(|b| b.is_ascii_uppercase())) {
        t.wrong(&TALKER, "`talker` takes two capital letters, such as \"GP\"");
    }
    if tag_source.as_ref().is_some_and(|s| !s.bytes().all(|b| b.is_ascii_alphanumeric())) {
        t.wrong(&TAG, "`tag_source` takes letters and digits");
    }
    let sentences = t.table(&SENTENCES).map_or(Vec::new(), |t| sentences(t, waters));
    let hears = t.table(&HEARS).and_then(|mut t| {
        let (probability, range_nm) = (t.take(&PROBABILITY), t.take(&HEARS_RANGE));
        Some(Hearing { probability: probability?, range_nm: range_nm? })
    });
    t.was("delay_s", "delay = \"0.2 s\"");
    let (gps_error_m, delay, damaged) = (t.take(&GPS_ERROR), t.take(&DELAY), t.take(&DAMAGED));
    let (outages, no_fix) = (spans(&mut t, &OUTAGES), spans(&mut t, &NO_FIX));
    Some(Feed {
        name: name?.0,
        talker: talker?,
        tag_source,
        sentences,
        hears,
        gps_error_m: gps_error_m?,
        delay: delay?,
        damaged: damaged?,
        outages,
        no_fix,
    })
}

/// Formatters with their intervals.
fn sentences(mut t: Table<'_>, waters: &Waters) -> Vec<(Formatter, Duration)> {
    let mut list = Vec::new();
    for (name, value) in t.entries(&INTERVAL) {
        let letters = name.value;
        let Some((_, formatter)) = Formatter::ALL.iter().find(|(known, _)| *known == letters) else {
            let hint = nearest(letters, Formatter::ALL.iter().map(|(known, _)| *known));
            let hint = hint.map_or(String::new(), |h| format!("; did you mean {h}?"));
            t.wrong_at(name.span, format!("no feed of a scenario sends {letters}{hint}"));
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
            t.wrong_at(
                name.span,
                format!("{letters} measures what the scenario does not have: give {lacking}"),
            );
        }
        list.extend(t.read(letters, &INTERVAL, &value).map(|every| (*formatter, every)));
    }
    list
}
