//! Directions have no seam at north: turned all together, they give the same answers.

use crate::table::Table;
use proptest::prelude::*;
use terms::{Quantity as Q, Subject, normal_deg};

const OWN: Subject = Subject::OwnVessel;

/// Names of the orders that called while a series of headings came, one every ten seconds.
fn called(headings: &[f64], turned_deg: f64) -> Vec<String> {
    let (from, to) = (normal_deg(30.0 + turned_deg).floor(), normal_deg(80.0 + turned_deg).floor());
    let mut t = Table::with(&format!(
        "
        [[order]]
        name = \"veers\"
        priority = \"notice\"
        when = \"heading veers 40.5 deg in 5 min\"
        [[order]]
        name = \"backs\"
        priority = \"notice\"
        when = \"heading backs 40.5 deg in 5 min\"
        [[order]]
        name = \"off\"
        priority = \"notice\"
        when = \"heading is off its mean over 5 min by 25.5 deg\"
        [[order]]
        name = \"sector\"
        priority = \"notice\"
        when = \"heading is within {from} deg to {to} deg\"
        "
    ));
    for h in headings {
        t.set(OWN, Q::Heading, normal_deg(h + turned_deg.floor() + 0.5)).pass(10.0);
    }
    t.told().into_iter().map(|s| s.split(':').next().unwrap_or_default().to_owned()).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, ..ProptestConfig::default() })]

    #[test]
    fn turned_all_together_they_give_the_same(
        // Whole degrees, and limits of half ones, so that rounding decides nothing.
        steps in prop::collection::vec(-30..=30i32, 5..60),
        turned_deg in 0..360i32,
    ) {
        let mut at = 0.0;
        let headings: Vec<f64> = steps.iter().map(|s| { at += f64::from(*s); at }).collect();
        prop_assert_eq!(called(&headings, 0.0), called(&headings, f64::from(turned_deg)));
    }

    #[test]
    fn mirrored_a_veer_is_a_back(steps in prop::collection::vec(-20..=20i32, 5..60)) {
        let mut at = 0.0;
        let headings: Vec<f64> = steps.iter().map(|s| { at += f64::from(*s); at }).collect();
        // −h −1: the half degree that is added comes out mirrored too.
        let mirrored: Vec<f64> = headings.iter().map(|h| -h - 1.0).collect();
        let count = |all: &[String], name: &str| all.iter().filter(|s| s.as_str() == format!("Noted {name}")).count();
        let (a, b) = (called(&headings, 0.0), called(&mirrored, 0.0));
        prop_assert_eq!(count(&a, "veers"), count(&b, "backs"));
        prop_assert_eq!(count(&a, "backs"), count(&b, "veers"));
        prop_assert_eq!(count(&a, "off"), count(&b, "off"));
    }
}
