//! The closest approach of each target.

use super::night::{Alert, Approach, OwnPoint};
use super::read::{Reader, position_udeg};
use super::when::When;
use crate::logbook::WITHIN;
use std::collections::BTreeMap;
use terms::{Mmsi, Position, turn_deg};

/// A CPA counts as foretold when it was logged at least this long before.
const FORETOLD_S: i64 = 180;
/// A CPA this close to the true one was foretold well.
const FORETOLD_WELL_NM: f64 = 0.5;
/// Only CPAs up to this are kept to find the first good one, and this many of each ship.
const FORETOLD_NM: f64 = 5.0;
const FORETOLD_KEPT: usize = 50;
/// Courses within this of each other count as the same, or as opposite (common practice: two points, 22.5°).
const SAME_COURSE_DEG: f64 = 22.5;
/// When both are slower than this they lie at anchor or in harbour: that is no approach.
const AT_REST_KN: f64 = 0.5;
/// Most targets on the chart, nearest first: those within `DRAWN_NM` and those that raised an alert.
const DRAWN: usize = 60;
const DRAWN_NM: f64 = 5.0;
/// A target's track covers this long before and after its closest approach.
const AROUND_MS: i64 = 900_000;
/// A ship whose nearest row is her last while she was still closing fell silent, if the logbook goes on for longer than
/// this (rows of a target come by the minute, seldom later than six apart).
const SILENT_S: f64 = 360.0;
/// Stations that are no ships; casualties have a section of their own.
const NO_APPROACH: [&str; 6] = ["base", "aton", "sar-aircraft", "mob", "sart", "epirb"];

/// Reads all targets' rows and keeps the nearest of each; the nearest target comes first.
pub(super) fn read(
    reader: &mut Reader,
    alerts: &[Alert],
    own: &[OwnPoint],
) -> rusqlite::Result<Vec<Approach>> {
    let mut nearest: BTreeMap<u32, Approach> = BTreeMap::new();
    let mut foretold: BTreeMap<u32, f64> = BTreeMap::new();
    let mut foretelling: BTreeMap<u32, Vec<(When, f64)>> = BTreeMap::new();
    let columns =
        "mmsi, range_mnm, tcpa_s, cpa_mnm, bearing_ddeg, latitude_udeg, longitude_udeg, cog_ddeg, sog_ckn";
    let mut last: BTreeMap<u32, (When, bool)> = BTreeMap::new();
    reader.each("target_rows", columns, |at, r| {
        let number: u32 = r.get(4)?;
        let (tcpa_s, cpa_mnm): (Option<i64>, Option<i64>) = (r.get(6)?, r.get(7)?);
        if r.get::<_, Option<i64>>(5)?.is_some() {
            last.insert(number, (at, tcpa_s.is_some_and(|s| s > 0)));
        }
        if let (Some(tcpa), Some(cpa)) = (tcpa_s, cpa_mnm)
            && tcpa >= FORETOLD_S
        {
            let cpa_nm = cpa as f64 / 1000.0;
            foretold.entry(number).and_modify(|least| *least = least.min(cpa_nm)).or_insert(cpa_nm);
            if cpa_nm <= FORETOLD_NM {
                let kept = foretelling.entry(number).or_default();
                // The first of each tenth of a mile will do.
                if kept.len() < FORETOLD_KEPT && kept.iter().all(|(_, c)| (c - cpa_nm).abs() > 0.1) {
                    kept.push((at, cpa_nm));
                }
            }
        }
        let (Some(range), Some(mmsi)) = (r.get::<_, Option<i64>>(5)?, Mmsi::new(number)) else {
            return Ok(());
        };
        let range_nm = range as f64 / 1000.0;
        if nearest.get(&number).is_none_or(|a| range_nm < a.range_nm) {
            let of = |column: usize, parts: f64| {
                r.get::<_, Option<i64>>(column).map(|v| v.map(|v| v as f64 / parts))
            };
            let approach = Approach {
                mmsi,
                name: None,
                kind: None,
                at,
                range_nm,
                bearing_deg: of(8, 10.0)?,
                position: position_udeg(r.get(9)?, r.get(10)?),
                cog_deg: of(11, 10.0)?,
                sog_kn: of(12, 100.0)?,
                foretold_cpa_nm: None,
                geometry: None,
                foretold_since: None,
                fell_silent: false,
                alert: None,
                track: Vec::new(),
            };
            nearest.insert(number, approach);
        }
        Ok(())
    })?;
    name(reader, &mut nearest)?;
    let mut all: Vec<Approach> = nearest
        .into_values()
        .filter(|a| !a.mmsi.is_beacon() && a.kind.as_deref().is_none_or(|k| !NO_APPROACH.contains(&k)))
        .filter(|a| a.sog_kn.is_none_or(|s| s > AT_REST_KN) || !at_rest(own, &a.at))
        .collect();
    for a in &mut all {
        let goes_on = own.last().and_then(|o| o.at.seconds_from(&a.at)).is_some_and(|s| s > SILENT_S);
        a.fell_silent = goes_on && last.get(&a.mmsi.number()) == Some(&(a.at, true));
        a.geometry = geometry(own, a).filter(|_| !a.fell_silent);
        a.foretold_since = foretelling.get(&a.mmsi.number()).and_then(|f| {
            f.iter().find(|(_, cpa)| (cpa - a.range_nm).abs() <= FORETOLD_WELL_NM).map(|(at, _)| *at)
        });
        a.foretold_cpa_nm = foretold.get(&a.mmsi.number()).copied();
        a.alert = alerts
            .iter()
            .find(|alert| alert.mmsi == Some(a.mmsi) && alert.casualty.is_none())
            .map(|alert| alert.id);
    }
    all.sort_by(|a, b| a.range_nm.total_cmp(&b.range_nm).then(a.at.cmp(&b.at)));
    let worth = |a: &&mut Approach| a.range_nm <= DRAWN_NM || a.alert.is_some();
    for a in all.iter_mut().filter(worth).take(DRAWN) {
        a.track = track(reader, a)?;
    }
    Ok(all)
}

