//! The whole lookout against the stepped geodesic: sentences as they come over the wire, places rounded as AIS and
//! receivers round them, steady courses, no noise.

use lookout::{Lookout, Settings};
use proptest::prelude::*;
use sentence::ais::AisReport;
use sentence::{Fix, Report};
use terms::{FeedId, Mmsi, Moment, Position};

/// To a ten-thousandth of a minute.
fn rounded(p: Position) -> Position {
    let tick = |deg: f64| (deg * 600_000.0).round() / 600_000.0;
    Position::new(tick(p.latitude_deg()), tick(p.longitude_deg())).unwrap()
}

/// Second by second along the geodesic on a steady course.
fn sailed(start: Position, cog_deg: f64, sog_kn: f64, seconds: usize) -> Vec<Position> {
    let mut p = start;
    (0..=seconds)
        .map(|_| {
            let here = p;
            p = p.at(cog_deg, sog_kn / 3600.0);
            here
        })
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, ..ProptestConfig::default() })]

    /// Within 0.005 nm and 2 s for steady tracks inside 12 nm that close faster than 2 kn, at every report.
    #[test]
    fn the_closest_approach_is_right_from_the_first_report_on(
        lat in -80.0..80.0f64, lon in 179.0..181.0f64, bearing in 0.0..360.0f64, range in 1.0..12.0f64,
        own_cog in 0..360u32, own_sog in 0..120u32, cog in 0..3600u32, sog in 20..300u32,
    ) {
        let start = Position::new(lat, if lon > 180.0 { lon - 360.0 } else { lon }).unwrap();
        let (own_cog, own_sog) = (f64::from(own_cog), f64::from(own_sog) / 10.0);
        let (cog, sog) = (f64::from(cog) / 10.0, f64::from(sog) / 10.0);
        let seconds = 3_600;
        let own = sailed(start, own_cog, own_sog, seconds);
        let target = sailed(start.at(bearing, range), cog, sog, seconds);
        let ranges: Vec<f64> = own.iter().zip(&target).map(|(a, b)| a.range_and_bearing(*b).0).collect();
        let best = (0..=seconds).min_by(|&a, &b| ranges[a].total_cmp(&ranges[b])).unwrap();
        prop_assume!(best > 60 && best < seconds);
        let mmsi = Mmsi::new(211_000_001).unwrap();
        let mut lookout = Lookout::new(Settings::default());
        for s in 0..(best - 1).min(600) {
            let at = Moment::from_s(s as f64);
            lookout.advance(at);
            let fix = Fix {
                position: Some(rounded(own[s])),
                sog_kn: Some(own_sog),
                cog_deg: Some(own_cog),
                ..Fix::default()
            };
            lookout.hear(at, FeedId(0), &Report::Fix(fix));
            if s % 10 != 0 {
                continue;
            }
            let report = AisReport {
                position: Some(rounded(target[s])),
                sog_kn: Some(sog),
                cog_deg: Some(cog),
                ..AisReport::new(1, 0, mmsi)
            };
            lookout.hear(at, FeedId(1), &Report::Ais(Box::new(report)));
            let t = lookout.target(at, mmsi).unwrap();
            let closing_kn = (ranges[s] - ranges[s + 1]) * 3600.0;
            if closing_kn < 2.0 || ranges[s] > 12.0 {
                continue;
            }
            let (cpa, tcpa) = (t.cpa_nm.unwrap(), t.tcpa_s.unwrap());
            prop_assert!((cpa - ranges[best]).abs() < 0.005, "{cpa} against {} nm at {s}", ranges[best]);
            let slack_s = 2.5; // two seconds, and half a second of the truth's own step
            prop_assert!((tcpa - (best - s) as f64).abs() < slack_s, "{tcpa} against {} s at {s}", best - s);
        }
    }
}
