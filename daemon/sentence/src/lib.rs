//! Bytes on a wire to typed reports, and back. Pure: no clock is read here and no I/O done.

pub mod ais;
mod report;

pub use report::*;
