//! The figures of a review, worked out anew from the truth that the sentences were made from.

use crate::aboard::{Folder, text, verb};
use middlewatch::review::{self, Span};
use scenario::Scenario;
use std::path::Path;
use std::time::Duration;
use terms::{Moment, Utc};

#[test]
fn distance_closest_approaches_and_depth_of_the_review_are_those_of_the_truth() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures");
    let path = root.join("night-passage.toml");
    let truth = Scenario::read("night-passage.toml", &std::fs::read_to_string(&path).unwrap()).unwrap();
    let folder = Folder::new("truth");
    let logbook = folder.0.join("logbook.db");
    let boat = root.join("windlestraw.toml").display().to_string();
    let out =
        verb(&["replay", "--config", &boat, "--logbook", logbook.to_str().unwrap(), path.to_str().unwrap()]);
    assert!(out.status.success(), "{}", text(&out.stderr));
    let night = review::read(&logbook, Span::default()).unwrap();

    let seconds = || (0..=truth.end().0 / 1000).map(|s| Moment(s * 1000));
    let track: Vec<_> = seconds().map(|at| truth.own(at).position).collect();
    let sailed: f64 = track.windows(2).map(|p| p[0].range_and_bearing(p[1]).0).sum();
    let told = night.passage.distance_nm;
    println!("{told:.3} nm told, {sailed:.3} sailed");
    assert!((told - sailed).abs() <= 0.005 * sailed, "{told} nm told, {sailed} sailed");

    // Each ship that was heard near by: how close, and when.
    let mut looked_at = 0;
    for mmsi in truth.ships() {
        let range =
            |at: Moment| truth.ship(mmsi, at).map(|s| truth.own(at).position.range_and_bearing(s.position).0);
        let closest = seconds().filter_map(|at| Some((range(at)?, at))).min_by(|a, b| a.0.total_cmp(&b.0));
        let Some((nm, at)) = closest.filter(|(nm, _)| *nm < 6.0) else { continue };
        let told = night.approaches.iter().find(|a| a.mmsi == mmsi).unwrap_or_else(|| panic!("{mmsi}"));
        println!("{mmsi}: {:.3} nm told, {nm:.3} true", told.range_nm);
        assert!((told.range_nm - nm).abs() <= 0.02, "{mmsi}: {} nm told, {nm} true", told.range_nm);
        let off = told.at.utc.unwrap().0 - truth.utc(at).0;
        assert!(off.abs() <= 60_000, "{mmsi}: told {off} ms off");
        looked_at += 1;
    }
    assert!(looked_at >= 3, "{looked_at}");

    let shoalest = seconds().filter_map(|at| truth.depth_below_transducer_m(at)).fold(f64::MAX, f64::min);
    let depths = &night.instruments[&terms::Quantity::DepthBelowTransducer];
    let told = depths.iter().map(|m| m.least).fold(f64::MAX, f64::min);
    assert!((told - shoalest).abs() <= 0.3, "{told} m told, {shoalest} true");

    // The casualty went over the side when the truth says, give or take the beacon's first burst.
    let (_, _, over) = truth.casualties().next().unwrap();
    let late = night.casualties[0].raised.unwrap().utc.unwrap().0 - truth.utc(over).0;
    assert!((0..=Duration::from_secs(60).as_millis() as i64).contains(&late), "{late} ms");
    assert!(night.blind.is_empty() && night.from.utc >= Some(Utc(truth.start().0)));
}
