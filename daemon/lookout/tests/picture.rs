//! The picture as a whole: what is heard, what is reported of it, what is forgotten.

use lookout::casualty::CrewMember;
use lookout::{Finding, Kind, Lookout, Settings};
use sentence::ais::AisReport;
use sentence::{Fix, Report, SentTime, Weather};
use std::time::Duration;
use terms::{FeedId, Mmsi, Moment, Position, Quantity, Subject, Utc, UtcSource, Value};

const BUS: FeedId = FeedId(0);
const RADIO: FeedId = FeedId(1);

fn at(s: f64) -> Moment {
    Moment::from_s(s)
}

fn mmsi(number: u32) -> Mmsi {
    Mmsi::new(number).unwrap()
}

fn fix(latitude_deg: f64, longitude_deg: f64, sog_kn: f64, cog_deg: f64) -> Report {
    Report::Fix(Fix {
        position: Position::new(latitude_deg, longitude_deg).ok(),
        sog_kn: Some(sog_kn),
        cog_deg: Some(cog_deg),
        ..Fix::default()
    })
}

fn ship(number: u32, latitude_deg: f64, longitude_deg: f64, sog_kn: f64, cog_deg: f64) -> AisReport {
    AisReport {
        position: Position::new(latitude_deg, longitude_deg).ok(),
        sog_kn: Some(sog_kn),
        cog_deg: Some(cog_deg),
        nav_status: Some(0),
        ..AisReport::new(1, 0, mmsi(number))
    }
}

fn ais(report: AisReport) -> Report {
    Report::Ais(Box::new(report))
}

#[test]
fn a_ship_ahead_is_a_target_with_a_closest_approach() {
    let mut lookout = Lookout::new(Settings::default());
    lookout.hear(at(0.0), BUS, &fix(50.0, 0.0, 6.0, 0.0));
    lookout.hear(at(1.0), RADIO, &ais(ship(211_000_001, 50.1, 0.0, 12.0, 180.0)));
    let found = lookout.take_findings();
    let subject = Subject::Target(mmsi(211_000_001));
    assert!(found.contains(&Finding::Changed(subject, Quantity::Cpa)));
    let t = lookout.target(at(1.0), mmsi(211_000_001)).unwrap();
    // 6 nm and a little (a minute of latitude is 1.0012 nm at 50°), 18 kn: 20 minutes.
    assert!((t.range_nm.unwrap() - 6.005).abs() < 0.01, "{t:?}");
    assert!(t.cpa_nm.unwrap() < 0.001 && (t.tcpa_s.unwrap() - 1201.0).abs() < 3.0, "{t:?}");
    assert_eq!(lookout.reading(at(1.0), subject, Quantity::Kind).value, Some(Value::Word("vessel".into())));
}

#[test]
fn without_speed_or_course_the_closest_approach_is_not_known() {
    let mut lookout = Lookout::new(Settings::default());
    lookout.hear(at(0.0), BUS, &fix(50.0, 0.0, 6.0, 0.0));
    let report = AisReport { sog_kn: None, cog_deg: None, ..ship(211_000_001, 50.1, 0.0, 0.0, 0.0) };
    lookout.hear(at(1.0), RADIO, &ais(report));
    let t = lookout.target(at(1.0), mmsi(211_000_001)).unwrap();
    assert!(t.range_nm.is_some() && t.cpa_nm.is_none() && t.tcpa_s.is_none());
}

