//! The tests of the picture, as one program.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "a test reads fixtures, says what it found, and stops where its footing is missing"
)]

mod dice;

mod bad_days;
mod casualty_falls;
mod closest;
mod drift_truth;
mod encounters;
mod flood;
mod geometry;
mod hearing;
mod hostile;
mod passage;
mod picture;
mod reckons;
mod sources;
mod steady;
mod walks;
