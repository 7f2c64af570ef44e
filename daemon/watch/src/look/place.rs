//! Where to look, in few words: "250 m, 40° on the port bow".

use lookout::casualty::RelativeTo;
use rules::number_in_words as number;
use terms::speech::{self, Side};
use terms::{Dimension, METRES_PER_NM, turn_deg};

/// Below this, ranges are given in metres.
const NEAR_NM: f64 = 0.5;
/// Slower than this, a range neither closes nor opens.
const STEADY_KN: f64 = 0.2;

/// A range as it is shown.
fn range(range_nm: f64) -> String {
    let metres = range_nm * METRES_PER_NM;
    match range_nm {
        r if r < NEAR_NM && metres < 100.0 => format!("{:.0} m", (metres / 5.0).round() * 5.0),
        r if r < NEAR_NM => format!("{:.0} m", (metres / 10.0).round() * 10.0),
        // To the same digits as an order's text.
        r => number(Dimension::Distance, r),
    }
}

/// A direction off the bow, to five degrees; without a heading, off the course, and it says so.
pub(crate) fn direction(relative_deg: f64, to: RelativeTo) -> String {
    if to == RelativeTo::Heading {
        return speech::look_written(relative_deg, "°");
    }
    let angle = turn_deg(0.0, relative_deg);
    let side = if angle < 0.0 { "port" } else { "starboard" };
    match (angle.abs() / 5.0).round() as i64 * 5 {
        0 => "ahead on the course".to_owned(),
        _ if Side::of(relative_deg, None) == Side::Astern => "astern of the course".to_owned(),
        off => format!("{off}° to {side} of the course"),
    }
}

/// Where to look, as far as known; `None` if not even the range is.
pub(crate) fn words(
    range_nm: Option<f64>,
    bearing_deg: Option<f64>,
    relative: Option<(f64, RelativeTo)>,
    closing_kn: Option<f64>,
) -> Option<String> {
    let mut words = range(range_nm?);
    match (relative, bearing_deg) {
        (Some((deg, to)), _) => words += &format!(", {}", direction(deg, to)),
        (None, Some(b)) => words += &format!(", bearing {}° true", terms::three_digits(b)),
        (None, None) => {}
    }
    match closing_kn {
        Some(kn) if kn > STEADY_KN => words += ", closing",
        Some(kn) if kn < -STEADY_KN => words += ", opening",
        _ => {}
    }
    Some(words)
}

/// The closest approach: "CPA 0.21 nm in 9 min".
pub(crate) fn closest(cpa_nm: Option<f64>, tcpa_s: Option<f64>) -> String {
    match cpa_nm.zip(tcpa_s) {
        Some((_, tcpa_s)) if tcpa_s < 0.0 => "CPA is past".to_owned(),
        // As an order's text has them.
        Some((cpa_nm, tcpa_s)) => {
            format!("CPA {} in {}", number(Dimension::Distance, cpa_nm), number(Dimension::Time, tcpa_s))
        }
        None => "CPA not known".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_words() {
        let look = |nm, deg, to, kn| words(Some(nm), Some(45.0), Some((deg, to)), Some(kn)).unwrap();
        use RelativeTo::{Cog, Heading};
        assert_eq!(look(250.0 / METRES_PER_NM, 319.0, Heading, 3.0), "250 m, 40° on the port bow, closing");
        assert_eq!(look(1.25, 91.0, Heading, 0.0), "1.25 nm, on the starboard beam");
        assert_eq!(look(12.4, 182.0, Heading, -1.0), "12.4 nm, astern, opening");
        assert_eq!(look(0.02, 120.0, Heading, 0.0), "35 m, on the starboard quarter");
        assert_eq!(look(1.0, 320.0, Cog, 0.0), "1.00 nm, 40° to port of the course");
        assert_eq!(words(Some(1.0), Some(359.7), None, None).unwrap(), "1.00 nm, bearing 000° true");
        assert_eq!(words(None, Some(1.0), None, None), None);
    }
}
