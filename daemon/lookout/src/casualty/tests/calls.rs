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
    let lost = c.state(s(60.0), CasualtyId(1), &own(s(60.0))).unwrap();
    assert_eq!((lost.kind, lost.whose), (Kind::VesselInDistress(Distress::ManOverboard), Whose::Ship));
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
    let relayed = &c.states(s(80.0), &own(s(80.0)))[1];
    assert_eq!((relayed.ship_mmsi, relayed.beacon_mmsi), (Mmsi::new(999_121_212), None));
    assert_eq!((relayed.whose, relayed.relayed_by), (Whose::Relayed, Mmsi::new(2_320_718)));
    assert_eq!(
        who(relayed),
        "vessel 999121212 in distress, fire or explosion, relayed by coast station 002320718"
    );
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

#[test]
fn each_knows_whose_it_is_and_only_ours_is_placed_by_own_track() {
    let at = s(200.0);
    let own = OwnContext { mmsi: Some(mmsi(211_000_010)), ..own(at) };
    let of = |report: &Report| {
        let mut c = Casualties::new(crew());
        (0..=200).for_each(|t| c.advance(s(f64::from(t)), &super::own(s(f64::from(t)))));
        c.hear(at, report, &own);
        c.states(at, &own).pop().unwrap()
    };
    let ais = |number: u32| of(&Report::Ais(Box::new(beacon(number, Some(14), None))));
    let dsc =
        |caller: u32, nature: Distress| of(&Report::SelectiveCall(call(12, caller, Some(nature), None)));
    for (state, whose, spoken) in [
        (ais(ADA), Whose::Ours, "Man overboard, Ada."),
        (ais(972_123_456), Whose::Stranger, "Man overboard, unknown beacon."),
        (ais(970_123_456), Whose::Sart, "Search and rescue transmitter heard."),
        (ais(974_123_456), Whose::Epirb, "EPIRB heard."),
        (of(&mob(MobStatus::Active, "1", None, true)), Whose::Ours, "Man overboard."),
        (dsc(211_000_010, Distress::ManOverboard), Whose::Ours, "Man overboard."),
        (dsc(360_123_456, Distress::ManOverboard), Whose::Ship, "Vessel in distress, person overboard."),
        (dsc(360_123_456, Distress::Grounding), Whose::Ship, "Vessel in distress, aground."),
        (dsc(972_123_456, Distress::ManOverboard), Whose::Stranger, "Man overboard, unknown beacon."),
    ] {
        assert_eq!(state.whose, whose, "{state:?}");
        assert!(aloud(&state, None).starts_with(spoken), "{}", aloud(&state, None));
        let by_track = state.source != Source::Dsc && whose == Whose::Ours;
        assert_eq!(state.place.is_some(), by_track, "{state:?}");
        let ship = state.ship_mmsi.is_some();
        assert!(!(ship && in_full(&state).contains("beacon")), "{}", in_full(&state));
    }
}

#[test]
fn a_button_makes_an_unknown_beacon_ours() {
    let mut c = Casualties::new(crew());
    c.hear_ais(s(0.0), &beacon(972_123_456, Some(14), None), &own(s(0.0)));
    assert_eq!(who(&c.states(s(0.0), &own(s(0.0)))[0]), "person overboard, unknown beacon 972123456");
    c.overboard(s(20.0), Duration::ZERO, None, &own(s(20.0)));
    let state = &c.states(s(20.0), &own(s(20.0)))[0];
    assert_eq!((state.whose, state.position), (Whose::Ours, Placed::Estimated));
    assert_eq!(who(state), "person overboard, beacon 972123456");
}

