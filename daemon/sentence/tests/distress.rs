//! People overboard and distress calls by sentence: IEC 61162-1 clause 8.3, ITU-R M.493.

use crate::support::{near, read, said};
use sentence::{CallExpansion, Distress, MobStatus, Overboard, Report, SelectiveCall, SentTime, encode};
use terms::{Mmsi, Position, Utc};

fn call(line: &str) -> SelectiveCall {
    match read(line) {
        Ok(Report::SelectiveCall(call)) => call,
        other => panic!("{line}: {other:?}"),
    }
}

fn mob(body: &str) -> Overboard {
    match said(body) {
        Report::Overboard(mob) => mob,
        other => panic!("{body}: {other:?}"),
    }
}

fn at(position: Option<Position>, latitude_deg: f64, longitude_deg: f64) -> bool {
    near(position.map(Position::latitude_deg), latitude_deg, 1e-6)
        && near(position.map(Position::longitude_deg), longitude_deg, 1e-6)
}

/// Examples quoted as the standard's own; their checksums are right.
#[test]
fn calls_of_the_standard() {
    let sinking = call("$CVDSC,12,3601234560,12,05,00,1474712519,0817,,,S,E,*51");
    assert_eq!(
        (sinking.format, sinking.category, sinking.nature),
        (Some(12), Some(12), Some(Distress::Sinking))
    );
    assert_eq!((sinking.caller, sinking.casualty), (Mmsi::new(360_123_456), None));
    assert!(at(sinking.position, 47.0 + 47.0 / 60.0, -(125.0 + 19.0 / 60.0)));
    assert_eq!(sinking.position_of_day_min, Some(8 * 60 + 17));
    assert_eq!((sinking.acknowledgement, sinking.expansion_follows), (Some('S'), true));

    let relay = call("$CTDSC,16,0112345670,12,12,09,1474712219,1234,9991212120,00,S*19");
    assert_eq!((relay.format, relay.casualty), (Some(16), Mmsi::new(999_121_212)));
    assert_eq!((relay.caller, relay.nature), (Mmsi::new(11_234_567), Some(Distress::Fire)));
    assert_eq!((relay.telecommand, relay.acknowledgement), (Some(12), Some('S')));
    assert!(at(relay.position, 47.0 + 47.0 / 60.0, -(122.0 + 19.0 / 60.0)));
}

#[test]
fn a_call_and_its_expansion() {
    let adrift = call("$CDDSC,12,3380400790,12,06,00,1423108312,2019,,,S,E*6A");
    assert_eq!((adrift.caller, adrift.nature), (Mmsi::new(338_040_079), Some(Distress::Adrift)));
    let Ok(Report::CallExpansion(more)) = read("$CDDSE,1,1,A,3380400790,00,45894494*1B") else { panic!() };
    assert_eq!(
        more,
        CallExpansion {
            caller: Mmsi::new(338_040_079),
            latitude_extra_min: Some(0.4589),
            longitude_extra_min: Some(0.4494),
        }
    );
}

/// Nature 110 is man overboard (ITU-R M.493, from memory).
#[test]
fn natures_and_what_is_missing() {
    let nature = |field: &str| match said(&format!("$CVDSC,12,3601234560,12,{field},00,9999999999,8888,,,S,"))
    {
        Report::SelectiveCall(call) => (call.nature, call.position, call.position_of_day_min),
        other => panic!("{other:?}"),
    };
    assert_eq!(nature("10"), (Some(Distress::ManOverboard), None, None));
    assert_eq!(nature("12").0, Some(Distress::EpirbEmission));
    assert_eq!((nature("11").0, nature("13").0, nature("").0), (None, None, None));
    // A routine call: the field of the position is a channel, and nobody is in distress.
    let Report::SelectiveCall(routine) = said("$CDDSC,20,3380400790,00,21,26,1423108312,2019,,,B,") else {
        panic!()
    };
    assert_eq!((routine.position, routine.nature, routine.telecommand), (None, None, Some(21)));
}

/// Fields in the order of pynmeagps; the values are made.
#[test]
fn overboard() {
    let m = mob("$AIMOB,07E1A,A,021407.00,1,011126,021410,4916.4500,N,12311.1200,W,270.0,0.6,972123456,0");
    assert_eq!((m.emitter.as_deref(), m.status), (Some("07E1A"), MobStatus::Active));
    assert_eq!((m.activated_of_day_ms, m.position_from_emitter), (Some(8_047_000), Some(true)));
    assert_eq!(m.time, Utc::parse("2026-11-01T02:14:10Z").map(SentTime::Utc));
    assert!(at(m.position, 49.274_166_667, -123.185_333_333));
    assert_eq!((m.cog_deg, m.sog_kn, m.mmsi), (Some(270.0), Some(0.6), Mmsi::new(972_123_456)));
    assert_eq!(m.battery_low, Some(false));
    // Two libraries read the date as a count of days: then the time has no date.
    let m = mob("$AIMOB,07E1A,M,021407,0,1,021410,,,,,,,,1");
    assert_eq!((m.status, m.time), (MobStatus::Manual, Some(SentTime::OfDayMs(8_050_000))));
    assert_eq!((m.position, m.mmsi, m.battery_low), (None, None, Some(true)));
    assert_eq!(mob("$AIMOB,,T").status, MobStatus::Test);
    assert_eq!(mob("$AIMOB,,V").status, MobStatus::NotInUse);
    // An unknown status is taken for the worst.
    assert_eq!((mob("$AIMOB,,").status, mob("$AIMOB,,X").status), (MobStatus::Active, MobStatus::Active));
    assert_eq!(mob("$AIMOB,,A,,,,,,,,,,,000000000,").mmsi, None);
}

#[test]
fn what_is_written_is_read_again() {
    let m = Overboard {
        emitter: Some("07E1A".to_owned()),
        status: MobStatus::Active,
        activated_of_day_ms: Some(8_047_000),
        position_from_emitter: Some(true),
        time: Utc::parse("2026-11-01T02:14:10.25Z").map(SentTime::Utc),
        position: Position::new(-0.5, 179.25).ok(),
        sog_kn: Some(0.6),
        cog_deg: Some(270.0),
        mmsi: Mmsi::new(972_123_456),
        battery_low: Some(true),
    };
    assert_eq!(read(&encode::mob("AI", &m)), Ok(Report::Overboard(m)));
    let mut c = SelectiveCall {
        format: Some(12),
        caller: Mmsi::new(11_234_567),
        category: Some(12),
        nature: Some(Distress::ManOverboard),
        telecommand: None,
        position: Position::new(-(19.0 / 60.0), 10.0 + 59.0 / 60.0).ok(),
        position_of_day_min: Some(134),
        casualty: None,
        acknowledgement: Some('S'),
        expansion_follows: true,
    };
    assert_eq!(call(&encode::dsc("CD", &c)), c);
    (c.format, c.telecommand, c.casualty) = (Some(16), Some(12), Mmsi::new(211_000_001));
    assert_eq!(call(&encode::dsc("CD", &c)), c);
}
