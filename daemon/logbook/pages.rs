//! Reading a spoilt file page by page. Where the tree above a page is lost, or the page that holds the schema, SQLite finds
//! none of its rows; but each page of rows can be read by itself. By SQLite's file format (sqlite.org/fileformat2.html):
//! sections 1.3 (head), 1.6 (pages of rows), 1.7 (overflow), 2.1 (records) and 4.1 (write-ahead log).

use super::error::Trouble;
use super::opening::beside;
use crate::clock::Clock;
use nix::fcntl::OFlag;
use rusqlite::types::Value;
use rusqlite::{Connection, params_from_iter};
use std::collections::BTreeMap;
use std::fs::File;
use std::os::unix::fs::{FileExt, OpenOptionsExt};
use std::path::Path;
use terms::Moment;

/// The tables whose rows are known by their form alone, whatever page they stand on.
const TABLES: [&str; 7] =
    ["state_rows", "entry_rows", "event_rows", "own_rows", "feed_rows", "instrument_rows", "target_rows"];
/// Of these the one that has no numbers of rows: it is kept in pages of keys, and its newest row counts.
const KEYED: &str = "state_rows";
/// The length of the head of a write-ahead log, and of that of each page in it.
const LOG_HEAD: usize = 32;
const FRAME_HEAD: usize = 24;
/// How a write-ahead log begins; the last bit says in which order its sums are made.
const LOG_MAGIC: u32 = 0x377f_0682;
/// The kind of page that holds rows of a table with numbers, and the one that holds those of a table without.
const LEAF: u8 = 13;
const KEYS: u8 = 10;
/// Where the head of the first page begins.
const FIRST_HEAD: usize = 100;
/// The size of a page where neither file nor log says it: SQLite's default, which every logbook has.
const PAGE: usize = 4096;
/// Longest row that is read, in bytes: none that was written comes near.
const LONGEST_ROW: usize = 1 << 20;

/// What a column of a table may hold.
#[derive(Clone, Copy)]
enum Kind {
    Whole,
    Number,
    Text,
}

struct Column {
    kind: Kind,
    required: bool,
    /// It is the row's number, which does not stand in the record.
    key: bool,
}

/// A table, and what a row must look like to be one of its.
struct Form {
    table: &'static str,
    page: u8,
    columns: Vec<Column>,
    insert: String,
    rows: u64,
}

impl Form {
    fn of(to: &Connection, table: &'static str) -> rusqlite::Result<Self> {
        let columns: Vec<Column> = to
            .prepare(&format!("SELECT type, \"notnull\", pk FROM pragma_table_info('{table}')"))?
            .query_map([], |r| {
                let kind = match r.get::<_, String>(0)?.as_str() {
                    "INTEGER" => Kind::Whole,
                    "REAL" => Kind::Number,
                    _ => Kind::Text,
                };
                Ok(Column { kind, required: r.get(1)?, key: r.get::<_, i64>(2)? > 0 && table != KEYED })
            })?
            .collect::<rusqlite::Result<_>>()?;
        let places = vec!["?"; columns.len()].join(", ");
        let newest = "ON CONFLICT DO UPDATE SET json = excluded.json, boot = excluded.boot,
                      steady_ms = excluded.steady_ms, utc_ms = excluded.utc_ms, utc_source = excluded.utc_source
                      WHERE (excluded.boot, excluded.steady_ms) > (boot, steady_ms)";
        let (page, conflict) = if table == KEYED { (KEYS, newest) } else { (LEAF, "ON CONFLICT DO NOTHING") };
        let insert = format!("INSERT INTO {table} VALUES ({places}) {conflict}");
        Ok(Self { table, page, columns, insert, rows: 0 })
    }

    fn fits(&self, row: &[Value]) -> bool {
        row.len() == self.columns.len()
            && self.columns.iter().zip(row).all(|(column, value)| match value {
                Value::Null => column.key || !column.required,
                _ if column.key => false,
                // A number without a fraction is stored as a whole one.
                Value::Integer(_) => !matches!(column.kind, Kind::Text),
                Value::Real(_) => matches!(column.kind, Kind::Number),
                Value::Text(_) => matches!(column.kind, Kind::Text),
                Value::Blob(_) => false,
            })
    }
}

