//! The sheets beside published forms. RR is the Radio Regulations as quoted by handbooks and courses, edition of WRC-12; SMCP
//! is IMO A.918(22).

use super::*;
use crate::casualty::{Casualties, CrewMember, Known, SetDrift, WindFrom, in_full};
use crate::search::{Area, Searched};
use sentence::ais::{AisReport, PositionSource};
use sentence::{Distress, Report, SelectiveCall};
use terms::{CasualtyId, Position, UtcSource};

fn here() -> Position {
    Position::new(58.0, 179.98).unwrap()
}

/// Own vessel at `here`, at 02:00 plus, wind from the west, a current given.
fn own(at: Moment) -> OwnContext {
    OwnContext {
        position: Some(Known::new(here(), at)),
        sog_kn: Some(Known::new(4.5, at)),
        cog_deg: Some(Known::new(6.4, at)),
        wind: Some(Known::new(WindFrom { from_deg: 270.0, speed_kn: 20.0 }, at)),
        water_temperature_c: Some(Known::new(10.0, at)),
        current: Some(SetDrift { set_deg: 30.0, drift_kn: 1.2 }),
        utc: Utc::parse("2026-11-01T02:00:00Z").map(|u| (u.plus_ms(at.0), UtcSource::Satellite)),
        ..OwnContext::default()
    }
}

fn vessel() -> Vessel {
    Vessel {
        name: Some("Kittiwake".into()),
        call_sign: Some("MABC1".into()),
        mmsi: Mmsi::new(211_000_010),
        persons: Some(4),
    }
}

fn sheet(at: Moment, c: &Casualties, vessel: &Vessel, own: &OwnContext, searched: &[Searched]) -> String {
    let id = CasualtyId(1);
    let datum = c.datum(at, id);
    let facts = Facts {
        vessel,
        casualty: &c.state(at, id, own).unwrap(),
        ours: c.states(at, own).iter().filter(|c| c.whose == Whose::Ours).count(),
        datum: datum.as_ref(),
        current: &c.current(own),
        searched,
        own,
    };
    brief(at, &facts)
}

fn in_order(sheet: &str, parts: &[&str]) {
    let mut from = 0;
    for part in parts {
        from += sheet[from..].find(part).unwrap_or_else(|| panic!("{part} in its order in:\n{sheet}"))
            + part.len();
    }
}

fn minutes(min: i64) -> Moment {
    Moment(min * 60_000)
}

fn call(nature: Distress, place: Option<Position>) -> SelectiveCall {
    SelectiveCall {
        format: Some(12),
        caller: Mmsi::new(360_123_456),
        category: Some(12),
        nature: Some(nature),
        telecommand: None,
        position: place,
        position_of_day_min: Some(118),
        casualty: None,
        acknowledgement: Some('S'),
        expansion_follows: false,
        channel: None,
    }
}

/// A sheet on which another vessel's distress is relayed.
fn relay(call: SelectiveCall, at: Moment) -> String {
    let mut c = Casualties::new(vec![]);
    c.hear(minutes(0), &Report::SelectiveCall(call), &own(minutes(0)));
    sheet(at, &c, &vessel(), &own(at), &[])
}

const NEVER_OF_OTHERS: [&str; 4] = ["Persons on board", "Ada", "I have lost", "No beacon heard"];

#[test]
fn one_of_ours_is_a_distress_call_and_message() {
    let mut c = Casualties::new(vec![]);
    c.overboard(minutes(0), Duration::ZERO, Some("Ada \u{7}Byron".into()), &own(minutes(0)));
    let area = Searched {
        at: minutes(20),
        centre: here(),
        area: Area::Circle { radius_nm: 0.5 },
        coverage: 1.0,
        number: 1,
    };
    let sheet = sheet(minutes(31), &c, &vessel(), &own(minutes(31)), &[area]);
    in_order(
        &sheet,
        &[
            // RR 32.13C: the signal three times, THIS IS, the name three times, call sign, MMSI if alerted by DSC.
            "MAYDAY, MAYDAY, MAYDAY.\n",
            "THIS IS Kittiwake, Kittiwake, Kittiwake, call sign MABC1, MMSI 211000010.\n",
            // RR 32.13D: the signal, name, call sign, MMSI, position, nature, assistance wanted, other information.
            "MAYDAY, Kittiwake, call sign MABC1, MMSI 211000010.\n",
            "My position 58°00.00′N 179°58.80′E at 02:31 UTC, course 006 degrees, ground speed 4.5 knots.\n",
            // SMCP A1/1: "I have lost person(s) overboard in position …".
            "Person overboard. I have lost 1 person overboard.\n",
            "Last known position 58°00.00′N 179°58.80′E at 02:00 UTC.\n",
            "Estimated position now 58°00.54′N 179°59.62′E, set 039 degrees, drift 1.3 knots.\n",
            "I require assistance with the search",
            "Persons on board before the casualty: 4.\n",
            "OVER.\n",
            "When the coordinator asks",
            "Ada  Byron overboard: lost at 02:00 UTC, 31 min ago.\n",
            "Last known position 58°00.00′N 179°58.80′E at 02:00 UTC, by own track.\n",
            "estimated, 95 % confidence within ",
            "Datum ",
            "Drift of the casualty: set ",
            "Wind from 270 degrees, 20 knots",
            "Current: set 030 degrees, drift 1.2 knots, given.",
            "Water 10.0 °C",
            "Visibility ________. Sea ________.",
            "Light: ",
            // SMCP A1/1: "Result of search is negative".
            "Searched at 02:20 UTC: circle of radius 0.50 nautical miles round",
            "negative result.",
        ],
    );
    assert!(sheet.contains("2 h 57 min"), "Hayward at 10 °C: {sheet}");
    assert!(!sheet.contains('\u{7}'), "a name cannot break the sheet");
    let state = c.state(minutes(31), CasualtyId(1), &own(minutes(31))).unwrap();
    assert!(!in_full(&state).contains('\u{7}') && who(&state).contains("Ada"));
}

