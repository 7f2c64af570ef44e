//! Rules of the casualties, message by message.

mod calls;
mod evidence;
mod limits;
mod line;
mod sighting;

use super::*;
use sentence::ais::PositionSource;
use sentence::{CallExpansion, Distress, MobStatus, Overboard, Report, SelectiveCall, SentTime};
use terms::{Position, Utc, UtcSource};

const ADA: u32 = 257_123_450;

fn here() -> Position {
    Position::new(49.5123, -6.2345).unwrap()
}

/// Own vessel going north at 6 kn, at `here` at the origin of time.
fn own(at: Moment) -> OwnContext {
    OwnContext {
        position: Some(Known::new(here().at(0.0, 6.0 * at.as_s() / 3600.0), at)),
        sog_kn: Some(Known::new(6.0, at)),
        cog_deg: Some(Known::new(0.0, at)),
        heading_deg: Some(Known::new(5.0, at)),
        variation_deg: Some(-3.0),
        utc: Utc::parse("2026-11-01T02:00:00Z").map(|u| (u.plus_ms(at.0), UtcSource::Satellite)),
        motoring_speed_kn: Some(5.0),
        ..OwnContext::default()
    }
}

fn s(seconds: f64) -> Moment {
    Moment::from_s(seconds)
}

fn mmsi(n: u32) -> Mmsi {
    Mmsi::new(n).unwrap()
}

fn crew() -> Vec<CrewMember> {
    vec![
        CrewMember { name: "Ada".into(), mmsi: Mmsi::new(ADA) },
        CrewMember { name: "Ben".into(), mmsi: Mmsi::new(972_000_002) },
    ]
}

fn beacon(number: u32, status: Option<u8>, position: Option<Position>) -> AisReport {
    let mut r = AisReport::new(1, 0, mmsi(number));
    r.nav_status = status;
    r.position = position;
    r.position_source =
        Some(if position.is_some() { PositionSource::Fix } else { PositionSource::Inoperative });
    r
}

fn text(number: u32, text: &str) -> AisReport {
    let mut r = AisReport::new(14, 0, mmsi(number));
    r.text = Some(text.to_owned());
    r
}

fn mob(status: MobStatus, emitter: &str, position: Option<Position>, from_emitter: bool) -> Report {
    Report::Overboard(Overboard {
        emitter: Some(emitter.to_owned()),
        status,
        activated_of_day_ms: None,
        position_from_emitter: Some(from_emitter),
        time: None,
        position,
        sog_kn: None,
        cog_deg: None,
        mmsi: None,
        battery_low: Some(false),
    })
}

fn call(format: u8, caller: u32, nature: Option<Distress>, position: Option<Position>) -> SelectiveCall {
    SelectiveCall {
        format: Some(format),
        caller: Some(mmsi(caller)),
        category: Some(12),
        nature,
        telecommand: None,
        channel: None,
        position,
        position_of_day_min: None,
        casualty: None,
        acknowledgement: Some('S'),
        expansion_follows: false,
    }
}

fn raised(c: &mut Casualties) -> Vec<u32> {
    let raised = |n: &News| match n {
        News::Casualty { id, news: CasualtyNews::Raised } => Some(id.0),
        _ => None,
    };
    c.take_news().iter().filter_map(raised).collect()
}

const NONE: [u32; 0] = [];

#[test]
fn anything_but_a_test_raises_at_once() {
    for number in [970_123_456, 972_123_456, 974_123_456, ADA] {
        for status in [None, Some(0), Some(1), Some(5), Some(8), Some(13), Some(14)] {
            let mut c = Casualties::new(crew());
            assert!(c.hear_ais(s(0.0), &beacon(number, status, None), &own(s(0.0))));
            assert_eq!(raised(&mut c), [1], "{number} {status:?}");
        }
        let mut c = Casualties::new(crew());
        assert!(c.hear_ais(s(0.0), &beacon(number, Some(15), Some(here())), &own(s(0.0))));
        assert_eq!(raised(&mut c), NONE, "{number} under test");
        for words in ["MOB TEST", "SART TEST", "epirb test"] {
            c.hear_ais(s(1.0), &text(number, words), &own(s(1.0)));
            assert_eq!(raised(&mut c), NONE, "{number} {words}");
        }
        for words in ["MOB ACTIVE", "", "MOB TES", "ACTIVE TEST", "LATEST"] {
            let mut c = Casualties::new(crew());
            c.hear_ais(s(1.0), &text(number, words), &own(s(1.0)));
            assert_eq!(raised(&mut c), [1], "{number} {words:?}");
        }
    }
    // Own vessel knows nothing about herself.
    let mut c = Casualties::new(vec![]);
    c.hear_ais(s(0.0), &beacon(972_123_456, None, None), &OwnContext::default());
    assert_eq!(raised(&mut c), [1]);
    let state = c.state(s(0.0), CasualtyId(1), &OwnContext::default()).unwrap();
    assert_eq!((state.position, state.range_nm), (Placed::None, None));
}

