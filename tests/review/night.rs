//! A night with a known truth, as the daemon would have written it.

use crate::records::{at, record, settings};
use lookout::casualty::{StandDown, Whose};
use middlewatch::logbook::{Logbook, LogbookSettings, Pace};
use record::{
    CasualtyPart, ComesFrom, Entry, EventRecord, FeedRow, Item, OwnRow, Stamp, TargetPart, TargetRow,
};
use rules::{AlertState, BuiltIn, EventKind, Priority};
use terms::{CasualtyId, Mmsi, Position, Quantity};

pub const SHIP: u32 = 235_000_017;
pub const BEACON: u32 = 972_000_001;

/// 50° N, 6.5° W at midnight, 5 kn to the north-east.
pub fn own_at(s: i64) -> Position {
    Position::new(50.0, -6.5).unwrap().at(45.0, 5.0 * s as f64 / 3600.0)
}

pub fn event(logbook: &Logbook, s: i64, record: EventRecord) {
    logbook.event(at(s), &record, Vec::new()).blocking_recv().unwrap().unwrap();
}

pub fn told(mut r: EventRecord, kind: EventKind, state: AlertState, order: &str, text: &str) -> EventRecord {
    r.event = kind;
    r.alert.state = Some(state);
    r.alert.order = order.to_owned();
    r.alert.origin = match BuiltIn::named(order) {
        _ if r.alert.exercise => ComesFrom::Exercise,
        Some(_) => ComesFrom::BuiltIn,
        None => ComesFrom::Order,
    };
    r.alert.about = match order {
        "feed silent" => Item::Feed("masthead".to_owned()),
        "fix lost" => Item::Fix,
        _ => Item::OwnVessel,
    };
    r.alert.text = text.to_owned();
    r
}

pub fn with_ship(mut r: EventRecord) -> EventRecord {
    r.target = Some(TargetPart {
        mmsi: Mmsi::new(SHIP).unwrap(),
        name: Some("TORDIS".to_owned()),
        kind: Some("vessel".to_owned()),
        latitude_deg: Some(50.1),
        longitude_deg: Some(-6.3),
        cog_deg: None,
        sog_kn: None,
        range_nm: Some(3.0),
        bearing_deg: None,
        relative_bearing_deg: None,
        relative_to: None,
        cpa_nm: Some(0.4),
        tcpa_s: Some(700.0),
        age_s: None,
    });
    r
}

pub fn with_casualty(mut r: EventRecord, position: Option<Position>, range_nm: Option<f64>) -> EventRecord {
    r.alert.priority = Priority::EmergencyAlarm;
    r.alert.about = Item::Casualty(CasualtyId(1));
    r.casualty = Some(CasualtyPart {
        id: CasualtyId(1),
        whose: Whose::Ours,
        beacon_mmsi: Mmsi::new(BEACON),
        ship_mmsi: None,
        relayed_by_mmsi: None,
        nature: None,
        crew: Some("Ines".to_owned()),
        source: "ais".to_owned(),
        position: if position.is_some() { "reported" } else { "none" }.to_owned(),
        latitude_deg: position.map(Position::latitude_deg),
        longitude_deg: position.map(Position::longitude_deg),
        range_nm,
        bearing_deg: None,
        relative_bearing_deg: None,
        relative_to: None,
        elapsed_s: 0.0,
        elapsed_is: "exact".to_owned(),
        set_deg: None,
        drift_kn: None,
        radius95_nm: None,
        last_seen_s: None,
        missed_s: None,
        line: Vec::new(),
        elsewhere: None,
    });
    r
}

/// A logbook begun without UTC, with an alert after a minute.
pub fn begin_without_utc(path: &std::path::Path) -> Logbook {
    let (logbook, _) =
        Logbook::open(path, LogbookSettings { opened: without_utc(0), ..settings("a", 0) }).unwrap();
    let alert = record(1, 1, Priority::Alarm, 60);
    logbook.event(without_utc(60), &alert, Vec::new()).blocking_recv().unwrap().unwrap();
    logbook
}

/// A moment of which only the steady time is known.
pub fn without_utc(s: i64) -> Stamp {
    Stamp { utc: None, ..at(s) }
}

/// Six hours from midnight. 02:00 a ship passes at 0.40 nm; 03:00 somebody goes overboard and is back at 03:30; the
/// wind rises to 34 kn at 04:00; from 04:10 to 04:25 the daemon is dead; 05:00 a feed is silent for ten minutes.
pub fn write_the_night(path: &std::path::Path) {
    let fast = |s| LogbookSettings { pace: Pace::Replay, ..settings("a", s) };
    let (logbook, _) = Logbook::open(path, fast(0)).unwrap();
    hours(&logbook, 0, 15_000);
    logbook.close(at(15_000)).blocking_recv().unwrap().unwrap();
    // As a power cut leaves it.
    let file = rusqlite::Connection::open(path).unwrap();
    file.execute("UPDATE run_rows SET stopped = 0", []).unwrap();
    drop(file);
    let (logbook, _) = Logbook::open(path, fast(15_900)).unwrap();
    hours(&logbook, 15_900, 21_600);
    logbook.close(at(21_600)).blocking_recv().unwrap().unwrap();
}

