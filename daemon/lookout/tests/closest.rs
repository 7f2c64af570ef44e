//! The closest point of approach against published answers, and against the geodesic stepped second by second.

use lookout::{Motion, closest};
use proptest::prelude::*;
use terms::{Moment, Position};

fn position(latitude_deg: f64, longitude_deg: f64) -> Position {
    Position::new(latitude_deg, longitude_deg).unwrap()
}

/// Own vessel and one seen at a range and bearing; both courses in degrees and speeds in knots.
fn pair(at: Position, own: (f64, f64), bearing: f64, range: f64, other: (f64, f64)) -> (Motion, Motion) {
    (
        Motion::steady(Moment::ZERO, at, own.1, own.0),
        Motion::steady(Moment::ZERO, at.at(bearing, range), other.1, other.0),
    )
}

#[test]
fn published_closest_approaches() {
    // First four: test scenarios 1 to 4 of the IMO performance standards for radar plotting aids, targets by true
    // course and speed. The fifth: a plotting exercise recomputed. Columns: own course and speed, bearing and range,
    // target's true course and speed, CPA in nm, TCPA in minutes.
    #[rustfmt::skip]
    let rows = [
        ((0.0, 10.0), 0.0, 8.0, (180.0, 10.0), 0.0, 24.0),
        ((0.0, 10.0), 0.0, 1.0, (45.0, 14.142), 1.0, 0.0),
        ((0.0, 5.0), 45.0, 8.0, (237.1, 16.84), 0.0, 24.0),
        ((0.0, 25.0), 45.0, 8.0, (307.5, 17.83), 0.0, 24.0),
        ((345.0, 15.0), 326.0, 6.0, (145.4, 15.7), 0.93, 11.8),
    ];
    for (own, bearing, range, target, cpa_nm, tcpa_min) in rows {
        let (own, target) = pair(position(0.0, 0.0), own, bearing, range, target);
        let c = closest(&own, &target, Moment::ZERO);
        assert!((c.cpa_nm - cpa_nm).abs() < 0.02, "{c:?} is not {cpa_nm} nm");
        assert!((c.tcpa_s / 60.0 - tcpa_min).abs() < 0.1, "{c:?} is not {tcpa_min} min");
    }
}

#[test]
fn published_plots_by_two_ranges_and_bearings() {
    // NGA Pub. 1310, from memory and recomputed: 275° 12,000 yd, then 260° 9,000 yd in 12 min; CPA 220.2° 6,911 yd,
    // 17.1 min on. And own 180/6, 195° 5 nm, then 200° 4 nm in 6 min; CPA 1.62 nm. Own ship is held still, so the
    // second plot less the first is the relative motion.
    let nm = |yards: f64| yards * 0.9144 / 1852.0;
    #[rustfmt::skip]
    let rows = [
        ((275.0, nm(12_000.0)), (260.0, nm(9_000.0)), 720.0, nm(6_911.0), Some(220.2), Some(17.1)),
        ((195.0, 5.0), (200.0, 4.0), 360.0, 1.62, None, None),
        ((329.0, 9.0), (326.0, 6.0), 360.0, 0.93, Some(245.0), Some(11.8)),
    ];
    for (first, second, seconds, cpa_nm, bearing, minutes) in rows {
        let xy = |(b, r): (f64, f64)| (r * f64::to_radians(b).sin(), r * f64::to_radians(b).cos());
        let ((x1, y1), (x2, y2)) = (xy(first), xy(second));
        let own = Motion::steady(Moment::ZERO, position(0.0, 0.0), 0.0, 0.0);
        let target = Motion {
            at: Moment::ZERO,
            position: own.position.at(second.0, second.1),
            east_kn: (x2 - x1) / seconds * 3600.0,
            north_kn: (y2 - y1) / seconds * 3600.0,
        };
        let c = closest(&own, &target, Moment::ZERO);
        assert!((c.cpa_nm - cpa_nm).abs() < 0.01, "{c:?} is not {cpa_nm} nm");
        assert!(bearing.is_none_or(|b| (c.cpa_bearing_deg - b).abs() < 0.6), "{c:?} is not {bearing:?}");
        assert!(minutes.is_none_or(|m| (c.tcpa_s / 60.0 - m).abs() < 0.1), "{c:?} is not {minutes:?} min");
    }
}

