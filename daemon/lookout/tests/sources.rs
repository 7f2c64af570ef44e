//! Several sources of one thing, and instruments that cannot be right.

use lookout::{Finding, Lookout, Settings, Source, Trouble};
use sentence::ais::AisReport;
use sentence::{Depth, Fix, Heading, Report, Transducer, Wind, WindReference};
use terms::{Dimension, FeedId, Mmsi, Moment, Position, Quantity, Subject, Utc};

const BUS: FeedId = FeedId(0);
const RADIO: FeedId = FeedId(1);

fn at(s: f64) -> Moment {
    Moment::from_s(s)
}

fn place(north_nm: f64) -> Position {
    Position::new(50.0, -10.0).unwrap().at(0.0, north_nm)
}

fn fix(position: Position, sog_kn: f64, cog_deg: f64) -> Report {
    Report::Fix(Fix {
        position: Some(position),
        sog_kn: Some(sog_kn),
        cog_deg: Some(cog_deg),
        ..Fix::default()
    })
}

fn heading(deg: f64) -> Report {
    Report::Heading(Heading { true_deg: Some(deg), ..Heading::default() })
}

fn own_report(number: u32, position: Position) -> Report {
    Report::Ais(Box::new(AisReport {
        own_vessel: true,
        position: Some(position),
        ..AisReport::new(1, 0, Mmsi::new(number).unwrap())
    }))
}

/// When each trouble was reported and mended.
fn troubles(lookout: &mut Lookout, s: f64, told: &mut Vec<(f64, Trouble, bool)>) {
    lookout.advance(at(s));
    for f in lookout.take_findings() {
        match f {
            Finding::Trouble { trouble, .. } => told.push((s, trouble, true)),
            Finding::Mended { trouble, .. } => told.push((s, trouble, false)),
            _ => {}
        }
    }
}

fn number(lookout: &Lookout, s: f64, q: Quantity) -> Option<f64> {
    lookout.reading(at(s), Subject::OwnVessel, q).value.and_then(|v| v.number())
}

#[test]
fn one_receiver_is_used_and_another_takes_over_after_ten_silent_seconds() {
    let mut lookout = Lookout::new(Settings::default());
    for s in 0..20 {
        let t = f64::from(s);
        if s <= 5 {
            lookout.hear(at(t), BUS, &fix(place(0.0), 5.0, 0.0));
        }
        lookout.hear(at(t), RADIO, &fix(place(0.01), 7.0, 90.0));
        // The last of the first is from second 5; more than ten seconds later the second one is used.
        let used = if s <= 15 { 5.0 } else { 7.0 };
        assert_eq!(number(&lookout, t, Quantity::Sog), Some(used), "second {s}");
    }
    let noted: Vec<String> = lookout
        .take_findings()
        .into_iter()
        .filter_map(|f| if let Finding::Noted { text, .. } = f { Some(text) } else { None })
        .collect();
    assert_eq!(noted, ["position, SOG, COG now from feed 2: feed 1 is silent"]);
}

#[test]
fn the_settings_order_decides_where_it_is_given() {
    let mut lookout = Lookout::new(Settings { feed_order: vec![RADIO], ..Settings::default() });
    for s in 0..10 {
        lookout.hear(at(f64::from(s)), BUS, &fix(place(0.0), 5.0, 0.0));
        lookout.hear(at(f64::from(s)), RADIO, &fix(place(0.01), 7.0, 90.0));
    }
    assert_eq!(number(&lookout, 9.0, Quantity::Sog), Some(7.0));
}

#[test]
fn positions_that_differ_are_told_with_their_end() {
    let mut lookout = Lookout::new(Settings::default());
    let mut told = Vec::new();
    for s in 0..200 {
        let t = f64::from(s);
        let off_nm = if (50..120).contains(&s) { 0.3 } else { 0.0 };
        lookout.hear(at(t), BUS, &fix(place(0.0), 0.0, 0.0));
        lookout.hear(at(t), RADIO, &fix(place(off_nm), 0.0, 0.0));
        troubles(&mut lookout, t, &mut told);
    }
    let differ: Vec<_> = told.iter().filter(|t| t.1 == Trouble::PositionsDiffer).collect();
    assert!(matches!(differ[..], [(80.0..=82.0, _, true), (150.0..=152.0, _, false)]), "{told:?}");
    let jumps: Vec<_> = told.iter().filter(|t| t.1 == Trouble::PositionJumps).collect();
    assert!(
        matches!(jumps[..], [(50.0..=51.0, _, true)]),
        "the one that came back within two minutes: {told:?}"
    );
}

