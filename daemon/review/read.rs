//! Reading the logbook: a connection that cannot write, and one pass over each table.

use super::error::ReviewError;
use super::night::{Alert, Blind, Feed, Minute, Night, Occurrence, OwnPoint, Remark, Run, Span};
use super::when::{Clocks, When};
use super::{approach, casualty, passage};
use crate::logbook::{FORMS, WITHIN, disk_error, marks, open_to_read};
use record::{CasualtyPart, ComesFrom, EventRecord};
use rules::{EventKind, Priority};
use rusqlite::types::Type;
use rusqlite::{Connection, Row};
use std::collections::BTreeMap;
use std::path::Path;
use terms::{Mmsi, Position, Quantity, Utc};

/// Without a beginning, so much before the end is told.
const DEFAULT_SPAN_MS: i64 = 86_400_000;
/// The daemon gives a sign of life every two minutes: a longer silence between two runs is a blind span.
const BLIND_S: f64 = 150.0;

/// Steady times of a boot that belong to the span, ends included.
#[derive(Debug, Clone, Copy)]
pub(super) struct Range {
    pub boot: i64,
    pub from_ms: i64,
    pub to_ms: i64,
}

/// The open logbook, and what of it is wanted.
pub(super) struct Reader {
    pub connection: Connection,
    pub clocks: Clocks,
    pub ranges: Vec<Range>,
    pub unreadable: usize,
}

/// A position from degrees, where both are known.
pub(super) fn position(latitude_deg: Option<f64>, longitude_deg: Option<f64>) -> Option<Position> {
    Position::new(latitude_deg?, longitude_deg?).ok()
}

/// A position from columns in millionths of a degree.
pub(super) fn position_udeg(latitude: Option<i64>, longitude: Option<i64>) -> Option<Position> {
    position(latitude.map(|v| v as f64 / 1e6), longitude.map(|v| v as f64 / 1e6))
}

fn open(path: &Path) -> Result<Connection, ReviewError> {
    if !path.exists() {
        return Err(ReviewError::NoLogbook { path: path.to_owned() });
    }
    Ok(open_to_read(path)?)
}

/// Reads what the logbook has of a span.
///
/// # Errors
/// When there is no logbook, it cannot be read, or it has nothing of that time.
pub fn read(path: impl AsRef<Path>, span: Span) -> Result<Night, ReviewError> {
    let path = path.as_ref();
    let before = marks(path);
    let night = read_once(path, span);
    // A daemon that began meanwhile may have written into what was taken as it stood: then it is read beside it.
    if !before.0 && marks(path) != before { read_once(path, span) } else { night }
}

/// Opens a logbook, to be read as it is at one moment.
fn begin(path: &Path) -> Result<Reader, ReviewError> {
    let connection = open(path)?;
    connection.execute_batch("BEGIN").map_err(|e| ReviewError::Logbook(disk_error(path, &e)))?;
    if FORMS.of(&connection, path)?.is_none() {
        return Err(ReviewError::Nothing { path: path.to_owned(), has: what_there_is(&[]) });
    }
    Ok(Reader { connection, clocks: Clocks::default(), ranges: Vec::new(), unreadable: 0 })
}

fn read_once(path: &Path, span: Span) -> Result<Night, ReviewError> {
    let fail = |e: rusqlite::Error| ReviewError::Logbook(disk_error(path, &e));
    let mut reader = begin(path)?;
    let runs = reader.read_runs().map_err(fail)?;
    let Some((runs, blind)) = reader.choose(&runs, span) else {
        return Err(ReviewError::Nothing { path: path.to_owned(), has: what_there_is(&runs) });
    };
    let night = reader.read_night(path, runs, blind).map_err(fail)?;
    reader.connection.execute_batch("COMMIT").map_err(fail)?;
    Ok(night)
}

