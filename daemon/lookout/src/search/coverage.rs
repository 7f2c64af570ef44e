//! What a search covers, and how likely it is to find what is there.

use super::line;
use crate::drift::LINE_POINTS;
use serde::{Deserialize, Serialize};
use terms::{Moment, Plane, Position};

/// Probability of detection of one pass: 1 − e^−C (Koopman's random search, as in IAMSAR; from memory), with the
/// coverage C as sweep width by track spacing.
pub fn probability_of_detection(coverage: f64) -> f64 {
    if coverage.is_nan() { 0.0 } else { 1.0 - (-coverage.max(0.0)).exp() }
}

/// The form of a searched area.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Area {
    /// A circle.
    Circle {
        /// Its radius.
        radius_nm: f64,
    },
    /// A square.
    Square {
        /// Half the length of a side.
        half_nm: f64,
        /// Direction of one side, true.
        side_deg: f64,
    },
    /// Along a line.
    Line {
        /// The places it goes through; the last is repeated where there are fewer.
        through: [Position; LINE_POINTS],
        /// How far to either side …
        half_nm: f64,
        /// … but no nearer than this: a second pass sails beside the first.
        beyond_nm: f64,
    },
    /// A strip along own track.
    Strip {
        /// Half of its length.
        half_length_nm: f64,
        /// Half of its width.
        half_width_nm: f64,
        /// Direction of its length, true.
        along_deg: f64,
    },
}

/// An area searched in vain, as it lay at one moment; it counts as drifting on with the casualty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Searched {
    /// The moment: the middle of the search.
    pub at: Moment,
    /// Its middle then; where it begins, if it is along a line.
    pub centre: Position,
    /// Its form.
    pub area: Area,
    /// Sweep width by track spacing.
    pub coverage: f64,
    /// Which search it was, from 1.
    #[serde(default)]
    pub number: usize,
}

impl Area {
    /// Length and width of a strip, in nautical miles.
    pub(super) fn strip(&self) -> Option<(f64, f64)> {
        match self {
            Self::Strip { half_length_nm, half_width_nm, .. } => {
                Some((2.0 * half_length_nm, 2.0 * half_width_nm))
            }
            _ => None,
        }
    }
}

impl Searched {
    /// Whether the area holds a place at its moment.
    pub fn holds(&self, place: Position) -> bool {
        let (east, north) = Plane::at(self.centre).east_north(place);
        match self.area {
            Area::Circle { radius_nm } => east.hypot(north) <= radius_nm,
            Area::Line { through, half_nm, beyond_nm } => {
                let off_nm = line::off_nm(&through, place);
                off_nm >= beyond_nm && off_nm <= half_nm
            }
            Area::Square { half_nm, side_deg } => within(east, north, side_deg, half_nm, half_nm),
            Area::Strip { half_length_nm, half_width_nm, along_deg } => {
                within(east, north, along_deg, half_length_nm, half_width_nm)
            }
        }
    }

    /// Probability that a casualty at a place was missed.
    pub fn missed(&self, place: Position) -> f64 {
        if self.holds(place) { 1.0 - probability_of_detection(self.coverage) } else { 1.0 }
    }
}

/// Whether a place lies within a rectangle round the origin, of this half length along a direction and half width across.
fn within(east: f64, north: f64, along_deg: f64, half_length: f64, half_width: f64) -> bool {
    let (sin, cos) = along_deg.to_radians().sin_cos();
    (east * sin + north * cos).abs() <= half_length && (east * cos - north * sin).abs() <= half_width
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn probability_of_detection_as_published() {
        // Koopman, as the IAMSAR manual has it (from memory).
        for (coverage, percent) in [(0.5, 39.3), (1.0, 63.2), (1.5, 77.7), (2.0, 86.5)] {
            assert!((100.0 * probability_of_detection(coverage) - percent).abs() < 0.05);
        }
        assert_eq!(probability_of_detection(-1.0), 0.0);
        assert_eq!(probability_of_detection(f64::NAN), 0.0);
    }

    #[test]
    fn a_square_turned_by_45_degrees() {
        let centre = Position::new(10.0, 179.99).unwrap();
        let area = Area::Square { half_nm: 1.0, side_deg: 45.0 };
        let s = Searched { at: Moment(0), centre, area, coverage: 1.0, number: 1 };
        assert!(s.holds(centre.at(90.0, 1.4)) && !s.holds(centre.at(90.0, 1.42)));
        assert!(s.holds(centre.at(45.0, 0.99)) && !s.holds(centre.at(45.0, 1.01)));
        assert!((s.missed(centre) - 0.3679).abs() < 1e-4);
    }
}