#[test]
fn a_second_person_is_counted_in_the_call_of_the_first() {
    let mut c = Casualties::new(vec![]);
    for name in ["Ada", "Ben"] {
        c.overboard(minutes(0), Duration::ZERO, Some(name.into()), &own(minutes(0)));
    }
    let both = sheet(minutes(1), &c, &vessel(), &own(minutes(1)), &[]);
    assert!(both.contains("I have lost 2 persons overboard."), "{both}");
    // One is back aboard: the distress stands.
    c.stand_down(minutes(2), CasualtyId(1), StandDown::Recovered).unwrap();
    let one = sheet(minutes(3), &c, &vessel(), &own(minutes(3)), &[]);
    assert!(one.contains("Do not cancel the distress: 1 person is still in the water."), "{one}");
    assert!(!one.contains("PLEASE CANCEL"), "{one}");
}

#[test]
fn what_is_not_known_is_a_blank() {
    let mut c = Casualties::new(vec![]);
    let nothing = OwnContext::default();
    c.overboard(minutes(0), Duration::ZERO, None, &nothing);
    let sheet = sheet(minutes(5), &c, &Vessel::default(), &nothing, &[]);
    for part in [
        "THIS IS ________, ________, ________, call sign ________, MMSI ________.",
        "My position ________ at ________ UTC.",
        "Last known position ________ at ________ UTC.",
        "Persons on board before the casualty: ________.",
        "Wind ________.",
        "Current ________.",
        "Water temperature ________.",
    ] {
        assert!(sheet.contains(part), "{part} in:\n{sheet}");
    }
}

#[test]
fn another_ships_distress_is_relayed_as_it_was_received() {
    let place = Position::new(47.0 + 47.0 / 60.0, -125.0 - 19.0 / 60.0).unwrap();
    let sheet = relay(call(Distress::Sinking, Some(place)), minutes(3));
    in_order(
        &sheet,
        &[
            // RR 32.19E: MAYDAY RELAY and whom it is for three times, THIS IS, own name three times, call sign, MMSI.
            "MAYDAY RELAY, MAYDAY RELAY, MAYDAY RELAY.\n",
            "ALL STATIONS, ALL STATIONS, ALL STATIONS.\n",
            "THIS IS Kittiwake, Kittiwake, Kittiwake, call sign MABC1, MMSI 211000010.\n",
            // RR 32.19F: what the original said, as far as possible.
            "Received from vessel 360123456 by DSC, at 02:00 UTC.\n",
            "MAYDAY, vessel 360123456.\n",
            "Position 47°47.00′N 125°19.00′W at 01:58 UTC, sent in whole minutes.\n",
            "Nature of distress: sinking.\n",
            "My position 58°00.00′N",
            "OVER.\n",
            "Last known position 47°47.00′N 125°19.00′W at 01:58 UTC, by DSC, in whole minutes.\n",
        ],
    );
    NEVER_OF_OTHERS.iter().for_each(|no| assert!(!sheet.contains(no), "{no} in:\n{sheet}"));
    assert!(!sheet.to_lowercase().contains("beacon"), "a ship is no beacon:\n{sheet}");
}