#[test]
fn identities_are_named_for_what_they_are() {
    let mut c = Casualties::new(crew());
    for number in [970_123_456, 972_123_456, 974_123_456, ADA] {
        c.hear_ais(s(0.0), &beacon(number, Some(14), None), &own(s(0.0)));
    }
    let kinds: Vec<Kind> = c.states(s(0.0), &own(s(0.0))).iter().map(|s| s.kind).collect();
    assert_eq!(kinds, [Kind::Sart, Kind::PersonOverboard, Kind::Epirb, Kind::PersonOverboard]);
    assert_eq!(c.states(s(0.0), &own(s(0.0)))[3].crew.as_deref(), Some("Ada"));
}

#[test]
fn ships_and_gear_markers_that_claim_distress_are_noted_once_and_never_raise() {
    let mut c = Casualties::new(crew());
    for _ in 0..5 {
        for number in [979_123_456, 257_999_999, 992_351_000, 2_320_718, 111_232_506, 973_000_000] {
            assert!(!c.hear_ais(s(0.0), &beacon(number, Some(14), Some(here())), &own(s(0.0))));
            assert!(!c.hear_ais(s(0.0), &text(number, "MOB ACTIVE"), &own(s(0.0))));
        }
    }
    let news = c.take_news();
    assert_eq!(news.len(), 6);
    assert!(news.iter().all(|n| matches!(n, News::Noted { .. })));
    for number in 300_000_000..300_100_000 {
        c.hear_ais(s(0.0), &beacon(number, Some(14), None), &own(s(0.0)));
    }
    assert!(c.take_news().len() <= 256);
    assert!(c.states(s(0.0), &own(s(0.0))).is_empty());
}

#[test]
fn a_casualty_ends_only_when_it_is_stood_down() {
    let mut c = Casualties::new(crew());
    c.hear_ais(s(0.0), &beacon(972_123_456, Some(14), Some(here())), &own(s(0.0)));
    c.hear_ais(s(60.0), &text(972_123_456, "MOB TEST"), &own(s(60.0)));
    for hours in 1..60 {
        c.advance(s(f64::from(hours) * 3600.0), &own(s(f64::from(hours) * 3600.0)));
    }
    let later = s(60.0 * 3600.0);
    c.take_news();
    c.hear_ais(later, &beacon(972_123_456, Some(14), None), &own(later));
    assert_eq!(raised(&mut c), NONE, "heard again after hours: the same one");
    assert_eq!(c.stand_down(later, CasualtyId(1), StandDown::Recovered), Ok(()));
    assert_eq!(
        c.stand_down(later, CasualtyId(1), StandDown::Recovered),
        Err(NoSuchCasualty::StoodDown(CasualtyId(1)))
    );
    assert_eq!(
        c.stand_down(later, CasualtyId(9), StandDown::Test),
        Err(NoSuchCasualty::Unknown(CasualtyId(9)))
    );
    assert_eq!(
        c.state(later, CasualtyId(1), &own(later)).unwrap().stood_down,
        Some((later, StandDown::Recovered))
    );
    assert!(c.states(later, &own(later)).is_empty());
}

#[test]
fn a_recovered_beacon_may_go_on_sending_aboard_but_not_astern_nor_anew() {
    let start = || {
        let mut c = Casualties::new(crew());
        c.hear_ais(s(0.0), &beacon(972_123_456, Some(14), Some(here())), &own(s(0.0)));
        c.stand_down(s(600.0), CasualtyId(1), StandDown::Recovered).unwrap();
        c.take_news();
        c
    };
    let aboard = |t: f64| own(s(t)).position.map(|p| p.value);
    let mut c = start();
    for minute in 11..120 {
        let t = f64::from(minute) * 60.0;
        c.hear_ais(s(t), &beacon(972_123_456, Some(14), aboard(t)), &own(s(t)));
    }
    assert_eq!(c.take_news().len(), 1, "one notice that it still sends");
    c.hear_ais(s(7260.0), &beacon(972_123_456, Some(14), Some(here())), &own(s(7260.0)));
    assert_eq!(raised(&mut c), [2], "astern again");
    let mut c = start();
    c.hear_ais(s(600.0 + 3600.0), &beacon(972_123_456, Some(14), None), &own(s(4200.0)));
    assert_eq!(raised(&mut c), [2], "set off anew after silence");
}

