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
    // Nobody is in distress in a routine call.
    let Report::SelectiveCall(routine) = said("$CDDSC,20,3380400790,00,21,26,1423108312,2019,,,B,") else {
        panic!()
    };
    assert_eq!((routine.nature, routine.telecommand, routine.channel), (None, Some(21), None));
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
        channel: None,
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

/// The first is a radio's own, quoted by a library; the others are made.
#[test]
fn a_routine_call_has_a_channel_or_a_position() {
    let told = call("$CDDSC,20,3380400790,00,21,26,1423108312,2021,,,B,E*73");
    assert!(at(told.position, 42.0 + 31.0 / 60.0, -(83.0 + 12.0 / 60.0)));
    assert_eq!((told.position_of_day_min, told.acknowledgement), (Some(20 * 60 + 21), Some('B')));
    let Ok(Report::CallExpansion(more)) = read("$CDDSE,1,1,A,3380400790,00,46504437*15") else { panic!() };
    assert!(at(more.refined(told.position.unwrap()), 42.0 + 31.465 / 60.0, -(83.0 + 12.4437 / 60.0)));
    let channel = |field: &str| match said(&format!("$CDDSC,20,2110000010,00,00,26,{field},,,,R,")) {
        Report::SelectiveCall(call) => (call.channel, call.position),
        other => panic!("{other:?}"),
    };
    for (field, channel_of_it) in [
        ("900006", Some("channel 06")),
        ("900072900072", Some("channel 72")),
        ("021820", Some("2182 kHz")),
        ("082915082915", Some("8291.5 kHz")),
        ("300401", Some("HF channel 401")),
        ("", None),
        ("900000", None),
        ("90006", None),
        ("1423108312", None),
    ] {
        assert_eq!(channel(field), (channel_of_it.map(str::to_owned), None), "{field}");
    }
}

/// Both forms; the checksums of the quoted lines are right.
#[test]
fn navtex_in_both_forms() {
    let part = |line: &str| match read(line) {
        Ok(Report::Navtex(part)) => part,
        other => panic!("{line}: {other:?}"),
    };
    let first = part("$CRNRX,007,001,00,IE69,1,135600,27,06,2001,241,3,A,============================*09");
    assert_eq!((first.parts, first.part, first.sequence), (7, 1, Some(0)));
    assert_eq!(first.identity.map(|i| i.to_string()).as_deref(), Some("IE69"));
    assert_eq!((first.frequency_khz, first.received), (Some(490.0), Utc::parse("2001-06-27T13:56:00Z")));
    assert!(near(first.wrong_percent, 3.0 / 241.0 * 100.0, 1e-9));
    assert_eq!(first.text, "=".repeat(28));
    let second = part("$CRNRX,007,002,00,,,,,,,,,,========^0D^0AISSUED ON SATURDAY 06 JANUARY 2001.*29");
    assert_eq!((second.part, second.identity, second.sequence), (2, None, Some(0)));
    assert_eq!(second.text, "========  ISSUED ON SATURDAY 06 JANUARY 2001.");
    let older = part("$NXNRX,TA21,1,4,518,10,01,2005,102000,2.2,291600 UTC JAN =*41");
    assert_eq!((older.parts, older.part, older.sequence), (4, 1, None));
    assert_eq!((older.frequency_khz, older.wrong_percent), (Some(518.0), Some(2.2)));
    assert_eq!(
        (older.received, older.text.as_str()),
        (Utc::parse("2005-01-10T10:20:00Z"), "291600 UTC JAN =")
    );
    // What does not say which part it is, is none.
    for body in
        ["$CRNRX,2,3,00,IE69,1,,,,,,,A,X", "$CRNRX,,1,00,IE69,1,,,,,,,A,X", "$CRNRX", "$NXNRX,TA21,0,4,518"]
    {
        assert_eq!(said(body), Report::Unread, "{body}");
    }
}

/// Made, and read back by pyais and libais.
#[test]
fn area_notices_of_a_person_overboard_and_of_a_search() {
    let notice = |line: &str| match read(line) {
        Ok(Report::Ais(report)) => report.area_notice.unwrap(),
        other => panic!("{line}: {other:?}"),
    };
    let overboard = notice("!AIVDM,1,1,,A,839>Jh@0EP1UF4Ah07POfuEQDu0l1T000,0*75");
    assert_eq!((overboard.kind, overboard.duration_min, overboard.radius_m), (74, Some(60), Some(1000.0)));
    assert!(near(overboard.position.map(Position::latitude_deg), 46.395_83, 1e-4));
    assert!(near(overboard.position.map(Position::longitude_deg), -9.307, 1e-4));
    let search = notice("!AIVDM,1,1,,A,839>Jh@0EP2Un4Ah07POfuEQDu0l>4000,0*31");
    assert_eq!((search.kind, search.radius_m), (75, Some(9000.0)));
    // Another application of message 8.
    let Ok(Report::Ais(text)) = read("!AIVDM,1,1,,A,839>Jh@0G@1@5BC?>P?F5B2?1B4,0*2F") else { panic!() };
    assert_eq!(text.area_notice, None);
}
