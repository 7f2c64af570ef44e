//! Search: patterns from the datum in moving water, what they cover, and what is told ashore.

mod coverage;

pub use coverage::{Area, Searched, probability_of_detection};