#[test]
fn a_position_further_off_than_she_can_have_gone_is_a_jump() {
    // At rest: a tenth of a mile, and what 20 knots more than reported make in a second.
    for (off_nm, jumps) in [(0.10, false), (0.15, true)] {
        let mut lookout = Lookout::new(Settings::default());
        let mut told = Vec::new();
        for s in 0..100 {
            let t = f64::from(s);
            lookout.hear(at(t), BUS, &fix(place(if s < 50 { 0.0 } else { off_nm }), 0.0, 0.0));
            troubles(&mut lookout, t, &mut told);
        }
        assert_eq!(told.iter().any(|t| t.1 == Trouble::PositionJumps), jumps, "{off_nm}: {told:?}");
    }
}

#[test]
fn a_compass_that_is_heard_no_more_is_not_frozen() {
    for (heard_until, frozen) in [(700, true), (300, false)] {
        let mut lookout = Lookout::new(Settings::default());
        let mut told = Vec::new();
        for s in 0..700 {
            let t = f64::from(s);
            lookout.hear(at(t), BUS, &fix(place(6.0 * t / 3600.0), 6.0, 0.0));
            if s < heard_until {
                lookout.hear(at(t), BUS, &heading(10.0));
            }
            troubles(&mut lookout, t, &mut told);
        }
        assert_eq!(told.iter().any(|t| t.1 == Trouble::CompassFrozen), frozen, "{heard_until}: {told:?}");
    }
}

#[test]
fn a_frozen_compass_and_a_fouled_log_are_told() {
    let mut lookout = Lookout::new(Settings::default());
    let mut told = Vec::new();
    for s in 0..900 {
        let t = f64::from(s);
        // She turns slowly to starboard from second 60; the compass stands from second 50 to 200, the log is
        // fouled throughout.
        let cog = (f64::from((s - 60).max(0)) * 0.5) % 360.0;
        let compass = if (50..200).contains(&s) { 10.0 } else { cog + (t * 0.7).sin() };
        lookout.hear(at(t), BUS, &fix(place(6.0 * t / 3600.0), 6.0, cog));
        lookout.hear(at(t), BUS, &heading(compass.rem_euclid(360.0)));
        let log = Report::WaterSpeed {
            speed_through_water_kn: Some(0.4),
            ground_speed_kn: None,
            heading: Heading::default(),
        };
        lookout.hear(at(t), BUS, &log);
        troubles(&mut lookout, t, &mut told);
    }
    let compass: Vec<_> = told.iter().filter(|t| t.1 == Trouble::CompassFrozen).collect();
    assert!(matches!(compass[..], [(100.0..=125.0, _, true), (200.0..=215.0, _, false)]), "{told:?}");
    let log: Vec<_> = told.iter().filter(|t| t.1 == Trouble::LogFouled).collect();
    assert!(matches!(log[..], [(600.0..=602.0, _, true)]), "{told:?}");
}

#[test]
fn own_transmitter_is_watched() {
    let settings = Settings { own_mmsi: Mmsi::new(211_999_999), ..Settings::default() };
    let mut lookout = Lookout::new(settings);
    let mut told = Vec::new();
    for s in (0..2_000).step_by(5) {
        let t = f64::from(s);
        lookout.hear(at(t), BUS, &fix(place(0.0), 0.0, 0.0));
        match s {
            0..300 => lookout.hear(at(t), RADIO, &own_report(211_999_999, place(0.0))),
            300..400 => lookout.hear(at(t), RADIO, &own_report(211_000_007, place(5.0))),
            400..600 => lookout.hear(at(t), RADIO, &own_report(211_999_999, place(0.5))),
            600..700 => lookout.hear(at(t), RADIO, &own_report(211_999_999, place(0.0))),
            _ => {}
        }
        troubles(&mut lookout, t, &mut told);
    }
    let of = |trouble| told.iter().filter(|t| t.1 == trouble).map(|t| (t.0, t.2)).collect::<Vec<_>>();
    assert_eq!(of(Trouble::TransmitterIdentity), [(300.0, true), (400.0, false)]);
    assert!(matches!(of(Trouble::TransmitterPosition)[..], [(460.0..=470.0, true), (660.0..=670.0, false)]));
    assert!(matches!(of(Trouble::TransmitterSilent)[..], [(1_095.0..=1_105.0, true)]), "{told:?}");
    assert_eq!(lookout.targets(at(2_000.0)).len(), 0);
}