pub fn hours(logbook: &Logbook, from: i64, to: i64) {
    use AlertState as S;
    use EventKind as K;
    let casualty_at = own_at(10_800);
    for s in (from..=to).step_by(10) {
        logbook.own(
            at(s),
            OwnRow {
                position: Some(own_at(s)),
                cog_deg: Some(45.0),
                sog_kn: Some(if s == 9000 { 7.5 } else { 5.0 }),
                heading_deg: Some(47.0),
            },
        );
        logbook.instrument(at(s), Quantity::TrueWindSpeed, if s == 14_400 { 34.0 } else { 12.0 });
        logbook.instrument(at(s), Quantity::TrueWindDirection, if s % 20 == 0 { 350.0 } else { 10.0 });
        // 1018 hPa, falling by 2 hPa an hour.
        logbook.instrument(at(s), Quantity::Pressure, 1018.0 - s as f64 / 1800.0);
        logbook.instrument(at(s), Quantity::DepthBelowKeel, if s == 3600 { 4.2 } else { 60.0 });
        // Crosses the bow at 10 kn: 0.40 nm off at 02:00.
        let off = 10.0 * (s - 7200) as f64 / 3600.0;
        logbook.target(
            at(s),
            TargetRow {
                mmsi: Mmsi::new(SHIP).unwrap(),
                name: Some("TORDIS".into()),
                kind: Some("vessel".into()),
                position: Some(own_at(s).at(0.0, 0.4).at(90.0, off)),
                cog_deg: Some(90.0),
                sog_kn: Some(10.0),
                range_nm: Some(0.4_f64.hypot(off)),
                bearing_deg: Some(0.0),
                cpa_nm: Some(0.4),
                tcpa_s: Some((7200 - s) as f64),
            },
        );
        let fed = FeedRow {
            feed: "masthead".into(),
            bytes: (s - from) as u64 * 80,
            sentences: (s - from) as u64,
            refused: 2,
            dropped: 0,
        };
        logbook.feed(at(s), fed);
        match s {
            6600 => event(
                logbook,
                s,
                with_ship(told(
                    record(1, 1, Priority::Alarm, s),
                    K::Raised,
                    S::ActiveUnacknowledged,
                    "close approach",
                    "TORDIS will pass at 0.4 nm",
                )),
            ),
            6640 => event(
                logbook,
                s,
                with_ship(told(
                    record(1, 2, Priority::Alarm, s),
                    K::Acknowledged,
                    S::ActiveAcknowledged,
                    "close approach",
                    "TORDIS",
                )),
            ),
            7300 => event(
                logbook,
                s,
                with_ship(told(
                    record(1, 3, Priority::Alarm, s),
                    K::Cleared,
                    S::Normal,
                    "close approach",
                    "TORDIS is past",
                )),
            ),
            10_800 => event(
                logbook,
                s,
                with_casualty(
                    told(
                        record(2, 1, Priority::EmergencyAlarm, s),
                        K::Raised,
                        S::ActiveUnacknowledged,
                        "person overboard",
                        "Ines overboard",
                    ),
                    None,
                    None,
                ),
            ),
            10_810 => event(
                logbook,
                s,
                with_casualty(
                    told(
                        record(2, 2, Priority::EmergencyAlarm, s),
                        K::Acknowledged,
                        S::ActiveAcknowledged,
                        "person overboard",
                        "Ines overboard",
                    ),
                    Some(casualty_at),
                    Some(0.02),
                ),
            ),
            12_000 => event(
                logbook,
                s,
                with_casualty(
                    told(
                        record(2, 3, Priority::EmergencyAlarm, s),
                        K::Repeated,
                        S::ActiveAcknowledged,
                        "person overboard",
                        "Ines overboard",
                    ),
                    Some(casualty_at),
                    Some(0.30),
                ),
            ),
            12_300 => event(
                logbook,
                s,
                with_casualty(
                    told(
                        record(2, 4, Priority::EmergencyAlarm, s),
                        K::Repeated,
                        S::ActiveAcknowledged,
                        "person overboard",
                        "Ines overboard",
                    ),
                    Some(casualty_at),
                    Some(0.01),
                ),
            ),
            12_600 => {
                let (casualty, reason, who) = (CasualtyId(1), StandDown::Recovered, Some("Jorn".to_owned()));
                logbook.entry(at(s), Entry::StandDown { casualty, reason, who });
                event(
                    logbook,
                    s,
                    with_casualty(
                        told(
                            record(2, 5, Priority::EmergencyAlarm, s),
                            K::Cleared,
                            S::Normal,
                            "person overboard",
                            "stood down",
                        ),
                        Some(casualty_at),
                        Some(0.02),
                    ),
                );
            }
            18_000 => event(
                logbook,
                s,
                told(
                    record(3, 1, Priority::Warning, s),
                    K::Raised,
                    S::ActiveUnacknowledged,
                    "feed silent",
                    "masthead says nothing",
                ),
            ),
            18_600 => event(
                logbook,
                s,
                told(
                    record(3, 2, Priority::Warning, s),
                    K::Rectified,
                    S::RectifiedUnacknowledged,
                    "feed silent",
                    "masthead is back",
                ),
            ),
            _ => {}
        }
    }
}