#[test]
fn the_first_beacon_takes_over_the_buttons_mark_and_the_second_does_not() {
    let mut c = Casualties::new(crew());
    let id = c.overboard(s(0.0), Duration::ZERO, None, &own(s(0.0)));
    c.hear_ais(s(100.0), &beacon(972_123_456, Some(14), Some(here().at(90.0, 0.1))), &own(s(100.0)));
    c.hear_ais(s(110.0), &beacon(972_123_457, Some(14), Some(here().at(90.0, 0.1))), &own(s(110.0)));
    let states = c.states(s(110.0), &own(s(110.0)));
    assert_eq!(states.len(), 2);
    assert_eq!((states[0].id, states[0].beacon_mmsi), (id, Mmsi::new(972_123_456)));
    assert_eq!((states[0].source, states[0].elapsed), (Source::Ais, Duration::from_secs(110)));
    // Too late, too far, and the beacon of somebody other than the one the button was pushed for.
    for (t, off_nm, name) in [(301.0, 0.0, None), (100.0, 0.6, None), (100.0, 0.0, Some("Ada"))] {
        let mut c = Casualties::new(crew());
        c.overboard(s(0.0), Duration::ZERO, name.map(str::to_owned), &own(s(0.0)));
        c.hear_ais(s(t), &beacon(972_000_002, Some(14), Some(here().at(90.0, off_nm))), &own(s(t)));
        assert_eq!(raised(&mut c), [1, 2], "{t} {off_nm} {name:?}");
    }
}

#[test]
fn a_button_pushed_upon_the_beacons_alarm_is_no_second_casualty_but_a_further_push_is() {
    let mut c = Casualties::new(crew());
    c.hear_ais(s(0.0), &beacon(972_123_456, Some(14), None), &own(s(0.0)));
    assert_eq!(c.overboard(s(20.0), Duration::ZERO, None, &own(s(20.0))), CasualtyId(1));
    assert_eq!(c.overboard(s(60.0), Duration::ZERO, None, &own(s(60.0))), CasualtyId(2));
    assert_eq!(c.overboard(s(62.0), Duration::ZERO, None, &own(s(62.0))), CasualtyId(2));
    assert_eq!(c.overboard(s(63.0), Duration::ZERO, Some("Ben".into()), &own(s(63.0))), CasualtyId(2));
    assert_eq!(c.overboard(s(64.0), Duration::ZERO, Some("Ada".into()), &own(s(64.0))), CasualtyId(3));
    assert_eq!(c.overboard(s(900.0), Duration::ZERO, Some("ada".into()), &own(s(900.0))), CasualtyId(3));
}

#[test]
fn a_late_button_marks_own_place_then() {
    let mut c = Casualties::new(crew());
    for t in 0..3600 {
        c.advance(s(f64::from(t)), &own(s(f64::from(t))));
    }
    let now = s(3600.0);
    let id = c.overboard(now, Duration::from_secs(1800), None, &own(now));
    let state = c.state(now, id, &own(now)).unwrap();
    assert_eq!((state.position, state.elapsed), (Placed::Estimated, Duration::from_secs(1800)));
    let expected = here().at(0.0, 3.0);
    assert!(state.place.unwrap().range_and_bearing(expected).0 < 0.01, "{:?}", state.place);
    // Before the track began: nothing is made up.
    let id = c.overboard(s(3700.0), Duration::from_secs(9 * 3600), None, &own(s(3700.0)));
    assert_eq!(c.state(s(3700.0), id, &own(s(3700.0))).unwrap().position, Placed::None);
}

#[test]
fn a_first_burst_with_a_fix_is_told_once() {
    let mut c = Casualties::new(crew());
    let told = |c: &mut Casualties, t: f64, north_nm: f64| {
        c.hear_ais(s(t), &beacon(ADA, Some(14), Some(here().at(0.0, north_nm))), &own(s(t)));
        c.take_news()
    };
    assert_eq!(
        told(&mut c, 1.0, 0.1),
        [News::Casualty { id: CasualtyId(1), news: CasualtyNews::Raised }],
        "where she is, stands in the same words"
    );
    assert_eq!(told(&mut c, 61.0, 0.11), []);
}