/// Writes into a new logbook the rows that stand in the pages of a spoilt one and its log and are not there yet, the
/// newest pages first, until a moment. Returns how many of each table.
///
/// # Errors
/// If the new file cannot be written.
pub(super) fn scavenge(
    path: &Path,
    to: &Connection,
    end: Moment,
) -> rusqlite::Result<Vec<(&'static str, u64)>> {
    let mut forms = TABLES.iter().map(|table| Form::of(to, table)).collect::<rusqlite::Result<Vec<_>>>()?;
    let pages = Pages::of(path);
    let t = to.unchecked_transaction()?;
    let others = (1..=pages.count).rev().filter(|n| !pages.frames.contains_key(n));
    for n in pages.frames.keys().rev().copied().chain(others) {
        if Clock.now() >= end {
            break;
        }
        let (page, rows) = pages.rows(n);
        for (id, mut row) in rows {
            let mut fitting = forms.iter_mut().filter(|form| form.page == page && form.fits(&row));
            let (Some(form), None) = (fitting.next(), fitting.next()) else { continue };
            if let (Some(key), Some(id)) = (row.first_mut(), id) {
                *key = Value::Integer(id);
            }
            match t.prepare_cached(&form.insert)?.execute(params_from_iter(row)) {
                Ok(new) => form.rows += new as u64,
                Err(e) if Trouble::of(&e) == Trouble::Full => return Err(e),
                // Damage made a value of it that has no place in its column.
                Err(_) => {}
            }
        }
    }
    t.commit()?;
    Ok(forms.into_iter().map(|form| (form.table, form.rows)).collect())
}

/// A row's number, if it has one, and its values.
type Row = (Option<i64>, Vec<Value>);

/// The pages of a database file and of the write-ahead log beside it, as far as they are there.
struct Pages {
    file: Option<File>,
    log: Option<File>,
    size: usize,
    /// How many the file has.
    count: u32,
    /// Where in the log a page stands last.
    frames: BTreeMap<u32, u64>,
}

/// Opens a file that SQLite wrote, or what another program has put in its place, which may be a pipe.
fn open(path: &Path) -> Option<File> {
    let file = File::options().read(true).custom_flags(OFlag::O_NONBLOCK.bits()).open(path).ok()?;
    file.metadata().ok()?.is_file().then_some(file)
}

fn read(file: &File, at: u64, bytes: usize) -> Option<Vec<u8>> {
    let mut read = vec![0; bytes];
    file.read_exact_at(&mut read, at).ok().map(|()| read)
}

/// A number of two or four bytes, the greatest first.
fn number(bytes: &[u8], at: usize, long: usize) -> Option<usize> {
    Some(bytes.get(at..at.checked_add(long)?)?.iter().fold(0, |n, b| n << 8 | usize::from(*b)))
}

/// A number of one to nine bytes; moves on to what follows it.
fn varint(bytes: &[u8], at: &mut usize) -> Option<i64> {
    let mut n = 0_u64;
    for i in 0..9 {
        let byte = *bytes.get(*at)?;
        *at += 1;
        if i == 8 {
            n = n << 8 | u64::from(byte);
            break;
        }
        n = n << 7 | u64::from(byte & 0x7f);
        if byte & 0x80 == 0 {
            break;
        }
    }
    Some(n.cast_signed())
}

const fn is_page(size: usize) -> bool {
    size >= 512 && size <= 65_536 && size.is_power_of_two()
}

