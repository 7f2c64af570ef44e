//! A fix that walks away from log and compass, and streams that are real.

use crate::dice::Dice;
use lookout::{Finding, Lookout, Settings, Trouble};
use sentence::{Fix, Heading, Report};
use terms::{FeedId, METRES_PER_NM, Moment, Plane, Position};

const BUS: FeedId = FeedId(0);

/// What goes on at a second: course steered and speed through the water, the stream's set and drift, and how fast a false
/// fix walks, east and north in knots.
#[derive(Clone, Copy)]
struct Second {
    steers_deg: f64,
    log_kn: f64,
    stream_kn: [f64; 2],
    walks_kn: [f64; 2],
}

/// Sails for some minutes and returns when a walk was reported, in minutes, and when it was over. Log and compass err: the
/// log shows 6 % too much, the compass is 4° off, leeway is 5° to port.
fn sail(minutes: u32, log_works: bool, second: impl Fn(f64) -> Second) -> (Vec<f64>, Vec<f64>) {
    let mut lookout = Lookout::new(Settings::default());
    let mut dice = Dice(7);
    let plane = Plane::at(Position::new(49.0, -5.0).unwrap());
    let (mut here, mut false_by) = ([0.0; 2], [0.0; 2]);
    let (mut reported, mut over) = (Vec::new(), Vec::new());
    for s in 0..minutes * 60 {
        let min = f64::from(s) / 60.0;
        let now = second(min);
        let (e, n) = (now.steers_deg - 5.0).to_radians().sin_cos();
        for (i, unit) in [e, n].into_iter().enumerate() {
            here[i] += (now.log_kn * unit + now.stream_kn[i]) / 3600.0;
            false_by[i] += now.walks_kn[i] / 3600.0;
        }
        let noise = [(); 2].map(|()| dice.normal(3.0) / METRES_PER_NM);
        let seen = plane.position(here[0] + false_by[0] + noise[0], here[1] + false_by[1] + noise[1]);
        let yaw = 8.0 * (f64::from(s) / 12.0).sin();
        let heading =
            Heading { true_deg: Some((now.steers_deg + 4.0 + yaw).rem_euclid(360.0)), ..Heading::default() };
        let log_kn = if log_works { 1.06 * now.log_kn + dice.normal(0.3) } else { 0.0 };
        let at = Moment::from_s(f64::from(s));
        lookout.hear(
            at,
            BUS,
            &Report::WaterSpeed {
                speed_through_water_kn: Some(log_kn.max(0.0)),
                ground_speed_kn: None,
                heading,
            },
        );
        lookout.hear(at, BUS, &Report::Fix(Fix { position: Some(seen), ..Fix::default() }));
        lookout.advance(at);
        for f in lookout.take_findings() {
            match f {
                Finding::Trouble { trouble: Trouble::PositionWalks, .. } => reported.push(min),
                Finding::Mended { trouble: Trouble::PositionWalks, .. } => over.push(min),
                _ => {}
            }
        }
    }
    (reported, over)
}

fn quiet(steers_deg: f64, log_kn: f64) -> Second {
    Second { steers_deg, log_kn, stream_kn: [0.8, -0.4], walks_kn: [0.0; 2] }
}

#[test]
fn a_fix_that_walks_at_three_knots_is_reported_once_within_ten_minutes_at_every_speed() {
    for log_kn in [2.0, 6.0, 9.0] {
        for walks_kn in [[3.0, 0.0], [0.0, -3.0], [-2.2, 2.1]] {
            let (reported, over) = sail(180, true, |min| Second {
                walks_kn: if (60.0..90.0).contains(&min) { walks_kn } else { [0.0; 2] },
                ..quiet(210.0, log_kn)
            });
            assert_eq!(reported.len(), 1, "{log_kn} kn, {walks_kn:?}: {reported:?} {over:?}");
            assert!((62.0..=70.0).contains(&reported[0]), "{log_kn} kn, {walks_kn:?}: {reported:?}");
            assert_eq!(over.len(), 1, "{over:?}");
        }
    }
}

#[test]
fn a_stream_of_two_knots_that_sets_in_over_an_hour_or_turns_with_the_tide_is_no_walk() {
    let builds = |min: f64| (min - 60.0).clamp(0.0, 60.0) / 60.0;
    let (reported, _) =
        sail(240, true, |min| Second { stream_kn: [2.0 * builds(min), 0.0], ..quiet(30.0, 6.0) });
    assert_eq!(reported, [0.0; 0]);
    // Semidiurnal, two knots at springs: from two knots one way to two the other in 6.2 h.
    let tide = |min: f64| 2.0 * (min / 372.5 * std::f64::consts::PI).cos();
    let (reported, _) =
        sail(600, true, |min| Second { stream_kn: [0.5 * tide(min), tide(min)], ..quiet(30.0, 5.0) });
    assert_eq!(reported, [0.0; 0]);
    // A race that is entered within three minutes is reported once at most, and over again.
    let race = |min: f64| (min - 60.0).clamp(0.0, 3.0) / 3.0;
    let (reported, over) =
        sail(240, true, |min| Second { stream_kn: [2.5 * race(min), 0.0], ..quiet(30.0, 6.0) });
    assert!(reported.len() <= 1 && over.len() == reported.len(), "{reported:?} {over:?}");
}

#[test]
fn tacks_reefs_and_a_fouled_log_are_no_walk() {
    let tacks =
        |min: f64| if (min / 45.0).rem_euclid(2.0) < 1.0 { quiet(310.0, 6.0) } else { quiet(40.0, 6.0) };
    assert_eq!(sail(300, true, tacks).0, [0.0; 0]);
    let reefs = |min: f64| quiet(120.0, if min < 60.0 { 7.0 } else { 4.5 });
    assert_eq!(sail(180, true, reefs).0, [0.0; 0]);
    let turns_back = |min: f64| quiet(if min < 60.0 { 0.0 } else { 180.0 }, 6.0);
    assert_eq!(sail(180, true, turns_back).0, [0.0; 0]);
    let starts = |min: f64| quiet(0.0, if min < 60.0 { 0.0 } else { 6.0 });
    assert_eq!(sail(180, false, starts).0, [0.0; 0], "its log stands still");
    assert_eq!(sail(180, true, starts).0, [0.0; 0]);
}
