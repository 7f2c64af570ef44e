//! What receivers make of the same air: range, luck, damage, delay, and the bursts of a beacon.

use scenario::{Scenario, Timed, What};
use sentence::ais::AisReport;
use sentence::{Decoder, DecoderOptions, FramerOptions, Report, Sentence};
use std::collections::BTreeMap;
use terms::{Moment, Utc};

const EVERY_KIND: &str = include_str!("../../../fixtures/every-kind.toml");

fn read(text: &str) -> Scenario {
    Scenario::read("test", text).unwrap_or_else(|p| panic!("{p}"))
}

/// The AIS reports that one feed carries.
fn heard(scenario: &Scenario, feed: &str) -> Vec<(Moment, AisReport)> {
    let mut decoder = Decoder::new(DecoderOptions::default());
    let mut reports = Vec::new();
    for Timed { at, what, .. } in scenario.play() {
        let What::Line { feed: by, line } = what else { continue };
        let sentence = Sentence::check(line.as_bytes(), &FramerOptions::default()).unwrap();
        match decoder.read(at, &sentence) {
            Ok(Report::Ais(report)) if by == feed => reports.push((at, *report)),
            _ => {}
        }
    }
    reports
}

#[test]
fn a_receiver_hears_no_farther_than_its_range_and_no_oftener_than_its_luck() {
    let all = read(EVERY_KIND);
    let near = read(&EVERY_KIND.replace("range_nm = 60", "range_nm = 3.5"));
    let half = read(&EVERY_KIND.replace("probability = 1.0", "probability = 0.5"));
    let (all_n, near_heard, half_n) =
        (heard(&all, "all").len(), heard(&near, "all"), heard(&half, "all").len());
    assert!(!near_heard.is_empty() && near_heard.len() < all_n);
    for (at, report) in near_heard.iter().filter(|(_, r)| !r.own_vessel && r.position.is_some()) {
        let range = near.own(*at).position.range_and_bearing(report.position.unwrap()).0;
        // A ten-thousandth of a minute, and the 0.15 s that the feed is late.
        assert!(range < 3.51, "{} heard at {range} nm", report.mmsi);
    }
    let vdo = heard(&all, "all").iter().filter(|(_, r)| r.own_vessel).count();
    let share = (half_n - vdo) as f64 / (all_n - vdo) as f64;
    // Over a thousand transmissions: four standard deviations are 0.063.
    assert!((share - 0.5).abs() < 0.063, "{share}");
}

#[test]
fn damage_is_found_by_the_checksum_and_nothing_else_is_refused() {
    let text = EVERY_KIND.replace("delay = \"0.15 s\"", "damaged = 0.02");
    let (mut refused, mut lines) = (0, 0);
    for timed in read(&text).play() {
        let What::Line { line, .. } = timed.what else { continue };
        lines += 1;
        assert!(line.bytes().all(|b| (b' '..=b'~').contains(&b)), "{line}");
        refused += usize::from(Sentence::check(line.as_bytes(), &FramerOptions::default()).is_err());
    }
    // Some damage falls on the TAG block, which costs only the block.
    let share = refused as f64 / lines as f64;
    assert!(lines > 10_000 && (0.008..0.022).contains(&share), "{share} of {lines}");
}

#[test]
fn a_tag_block_tells_when_the_line_came() {
    let scenario = read(EVERY_KIND);
    for timed in scenario.play() {
        let What::Line { line, .. } = &timed.what else { continue };
        let sentence = Sentence::check(line.as_bytes(), &FramerOptions::default()).unwrap();
        let tag = sentence.tag().unwrap();
        assert_eq!(tag.source, Some("MAST7"));
        assert!((tag.time.unwrap_or(Utc(0)).0 - timed.utc.0).abs() < 1_000, "{line}");
    }
}

#[test]
fn bursts_of_a_beacon_are_eight_two_seconds_apart_on_alternating_channels() {
    let scenario = read(EVERY_KIND);
    let mut bursts: BTreeMap<i64, Vec<(Moment, AisReport)>> = BTreeMap::new();
    let began = Moment(330_000);
    for (at, report) in heard(&scenario, "all") {
        if report.mmsi.number() == 974_990_002 {
            bursts.entry((at.0 - 150 - began.0) / 60_000).or_default().push((at, report));
        }
    }
    assert!(bursts.len() > 20);
    for (n, burst) in &bursts {
        assert_eq!(burst.len(), 8, "burst {n}");
        for (i, (at, report)) in burst.iter().enumerate() {
            assert_eq!(at.0 - 150, began.0 + n * 60_000 + i as i64 * 2_000);
            assert_eq!(report.channel, Some(if i % 2 == 0 { 'A' } else { 'B' }));
            assert_eq!(report.message == 14, n % 4 == 0 && (i == 4 || i == 5));
            // 130 s to the first fix, taken for the burst that follows.
            assert_eq!(report.position.is_some(), report.message == 1 && *n >= 3);
        }
    }
    // Two minutes of silence from 0:20 on.
    assert!(
        !bursts.contains_key(&15) && bursts.contains_key(&13) && bursts.contains_key(&17),
        "{:?}",
        bursts.keys()
    );
}
