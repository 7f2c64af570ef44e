//! The tests of bytes to reports and back, as one program.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "a test reads fixtures, says what it found, and stops where its footing is missing"
)]

mod support;

mod ais_roundtrip;
mod ais_types;
mod beacons;
mod corpora;
mod differential;
mod distress;
mod framing;
mod instruments;
mod memory;
mod plan;
mod rarer;
mod reassembly;
