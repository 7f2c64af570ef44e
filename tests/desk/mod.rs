//! A desk for the logbook's tests: a directory of its own, and records to write.

use middlewatch::event::{AlertPart, EventRecord, OwnPart};
use middlewatch::logbook::{Delivery, Logbook, LogbookSettings, Pace, Recovered, Stamp};
use rules::{AlertId, AlertState, EventKind, Priority};
use std::path::{Path, PathBuf};
use terms::{Moment, Utc, UtcSource};

/// A directory of its own for a test, removed at the end.
pub struct Desk(pub PathBuf);

impl Desk {
    pub fn new(name: &str) -> Self {
        let dir = std::env::temp_dir().join(format!("middlewatch-{name}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&dir);
        std::fs::create_dir_all(&dir).unwrap();
        Self(dir)
    }

    pub fn file(&self) -> PathBuf {
        self.0.join("logbook.db")
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// 2026-11-01T00:00:00Z (`date -u -d 2026-11-01 +%s` prints 1793491200).
pub const EVENING: i64 = 1_793_491_200_000;

/// So many seconds of steady time, and of that evening.
pub fn at(s: i64) -> Stamp {
    Stamp { steady: Moment(s * 1000), utc: Some((Utc(EVENING + s * 1000), UtcSource::Satellite)) }
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
            priority,
            state: Some(AlertState::ActiveUnacknowledged),
            text: format!("alert {alert}"),
            exercise: false,
        },
        own: OwnPart::default(),
        target: None,
        casualty: None,
    }
}

pub fn to(signal: &str) -> Vec<Delivery> {
    vec![Delivery { signal: signal.to_owned(), body: None }]
}
