//! Records for the logbook's tests to write, and a small disk to write them on.

use middlewatch::logbook::{Logbook, LogbookError, LogbookSettings, Pace, Recovered};
use record::{AlertPart, ComesFrom, EventRecord, Item, OwnPart, OwnRow, Stamp, TargetRow};
use rules::{AlertId, AlertState, EventKind, Priority};
use std::path::Path;
use std::time::Duration;
use terms::{Mmsi, Moment, Position, Utc, UtcSource};

/// A disk of a size in KiB, gone at the end.
pub struct Disk<'a>(&'a std::path::Path);

impl<'a> Disk<'a> {
    pub fn new(at: &'a std::path::Path, kib: u32) -> Self {
        std::fs::create_dir_all(at).unwrap();
        let disk = Self(at);
        disk.mount(&format!("size={kib}k"));
        disk
    }

    pub fn mount(&self, options: &str) {
        let done = std::process::Command::new("mount")
            .args(["-t", "tmpfs", "-o", options, "none"])
            .arg(self.0)
            .status()
            .unwrap();
        assert!(done.success());
    }
}

impl Drop for Disk<'_> {
    fn drop(&mut self) {
        let _ = std::process::Command::new("umount").arg(self.0).status();
    }
}

/// 2026-11-01T00:00:00Z (`date -u -d 2026-11-01 +%s` prints 1793491200).
pub const EVENING: i64 = 1_793_491_200_000;

/// So many seconds of steady time, and of that evening.
pub fn at(s: i64) -> Stamp {
    Stamp { steady: Moment(s * 1000), utc: Some((Utc(EVENING + s * 1000), UtcSource::Satellite)), feed: None }
}

pub fn settings(boot: &str, s: i64) -> LogbookSettings {
    LogbookSettings { boot: Some(boot.to_owned()), opened: at(s), pace: Pace::Live, limit_bytes: None }
}

pub fn open(path: &Path, boot: &str, s: i64) -> (Logbook, Recovered) {
    Logbook::open(path, settings(boot, s)).unwrap()
}

/// The first event of an alert, or a later one.
pub fn record(alert: u32, seq: u32, priority: Priority, s: i64) -> EventRecord {
    EventRecord {
        version: 1,
        log_id: None,
        seq,
        event: if seq == 1 { EventKind::Raised } else { EventKind::Repeated },
        at: Some(Utc(EVENING + s * 1000)),
        steady_s: s as f64,
        alert: AlertPart {
            id: AlertId(alert),
            order: "close approach".to_owned(),
            origin: ComesFrom::Order,
            about: Item::OwnVessel,
            priority,
            state: Some(AlertState::ActiveUnacknowledged),
            text: format!("alert {alert}"),
            spoken: format!("alert {alert}"),
            exercise: false,
        },
        own: OwnPart::default(),
        target: None,
        casualty: None,
    }
}

pub fn to(signal: &str) -> Vec<String> {
    vec![signal.to_owned()]
}

pub fn log(logbook: &Logbook, alert: u32, priority: Priority, s: i64) -> Result<i64, LogbookError> {
    logbook.event(at(s), &record(alert, 1, priority, s), to("shore")).blocking_recv().unwrap()
}

pub fn ask<T: rusqlite::types::FromSql>(path: &Path, sql: &str) -> T {
    let c = rusqlite::Connection::open_with_flags(path, rusqlite::OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap();
    c.query_row(sql, [], |r| r.get(0)).unwrap()
}

pub fn wait_for(what: &str, mut done: impl FnMut() -> bool) {
    for _ in 0..400 {
        if done() {
            return;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    panic!("{what} did not come within 20 s");
}

pub fn own(lat: f64) -> OwnRow {
    OwnRow {
        position: Some(Position::new(lat, -6.5).unwrap()),
        cog_deg: Some(41.3),
        sog_kn: Some(5.27),
        heading_deg: None,
    }
}

pub fn target(mmsi: u32, range_nm: f64) -> TargetRow {
    TargetRow {
        mmsi: Mmsi::new(mmsi).unwrap(),
        name: Some("ARGUS".into()),
        kind: None,
        position: Some(Position::new(50.0, -6.0).unwrap()),
        cog_deg: Some(181.0),
        sog_kn: Some(12.5),
        range_nm: Some(range_nm),
        bearing_deg: Some(70.0),
        cpa_nm: Some(0.4),
        tcpa_s: Some(600.0),
    }
}
