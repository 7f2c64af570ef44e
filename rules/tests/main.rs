//! The tests of the orders and of the alerts' life, as one program.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "a test reads fixtures, says what it found, and stops where its footing is missing"
)]

mod table;

mod bad_files;
mod board;
mod conditions;
mod corpus;
mod directions;
mod edges;
mod grammar;
mod life;
mod model;
mod places;
mod proof;
mod roster;
mod watch;