/// The truth: both stepped along the geodesic second by second, each on its course, and the least geodesic range.
fn stepped(own: &Motion, target: &Motion, seconds: usize) -> (f64, f64) {
    let step = |p: Position, m: &Motion| p.at(m.cog_deg(), m.sog_kn() / 3600.0);
    let (mut a, mut b) = (own.position, target.position);
    let mut ranges = Vec::new();
    for _ in 0..=seconds {
        ranges.push(a.range_and_bearing(b).0);
        (a, b) = (step(a, own), step(b, target));
    }
    let least = (0..ranges.len()).min_by(|&i, &j| ranges[i].total_cmp(&ranges[j])).unwrap();
    if least == 0 || least == seconds {
        return (ranges[least], least as f64);
    }
    // Between whole seconds by the parabola of the squared ranges, which near the least is exact.
    let [l, m, r] = [least - 1, least, least + 1].map(|i| ranges[i] * ranges[i]);
    let off = 0.5 * (l - r) / (l - 2.0 * m + r);
    let squared = m - 0.25 * (l - r) * off;
    (squared.max(0.0).sqrt(), least as f64 + off)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

    /// Within 0.005 nm and 2 s for steady tracks inside 12 nm that close faster than 2 kn.
    #[test]
    fn agrees_with_the_stepped_geodesic(
        lat in -80.0..80.0f64, lon in 178.0..182.0f64,
        bearing in 0.0..360.0f64, range in 0.2..12.0f64,
        own_cog in 0.0..360.0f64, own_sog in 0.0..12.0f64, cog in 0.0..360.0f64, sog in 0.0..30.0f64,
    ) {
        let at = position(lat, if lon > 180.0 { lon - 360.0 } else { lon });
        let (own, target) = pair(at, (own_cog, own_sog), bearing, range, (cog, sog));
        let c = closest(&own, &target, Moment::ZERO);
        prop_assume!(c.relative_kn > 2.0 && c.tcpa_s > 0.0 && c.tcpa_s < 5400.0);
        let (cpa_nm, tcpa_s) = stepped(&own, &target, c.tcpa_s as usize + 120);
        prop_assert!((c.cpa_nm - cpa_nm).abs() < 0.005, "{} against {cpa_nm} nm", c.cpa_nm);
        prop_assert!((c.tcpa_s - tcpa_s).abs() < 2.0, "{} against {tcpa_s} s", c.tcpa_s);
    }

    #[test]
    fn each_sees_the_other_alike(
        lat in -80.0..80.0f64, bearing in 0.0..360.0f64, range in 0.2..12.0f64,
        own_cog in 0.0..360.0f64, own_sog in 0.0..12.0f64, cog in 0.0..360.0f64, sog in 0.0..30.0f64,
    ) {
        let (own, target) = pair(position(lat, 10.0), (own_cog, own_sog), bearing, range, (cog, sog));
        let (a, b) = (closest(&own, &target, Moment::ZERO), closest(&target, &own, Moment::ZERO));
        prop_assert!((a.cpa_nm - b.cpa_nm).abs() < 1e-6 && (a.range_nm - b.range_nm).abs() < 1e-9);
        prop_assert!((a.tcpa_s - b.tcpa_s).abs() < 0.2);
    }

    /// Seen later by some seconds, the closest approach is the same and so much nearer in time.
    #[test]
    fn time_shifts_only_the_time(
        lat in -80.0..80.0f64, bearing in 0.0..360.0f64, range in 0.2..12.0f64, later in 0.0..300.0f64,
        own_cog in 0.0..360.0f64, own_sog in 0.0..12.0f64, cog in 0.0..360.0f64, sog in 0.0..30.0f64,
    ) {
        let (own, target) = pair(position(lat, 10.0), (own_cog, own_sog), bearing, range, (cog, sog));
        let a = closest(&own, &target, Moment::ZERO);
        prop_assume!(a.relative_kn > 2.0 && a.tcpa_s.abs() < 7200.0);
        let b = closest(&own, &target, Moment::from_s(later));
        prop_assert!((a.cpa_nm - b.cpa_nm).abs() < 0.002, "{a:?} {b:?}");
        prop_assert!((a.tcpa_s - later - b.tcpa_s).abs() < 1.0, "{a:?} {b:?}");
    }

    /// Moved along the parallel, or turned as a whole on the equator, nothing changes.
    #[test]
    fn neither_place_nor_direction_matters(
        lon in -180.0..180.0f64, turn in 0.0..360.0f64, bearing in 0.0..360.0f64, range in 0.2..6.0f64,
        own_cog in 0.0..360.0f64, own_sog in 0.0..12.0f64, cog in 0.0..360.0f64, sog in 0.0..30.0f64,
    ) {
        let seen = |at: Position, turn: f64| {
            let (own, target) =
                pair(at, (own_cog + turn, own_sog), bearing + turn, range, (cog + turn, sog));
            closest(&own, &target, Moment::ZERO)
        };
        let a = seen(position(0.0, 0.0), 0.0);
        prop_assume!(a.relative_kn > 2.0 && a.tcpa_s.abs() < 3600.0);
        for b in [seen(position(0.0, lon), 0.0), seen(position(0.0, 0.0), turn)] {
            prop_assert!((a.cpa_nm - b.cpa_nm).abs() < 0.003, "{a:?} {b:?}");
            prop_assert!((a.tcpa_s - b.tcpa_s).abs() < 1.0, "{a:?} {b:?}");
        }
    }
}