/// How a ship met us.
fn geometry(own: &[OwnPoint], a: &Approach) -> Option<String> {
    let here = own_at(own, &a.at)?;
    let ours = f64::from(here.cog_deg.or(here.heading_deg)?);
    let (theirs, bearing) = (a.cog_deg?, a.bearing_deg?);
    if a.sog_kn.is_some_and(|s| s <= AT_REST_KN) {
        return Some("lying still".to_owned());
    }
    let turn = turn_deg(ours, theirs);
    let faster = here.sog_kn.zip(a.sog_kn).map(|(o, t)| t > f64::from(o));
    let met = match turn.abs() {
        t if t < SAME_COURSE_DEG => match faster {
            Some(true) => "overtaking us",
            Some(false) => "overtaken by us",
            None => "on our course",
        },
        t if t > 180.0 - SAME_COURSE_DEG => "head-on",
        // A ship that crosses to starboard came from port.
        _ if turn > 0.0 => "crossing from port",
        _ => "crossing from starboard",
    };
    let side = match turn_deg(ours, bearing) {
        b if b.abs() < 45.0 => "ahead",
        b if b.abs() > 135.0 => "astern",
        b if b > 0.0 => "to starboard",
        _ => "to port",
    };
    Some(format!("{met}, passed {side}"))
}

/// A target's positions around its closest approach.
fn track(reader: &Reader, a: &Approach) -> rusqlite::Result<Vec<(When, Position)>> {
    let sql = format!(
        "SELECT steady_ms, utc_ms, utc_source, latitude_udeg, longitude_udeg FROM target_rows
         WHERE {WITHIN} AND mmsi = ?4 ORDER BY id"
    );
    let mut statement = reader.connection.prepare_cached(&sql)?;
    let (boot, at) = (a.at.boot, a.at.steady.0);
    let mut rows = statement.query([boot, at - AROUND_MS, at + AROUND_MS, i64::from(a.mmsi.number())])?;
    let mut track = Vec::new();
    while let Some(r) = rows.next()? {
        if let Some(position) = position_udeg(r.get(3)?, r.get(4)?) {
            track.push((reader.clocks.when(boot, r.get(0)?, r.get(1)?, r.get(2)?), position));
        }
    }
    Ok(track)
}

fn name(reader: &Reader, nearest: &mut BTreeMap<u32, Approach>) -> rusqlite::Result<()> {
    let mut statement = reader.connection.prepare("SELECT mmsi, name, kind FROM target_names")?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        if let Some(a) = nearest.get_mut(&row.get(0)?) {
            a.name = row.get(1)?;
            a.kind = row.get(2)?;
        }
    }
    Ok(())
}

/// Own vessel at a moment: the first row from then on, else the last.
fn own_at<'a>(own: &'a [OwnPoint], at: &When) -> Option<&'a OwnPoint> {
    own.get(own.partition_point(|p| p.at < *at)).or(own.last())
}

/// Whether own vessel lay still at a moment.
fn at_rest(own: &[OwnPoint], at: &When) -> bool {
    own_at(own, at).and_then(|p| p.sog_kn).is_some_and(|s| f64::from(s) <= AT_REST_KN)
}
