//! Rows of own vessel, targets, instruments and feeds as columns.

use super::thinning::Thinned;
use rusqlite::{Connection, params};
use terms::Position;

/// A number in whole parts of a unit; `None` for what is no number.
fn parts(value: Option<f64>, a_unit: f64) -> Option<i64> {
    value.filter(|v| v.is_finite()).map(|v| (v * a_unit).round() as i64)
}

fn udeg(position: Option<Position>) -> (Option<i64>, Option<i64>) {
    (parts(position.map(Position::latitude_deg), 1e6), parts(position.map(Position::longitude_deg), 1e6))
}

/// The SQL that appends a row; `?1` is the boot, `?2` the steady time. Its id encodes its time (see the schema), so
/// rows are found by time without an index.
macro_rules! insert {
    ($table:literal, $columns:literal) => {
        concat!(
            "INSERT INTO ",
            $table,
            " VALUES (max((?1 << 42) | ((?2 / 1000) << 10), (SELECT coalesce(max(id), 0) + 1 FROM ",
            $table,
            ")), ?1, ?2, ",
            $columns,
            ")"
        )
    };
}

/// The SQL condition for rows of a boot (`?1`) between two steady times (`?2`, `?3`). Ids follow the order of writing,
/// which lags behind time by at most a few minutes.
pub(crate) const WITHIN: &str = "id BETWEEN (?1 << 42) | (max(?2 / 1000 - 600, 0) << 10) \
    AND (?1 << 42) | ((?3 / 1000 + 600) << 10) AND boot = ?1 AND steady_ms BETWEEN ?2 AND ?3";

/// Writes one row.
pub(super) fn write(c: &Connection, boot: i64, feed: Option<i64>, row: &Thinned) -> rusqlite::Result<()> {
    match row {
        Thinned::Own(at, own) => {
            let (lat, lon) = udeg(own.position);
            let (cog, sog, heading) =
                (parts(own.cog_deg, 10.0), parts(own.sog_kn, 100.0), parts(own.heading_deg, 10.0));
            c.prepare_cached(insert!("own_rows", "?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10"))?.execute(params![
                boot,
                at.steady.0,
                at.utc_ms(),
                at.source(),
                lat,
                lon,
                cog,
                sog,
                heading,
                feed
            ])?;
        }
        Thinned::Target(at, t) => {
            let (lat, lon) = udeg(t.position);
            let (cog, sog) = (parts(t.cog_deg, 10.0), parts(t.sog_kn, 100.0));
            let (range, bearing) = (parts(t.range_nm, 1000.0), parts(t.bearing_deg, 10.0));
            let (cpa, tcpa) = (parts(t.cpa_nm, 1000.0), parts(t.tcpa_s, 1.0));
            let (mmsi, utc_ms, source) = (t.mmsi.number(), at.utc_ms(), at.source());
            c.prepare_cached(insert!("target_rows", "?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14"))?
                .execute(params![
                    boot,
                    at.steady.0,
                    mmsi,
                    utc_ms,
                    source,
                    lat,
                    lon,
                    cog,
                    sog,
                    range,
                    bearing,
                    cpa,
                    tcpa,
                    feed
                ])?;
            if t.name.is_some() || t.kind.is_some() {
                c.prepare_cached(
                    "INSERT INTO target_names VALUES (?1, ?2, ?3) ON CONFLICT DO UPDATE
                             SET name = coalesce(excluded.name, name), kind = coalesce(excluded.kind, kind)
                             WHERE name IS NOT excluded.name OR kind IS NOT excluded.kind",
                )?
                .execute(params![mmsi, t.name, t.kind])?;
            }
        }
        Thinned::Minute(at, quantity, minute) => {
            let (least, mean, greatest) = minute.extremes();
            let (utc_ms, source, name) = (at.utc_ms(), at.source(), quantity.name());
            c.prepare_cached(insert!("instrument_rows", "?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11"))?.execute(
                params![
                    boot,
                    at.steady.0,
                    name,
                    utc_ms,
                    source,
                    least,
                    mean,
                    greatest,
                    minute.last,
                    minute.readings,
                    feed
                ],
            )?;
        }
        Thinned::Feed(at, f) => {
            let n = |count: u64| i64::try_from(count).unwrap_or(i64::MAX);
            let (utc_ms, source) = (at.utc_ms(), at.source());
            let (bytes, sentences, refused, dropped) =
                (n(f.bytes), n(f.sentences), n(f.refused), n(f.dropped));
            c.prepare_cached(insert!("feed_rows", "?3, ?4, ?5, ?6, ?7, ?8, ?9"))?.execute(params![
                boot,
                at.steady.0,
                f.feed,
                utc_ms,
                source,
                bytes,
                sentences,
                refused,
                dropped
            ])?;
        }
    }
    Ok(())
}
