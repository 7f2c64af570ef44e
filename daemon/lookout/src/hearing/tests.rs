//! The horizon and the quantiles.

use super::*;

#[test]
fn the_radio_horizon_of_two_heights() {
    // 4.12·(√100 + √9) = 53.56 km, by hand; /1.852.
    assert!((horizon_nm(100.0, 9.0) - 28.92).abs() < 0.01);
    assert!((horizon_nm(0.0, 0.0)).abs() < 1e-9);
}

#[test]
fn quantiles_of_an_even_weight_lie_where_the_logarithm_is_cut() {
    let even = vec![1.0; PARTS];
    let middle = (LEAST_PART * MOST_PART).sqrt();
    assert!((quantile_of(&even, 0.5) / middle - 1.0).abs() < 0.01);
}
