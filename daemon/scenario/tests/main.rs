//! The tests of scenarios, as one program.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "a test reads fixtures, says what it found, and stops where its footing is missing"
)]

mod bad_files;
mod night_passage;
mod receivers;
