//! Limits of a wind speed by the Beaufort scale: "is at least force 7".

use super::number::Tokens;
use super::phrase::{Read, error};
use crate::condition::{Measure, Predicate};
use terms::Quantity;

/// The least wind of each force in knots (WMO Beaufort scale: <1, 1-3, 4-6, 7-10, 11-16, 17-21, 22-27, 28-33,
/// 34-40, 41-47, 48-55, 56-63, 64 and more). A force reaches up to the least wind of the next.
const LEAST_KN: [f64; 13] = [0.0, 1.0, 4.0, 7.0, 11.0, 17.0, 22.0, 28.0, 34.0, 41.0, 48.0, 56.0, 64.0];

/// A limit by the Beaufort scale, or `None` if there is no "force".
pub fn limits(t: &mut Tokens<'_>, m: &Measure, not: bool) -> Read<Option<Predicate>> {
    let above = |force: usize| LEAST_KN.get(force + 1).copied().unwrap_or(f64::INFINITY);
    for (words, least, over) in [
        (&["over", "force"][..], false, true),
        (&["above", "force"], false, true),
        (&["at", "least", "force"], true, true),
        (&["under", "force"], true, false),
        (&["below", "force"], true, false),
        (&["at", "most", "force"], false, false),
    ] {
        if t.take(words) {
            let n = force(t, m)?;
            let limit = if least { LEAST_KN[n] } else { above(n) };
            return Ok(Some(if over == not { Predicate::Under(limit) } else { Predicate::AtLeast(limit) }));
        }
    }
    Ok(None)
}

/// The number of a force, for a measure that is a wind.
fn force(t: &mut Tokens<'_>, m: &Measure) -> Read<usize> {
    let at = t.span_before();
    let is_wind = matches!(
        m,
        Measure::Quantity(q) | Measure::Over(_, q, _)
            if matches!(q, Quantity::TrueWindSpeed | Quantity::GroundWindSpeed | Quantity::ApparentWindSpeed)
    );
    if !is_wind {
        return Err(error(at, format!("{m} is no wind speed and has no force")));
    }
    let (n, span) = t.number()?;
    if n.fract() != 0.0 || !(0.0..=12.0).contains(&n) {
        return Err(error(span, "a force of the Beaufort scale is 0 to 12"));
    }
    Ok(n as usize)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::phrase::test;

    #[test]
    fn forces_of_the_published_scale() {
        for (said, predicate) in [
            ("is at least force 7", Predicate::AtLeast(28.0)),
            ("is over force 7", Predicate::AtLeast(34.0)),
            ("is not over force 7", Predicate::Under(34.0)),
            ("is under force 4", Predicate::Under(11.0)),
            ("is at most force 4", Predicate::Under(17.0)),
            ("is at least force 12", Predicate::AtLeast(64.0)),
            ("is at least force 0", Predicate::AtLeast(0.0)),
        ] {
            assert_eq!(test(&format!("true wind speed {said}"), &[]).unwrap().predicate, predicate, "{said}");
        }
        assert!(test("SOG is over force 7", &[]).is_err());
        assert!(test("true wind speed is over force 13", &[]).is_err());
        assert!(test("true wind speed is over force 6.5", &[]).is_err());
    }

    #[test]
    fn terms_of_the_pressures_tendency() {
        // Met Office: quickly 3.6 to 6.0, very rapidly more than 6.0, in three hours.
        for (said, hpa) in [("falls slowly", 0.1), ("falls quickly", 3.6), ("rises very rapidly", 6.1)] {
            let Predicate::Changes(_, by, window) = test(&format!("pressure {said}"), &[]).unwrap().predicate
            else {
                panic!("{said}");
            };
            assert_eq!((by, window.as_secs()), (hpa, 10_800));
        }
        assert!(test("battery voltage falls quickly", &[]).is_err());
    }
}