#[test]
fn two_receivers_of_one_message_count_once() {
    let mut lookout = Lookout::new(Settings::default());
    lookout.hear(at(0.0), BUS, &fix(place(0.0), 5.0, 0.0));
    let report = |second| {
        Report::Ais(Box::new(AisReport {
            position: Some(place(2.0)),
            sog_kn: Some(10.0),
            cog_deg: Some(180.0),
            utc_second: Some(second),
            ..AisReport::new(1, 0, Mmsi::new(211_000_001).unwrap())
        }))
    };
    let reports = |lookout: &mut Lookout| {
        let q = Finding::Changed(Subject::Target(Mmsi::new(211_000_001).unwrap()), Quantity::Report);
        lookout.take_findings().iter().filter(|f| **f == q).count()
    };
    lookout.hear(at(1.0), RADIO, &report(1));
    lookout.hear(at(1.2), FeedId(2), &report(1));
    lookout.hear(at(1.3), RADIO, &report(1));
    assert_eq!(reports(&mut lookout), 1);
    lookout.hear(at(11.0), FeedId(2), &report(11));
    assert_eq!(reports(&mut lookout), 1);
}

#[test]
fn variation_comes_from_the_compass_then_the_receiver_then_the_model_then_the_settings() {
    let magnetic = |variation_deg| {
        Report::Heading(Heading {
            magnetic_deg: Some(100.0),
            deviation_deg: Some(2.0),
            variation_deg,
            ..Heading::default()
        })
    };
    let mut lookout = Lookout::new(Settings { variation_deg: Some(5.0), ..Settings::default() });
    lookout.hear(at(0.0), BUS, &magnetic(None));
    assert_eq!(number(&lookout, 0.0, Quantity::Heading), Some(107.0));
    // WMM2025 at 80° S 240° E, 2025.0: 68.78° (NOAA's test values); in the middle of the year it is 68.7°.
    lookout.hear(at(1.0), BUS, &Report::Time { utc: Utc::parse("2025-07-01T00:00:00Z") });
    lookout.hear(at(2.0), BUS, &fix(Position::new(-80.0, -120.0).unwrap(), 5.0, 0.0));
    lookout.hear(at(3.0), BUS, &magnetic(None));
    assert!((number(&lookout, 3.0, Quantity::Heading).unwrap() - 170.7).abs() < 0.15);
    let mut rmc = Fix { position: Some(place(0.0)), ..Fix::default() };
    rmc.variation_deg = Some(-3.0);
    lookout.hear(at(4.0), BUS, &Report::Fix(rmc));
    lookout.hear(at(5.0), BUS, &magnetic(None));
    assert_eq!(number(&lookout, 5.0, Quantity::Heading), Some(99.0));
    lookout.hear(at(6.0), BUS, &magnetic(Some(-4.0)));
    assert_eq!(number(&lookout, 6.0, Quantity::Heading), Some(98.0));
}

