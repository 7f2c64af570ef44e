//! MOB sentences and digital selective calls.

use super::*;

#[test]
fn mob_sentences_raise_by_a_and_m_only() {
    for (status, expected) in [
        (MobStatus::Active, vec![1]),
        (MobStatus::Manual, vec![1]),
        (MobStatus::Test, vec![]),
        (MobStatus::NotInUse, vec![]),
    ] {
        let mut c = Casualties::new(crew());
        assert!(c.hear(s(0.0), &mob(status, "0A1B2", None, true), &own(s(0.0))));
        assert_eq!(raised(&mut c), expected, "{status:?}");
    }
    let mut c = Casualties::new(crew());
    let Report::Overboard(mut o) = mob(MobStatus::Active, "1", Some(here()), true) else { unreachable!() };
    o.activated_of_day_ms = Some(3_600_000 + 50 * 60_000);
    o.time = Some(SentTime::OfDayMs(3_600_000 + 58 * 60_000));
    c.hear(s(0.0), &Report::Overboard(o), &own(s(0.0)));
    let state = c.state(s(0.0), CasualtyId(1), &own(s(0.0))).unwrap();
    assert_eq!((state.source, state.emitter.as_deref()), (Source::MobSentence, Some("1")));
    assert_eq!(state.elapsed, Duration::from_secs(600), "activated at 01:50, heard at 02:00");
    assert_eq!(state.fix_age, Some(Duration::from_secs(120)), "measured at 01:58");
    c.hear(s(1.0), &mob(MobStatus::NotInUse, "1", None, true), &own(s(1.0)));
    c.hear(s(2.0), &mob(MobStatus::Active, "2", None, true), &own(s(2.0)));
    c.hear(s(3.0), &mob(MobStatus::Active, "1", None, true), &own(s(3.0)));
    assert_eq!(c.states(s(3.0), &own(s(3.0))).len(), 2, "two emitters are two, and neither ends");
    // The same person's AIS beacon joins one of them; the sentence goes on meaning the same.
    c.hear_ais(s(30.0), &beacon(972_123_456, Some(14), Some(here())), &own(s(30.0)));
    c.hear(s(31.0), &mob(MobStatus::Active, "1", None, true), &own(s(31.0)));
    c.hear(s(31.0), &mob(MobStatus::Active, "2", None, true), &own(s(31.0)));
    assert_eq!(c.states(s(31.0), &own(s(31.0))).len(), 2);
}

#[test]
fn calls_raise_by_their_nature_and_acknowledgements_end_nothing() {
    let mut c = Casualties::new(crew());
    let place = Position::new(49.5, -6.0).unwrap();
    let distress = |n: Distress| call(12, 360_123_456, Some(n), Some(place));
    c.hear(s(0.0), &Report::SelectiveCall(distress(Distress::Sinking)), &own(s(0.0)));
    let state = c.state(s(0.0), CasualtyId(1), &own(s(0.0))).unwrap();
    assert_eq!(state.kind, Kind::VesselInDistress(Distress::Sinking));
    assert_eq!((state.position, state.place), (Placed::Estimated, Some(place)), "whole minutes are no fix");
    assert!(state.radius95_nm.unwrap() > 0.5 && state.fix_age.is_none());
    c.hear(s(60.0), &Report::SelectiveCall(distress(Distress::ManOverboard)), &own(s(60.0)));
    assert_eq!(raised(&mut c), [1]);
    assert_eq!(c.state(s(60.0), CasualtyId(1), &own(s(60.0))).unwrap().kind, Kind::PersonOverboard);
    // Acknowledged by a coast station, cancelled by herself.
    for caller in [2_320_718, 360_123_456] {
        let mut ack = call(16, caller, Some(Distress::Sinking), None);
        (ack.telecommand, ack.casualty) = (Some(10), Mmsi::new(360_123_456));
        c.hear(s(70.0), &Report::SelectiveCall(ack), &own(s(70.0)));
    }
    assert_eq!(c.states(s(70.0), &own(s(70.0))).len(), 1);
    assert!(c.take_news().iter().any(|n| matches!(n, News::Noted { text, .. } if text.contains("stands"))));
    // A relay names the casualty, not the relaying station; a routine call and a test call are nothing.
    let mut relay = call(16, 2_320_718, Some(Distress::Fire), Some(place));
    (relay.telecommand, relay.casualty) = (Some(12), Mmsi::new(999_121_212));
    c.hear(s(80.0), &Report::SelectiveCall(relay), &own(s(80.0)));
    assert_eq!(c.states(s(80.0), &own(s(80.0)))[1].beacon_mmsi, Mmsi::new(999_121_212));
    for category in [Some(0), Some(8), None] {
        let routine = SelectiveCall { format: Some(20), category, ..call(20, 257_000_001, None, None) };
        assert!(!c.hear(s(90.0), &Report::SelectiveCall(routine), &own(s(90.0))));
    }
    assert_eq!(raised(&mut c), [2]);
}

#[test]
fn a_refined_call_is_a_fix() {
    let mut c = Casualties::new(crew());
    let place = Position::new(-49.5, -6.0).unwrap();
    let distress = call(12, 360_123_456, Some(Distress::ManOverboard), Some(place));
    c.hear(s(0.0), &Report::SelectiveCall(distress), &own(s(0.0)));
    let extra = |caller: u32| {
        Report::CallExpansion(CallExpansion {
            caller: Mmsi::new(caller),
            latitude_extra_min: Some(0.4589),
            longitude_extra_min: Some(0.4494),
        })
    };
    c.hear(s(1.0), &extra(360_000_000), &own(s(1.0)));
    assert_eq!(c.state(s(1.0), CasualtyId(1), &own(s(1.0))).unwrap().position, Placed::Estimated);
    c.hear(s(1.0), &extra(360_123_456), &own(s(1.0)));
    let state = c.state(s(1.0), CasualtyId(1), &own(s(1.0))).unwrap();
    assert_eq!(state.position, Placed::Reported);
    let refined = Position::new(-49.5 - 0.4589 / 60.0, -6.0 - 0.4494 / 60.0).unwrap();
    assert!(state.place.unwrap().range_and_bearing(refined).0 < 1e-6);
}