impl Pages {
    fn of(path: &Path) -> Self {
        let (file, log) = (open(path), open(&beside(path, "-wal")));
        let head = log.as_ref().and_then(|log| read(log, 0, LOG_HEAD));
        let head = head.filter(|h| number(h, 0, 4).is_some_and(|n| n & !1 == LOG_MAGIC as usize));
        let by_log = head.as_ref().and_then(|h| number(h, 8, 4));
        let by_file = file.as_ref().and_then(|f| read(f, 16, 2)).and_then(|b| number(&b, 0, 2));
        let size = [by_log, by_file].into_iter().flatten().find(|n| is_page(*n)).unwrap_or(PAGE);
        let bytes = file.as_ref().and_then(|f| f.metadata().ok()).map_or(0, |m| m.len());
        let count = u32::try_from(bytes / size as u64).unwrap_or(u32::MAX);
        let mut frames = BTreeMap::new();
        if let (Some(log), Some(head)) = (&log, &head) {
            let mut at = LOG_HEAD as u64;
            // What is left of an earlier round of the log has other salts.
            while let Some(frame) = read(log, at, FRAME_HEAD).filter(|f| f[8..16] == head[16..24]) {
                let page = number(&frame, 0, 4).and_then(|n| u32::try_from(n).ok()).unwrap_or(0);
                frames.insert(page, at + FRAME_HEAD as u64);
                at += (FRAME_HEAD + size) as u64;
            }
        }
        Self { file, log, size, count, frames }
    }

    fn page(&self, n: u32) -> Option<Vec<u8>> {
        if let Some(at) = self.frames.get(&n) {
            return read(self.log.as_ref()?, *at, self.size);
        }
        read(self.file.as_ref()?, u64::from(n.checked_sub(1)?) * self.size as u64, self.size)
    }

    /// The kind of a page, and its rows. Pages of other kinds have none.
    fn rows(&self, n: u32) -> (u8, Vec<Row>) {
        let Some(page) = self.page(n) else { return (0, Vec::new()) };
        let head = if n == 1 { FIRST_HEAD } else { 0 };
        let kind = page.get(head).copied().unwrap_or(0);
        if kind != LEAF && kind != KEYS {
            return (kind, Vec::new());
        }
        let cells = number(&page, head + 3, 2).unwrap_or(0);
        let starts = (0..cells).map_while(|i| number(&page, head + 8 + 2 * i, 2));
        (kind, starts.filter_map(|at| self.row(&page, kind, at)).collect())
    }

    fn row(&self, page: &[u8], kind: u8, mut at: usize) -> Option<Row> {
        let long = usize::try_from(varint(page, &mut at)?).ok().filter(|n| *n <= LONGEST_ROW)?;
        let id = if kind == LEAF { Some(varint(page, &mut at)?) } else { None };
        // How much of a long row stands on its own page.
        let most = if kind == LEAF { self.size - 35 } else { (self.size - 12) * 64 / 255 - 23 };
        let here = if long <= most {
            long
        } else {
            let least = (self.size - 12) * 32 / 255 - 23;
            let with_rest = least + (long - least) % (self.size - 4);
            if with_rest <= most { with_rest } else { least }
        };
        let mut record = page.get(at..at + here)?.to_vec();
        let mut next = if long > here { number(page, at + here, 4)? } else { 0 };
        while record.len() < long {
            let page = self.page(u32::try_from(next).ok()?)?;
            let part = (long - record.len()).min(self.size - 4);
            record.extend_from_slice(&page[4..4 + part]);
            next = number(&page, 0, 4)?;
        }
        Some((id, values(&record)?))
    }
}

/// The values of a record; `None` if it is none.
fn values(record: &[u8]) -> Option<Vec<Value>> {
    let mut at = 0;
    let head = usize::try_from(varint(record, &mut at)?).ok()?;
    let mut body = head;
    let mut values = Vec::new();
    while at < head {
        let kind = varint(record, &mut at)?;
        let bytes = match kind {
            0 | 8 | 9 => 0,
            1..=4 => kind as usize,
            5 => 6,
            6 | 7 => 8,
            12.. => usize::try_from((kind - 12) / 2).ok()?,
            _ => return None,
        };
        let value = record.get(body..body.checked_add(bytes)?)?;
        body += bytes;
        let whole =
            || value.iter().skip(1).fold(i64::from(value[0].cast_signed()), |n, b| n << 8 | i64::from(*b));
        values.push(match kind {
            0 => Value::Null,
            8 | 9 => Value::Integer(kind - 8),
            1..=6 => Value::Integer(whole()),
            7 => Value::Real(f64::from_be_bytes(value.try_into().ok()?)),
            n if n % 2 == 1 => Value::Text(String::from_utf8(value.to_vec()).ok()?),
            _ => Value::Blob(value.to_vec()),
        });
    }
    (at == head && body == record.len()).then_some(values)
}
