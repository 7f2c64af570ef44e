//! Search: patterns from the datum in moving water, what they cover, and the report ashore.

mod brief;
mod coverage;
mod export;
mod line;
mod plan;
mod sailing;
mod survival;
mod sweep;

#[cfg(test)]
mod tests;

pub use brief::{Facts, Vessel, brief};
pub use coverage::{Area, Searched, probability_of_detection};
pub use export::gpx_place;
pub use plan::{FIRST_CAUTION, Leg, NoPlan, Pattern, Plan, Wish, least_leg_nm, search_radius_nm};
pub use sailing::{Sailing, Swept};
pub use survival::Survival;
pub use sweep::{Conditions, Sweep, TABLE_LIMITS};