#[test]
fn a_beacon_without_a_fix_is_placed_on_own_track_until_its_fix_comes() {
    let mut c = Casualties::new(crew());
    for t in 0..100 {
        c.advance(s(f64::from(t)), &own(s(f64::from(t))));
    }
    c.hear_ais(s(100.0), &beacon(ADA, Some(14), None), &own(s(100.0)));
    let state = c.state(s(100.0), CasualtyId(1), &own(s(100.0))).unwrap();
    assert_eq!(state.position, Placed::Estimated);
    assert!((state.range_nm.unwrap() - 30.0 * 6.0 / 3600.0).abs() < 0.01, "where she was half a minute ago");
    let place = here().at(0.0, 0.1);
    c.hear_ais(s(160.0), &beacon(ADA, Some(14), Some(place)), &own(s(160.0)));
    let state = c.state(s(160.0), CasualtyId(1), &own(s(160.0))).unwrap();
    assert_eq!((state.position, state.place), (Placed::Reported, Some(place)));
    assert!(c.take_news().contains(&News::Casualty { id: CasualtyId(1), news: CasualtyNews::Located }));
}

#[test]
fn doubtful_positions_are_told_from_good_ones() {
    let mut c = Casualties::new(crew());
    let mut hear = |t: f64, place: Position, source: PositionSource| {
        let mut r = beacon(ADA, Some(14), Some(place));
        r.position_source = Some(source);
        c.hear_ais(s(t), &r, &own(s(t)));
        let state = c.state(s(t), CasualtyId(1), &own(s(t))).unwrap();
        (state.position, state.place, state.doubtful.map(|d| d.1))
    };
    let far = here().at(90.0, 5.0);
    for source in [PositionSource::Manual, PositionSource::DeadReckoning, PositionSource::Inoperative] {
        let (position, place, doubt) = hear(0.0, far, source);
        assert_eq!((position, doubt), (Placed::Estimated, Some(Doubt::NotByFix)));
        assert_ne!(place, Some(far));
    }
    let beyond = here().at(90.0, 200.0);
    assert_eq!(hear(2.0, beyond, PositionSource::Fix).2, Some(Doubt::BeyondRadio));
    let whole = Position::new(49.5, -6.0 - 14.0 / 60.0).unwrap();
    let (position, place, doubt) = hear(2.5, whole, PositionSource::None);
    assert_eq!((position, place, doubt), (Placed::Reported, Some(whole), Some(Doubt::WholeMinutes)));
    let good = here().at(180.0, 0.02);
    assert_eq!(hear(3.0, good, PositionSource::Fix).1, Some(good));
    assert_eq!(hear(4.0, whole, PositionSource::Fix).1, Some(good), "whole minutes give way");
    let jump = here().at(0.0, 3.0);
    assert_eq!(
        hear(5.0, jump, PositionSource::Fix),
        (Placed::Reported, Some(good), Some(Doubt::DoesNotFit)),
        "one that jumps is not followed"
    );
    let again = good.at(90.0, 0.001);
    assert_eq!(hear(7.0, again, PositionSource::Fix).1, Some(again));
}

#[test]
fn a_test_is_one_burst() {
    let mut c = Casualties::new(crew());
    let aboard = |t: f64| own(s(t)).position.map(|p| p.value);
    let test = |c: &mut Casualties, t: f64, place: Option<Position>| {
        c.hear_ais(s(t), &beacon(ADA, Some(15), place), &own(s(t)));
    };
    for i in 0..8 {
        test(&mut c, f64::from(i) * 2.0, aboard(f64::from(i) * 2.0));
    }
    let news = c.take_news();
    assert_eq!(news.len(), 1, "told once");
    assert!(
        matches!(&news[0], News::BeaconTest { crew: Some(n), range_nm: Some(r), .. } if n == "Ada" && *r < 0.001)
    );
    assert_eq!(c.tests_of(mmsi(ADA)).len(), 1);
    test(&mut c, 170.0, aboard(170.0));
    assert_eq!(raised(&mut c), NONE);
    test(&mut c, 190.0, aboard(190.0));
    assert_eq!(raised(&mut c), [1], "still testing after three minutes");
    // A beacon that stays where it fell while it says test.
    let mut c = Casualties::new(crew());
    test(&mut c, 0.0, Some(here()));
    test(&mut c, 14.0, Some(here()));
    assert_eq!(raised(&mut c), NONE);
    test(&mut c, 60.0, Some(here()));
    assert_eq!(raised(&mut c), [1], "falling astern");
    // Tests days apart are separate tests.
    let mut c = Casualties::new(crew());
    for day in 0..30 {
        test(&mut c, f64::from(day) * 86_400.0, None);
    }
    assert_eq!(raised(&mut c), NONE);
    assert_eq!(c.tests_of(mmsi(ADA)).len(), 16);
}
