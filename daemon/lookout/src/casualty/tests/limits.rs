//! Bounds, reboots, speech.

use super::*;

#[test]
fn tables_are_bounded_and_the_crew_keep_their_places() {
    let mut c = Casualties::new(crew());
    for n in 0..5_000 {
        c.hear_ais(s(0.0), &beacon(972_100_000 + n, Some(14), None), &own(s(0.0)));
        c.hear_ais(s(0.0), &beacon(974_100_000 + n, Some(15), None), &own(s(0.0)));
        c.hear(s(0.0), &mob(MobStatus::Active, &n.to_string(), None, true), &own(s(0.0)));
    }
    let states = c.states(s(0.0), &own(s(0.0)));
    assert_eq!(states.len(), 33);
    assert!(matches!(states[32].kind, Kind::ManyBeacons { count } if count >= 100), "{:?}", states[32].kind);
    c.take_news();
    c.hear_ais(s(1.0), &beacon(ADA, None, None), &own(s(1.0)));
    assert_eq!(raised(&mut c), [34]);
    for _ in 0..1_000 {
        c.overboard(s(100.0), Duration::ZERO, None, &own(s(100.0)));
    }
    for push in 0..1_000 {
        c.overboard(s(200.0 + f64::from(push) * 20.0), Duration::ZERO, None, &own(s(200.0)));
    }
    assert!(c.states(s(1.0), &own(s(1.0))).len() <= 34 + 33);
}

#[test]
fn the_forged_beacons_of_one_feed_leave_places_for_those_of_another() {
    let mut c = Casualties::new(crew());
    c.listen_to(FeedId(1));
    for n in 0..1_000 {
        c.hear_ais(s(0.0), &beacon(972_100_000 + n, Some(14), None), &own(s(0.0)));
    }
    c.take_news();
    c.listen_to(FeedId(2));
    for n in 0..10 {
        c.hear_ais(s(1.0), &beacon(974_200_000 + n, Some(14), None), &own(s(1.0)));
    }
    assert_eq!(raised(&mut c), [34, 35, 36, 37], "four of their own; the others are counted");
    c.listen_to(FeedId(1));
    c.hear_ais(s(2.0), &beacon(972_200_000, Some(14), None), &own(s(2.0)));
    assert_eq!(raised(&mut c), NONE);
    c.hear_ais(s(2.0), &beacon(ADA, Some(14), None), &own(s(2.0)));
    assert_eq!(raised(&mut c), [38], "whoever else is heard by that feed");
}

#[test]
fn a_reboot_keeps_every_case_and_says_what_it_does_not_know() {
    let mut c = Casualties::new(crew());
    c.hear_ais(s(1000.0), &beacon(ADA, Some(14), Some(here().at(0.0, 1.6))), &own(s(1000.0)));
    c.hear_ais(s(1000.0), &beacon(972_000_099, Some(15), Some(here())), &own(s(1000.0)));
    let snapshot = c.snapshot(s(1060.0), own(s(1060.0)).utc);
    let elapsed = |c: &Casualties, t: f64, own: &OwnContext| {
        let state = c.state(s(t), CasualtyId(1), own).unwrap();
        (state.elapsed.as_secs(), state.elapsed_is, state.position)
    };
    // Steady time starts over; UTC was known at both ends.
    let c = Casualties::restore(crew(), snapshot.clone(), s(5.0), Gap::Of(Duration::from_secs(40)));
    assert_eq!(elapsed(&c, 5.0, &own(s(5.0))), (100, ElapsedIs::Exact, Placed::Reported));
    // The gap is not known: at least, and the old fix is no longer a report.
    let mut c = Casualties::restore(crew(), snapshot, s(5.0), Gap::Unknown);
    let blind = OwnContext::default();
    assert_eq!(elapsed(&c, 5.0, &blind), (60, ElapsedIs::AtLeast, Placed::Estimated));
    assert!(c.take_news().is_empty(), "nothing is told anew");
    c.hear_ais(s(6.0), &beacon(ADA, Some(14), Some(here().at(0.0, 1.6).at(90.0, 0.3))), &blind);
    assert_eq!(raised(&mut c), NONE, "the same casualty");
    assert_eq!(elapsed(&c, 6.0, &blind), (61, ElapsedIs::AtLeast, Placed::Reported));
    // Satellites give a UTC ten minutes after the snapshot, which own(1060) took at 02:17:40.
    let utc = Utc::parse("2026-11-01T02:27:40Z").map(|u| (u, UtcSource::Satellite));
    let knowing = OwnContext { utc, ..OwnContext::default() };
    c.advance(s(10.0), &knowing);
    assert_eq!(elapsed(&c, 10.0, &knowing), (660, ElapsedIs::Exact, Placed::Reported));
    let id = c.overboard(s(11.0), Duration::ZERO, None, &knowing);
    assert_eq!(id, CasualtyId(2), "numbers go on");
}

#[test]
fn one_line_can_be_read_aloud() {
    let mut c = Casualties::new(crew());
    c.hear_ais(s(0.0), &beacon(ADA, Some(15), Some(here().at(0.0, 1.2))), &own(s(0.0)));
    for t in (10..=350).step_by(10).map(f64::from) {
        c.advance(s(t), &own(s(t)));
    }
    // Of two bursts: one alone would not be believed so far from own track.
    let place = here().at(0.0, 0.6).at(325.0, 0.4);
    c.hear_ais(s(360.0), &beacon(ADA, Some(14), Some(place.at(0.0, 0.0005))), &own(s(360.0)));
    c.hear_ais(s(400.0), &beacon(ADA, Some(14), Some(place)), &own(s(400.0)));
    // By hand on the plane: own 0.7 nm north of `here`; the beacon 0.928 north and 0.229 west of it.
    let now = s(420.0);
    let line = in_full(&c.state(now, CasualtyId(1), &own(now)).unwrap());
    for words in [
        "Ada overboard, range 0.32 nautical miles, bearing 315 true, 318 magnetic, 50 degrees on the port bow",
        "1 minute ago",
        "own track puts it 0.44 nautical miles from there, range 280 metres, bearing 180 true",
        "closing at 4.2 knots",
        "to reach: 3 minutes 52 seconds at 5.0 knots under engine, 3 minutes 13 seconds at 6.0 knots as now",
        "0.88 nautical miles left of the 1.20 nautical miles to which tests of this beacon were heard",
    ] {
        assert!(line.contains(words), "{words} in: {line}");
    }
    let silent = s(560.0);
    assert!(in_full(&c.state(silent, CasualtyId(1), &own(silent)).unwrap()).contains("estimated range"));
}
