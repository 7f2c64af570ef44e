//! Sample records: the words of a trial, and an example of every field.

use crate::{AlertPart, CasualtyPart, ComesFrom, EventRecord, Item, OwnPart, TargetPart};
use lookout::casualty::{RelativeTo, Whose};
use rules::{AlertId, EventKind, Priority};
use terms::{CasualtyId, Mmsi};

/// Takes the place of an order's name.
pub const ORDER: &str = "signal test";

/// A record that announces a test and nothing more.
pub fn record() -> EventRecord {
    EventRecord {
        version: 1,
        log_id: None,
        seq: 1,
        event: EventKind::Noted,
        at: None,
        steady_s: 0.0,
        alert: AlertPart {
            id: AlertId(0),
            order: ORDER.into(),
            origin: ComesFrom::Exercise,
            about: Item::Lookout,
            priority: Priority::Notice,
            state: None,
            text: "This is a test of the signal.".into(),
            spoken: "This is a test of the signal.".into(),
            exercise: true,
        },
        own: OwnPart::default(),
        target: None,
        casualty: None,
    }
}

/// A target with every field set.
pub fn target() -> Option<TargetPart> {
    Some(TargetPart {
        mmsi: Mmsi::new(211_000_001)?,
        name: Some("Wendelin".into()),
        kind: Some("sailing vessel".into()),
        latitude_deg: Some(54.5),
        longitude_deg: Some(10.25),
        cog_deg: Some(90.0),
        sog_kn: Some(5.5),
        range_nm: Some(1.5),
        bearing_deg: Some(45.0),
        relative_bearing_deg: Some(315.0),
        relative_to: Some(RelativeTo::Heading),
        cpa_nm: Some(0.25),
        tcpa_s: Some(600.0),
        age_s: Some(4.0),
    })
}

/// A casualty with every field set.
pub fn casualty() -> CasualtyPart {
    CasualtyPart {
        id: CasualtyId(1),
        whose: Whose::Ours,
        beacon_mmsi: None,
        ship_mmsi: None,
        relayed_by_mmsi: None,
        nature: None,
        crew: Some("Ada".into()),
        source: "ais".into(),
        position: "reported".into(),
        latitude_deg: Some(54.5),
        longitude_deg: Some(10.25),
        range_nm: Some(0.25),
        bearing_deg: Some(45.0),
        relative_bearing_deg: Some(315.0),
        relative_to: Some(RelativeTo::Heading),
        elapsed_s: 30.0,
        elapsed_is: "exact".into(),
        set_deg: Some(20.0),
        drift_kn: Some(0.5),
        radius95_nm: Some(0.03),
        last_seen_s: None,
        missed_s: None,
        line: Vec::new(),
        elsewhere: None,
    }
}
