//! Geodesics on the WGS 84 ellipsoid against values that were worked out to far more digits.
//!
//! `fixtures/geodesics/GeodTest-100.dat`: a hundred lines of C. F. F. Karney's test set (doi 10.5281/zenodo.32156): latitude,
//! longitude and azimuth at the first point, the same at the second, length in metres, and what is not looked at here.

#![allow(clippy::unwrap_used, reason = "a test stops where its footing is missing")]

use terms::{METRES_PER_NM, Position, turn_deg};

const VALUES: &str = include_str!("../../../fixtures/geodesics/GeodTest-100.dat");

#[test]
fn a_hundred_geodesics_are_met_to_the_millimetre_both_ways() {
    let mut tried = 0;
    for line in VALUES.lines() {
        let v: Vec<f64> = line.split(' ').map(|v| v.parse().unwrap()).collect();
        let (from, to) = (Position::new(v[0], v[1]).unwrap(), Position::new(v[3], v[4]).unwrap());
        let metres = v[6];
        let (nm, bearing) = from.range_and_bearing(to);
        assert!((nm * METRES_PER_NM - metres).abs() < 1e-3, "{line}: {} m", nm * METRES_PER_NM);
        // Between nearly opposite points any bearing is nearly as good as another.
        let free = if metres > 19_900_000.0 { 1e-3 } else { 1e-6 };
        assert!(turn_deg(v[2], bearing).abs() < free, "{line}: {bearing}");
        let reached = from.at(v[2], metres / METRES_PER_NM);
        let off_m = reached.range_and_bearing(to).0 * METRES_PER_NM;
        assert!(off_m < 1e-3, "{line}: {off_m} m beside");
        tried += 1;
    }
    assert_eq!(tried, 100);
}
