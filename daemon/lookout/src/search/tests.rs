//! Patterns checked against published figures and by sailing them independently.

use super::*;
use crate::casualty::{Casualties, Known, OwnContext, SetDrift, WindFrom};
use crate::drift::{Current, Datum};
use std::time::Duration;
use terms::{METRES_PER_NM, Moment, Position, Utc, UtcSource, normal_deg};

fn here() -> Position {
    Position::new(58.0, 179.98).unwrap()
}

/// Own vessel at `here`, wind from the west, a current of 1.2 kn toward 030 given.
fn own() -> OwnContext {
    let at = Moment(0);
    OwnContext {
        position: Some(Known::new(here(), at)),
        sog_kn: Some(Known::new(0.0, at)),
        cog_deg: Some(Known::new(0.0, at)),
        wind: Some(Known::new(WindFrom { from_deg: 270.0, speed_kn: 20.0 }, at)),
        variation_deg: Some(5.0),
        water_temperature_c: Some(Known::new(10.0, at)),
        current: Some(SetDrift { set_deg: 30.0, drift_kn: 1.2 }),
        utc: Utc::parse("2026-11-01T02:00:00Z").map(|u| (u, UtcSource::Satellite)),
        motoring_speed_kn: Some(5.0),
        ..OwnContext::default()
    }
}

fn case() -> (Casualties, Datum, Current) {
    let mut c = Casualties::new(vec![]);
    let id = c.overboard(Moment(0), Duration::ZERO, Some("Ada <&> \u{7}Byron".into()), &own());
    let datum = c.datum(Moment(0), id).unwrap();
    let current = c.current(&own());
    (c, datum, current)
}

fn wish(pattern: Pattern) -> Wish {
    Wish {
        pattern,
        second_pass: false,
        number: 1,
        spacing_nm: Some(0.1),
        sweep: None,
        radius_nm: Some(0.5),
        speed_kn: 5.0,
        first_course_deg: Some(0.0),
    }
}

fn plan(w: &Wish) -> Plan {
    let (_, datum, current) = case();
    Plan::new(&datum, &own(), &current, w).unwrap()
}

/// Ends of the legs as seen from the drifting datum, in nautical miles to the east and north, found by sailing each leg
/// independently: boat and datum moved separately over ground, second by second, from headings and times only.
fn sailed(p: &Plan, current: &Current) -> Vec<(f64, f64)> {
    let drift = p.drift.components();
    let mut relative = (0.0, 0.0);
    p.legs
        .iter()
        .map(|l| {
            let hours = l.time.as_secs_f64() / 3600.0;
            let (sin, cos) = l.heading_deg.to_radians().sin_cos();
            let ground = (p.speed_kn * sin + current.east_kn, p.speed_kn * cos + current.north_kn);
            relative.0 += (ground.0 - drift.0) * hours;
            relative.1 += (ground.1 - drift.1) * hours;
            relative
        })
        .collect()
}

#[test]
fn an_expanding_square_as_published_seen_from_the_drifting_datum() {
    // Legs S S 2S 2S 3S 3S …, turns of 90° to starboard (IAMSAR, as quoted).
    let p = plan(&wish(Pattern::ExpandingSquare));
    let current = case().2;
    let (mut x, mut y) = (0.0, 0.0);
    for (i, (east, north)) in sailed(&p, &current).iter().enumerate() {
        let length = (i / 2 + 1) as f64 * 0.1;
        let (sin, cos) = (90.0 * i as f64).to_radians().sin_cos();
        (x, y) = (x + length * sin, y + length * cos);
        assert!((east - x).hypot(north - y) < 1e-3, "leg {}: {east} {north} for {x} {y}", i + 1);
    }
    assert!(p.radius_nm >= 0.5 && p.legs.len() <= 24);
    // Legs over ground join, and each begins when the last ends.
    for pair in p.legs.windows(2) {
        assert_eq!((pair[0].to, pair[0].begins + pair[0].time), (pair[1].from, pair[1].begins));
        let along = pair[0].from.at(pair[0].track_deg, pair[0].over_ground_nm);
        assert!(along.range_and_bearing(pair[0].to).0 * METRES_PER_NM < 0.01);
    }
    let second = plan(&Wish { second_pass: true, ..wish(Pattern::ExpandingSquare) });
    let turned = sailed(&second, &current)[0];
    assert!((normal_deg(turned.0.atan2(turned.1).to_degrees()) - 45.0).abs() < 0.5);
}