#[test]
fn own_beacons_and_own_vessel_are_no_targets_and_stations_are_no_ships() {
    let mut lookout = Lookout::new(Settings {
        own_mmsi: Some(mmsi(211_999_999)),
        fleet: vec![mmsi(211_000_002)],
        ..Settings::default()
    });
    lookout.hear(at(0.0), BUS, &fix(50.0, 0.0, 6.0, 0.0));
    let near = |number| ship(number, 50.01, 0.0, 0.0, 0.0);
    let mut own = near(211_999_999);
    lookout.hear(at(1.0), RADIO, &ais(own.clone()));
    own.own_vessel = true;
    lookout.hear(at(1.0), RADIO, &ais(own));
    lookout.hear(at(1.0), RADIO, &ais(near(972_111_111)));
    assert_eq!(lookout.targets(at(1.0)).len(), 0);
    let stations = [
        (2_111_111, 4, Kind::Base),
        (992_111_111, 21, Kind::Aton),
        (111_211_001, 9, Kind::SarAircraft),
        (211_000_002, 1, Kind::OwnFleet),
    ];
    for (number, message, kind) in stations {
        lookout.hear(at(2.0), RADIO, &ais(AisReport { message, ..near(number) }));
        let t = lookout.target(at(2.0), mmsi(number)).unwrap();
        assert_eq!((t.kind, t.cpa_nm), (kind, None));
        assert!(t.range_nm.is_some());
    }
}

/// Sets programmed wrong, and nets adrift, send such identities (forms of ITU-R M.585-9) with a ship's reports.
#[test]
fn what_moves_and_sends_a_ships_reports_is_a_ship_whatever_its_identity() {
    for (number, rest) in [
        (812_111_111, Kind::Handheld),
        (992_111_111, Kind::Aton),
        (2_111_111, Kind::Base),
        (979_211_111, Kind::Amrd),
        (111_211_001, Kind::SarAircraft),
    ] {
        for message in [1, 2, 3, 18, 19] {
            let mut lookout = Lookout::new(Settings::default());
            lookout.hear(at(0.0), BUS, &fix(50.0, 0.0, 6.0, 0.0));
            let kind = |lookout: &Lookout, s| lookout.target(at(s), mmsi(number)).unwrap().kind;
            let mut hear = |s, sog_kn, message| {
                let report = AisReport { message, ..ship(number, 50.05, 0.0, sog_kn, 180.0) };
                lookout.hear(at(s), RADIO, &ais(report));
                kind(&lookout, s)
            };
            assert_eq!(hear(1.0, 0.2, message), rest, "at rest");
            assert_eq!(hear(20.0, 5.0, message), Kind::Other);
            assert_eq!(hear(40.0, 0.0, message), Kind::Other, "she has stopped, and is a ship all the same");
            let cpa_nm = lookout.target(at(41.0), mmsi(number)).unwrap().cpa_nm;
            assert!(cpa_nm.is_some_and(|nm| nm < 0.1), "{number} {message}: {cpa_nm:?}");
        }
    }
    // What sends message 21 is an aid to navigation, though it be adrift or have a ship's number.
    let mut lookout = Lookout::new(Settings::default());
    lookout.hear(at(0.0), BUS, &fix(50.0, 0.0, 6.0, 0.0));
    lookout.hear(
        at(1.0),
        RADIO,
        &ais(AisReport { message: 21, ..ship(211_000_001, 50.05, 0.0, 2.0, 180.0) }),
    );
    assert_eq!(lookout.target(at(1.0), mmsi(211_000_001)).unwrap().kind, Kind::Aton);
}

