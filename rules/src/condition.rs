//! Conditions as read: measures, predicates about them, and how these combine.

use crate::declared::{Declarations, Doing, Visibility, Waters};
use std::fmt;
use std::time::Duration;
use terms::{Dimension, Position, Quantity, Whose};

/// Something that can be measured and compared.
#[derive(Debug, Clone, PartialEq)]
pub enum Measure {
    /// A quantity as the picture gives it.
    Quantity(Quantity),
    /// How long ago a quantity was last heard.
    Age(Quantity),
    /// The highest, lowest or mean value over a window of time.
    Over(Extent, Quantity, Duration),
    /// Distance to a named mark, by own position.
    MarkRange(String, Position),
    /// True bearing of a named mark, by own position.
    MarkBearing(String, Position),
    /// Distance from where the anchor lies.
    AnchorRange,
    /// A named transducer; it must measure what the order's unit says.
    Transducer(String, Dimension),
    /// Ship's time of day, in seconds since midnight.
    TimeOfDay,
    /// How long the present watch has lasted.
    TimeOnWatch,
}

/// Which value of a window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Extent {
    /// The greatest.
    Highest,
    /// The least.
    Lowest,
    /// The mean; of directions the circular one.
    Mean,
}

impl Measure {
    /// What it measures.
    pub fn dimension(&self) -> Dimension {
        match self {
            Self::Quantity(q) | Self::Over(_, q, _) => q.dimension(),
            Self::Age(_) | Self::TimeOfDay | Self::TimeOnWatch => Dimension::Time,
            Self::MarkRange(..) | Self::AnchorRange => Dimension::Distance,
            Self::MarkBearing(..) => Dimension::Direction,
            Self::Transducer(_, dimension) => *dimension,
        }
    }

    /// Whose it is.
    pub fn whose(&self) -> Whose {
        match self {
            Self::Quantity(q) | Self::Age(q) | Self::Over(_, q, _) => q.whose(),
            _ => Whose::Own,
        }
    }

    /// Whether only a declaration that she lies at anchor can provide it.
    pub fn is_of_anchor(&self) -> bool {
        use Quantity as Q;
        matches!(
            self,
            Self::AnchorRange | Self::Quantity(Q::AnchorDrag | Q::AnchorDragLeast | Q::AnchorError)
        )
    }

    /// The quantity at whose change to judge it again; `None` if only time changes it.
    pub fn follows(&self) -> Option<Quantity> {
        match self {
            Self::Quantity(q) | Self::Age(q) | Self::Over(_, q, _) => Some(*q),
            Self::MarkRange(..) | Self::MarkBearing(..) | Self::AnchorRange => Some(Quantity::Fix),
            Self::Transducer(..) => Some(Quantity::Transducers),
            Self::TimeOfDay | Self::TimeOnWatch => None,
        }
    }
}

impl fmt::Display for Measure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Quantity(q) => write!(f, "{q}"),
            Self::Age(q) => write!(f, "age of {q}"),
            Self::Over(extent, q, window) => {
                let word = match extent {
                    Extent::Highest => "highest",
                    Extent::Lowest => "lowest",
                    Extent::Mean => "mean",
                };
                write!(f, "{word} {q} in {}", terms::rounded(*window))
            }
            Self::MarkRange(name, _) => write!(f, "distance to {name}"),
            Self::MarkBearing(name, _) => write!(f, "bearing to {name}"),
            Self::AnchorRange => f.write_str("distance from anchor"),
            Self::Transducer(name, _) => write!(f, "transducer {name}"),
            Self::TimeOfDay => f.write_str("time of day"),
            Self::TimeOnWatch => f.write_str("time on watch"),
        }
    }
}

/// Which way a value moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trend {
    /// A number gets smaller.
    Falls,
    /// The pressure falls by so much at 60° of latitude, and in proportion to its sine elsewhere.
    FallsForLatitude,
    /// A number gets greater.
    Rises,
    /// A direction turns clockwise.
    Veers,
    /// A direction turns anticlockwise.
    Backs,
    /// A direction turns either way.
    Shifts,
}

