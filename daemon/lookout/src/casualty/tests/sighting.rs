//! What somebody aboard saw.

use super::*;

/// Somebody went over the side at the origin of time, and a minute later own vessel is a tenth of a mile on.
fn pushed() -> (Casualties, CasualtyId) {
    let mut c = Casualties::new(crew());
    let id = c.overboard(s(0.0), Duration::ZERO, Some("Ada".into()), &own(s(0.0)));
    c.advance(s(60.0), &own(s(60.0)));
    (c, id)
}

#[test]
fn a_sighting_narrows_the_place_down_and_says_so() {
    let (mut c, id) = pushed();
    let now = s(60.0);
    let before = c.state(now, id, &own(now)).unwrap();
    // The bow heads 005; the casualty lies due south, 185 m off by own track.
    let place = c.sighted(now, id, Seen::Bearing(180.0), 190.0, &own(now)).unwrap();
    let after = c.state(now, id, &own(now)).unwrap();
    assert!(after.radius95_nm < before.radius95_nm, "{:?} {:?}", after.radius95_nm, before.radius95_nm);
    assert!(after.place.unwrap().range_and_bearing(place).0 < 0.02, "{after:?}");
    assert_eq!((after.sighted_age, after.position), (Some(Duration::ZERO), Placed::Estimated));
    assert!(after.elsewhere.is_none());
    let words = in_full(&after);
    assert!(words.contains("seen 0 seconds ago, estimated range 19"), "{words}");
    // Two minutes later nobody sees it any more.
    let later = s(240.0);
    c.advance(later, &own(later));
    let spoken = guidance(&c.state(later, id, &own(later)).unwrap(), Guide::default());
    assert!(spoken.contains("Lost sight, last seen three minutes ago"), "{spoken}");
}

#[test]
fn a_side_is_off_the_bow_and_one_that_does_not_fit_is_another_place() {
    let (mut c, id) = pushed();
    let now = s(60.0);
    let here = own(now).position_at(now).unwrap();
    let place = c.sighted(now, id, Seen::OffBow(-90.0), 1500.0, &own(now)).unwrap();
    let (range_nm, bearing_deg) = here.range_and_bearing(place);
    assert!((range_nm * 1852.0 - 1500.0).abs() < 1.0 && (bearing_deg - 275.0).abs() < 0.1, "{bearing_deg}");
    let (mut c, id) = pushed();
    c.sighted(now, id, Seen::Bearing(275.0), 1500.0, &own(now)).unwrap();
    let state = c.state(now, id, &own(now)).unwrap();
    assert!(state.elsewhere.is_some(), "own track and the sighting lie too far apart: {state:?}");
}

#[test]
fn a_newer_fix_counts_again_and_a_newer_sighting_after_it() {
    let mut c = Casualties::new(crew());
    c.hear_ais(s(60.0), &beacon(ADA, Some(14), Some(adrift(60.0))), &own(s(60.0)));
    let id = c.open[0].id;
    c.sighted(s(90.0), id, Seen::Bearing(180.0), 280.0, &own(s(90.0))).unwrap();
    let seen = c.state(s(90.0), id, &own(s(90.0))).unwrap();
    assert_eq!((seen.position, seen.sighted_age), (Placed::Estimated, Some(Duration::ZERO)));
    c.hear_ais(s(120.0), &beacon(ADA, Some(14), Some(adrift(120.0))), &own(s(120.0)));
    let fixed = c.state(s(120.0), id, &own(s(120.0))).unwrap();
    assert_eq!(fixed.position, Placed::Reported);
    assert!(in_full(&fixed).contains("range 370"), "{}", in_full(&fixed));
}

/// The casualty drifts a little, so that no fix is the one before.
fn adrift(seconds: f64) -> Position {
    here().at(90.0, 0.1 * seconds / 3600.0)
}

#[test]
fn without_position_heading_or_casualty_nothing_is_marked() {
    let (mut c, id) = pushed();
    let now = s(60.0);
    let blind = OwnContext { position: None, ..own(now) };
    assert_eq!(c.sighted(now, id, Seen::OffBow(0.0), 100.0, &blind), Err(NotPlaced::NoPosition));
    let aimless = OwnContext { heading_deg: None, cog_deg: None, sog_kn: None, ..own(now) };
    assert_eq!(c.sighted(now, id, Seen::OffBow(0.0), 100.0, &aimless), Err(NotPlaced::NoHeading));
    assert!(c.sighted(now, CasualtyId(9), Seen::OffBow(0.0), 100.0, &own(now)).is_err());
    for n in 0..100 {
        let at = s(60.0 + f64::from(n));
        c.sighted(at, id, Seen::OffBow(180.0), 200.0, &own(at)).unwrap();
    }
    assert_eq!(c.open[0].sightings.len(), super::super::sighting::KEPT, "bounded");
}