#[test]
fn a_vessel_aground_has_no_drift_and_a_relayed_one_says_by_whom() {
    let place = Position::new(47.5, -6.0).unwrap();
    let aground = relay(call(Distress::Grounding, Some(place)), minutes(300));
    assert!(aground.contains("Nature of distress: aground."), "{aground}");
    assert!(!aground.contains("Datum") && !aground.contains("Drift of"), "{aground}");
    let relayed = SelectiveCall {
        format: Some(16),
        caller: Mmsi::new(2_320_718),
        telecommand: Some(12),
        casualty: Mmsi::new(244_000_001),
        ..call(Distress::ManOverboard, Some(place))
    };
    let sheet = relay(relayed, minutes(1));
    in_order(
        &sheet,
        &[
            "Received from coast station 002320718 by DSC, at 02:00 UTC.\n",
            "MAYDAY, vessel 244000001.\n",
            "Nature of distress: person overboard.\n",
            "Vessel 244000001 in distress, person overboard, relayed by coast station 002320718",
        ],
    );
    NEVER_OF_OTHERS.iter().for_each(|no| assert!(!sheet.contains(no), "{no} in:\n{sheet}"));
}

#[test]
fn a_beacon_of_nobody_aboard_is_relayed_as_one() {
    for (number, from) in [
        (972_123_456, "person overboard beacon 972123456"),
        (970_123_456, "search and rescue transmitter 970123456"),
        (974_123_456, "EPIRB 974123456"),
    ] {
        let mut c = Casualties::new(vec![CrewMember { name: "Ada".into(), mmsi: Mmsi::new(972_000_001) }]);
        let report = AisReport {
            nav_status: Some(14),
            position: Some(here().at(90.0, 1.0)),
            position_source: Some(PositionSource::Fix),
            ..AisReport::new(1, 0, Mmsi::new(number).unwrap())
        };
        c.hear_ais(minutes(0), &report, &own(minutes(0)));
        let sheet = sheet(minutes(2), &c, &vessel(), &own(minutes(2)), &[]);
        in_order(
            &sheet,
            &[
                "MAYDAY RELAY",
                &format!("Received from {from} by AIS, at 02:00 UTC.\n"),
                &format!("MAYDAY, beacon {number}.\n"),
                "Nature of distress: ",
                "by the beacon's own fix.\n",
                "Bearing 08",
            ],
        );
        NEVER_OF_OTHERS.iter().for_each(|no| assert!(!sheet.contains(no), "{no} in:\n{sheet}"));
    }
}

#[test]
fn a_false_alert_and_a_recovery_are_cancelled_in_their_own_words() {
    for (reason, picked_up) in
        [(StandDown::FalseActivation, false), (StandDown::Test, false), (StandDown::Recovered, true)]
    {
        let mut c = Casualties::new(vec![]);
        c.overboard(minutes(0), Duration::ZERO, Some("Ada".into()), &own(minutes(0)));
        c.stand_down(minutes(9), CasualtyId(1), reason).unwrap();
        let sheet = sheet(minutes(10), &c, &vessel(), &own(minutes(10)), &[]);
        in_order(
            &sheet,
            &[
                // RR 32.53E, from memory: "ALL STATIONS" three times, THIS IS, the name three times, call sign, MMSI,
                // "PLEASE CANCEL MY DISTRESS ALERT OF" and the time in UTC; with position and date in course handbooks,
                // and on channel 16 by 47 CFR 80.335.
                "ALL STATIONS, ALL STATIONS, ALL STATIONS.\n",
                "THIS IS Kittiwake, Kittiwake, Kittiwake, call sign MABC1, MMSI 211000010.\n",
                "My position 58°00.00′N 179°58.80′E at 02:10 UTC",
                "PLEASE CANCEL MY DISTRESS ALERT OF 2026-11-01, 02:00 UTC.\n",
            ],
        );
        // SMCP A1/1: "I have located / picked up person(s) in position …".
        assert_eq!(sheet.contains("I have picked up 1 person at 02:09 UTC."), picked_up, "{sheet}");
        assert!(!sheet.contains("MAYDAY"), "nobody is called once more:\n{sheet}");
    }
    let mut c = Casualties::new(vec![]);
    c.hear(minutes(0), &Report::SelectiveCall(call(Distress::Fire, None)), &own(minutes(0)));
    c.stand_down(minutes(9), CasualtyId(1), StandDown::FalseActivation).unwrap();
    let sheet = sheet(minutes(10), &c, &vessel(), &own(minutes(10)), &[]);
    assert!(sheet.contains("PLEASE CANCEL MY DISTRESS RELAY OF 2026-11-01, 02:00 UTC."), "{sheet}");
}

#[test]
fn handed_over_it_is_still_a_distress_for_whoever_asks() {
    let mut c = Casualties::new(vec![]);
    c.overboard(minutes(0), Duration::ZERO, None, &own(minutes(0)));
    c.stand_down(minutes(9), CasualtyId(1), StandDown::HandedOver).unwrap();
    let sheet = sheet(minutes(10), &c, &vessel(), &own(minutes(10)), &[]);
    in_order(&sheet, &["MAYDAY", "Handed over by me at 02:09 UTC."]);
}