#[test]
fn depth_wind_and_transducers_become_own_quantities() {
    let settings = Settings { transducer_to_keel_m: Some(1.2), ..Settings::default() };
    let mut lookout = Lookout::new(settings);
    let depth = Depth { below_transducer_m: Some(5.0), offset_m: Some(0.5), below_surface_m: None };
    lookout.hear(at(0.0), BUS, &Report::Depth(depth));
    assert_eq!(number(&lookout, 0.0, Quantity::DepthBelowKeel), Some(3.8));
    assert_eq!(number(&lookout, 0.0, Quantity::DepthBelowSurface), Some(5.5));
    lookout.hear(at(0.0), BUS, &fix(place(0.0), 6.0, 0.0));
    lookout.hear(at(0.0), BUS, &heading(0.0));
    let apparent = Wind {
        reference: WindReference::Apparent,
        angle_deg: Some((10.0_f64 / 6.0).atan().to_degrees()),
        direction_deg: None,
        direction_magnetic_deg: None,
        speed_kn: Some(136_f64.sqrt()),
    };
    lookout.hear(at(0.0), BUS, &Report::Wind(apparent));
    let o = lookout.own(at(0.0));
    assert!((o.true_wind_kn.unwrap() - 10.0).abs() < 1e-6);
    assert!((o.true_wind_direction_deg.unwrap() - 90.0).abs() < 1e-6);
    let measured =
        Wind { reference: WindReference::True, speed_kn: Some(11.0), angle_deg: Some(88.0), ..apparent };
    for s in 1..8 {
        lookout.hear(at(f64::from(s)), BUS, &Report::Wind(measured));
        lookout.hear(at(f64::from(s)), BUS, &Report::Wind(apparent));
    }
    let o = lookout.own(at(7.0));
    assert_eq!(o.true_wind_kn, Some(11.0), "a measured wind goes before a computed one: {o:?}");
    let xdr = |kind, value, unit, name: &str| Transducer { kind, value, unit: Some(unit), name: name.into() };
    let transducers =
        vec![xdr('P', 1.0132, 'B', "Barometer"), xdr('U', 12.6, 'V', "BATT#1"), xdr('A', 14.0, 'D', "HEEL")];
    lookout.hear(at(8.0), BUS, &Report::Transducers { transducers });
    assert!((number(&lookout, 8.0, Quantity::Pressure).unwrap() - 1013.2).abs() < 1e-9);
    assert_eq!(number(&lookout, 8.0, Quantity::BatteryVoltage), Some(12.6));
    let (dimension, heel) = lookout.transducer("heel").unwrap();
    assert_eq!((dimension, heel.value.and_then(|v| v.number())), (Dimension::Side, Some(14.0)));
}

/// ALR of own AIS set: IEC 61162-1, alarm numbers of IEC 61993-2 (from memory).
fn set_alarm(identifier: u32, state: char) -> Report {
    Report::DeviceAlert(sentence::DeviceAlert {
        identifier: Some(identifier),
        state: Some(state),
        acknowledged: Some(false),
        ..sentence::DeviceAlert::default()
    })
}

#[test]
fn an_alarm_of_own_ais_set_is_told_with_its_meaning_until_it_ends_or_is_sent_no_more() {
    let set = Source { talker: Some(*b"AI"), ..Source::of(BUS) };
    let other = Source { talker: Some(*b"EI"), ..Source::of(BUS) };
    let mut lookout = Lookout::new(Settings::default());
    let mut words = Vec::new();
    let mut tell = |lookout: &mut Lookout, s: f64| {
        lookout.advance(at(s));
        for f in lookout.take_findings() {
            match f {
                Finding::Trouble { text, trouble, .. } => words.push((s, trouble, Some(text))),
                Finding::Mended { trouble, .. } => words.push((s, trouble, None)),
                _ => {}
            }
        }
    };
    // Another device's alarm of the same number means something else.
    lookout.hear_from(at(1.0), other, &set_alarm(1, 'A'));
    tell(&mut lookout, 2.0);
    lookout.hear_from(at(10.0), set, &set_alarm(2, 'A'));
    tell(&mut lookout, 11.0);
    lookout.hear_from(at(20.0), set, &set_alarm(2, 'V'));
    tell(&mut lookout, 21.0);
    lookout.hear_from(at(30.0), set, &set_alarm(3, 'A'));
    tell(&mut lookout, 31.0);
    // Sent once and never again: it has ended after two minutes, and is reported when that falls due.
    let due = lookout.next_wake().unwrap();
    tell(&mut lookout, due.as_s().max(31.0));
    tell(&mut lookout, 200.0);
    let set_says = |meaning: &str| Some(format!("own AIS set reports: {meaning}"));
    let ends = words.last().map(|w| w.0);
    assert!(ends.is_some_and(|s| (150.0..=200.0).contains(&s)), "{words:?}");
    let told: Vec<(Trouble, Option<String>)> = words.into_iter().map(|(_, t, w)| (t, w)).collect();
    assert_eq!(
        told,
        [
            (Trouble::SetSends, set_says("antenna or its cable is damaged (standing waves)")),
            (Trouble::SetSends, None),
            (Trouble::SetReceives, set_says("receiver of the first channel fails")),
            (Trouble::SetReceives, None),
        ]
    );
}