#[test]
fn utc_is_the_satellites_and_keeps_its_date_across_midnight() {
    let mut lookout = Lookout::new(Settings::default());
    let hint = Utc::parse("2026-05-31T23:59:54Z").unwrap();
    lookout.system_utc(at(0.0), hint);
    assert_eq!(lookout.utc(at(1.0)).unwrap().1, UtcSource::System);
    let of_day = |ms| Report::Fix(Fix { time: Some(SentTime::OfDayMs(ms)), ..Fix::default() });
    lookout.hear(at(2.0), BUS, &of_day(43_200_000));
    assert_eq!(lookout.utc(at(2.0)).unwrap().1, UtcSource::System, "no date yet");
    for s in 2..5 {
        assert_eq!(lookout.utc(at(f64::from(s))).unwrap().1, UtcSource::System, "three sentences must agree");
        let dated = hint.plus_ms(i64::from(s) * 1000);
        lookout.hear(at(f64::from(s)), BUS, &Report::Time { utc: Some(dated) });
    }
    let position = Position::new(50.0, -6.0).ok();
    let fix = Fix { time: Some(SentTime::OfDayMs(1_000)), position, ..Fix::default() };
    lookout.hear(at(7.0), BUS, &Report::Fix(fix));
    let midnight = Utc::parse("2026-06-01T00:00:01Z").unwrap();
    assert_eq!(lookout.utc(at(7.0)), Some((midnight, UtcSource::Satellite)));
    let base = AisReport { utc: Utc::parse("2030-01-01T00:00:00Z"), ..AisReport::new(4, 0, mmsi(2_111_111)) };
    lookout.hear(at(8.0), RADIO, &ais(base));
    assert_eq!(lookout.utc(at(7.0)), Some((midnight, UtcSource::Satellite)));
    // A week counter that rolled over shows 1024 weeks too early.
    let early = midnight.plus_ms(2_000 - 1024 * 7 * 86_400_000);
    lookout.hear(at(9.0), BUS, &Report::Time { utc: Some(early) });
    assert_eq!(lookout.utc(at(9.0)), Some((midnight.plus_ms(2_000), UtcSource::Satellite)));
    // A single sentence that is days off is not believed, nor is a second receiver while the first gives UTC.
    lookout.hear(at(10.0), BUS, &Report::Time { utc: Some(midnight.plus_ms(900_000_000)) });
    lookout.hear(at(10.0), FeedId(7), &Report::Time { utc: Some(midnight.plus_ms(1_500_000_000)) });
    assert_eq!(lookout.utc(at(10.0)), Some((midnight.plus_ms(3_000), UtcSource::Satellite)));
}

#[test]
fn silent_targets_are_lost_and_then_gone_and_the_table_is_bounded() {
    let mut lookout = Lookout::new(Settings { targets_max: 50, ..Settings::default() });
    lookout.hear(at(0.0), BUS, &fix(50.0, 0.0, 6.0, 0.0));
    lookout.hear(at(0.0), RADIO, &ais(ship(211_000_001, 50.05, 0.0, 10.0, 180.0)));
    for n in 0..500 {
        let far = ship(220_000_000 + n, 51.0 + f64::from(n) / 1000.0, 0.0, 10.0, 0.0);
        lookout.hear(at(1.0), RADIO, &ais(far));
    }
    assert_eq!(lookout.targets(at(1.0)).len(), 50);
    assert!(lookout.target(at(1.0), mmsi(211_000_001)).is_some(), "the near one stays");
    lookout.take_findings();
    let mut now = at(1.0);
    while let Some(wake) = lookout.next_wake().filter(|w| *w < at(7_200.0)) {
        assert!(wake >= now);
        now = wake;
        lookout.advance(now);
        if let Some(t) = lookout.target(now, mmsi(211_000_001)) {
            assert_eq!(t.lost, now > at(60.0), "{now:?}");
        }
    }
    assert!(lookout.take_findings().contains(&Finding::Gone(Subject::Target(mmsi(211_000_001)))));
    assert_eq!(lookout.targets(now).len(), 0);
}