#[test]
fn a_sector_search_as_published() {
    // 0.5 nm at 5 kn is 6 min a leg; turns of 120° to starboard; through the datum each third leg (IAMSAR, as
    // quoted). In still water and without leeway: unknown wind, no current.
    let calm = OwnContext { wind: None, current: None, ..own() };
    let mut c = Casualties::new(vec![]);
    let id = c.overboard(Moment(0), Duration::ZERO, None, &calm);
    let (datum, current) = (c.datum(Moment(0), id).unwrap(), c.current(&calm));
    let p = Plan::new(&datum, &calm, &current, &wish(Pattern::Sector)).unwrap();
    let headings: Vec<f64> = p.legs.iter().map(|l| l.heading_deg.round() % 360.0).collect();
    assert_eq!(headings, [0.0, 120.0, 240.0, 240.0, 0.0, 120.0, 120.0, 240.0, 0.0]);
    assert!(p.legs.iter().all(|l| (l.time.as_secs_f64() - 360.0).abs() < 0.1));
    // A metre: meridians converge a little over half a mile.
    for third in [2, 5, 8] {
        assert!(p.legs[third].to.range_and_bearing(datum.place).0 < 5e-4);
    }
    assert!(p.legs.iter().all(|l| l.under_sail.is_none()));
    let second =
        Plan::new(&datum, &calm, &current, &Wish { second_pass: true, ..wish(Pattern::Sector) }).unwrap();
    assert!((second.legs[0].heading_deg - 30.0).abs() < 0.5, "halfway between the first legs");
    assert!(p.cautions.iter().any(|c| c.contains("current is not known")));
}

#[test]
fn the_approach_meets_the_drifting_datum() {
    let (mut c, _, current) = case();
    let away = OwnContext { position: Some(Known::new(here().at(200.0, 2.0), Moment(0))), ..own() };
    c.advance(Moment(0), &away);
    let datum = c.datum(Moment(0), terms::CasualtyId(1)).unwrap();
    let p = Plan::new(&datum, &away, &current, &wish(Pattern::Sector)).unwrap();
    let approach = p.approach.unwrap();
    let met = datum.place.at(p.drift.set_deg, p.drift.drift_kn * approach.time.as_secs_f64() / 3600.0);
    assert!(approach.to.range_and_bearing(met).0 < 0.002);
    assert_eq!(p.legs[0].begins, approach.begins + approach.time);
}

#[test]
fn coverage_limits_and_what_cannot_be_laid() {
    let by_table =
        Sweep::ByTable(Conditions { visibility_nm: 10.0, wind_kn: 5.0, sea_m: None, tired: false });
    let p = plan(&Wish { spacing_nm: None, sweep: Some(by_table), ..wish(Pattern::ExpandingSquare) });
    assert_eq!((p.spacing_nm, p.coverage), (0.6, Some(1.0)));
    // Koopman, from memory: 63.2 %.
    assert!((p.probability_of_detection.unwrap() - 0.632).abs() < 0.001);
    assert!(p.cautions.iter().any(|c| c.contains("far too wide")));
    let p = plan(&Wish { first_course_deg: Some(270.0), ..wish(Pattern::Sector) });
    assert_eq!(p.legs[0].under_sail, Some(false), "dead to windward");
    assert_eq!(p.legs[1].under_sail, Some(true));
    assert!(p.cautions.iter().any(|c| c.contains("cannot lay leg 1")), "{:?}", p.cautions);
    assert_eq!(p.cautions[0], FIRST_CAUTION);
    let (_, datum, current) = case();
    let refused = |w: Wish| Plan::new(&datum, &own(), &current, &w).unwrap_err();
    assert_eq!(refused(Wish { spacing_nm: None, ..wish(Pattern::Sector) }), NoPlan::Spacing);
    assert_eq!(refused(Wish { spacing_nm: Some(f64::NAN), ..wish(Pattern::Sector) }), NoPlan::Spacing);
    assert_eq!(refused(Wish { speed_kn: 0.0, ..wish(Pattern::Sector) }), NoPlan::Speed(0.0));
    assert_eq!(refused(Wish { radius_nm: Some(1e9), ..wish(Pattern::Sector) }), NoPlan::Radius(1e9));
    // IAMSAR factors on the total probable error, from memory; 2.08 from 50 to 95 %.
    for (n, factor) in [(1, 1.1), (2, 1.6), (3, 2.0), (4, 2.3), (5, 2.5), (9, 2.5)] {
        assert!((search_radius_nm(2.079, n) - factor).abs() < 0.001);
    }
}