#[test]
fn a_relay_is_not_the_distress_of_who_relays_it() {
    // Relay by another ship, read by pynmeagps: $CDDSC,16,2110000010,12,12,00,1462300918,0214,2440000010,10,S,*2F
    let mut c = Casualties::new(crew());
    let place = Position::new(46.0 + 23.0 / 60.0, -9.0 - 18.0 / 60.0).unwrap();
    let mut relay = call(16, 211_000_001, Some(Distress::ManOverboard), Some(place));
    (relay.telecommand, relay.casualty) = (Some(12), Mmsi::new(244_000_001));
    c.hear(s(0.0), &Report::SelectiveCall(relay.clone()), &own(s(0.0)));
    let words = "vessel 244000001 in distress, person overboard, relayed by ship 211000001";
    assert_eq!(who(&c.states(s(0.0), &own(s(0.0)))[0]), words);
    // Then by herself, and relayed again: it stays her own.
    c.hear(
        s(60.0),
        &Report::SelectiveCall(call(12, 244_000_001, Some(Distress::ManOverboard), None)),
        &own(s(60.0)),
    );
    c.hear(s(70.0), &Report::SelectiveCall(relay), &own(s(70.0)));
    let state = &c.states(s(70.0), &own(s(70.0)))[0];
    assert_eq!((state.whose, state.relayed_by), (Whose::Ship, None));
    // Of a vessel that nobody knows.
    let mut unknown = call(16, 2_320_718, Some(Distress::Sinking), Some(place));
    unknown.telecommand = Some(12);
    c.hear(s(80.0), &Report::SelectiveCall(unknown), &own(s(80.0)));
    let state = &c.states(s(80.0), &own(s(80.0)))[1];
    assert_eq!(who(state), "unidentified vessel in distress, sinking, relayed by coast station 002320718");
    assert_eq!(state.ship_mmsi, None);
}

#[test]
fn a_vessel_aground_stays_where_she_is() {
    let mut c = Casualties::new(crew());
    let place = Position::new(49.5, -6.0).unwrap();
    let at = |hours: f64| s(hours * 3600.0);
    c.hear(
        at(0.0),
        &Report::SelectiveCall(call(12, 360_123_456, Some(Distress::Grounding), Some(place))),
        &own(at(0.0)),
    );
    let state = c.state(at(6.0), CasualtyId(1), &own(at(6.0))).unwrap();
    assert_eq!((state.place, state.drift), (Some(place), None));
    assert!(c.datum(at(6.0), CasualtyId(1)).is_none());
}

#[test]
fn whatever_is_known_the_spoken_line_has_twenty_words_and_says_where() {
    let mut c = Casualties::new(crew());
    c.hear_ais(s(0.0), &beacon(ADA, Some(14), Some(here().at(90.0, 1.0))), &own(s(0.0)));
    let some = c.states(s(0.0), &own(s(0.0))).pop().unwrap();
    let natures = [Distress::Listing, Distress::Piracy, Distress::Undesignated, Distress::Grounding];
    let ships = natures.map(|n| (Kind::VesselInDistress(n), Whose::Ship)).into_iter();
    let relayed = natures.map(|n| (Kind::VesselInDistress(n), Whose::Relayed)).into_iter();
    let others = [
        (Kind::PersonOverboard, Whose::Ours),
        (Kind::PersonOverboard, Whose::Stranger),
        (Kind::Sart, Whose::Sart),
        (Kind::Epirb, Whose::Epirb),
    ];
    for (kind, whose) in ships.chain(relayed).chain(others) {
        for range_nm in
            [None, Some(0.01), Some(0.13), Some(0.24), Some(0.3), Some(0.74), Some(2.5), Some(27.0)]
        {
            for relative in [None, Some(0.0), Some(43.0), Some(317.0), Some(90.0), Some(130.0), Some(180.0)] {
                for (closing_kn, fix_min) in [(None, 0), (Some(4.0), 0), (Some(-4.0), 25), (Some(4.0), 300)] {
                    let state = CasualtyState {
                        kind,
                        whose,
                        crew: (whose == Whose::Ours).then(|| "Maria Magdalena Theodora".to_owned()),
                        range_nm,
                        radius95_nm: Some(0.002),
                        bearing_deg: Some(123.0),
                        relative_bearing_deg: relative,
                        closing_kn,
                        fix_age: Some(Duration::from_secs(fix_min * 60)),
                        ..some.clone()
                    };
                    let said = aloud(&state, None);
                    assert!(terms::speech::words(&said) <= terms::speech::MOST_WORDS, "{said}");
                    let far = terms::speech::distance(range_nm.unwrap_or_default());
                    let placed = ["position not known", "Position not known", "Close by", far.as_str()];
                    assert!(placed.iter().any(|p| said.contains(p)), "{said}");
                }
            }
        }
    }
}