/// A predicate about a measure; numbers in its dimension's own unit.
#[derive(Debug, Clone, PartialEq)]
pub enum Predicate {
    /// Greater than.
    Over(f64),
    /// Less than.
    Under(f64),
    /// Not less than.
    AtLeast(f64),
    /// Not greater than.
    AtMost(f64),
    /// Within two limits, these included. A time of day may run through midnight.
    Between(f64, f64),
    /// Beyond one of two limits.
    Outside(f64, f64),
    /// In the sector clockwise from one edge to the other, these included.
    Within(f64, f64),
    /// Out of that sector.
    NotWithin(f64, f64),
    /// One of these words.
    Is(Vec<String>),
    /// None of these words.
    IsNot(Vec<String>),
    /// No value for so long.
    Missing(Duration),
    /// Moves by so much within a window.
    Changes(Trend, f64, Duration),
    /// Differs from its mean over a window by more than so much.
    OffMean(f64, Duration),
}

/// A predicate about a measure.
#[derive(Debug, Clone, PartialEq)]
pub struct Test {
    /// What is measured.
    pub measure: Measure,
    /// The predicate.
    pub predicate: Predicate,
}

impl Test {
    /// The window it is judged over, where it has one.
    pub fn window(&self) -> Option<Duration> {
        match (&self.measure, &self.predicate) {
            (Measure::Over(_, _, d), _) | (_, Predicate::Changes(_, _, d) | Predicate::OffMean(_, d)) => {
                Some(*d)
            }
            _ => None,
        }
    }
}

/// How tests combine; a test by its place in the order's list.
#[derive(Debug, Clone, PartialEq)]
pub enum Condition {
    /// One test.
    Test(usize),
    /// All must be true.
    All(Vec<Condition>),
    /// One must be true.
    Any(Vec<Condition>),
    /// None may be true.
    None(Vec<Condition>),
}

/// Whether something is true. What is not known is neither true nor false.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Truth {
    /// True.
    True,
    /// False.
    False,
    /// Not known.
    #[default]
    Unknown,
}

impl From<bool> for Truth {
    fn from(b: bool) -> Self {
        if b { Self::True } else { Self::False }
    }
}

impl Condition {
    /// Combines the tests' truths: one false makes `all` false whatever is unknown, one true makes `any` true. Asks for
    /// truths by the tests' places, in order, and stops when the outcome is decided.
    pub fn judge(&self, truth_of: &mut dyn FnMut(usize) -> Truth) -> Truth {
        match self {
            Self::Test(i) => truth_of(*i),
            Self::All(parts) => first_of(Truth::False, Truth::True, parts, truth_of),
            Self::Any(parts) => first_of(Truth::True, Truth::False, parts, truth_of),
            Self::None(parts) => match first_of(Truth::True, Truth::False, parts, truth_of) {
                Truth::True => Truth::False,
                Truth::False => Truth::True,
                Truth::Unknown => Truth::Unknown,
            },
        }
    }
}

/// `deciding` if any part is that; else unknown if any part is; else `otherwise`.
fn first_of(
    deciding: Truth,
    otherwise: Truth,
    parts: &[Condition],
    truth_of: &mut dyn FnMut(usize) -> Truth,
) -> Truth {
    let mut unknown = false;
    for part in parts {
        match part.judge(truth_of) {
            t if t == deciding => return deciding,
            Truth::Unknown => unknown = true,
            _ => {}
        }
    }
    if unknown { Truth::Unknown } else { otherwise }
}

/// When an order applies, by the declarations and by day or night. If undeclared or unknown, it applies.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Only {
    /// By night (true) or by day (false) only.
    pub night: Option<bool>,
    /// Doing one of these only; empty for any.
    pub doing: Vec<Doing>,
    /// In these waters only.
    pub waters: Option<Waters>,
    /// In this visibility only.
    pub visibility: Option<Visibility>,
    /// Not while doing one of these.
    pub except: Vec<Doing>,
}

impl Only {
    /// Whether the order applies; `night` is `None` while nobody can tell.
    pub fn applies(&self, night: Option<bool>, declared: &Declarations) -> bool {
        fn agrees<T: PartialEq>(wanted: Option<T>, is: Option<T>) -> bool {
            wanted.is_none() || is.is_none() || wanted == is
        }
        agrees(self.night, night)
            && declared.doing.is_none_or(|d| {
                (self.doing.is_empty() || self.doing.contains(&d)) && !self.except.contains(&d)
            })
            && agrees(self.waters, declared.waters)
            && agrees(self.visibility, declared.visibility)
    }
}
