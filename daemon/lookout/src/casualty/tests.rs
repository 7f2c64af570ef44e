//! Rules of the casualties, message by message.

use super::*;

fn here() -> Position {
    Position::new(49.5, -6.2).unwrap()
}

fn own(at: Moment) -> OwnContext {
    OwnContext {
        position: Some(Known::new(here(), at)),
        sog_kn: Some(Known::new(6.0, at)),
        cog_deg: Some(Known::new(0.0, at)),
        ..OwnContext::default()
    }
}

fn beacon(mmsi: u32, status: Option<u8>, position: Option<Position>) -> AisReport {
    let mut r = AisReport::new(1, 0, Mmsi::new(mmsi).unwrap());
    r.nav_status = status;
    r.position = position;
    r.position_source =
        Some(if position.is_some() { PositionSource::Fix } else { PositionSource::Inoperative });
    r
}

fn raised(c: &mut Casualties) -> Vec<u32> {
    let raised = |n: &News| match n {
        News::Casualty { id, news: CasualtyNews::Raised } => Some(id.0),
        _ => None,
    };
    c.take_news().iter().filter_map(raised).collect()
}

#[test]
fn anything_but_a_test_raises_at_once() {
    for mmsi in [970_123_456, 972_123_456, 974_123_456] {
        for status in [None, Some(0), Some(1), Some(5), Some(8), Some(13), Some(14)] {
            let mut c = Casualties::new(vec![]);
            assert!(c.hear_ais(Moment(0), &beacon(mmsi, status, None), &own(Moment(0))));
            assert_eq!(raised(&mut c), [1], "{mmsi} {status:?}");
        }
        let mut c = Casualties::new(vec![]);
        assert!(c.hear_ais(Moment(0), &beacon(mmsi, Some(15), Some(here())), &own(Moment(0))));
        assert_eq!(raised(&mut c), [] as [u32; 0], "{mmsi} under test");
    }
}

#[test]
fn a_named_beacon_is_where_it_says() {
    let crew = vec![CrewMember { name: "Ada".into(), mmsi: Mmsi::new(123_456) }];
    let mut c = Casualties::new(crew);
    let place = here().at(75.0, 1.5);
    let own = own(Moment(0));
    assert!(c.hear_ais(Moment(0), &beacon(123_456, Some(14), Some(place)), &own));
    let s = c.state(Moment(0), CasualtyId(1), &own).unwrap();
    assert_eq!(
        (s.kind, s.crew.as_deref(), s.position),
        (Kind::PersonOverboard, Some("Ada"), Placed::Reported)
    );
    assert!((s.range_nm.unwrap() - 1.5).abs() < 1e-6 && (s.bearing_deg.unwrap() - 75.0).abs() < 1e-6);
    assert_eq!((s.relative_to, s.elapsed_is), (Some(RelativeTo::Cog), ElapsedIs::Exact));
}