#[test]
fn a_plan_as_text_as_a_route_and_as_sentences() {
    let p = plan(&wish(Pattern::Sector));
    let utc = Utc::parse("2026-11-01T02:00:00Z");
    let text = p.text(Moment(0), utc);
    assert!(
        text.starts_with(FIRST_CAUTION)
            && text.contains("; last leg ends at 02:5")
            && text.contains("leg 9 to the marker, at")
    );
    let gpx = p.gpx(Moment(0), utc);
    assert_eq!(gpx.matches("<rtept ").count(), 10);
    assert!(gpx.contains("<time>2026-11-01T02:00:00.000Z</time>"));
    // Across 180° longitudes stay within ±180.
    for part in gpx.split("lon=\"").skip(1) {
        let longitude: f64 = part.split('"').next().unwrap().parse().unwrap();
        assert!((-180.0..180.0).contains(&longitude) && longitude.abs() > 179.0);
    }
    let lines = p.sentences("II");
    assert_eq!(lines.len(), 10 + 2);
    assert!(
        lines
            .iter()
            .all(|l| l.len() <= 80 && sentence::Sentence::check(l.as_bytes(), &Default::default()).is_ok())
    );
    assert!(lines[10].starts_with("$IIRTE,2,1,c,SEARCH,S00,S01,") && lines[11].contains("S09*"));
    assert!(lines[0].starts_with("$IIWPL,58") && lines[0].contains(",N,") && lines[0].contains(",S00*"));
    // Without UTC times are from now.
    assert!(p.text(Moment(0), None).contains("from now"));
}

#[test]
fn what_cannot_be_steered_is_laid_wider_and_says_so() {
    // Legs of 0.05 nm at 5 kn are over in 36 s.
    for pattern in [Pattern::ExpandingSquare, Pattern::Sector] {
        let w = Wish { spacing_nm: Some(0.05), radius_nm: Some(0.05), ..wish(pattern) };
        let p = plan(&w);
        let least = p.legs.iter().map(|l| l.time).min().unwrap();
        // In this drift a leg of a minute through the water may be a little shorter.
        assert!(least >= Duration::from_secs(50), "{pattern:?}: {least:?}");
        assert!((p.spacing_nm - 5.0 / 60.0).abs() < 1e-9);
        assert!(
            p.cautions.iter().any(|c| c.starts_with("Spacing widened from 0.05 to 0.08 nm")),
            "{:?}",
            p.cautions
        );
    }
    // IAMSAR, as quoted: 0.5 nm at 5 kn are six minutes a leg; nothing is said of that.
    let p = plan(&Wish { spacing_nm: Some(0.5), ..wish(Pattern::Sector) });
    assert!(!p.cautions.iter().any(|c| c.contains("widened")));
}

#[test]
fn times_come_in_their_order_and_the_light_is_told() {
    for pattern in [Pattern::ExpandingSquare, Pattern::Sector] {
        let calm = OwnContext { wind: None, current: None, ..own() };
        let mut c = Casualties::new(vec![]);
        let id = c.overboard(Moment(0), Duration::ZERO, None, &calm);
        let (datum, current) = (c.datum(Moment(0), id).unwrap(), c.current(&calm));
        let p = Plan::new(&datum, &calm, &current, &wish(pattern)).unwrap();
        assert!(p.legs[0].begins <= p.begin_by && p.begin_by < p.holds_until, "{pattern:?}: nothing drifts");
        // 58 N 180 E at 02 UTC is afternoon, in November: sunset within three hours.
        let text = p.text(Moment(0), calm.utc.map(|u| u.0));
        assert!(text.contains("\nLight: ") && text.contains("of light: sunset 0"), "{text}");
        assert!(text.contains("put a marker over the side"), "{text}");
    }
    let dark =
        OwnContext { utc: Utc::parse("2026-11-01T12:00:00Z").map(|u| (u, UtcSource::Satellite)), ..own() };
    let (_, datum, current) = case();
    let p = Plan::new(&datum, &dark, &current, &wish(Pattern::Sector)).unwrap();
    assert!(p.cautions.iter().any(|c| c.contains("no published sweep width by night")), "{:?}", p.cautions);
    // The light goes while the pattern is sailed.
    let left = crate::Light::at(own().utc.unwrap().0, datum.place).unwrap().left().unwrap();
    let dusk = own().utc.unwrap().0.plus_ms(i64::try_from(left.as_millis()).unwrap() - 20 * 60_000);
    let dusk = OwnContext { utc: Some((dusk, UtcSource::Satellite)), ..own() };
    let p = Plan::new(&datum, &dusk, &current, &wish(Pattern::Sector)).unwrap();
    assert!(
        p.cautions.iter().any(|c| c.starts_with("The light goes at ") && c.contains(" on leg ")),
        "{:?}",
        p.cautions
    );
}

#[test]
fn longitudes_stay_within_the_schema_of_gpx_at_180_degrees() {
    for longitude in [180.0, 179.999_999_9, -180.0] {
        let place = gpx_place(Position::new(10.0, longitude).unwrap());
        assert_eq!(place, ("10.000000".to_owned(), "-180.000000".to_owned()), "{longitude}");
    }
}