/// Reads something of the whole logbook.
pub(super) fn whole<T>(
    path: &Path,
    take: impl FnOnce(&Reader) -> rusqlite::Result<T>,
) -> Result<T, ReviewError> {
    let fail = |e: rusqlite::Error| ReviewError::Logbook(disk_error(path, &e));
    let mut reader = begin(path)?;
    reader.read_runs().map_err(fail)?;
    take(&reader).map_err(fail)
}

/// Whether only replays have written into a logbook: then nothing of a real passage is lost with it.
///
/// # Errors
/// When there is no logbook, or it cannot be read.
pub fn was_replayed(path: impl AsRef<Path>) -> Result<bool, ReviewError> {
    let path = path.as_ref();
    let sql = "SELECT NOT EXISTS (SELECT 1 FROM boot_rows WHERE boot IS NOT NULL)";
    let connection = open(path)?;
    // An empty file has no tables yet.
    if FORMS.of(&connection, path)?.is_none() {
        return Ok(true);
    }
    let answer = connection.query_row(sql, [], |r| r.get(0));
    answer.map_err(|e| ReviewError::Logbook(disk_error(path, &e)))
}

/// The span of the whole logbook, for those who asked for another.
fn what_there_is(runs: &[Run]) -> String {
    match (runs.first(), runs.last()) {
        (Some(first), Some(last)) => format!("it goes from {} to {}", first.from, last.to),
        _ => "it is empty".to_owned(),
    }
}

