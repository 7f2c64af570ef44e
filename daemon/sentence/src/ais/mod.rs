//! AIS messages (ITU-R M.1371).

mod report;

pub use report::{AisReport, Eta, PositionSource};