#[test]
fn own_way_is_kept_before_anybody_falls() {
    let ada = CrewMember { name: "Ada".into(), mmsi: Some(mmsi(972_990_412)) };
    let mut lookout = Lookout::new(Settings { crew: vec![ada], ..Settings::default() });
    let start = Position::new(46.0, -9.0).unwrap();
    // North at 6 knots for ten minutes: a mile.
    for s in 0..=600 {
        let t = Moment::from_s(f64::from(s));
        let here = start.at(0.0, f64::from(s) / 600.0);
        lookout.hear(t, BUS, &fix(here.latitude_deg(), here.longitude_deg(), 6.0, 0.0));
        lookout.advance(t);
    }
    let now = Moment::from_s(600.0);
    let mut unpushed = lookout.clone();
    // Five minutes ago, half a mile astern.
    let id = lookout.overboard(now, Duration::from_secs(300), None);
    let state = lookout.casualty(now, id).unwrap();
    let (range_nm, bearing_deg) = (state.range_nm.unwrap(), state.bearing_deg.unwrap());
    assert!((range_nm - 0.5).abs() < 0.02 && (bearing_deg - 180.0).abs() < 3.0, "{state:?}");
    // A beacon of the crew that has no fix yet: its wearer fell a little before its first burst, and lies astern.
    let beacon = AisReport { nav_status: Some(14), ..AisReport::new(1, 0, mmsi(972_990_412)) };
    unpushed.hear(now, RADIO, &Report::Ais(Box::new(beacon)));
    let other = unpushed.casualties(now).remove(0);
    let (range_nm, bearing_deg) = (other.range_nm.unwrap(), other.bearing_deg.unwrap());
    assert!((0.03..0.08).contains(&range_nm) && (bearing_deg - 180.0).abs() < 10.0, "{other:?}");
}

#[test]
fn more_ships_than_are_held_are_told_of_once_an_hour() {
    let mut lookout = Lookout::new(Settings { targets_max: 10, ..Settings::default() });
    let mut told = 0;
    for n in 0..40 {
        let t = at(f64::from(n) * 100.0);
        lookout.hear(t, RADIO, &Report::Ais(Box::new(ship(211_000_000 + n, 50.0, -5.0, 5.0, 90.0))));
        let noted =
            |f: &Finding| matches!(f, Finding::Noted { text, .. } if text.contains("more than 10 targets"));
        told += lookout.take_findings().iter().filter(|f| noted(f)).count();
        assert!(lookout.targets(t).len() <= 10);
    }
    assert_eq!(told, 1, "from the eleventh to the last it is less than an hour");
}

#[test]
fn the_daily_wave_of_the_tropics_is_no_fall() {
    // In the trades at 14° N, 40° W, with a steady glass: the wave alone falls by 2.1 hPa from ten in the morning to four,
    // local time, which the corrected pressure does not show. A true fall of 3 hPa it does.
    let mut lookout = Lookout::new(Settings::default());
    let morning = Utc::from_date(2026, 3, 1, 0).unwrap();
    let wave = |utc_h: f64| {
        let local_deg = 2.0 * (utc_h * 15.0 - 40.0) + 158.0;
        1.16 * 14f64.to_radians().cos().powi(3) * local_deg.to_radians().sin()
    };
    let mut seen = Vec::new();
    for (utc_h, fallen) in [(12.4, 0.0), (18.4, 0.0), (23.0, 3.0)] {
        let s = utc_h * 3600.0;
        lookout.system_utc(at(s), morning.plus_ms((s * 1000.0) as i64));
        lookout.hear(at(s), BUS, &fix(14.0, -40.0, 5.0, 270.0));
        let pressure_hpa = Some(1013.0 - fallen + wave(utc_h));
        lookout.hear(at(s), BUS, &Report::Weather(Weather { pressure_hpa, ..Weather::default() }));
        let value = |q| lookout.reading(at(s), Subject::OwnVessel, q).value.and_then(|v| v.number()).unwrap();
        seen.push((value(Quantity::Pressure), value(Quantity::PressureCorrected)));
        let changed = Finding::Changed(Subject::OwnVessel, Quantity::PressureCorrected);
        assert!(lookout.take_findings().contains(&changed));
    }
    let [morning, afternoon, night] = seen[..] else { panic!() };
    assert!(morning.0 - afternoon.0 > 2.0, "{seen:?}");
    assert!((morning.1 - 1013.0).abs() < 0.01 && (afternoon.1 - 1013.0).abs() < 0.01, "{seen:?}");
    assert!((night.1 - 1010.0).abs() < 0.01, "{seen:?}");
}