#[test]
fn each_alarm_of_own_ais_set_ends_at_its_own_time() {
    let set = Source { talker: Some(*b"AI"), ..Source::of(BUS) };
    let mut lookout = Lookout::new(Settings::default());
    lookout.hear_from(at(10.0), set, &set_alarm(2, 'A'));
    lookout.advance(at(11.0));
    lookout.hear_from(at(100.0), set, &set_alarm(3, 'A'));
    lookout.advance(at(101.0));
    // The first has ended at 130 s; the second ends at 220 s, and that wakes whoever waits.
    lookout.advance(at(140.0));
    lookout.take_findings();
    let due = lookout.next_wake().unwrap();
    assert!((220.0..221.0).contains(&due.as_s()), "{due:?}");
    lookout.advance(due);
    let mended = |f: &Finding| matches!(f, Finding::Mended { trouble: Trouble::SetReceives, .. });
    assert!(lookout.take_findings().iter().any(mended));
}

fn ship(number: u32) -> Report {
    Report::Ais(Box::new(AisReport {
        position: Some(place(5.0)),
        ..AisReport::new(1, 0, Mmsi::new(number).unwrap())
    }))
}

#[test]
fn ships_that_all_fall_silent_at_once_are_told_while_the_wire_speaks() {
    // How many ships, whether the wire goes on speaking, and whether the silence is reported.
    for (ships, speaks, wanted) in [(3, true, true), (2, true, false), (3, false, false)] {
        let mut lookout = Lookout::new(Settings::default());
        let mut told = Vec::new();
        for s in 0..900 {
            let t = f64::from(s);
            if s < 300 && s % 10 == 0 {
                (0..ships).for_each(|n| lookout.hear(at(t), RADIO, &ship(235_000_001 + n)));
            }
            if speaks && s % 10 == 5 {
                lookout.hear(at(t), RADIO, &heading(90.0));
            }
            if s == 880 {
                lookout.hear(at(t), RADIO, &ship(235_000_009));
            }
            troubles(&mut lookout, t, &mut told);
        }
        told.retain(|(_, t, _)| *t == Trouble::ShipsSilent);
        let expected: &[_] = if wanted {
            &[(650.0, Trouble::ShipsSilent, true), (880.0, Trouble::ShipsSilent, false)]
        } else {
            &[]
        };
        assert_eq!(told, expected, "{ships} ships, wire speaks: {speaks}");
    }
}

#[test]
fn how_far_the_battery_is_above_low_is_reckoned_by_its_kind() {
    use terms::BatteryKind;
    let margin = |battery: BatteryKind, volts: f64| {
        let mut lookout = Lookout::new(Settings { battery, ..Settings::default() });
        assert_eq!(number(&lookout, 0.0, Quantity::BatteryMargin), None);
        let house = Transducer { kind: 'U', value: volts, unit: Some('V'), name: "HOUSE".to_owned() };
        lookout.hear(at(0.0), BUS, &Report::Transducers { transducers: vec![house] });
        let changed = Finding::Changed(Subject::OwnVessel, Quantity::BatteryMargin);
        assert!(lookout.take_findings().contains(&changed));
        (number(&lookout, 0.0, Quantity::BatteryMargin).unwrap() * 10.0).round()
    };
    assert_eq!(Settings::default().battery, BatteryKind::Lead);
    let of = |volts| BatteryKind::ALL.map(|kind| margin(kind, volts));
    assert_eq!(of(12.2), [1.0, 0.0, -1.0, -6.0]);
    assert_eq!(of(13.3), [12.0, 11.0, 10.0, 5.0]);
}