impl Reader {
    fn read_runs(&mut self) -> rusqlite::Result<Vec<Run>> {
        type RunRow = (i64, i64, Option<i64>, i64, Option<i64>, Option<i64>, bool);
        let rows: Vec<RunRow> = self
            .connection
            .prepare("SELECT boot, from_ms, from_utc_ms, to_ms, to_utc_ms, utc_source, stopped FROM run_rows ORDER BY id")?
            .query_map([], |r| {
                Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?, r.get(4)?, r.get(5)?, r.get(6)?))
            })?
            .collect::<Result<_, _>>()?;
        for (boot, _, _, to_ms, to_utc, source, _) in &rows {
            self.clocks.note(*boot, *to_ms, *to_utc, *source);
        }
        let clocks = &self.clocks;
        let run = |(boot, from_ms, from_utc, to_ms, to_utc, source, stopped): RunRow| Run {
            from: clocks.when(boot, from_ms, from_utc, None),
            to: clocks.when(boot, to_ms, to_utc, source),
            stopped,
        };
        Ok(rows.into_iter().map(run).collect())
    }

    /// The runs within the span, cut to it, and the gaps between them; `None` when there are none.
    fn choose(&mut self, runs: &[Run], span: Span) -> Option<(Vec<Run>, Vec<Blind>)> {
        let until = span.until.or_else(|| runs.iter().rev().find_map(|r| r.to.utc));
        let since = span.since.or_else(|| until.map(|u| u.plus_ms(-DEFAULT_SPAN_MS)));
        let mut chosen: Vec<Run> = Vec::new();
        for run in runs {
            let from = self.cut(run.from, since, |t, limit| t < limit);
            let to = self.cut(run.to, until, |t, limit| t > limit);
            // A boot that never knew UTC belongs where its neighbours are.
            let unknown = run.from.utc.is_none() && (!chosen.is_empty() || since.is_none());
            if (run.from.utc.is_some() || unknown) && to >= from {
                chosen.push(Run { from, to, stopped: run.stopped && to == run.to });
                match self.ranges.last_mut() {
                    Some(r) if r.boot == from.boot && r.to_ms >= from.steady.0 => {
                        r.to_ms = r.to_ms.max(to.steady.0)
                    }
                    _ => self.ranges.push(Range {
                        boot: from.boot,
                        from_ms: from.steady.0,
                        to_ms: to.steady.0,
                    }),
                }
            }
        }
        let gaps = chosen.windows(2).filter_map(|pair| {
            let [before, after] = pair else { return None };
            let blind = after.from.seconds_from(&before.to).is_none_or(|s| s > BLIND_S);
            let why = if before.stopped { "the lookout was stopped" } else { "the lookout was cut off" };
            blind.then_some(Blind { from: before.to, to: after.from, why })
        });
        let gaps = gaps.collect();
        (!chosen.is_empty()).then_some((chosen, gaps))
    }

    fn cut(&self, at: When, limit: Option<Utc>, beyond: impl Fn(Utc, Utc) -> bool) -> When {
        match (at.utc, limit) {
            (Some(t), Some(limit)) if beyond(t, limit) => {
                let steady = self.clocks.steady_ms(at.boot, limit).map_or(at.steady, terms::Moment);
                When { steady, utc: Some(limit), ..at }
            }
            _ => at,
        }
    }

    /// Reads a table's rows within the span, in order of steady time. The columns asked for follow the four of the
    /// stamp. Rows that cannot be read are counted: a damaged file still tells the rest.
    pub fn each(
        &mut self,
        table: &str,
        columns: &str,
        mut take: impl FnMut(When, &Row<'_>) -> rusqlite::Result<()>,
    ) -> rusqlite::Result<()> {
        let condition = match table {
            "event_rows" | "entry_rows" => "boot = ?1 AND steady_ms BETWEEN ?2 AND ?3 ORDER BY steady_ms, id",
            _ => &format!("{WITHIN} ORDER BY id"),
        };
        let sql =
            format!("SELECT boot, steady_ms, utc_ms, utc_source, {columns} FROM {table} WHERE {condition}");
        let mut statement = self.connection.prepare(&sql)?;
        for range in &self.ranges {
            let mut rows = statement.query([range.boot, range.from_ms, range.to_ms])?;
            loop {
                match rows.next() {
                    Ok(None) => break,
                    Ok(Some(row)) => {
                        let stamp = (|| {
                            Ok::<_, rusqlite::Error>((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?))
                        })();
                        let taken = stamp.and_then(|(boot, ms, utc, source)| {
                            take(self.clocks.when(boot, ms, utc, source), row)
                        });
                        self.unreadable += usize::from(taken.is_err());
                    }
                    // The rest of this range cannot be reached.
                    Err(_) => {
                        self.unreadable += 1;
                        break;
                    }
                }
            }
        }
        Ok(())
    }

    fn read_night(&mut self, path: &Path, runs: Vec<Run>, blind: Vec<Blind>) -> rusqlite::Result<Night> {
        let (alerts, records) = self.read_alerts()?;
        let own = self.read_own()?;
        let instruments = self.read_instruments()?;
        let remarks = self.read_remarks()?;
        let approaches = approach::read(self, &alerts, &own)?;
        let undelivered =
            self.connection.query_row("SELECT count(*) FROM delivery_rows", [], |r| r.get(0)).unwrap_or(0);
        let feeds = self.read_feeds()?;
        // At least one run was chosen.
        let (from, to) = (runs[0].from, runs[runs.len() - 1].to);
        Ok(Night {
            logbook: path.to_owned(),
            from,
            to,
            casualties: casualty::tell(&alerts, &records, &remarks),
            passage: super::Passage {
                water_nm: passage::through_water(instruments.get(&Quantity::SpeedThroughWater)),
                ..passage::sum(&own, instruments.get(&Quantity::Sog))
            },
            runs,
            blind,
            alerts,
            approaches,
            own,
            instruments,
            remarks,
            drills: self.read_drills(&to)?,
            feeds,
            undelivered,
            unreadable: self.unreadable,
        })
    }

    /// Alerts in order of their beginning, and the casualty's part of each event by its number.
    fn read_alerts(&mut self) -> rusqlite::Result<(Vec<Alert>, BTreeMap<i64, CasualtyPart>)> {
        let mut alerts: Vec<Alert> = Vec::new();
        let mut newest: BTreeMap<u32, usize> = BTreeMap::new();
        let mut records = BTreeMap::new();
        let mut bad_records = 0;
        let columns = "id, event, seq, alert, order_name, priority, state, text, exercise, own_latitude_deg,
             own_longitude_deg, mmsi, target_name, range_nm, casualty, record, crc, origin, about";
        self.each("event_rows", columns, |at, r| {
            let id: u32 = r.get(7)?;
            let (seq, event): (i64, String) = (r.get(6)?, r.get(5)?);
            let record = r.get_ref(19)?.as_str().unwrap_or("");
            let whole = r.get(20).is_ok_and(|crc: u32| crc == crc32fast::hash(record.as_bytes()));
            let record: Option<EventRecord> = serde_json::from_str(record).ok().filter(|_| whole);
            // The columns still tell what the record cannot.
            bad_records += usize::from(record.is_none());
            let (target, casualty) = record.map_or((None, None), |r| (r.target, r.casualty));
            let place = casualty.as_ref().map(|c| (c.latitude_deg, c.longitude_deg));
            let (latitude_deg, longitude_deg) =
                place.or(target.map(|t| (t.latitude_deg, t.longitude_deg))).unwrap_or_default();
            let happened = Occurrence {
                log_id: r.get(4)?,
                at,
                text: r.get(11)?,
                state: r.get(10)?,
                own: position(r.get(13)?, r.get(14)?),
                other: position(latitude_deg, longitude_deg),
                range_nm: casualty.as_ref().and_then(|c| c.range_nm).or(r.get(17)?),
                event,
            };
            if let Some(casualty) = casualty {
                records.insert(happened.log_id, casualty);
            }
            // A number is used again only after a logbook could not be read: then its first event begins it anew. A line of the
            // way back has the number of the event before it.
            let first = seq == 1 && happened.event != EventKind::Guidance.word();
            let index = newest.get(&id).copied().filter(|_| !first).unwrap_or(alerts.len());
            if index == alerts.len() {
                alerts.push(Alert {
                    id,
                    order: r.get(8)?,
                    origin: word(r, 21, ComesFrom::named)?,
                    about: word(r, 22, |about| about.parse().ok())?,
                    priority: Priority::Notice,
                    exercise: r.get(12)?,
                    mmsi: r.get::<_, Option<u32>>(15)?.and_then(Mmsi::new),
                    name: r.get(16)?,
                    casualty: r.get(18)?,
                    raised: None,
                    acknowledged: None,
                    rectified: None,
                    over: None,
                    history: Vec::new(),
                });
                newest.insert(id, index);
            }
            if let Some(alert) = alerts.get_mut(index) {
                let priority: String = r.get(9)?;
                alert.priority = alert.priority.max(read_priority(&priority));
                alert.take(happened);
            }
            Ok(())
        })?;
        self.unreadable += bad_records;
        Ok((alerts, records))
    }

    fn read_own(&mut self) -> rusqlite::Result<Vec<OwnPoint>> {
        let mut own = Vec::new();
        let (table, columns) =
            ("own_rows", "latitude_udeg, longitude_udeg, cog_ddeg, sog_ckn, heading_ddeg, feed");
        self.each(table, columns, |at, r| {
            let of = |column: usize, parts: f32| {
                r.get::<_, Option<i64>>(column).map(|v| v.map(|v| v as f32 / parts))
            };
            own.push(OwnPoint {
                at,
                position: position_udeg(r.get(4)?, r.get(5)?),
                cog_deg: of(6, 10.0)?,
                sog_kn: of(7, 100.0)?,
                heading_deg: of(8, 10.0)?,
                reckoned: r.get::<_, Option<i64>>(9)?.is_none(),
            });
            Ok(())
        })?;
        Ok(own)
    }

    fn read_instruments(&mut self) -> rusqlite::Result<BTreeMap<Quantity, Vec<Minute>>> {
        let mut instruments: BTreeMap<Quantity, Vec<Minute>> = BTreeMap::new();
        let mut known: BTreeMap<String, Option<Quantity>> = BTreeMap::new();
        let (table, columns) = ("instrument_rows", "quantity, least, mean, greatest, last");
        self.each(table, columns, |at, r| {
            let name = r.get_ref(4)?.as_str()?;
            // A quantity of another version is passed over. A month has half a million rows: names are looked up once.
            let quantity = match known.get(name) {
                Some(quantity) => *quantity,
                None => *known.entry(name.to_owned()).or_insert(Quantity::named(name)),
            };
            if let Some(quantity) = quantity {
                let last: f64 = r.get(8)?;
                let minute = Minute {
                    at,
                    least: r.get::<_, Option<f64>>(5)?.unwrap_or(last),
                    mean: r.get(6)?,
                    greatest: r.get::<_, Option<f64>>(7)?.unwrap_or(last),
                    last,
                };
                instruments.entry(quantity).or_default().push(minute);
            }
            Ok(())
        })?;
        Ok(instruments)
    }

    fn read_remarks(&mut self) -> rusqlite::Result<Vec<Remark>> {
        let mut remarks = Vec::new();
        let mut bad_facts = 0;
        self.each("entry_rows", "kind, who, text, facts", |at, r| {
            let entry = r.get_ref(7)?.as_str().ok().and_then(|facts| serde_json::from_str(facts).ok());
            // The words still tell what the facts cannot.
            bad_facts += usize::from(entry.is_none());
            remarks.push(Remark { at, kind: r.get(4)?, who: r.get(5)?, text: r.get(6)?, entry });
            Ok(())
        })?;
        self.unreadable += bad_facts;
        Ok(remarks)
    }

    /// Counts run from the beginning of a run: what is less than before belongs to a new one.
    fn read_feeds(&mut self) -> rusqlite::Result<Vec<Feed>> {
        let mut feeds: BTreeMap<String, (Feed, [i64; 4])> = BTreeMap::new();
        let (table, columns) = ("feed_rows", "feed, bytes, sentences, refused, dropped");
        self.each(table, columns, |_, r| {
            let name: String = r.get(4)?;
            let now: [i64; 4] = [r.get(5)?, r.get(6)?, r.get(7)?, r.get(8)?];
            let empty = || Feed { name: name.clone(), sentences: 0, refused: 0, dropped: 0, bytes: 0 };
            let (feed, before) = feeds.entry(name.clone()).or_insert_with(|| (empty(), [0; 4]));
            let new_run = now.iter().zip(before.iter()).any(|(n, b)| n < b);
            let base = if new_run { [0; 4] } else { *before };
            let more = |i: usize| now[i].saturating_sub(base[i]);
            feed.bytes += more(0);
            feed.sentences += more(1);
            feed.refused += more(2);
            feed.dropped += more(3);
            *before = now;
            Ok(())
        })?;
        Ok(feeds.into_values().map(|(feed, _)| feed).collect())
    }
}

/// The meaning of a column's word.
fn word<T>(r: &Row<'_>, column: usize, read: impl Fn(&str) -> Option<T>) -> rusqlite::Result<T> {
    let text = r.get_ref(column)?.as_str()?;
    let unknown = || rusqlite::Error::InvalidColumnType(column, text.to_owned(), Type::Text);
    read(text).ok_or_else(unknown)
}

fn read_priority(word: &str) -> Priority {
    Priority::named(word).unwrap_or(Priority::Notice)
}

impl Alert {
    fn take(&mut self, happened: Occurrence) {
        let at = happened.at;
        let first = |slot: &mut Option<When>| *slot = slot.or(Some(at));
        match happened.event.as_str() {
            "raised" | "noted" => first(&mut self.raised),
            "acknowledged" | "transferred" => first(&mut self.acknowledged),
            "rectified" => first(&mut self.rectified),
            // Its condition is there again.
            "repeated" | "escalated"
                if happened.state.as_deref().is_some_and(|s| s.starts_with("active")) =>
            {
                self.rectified = None;
            }
            "cleared" => {
                first(&mut self.rectified);
                self.over = Some(at);
            }
            _ => {}
        }
        self.history.push(happened);
    }
}
