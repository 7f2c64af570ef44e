//! The tests of the whole, as one program: it is linked once, and its parts share their helpers. The parts share a
//! process too, so a test changes no limit, signal, environment or working directory of its own process; what needs
//! that starts a process (`aboard::alone` runs another test of this program in one).
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a test stops where its footing is missing, and times what it watches"
)]

// What they share.
mod aboard;
mod browser;
mod night;
mod records;
mod rough;

mod anchorage;
mod blind;
mod budget;
mod card;
mod clock;
mod control;
mod copies;
mod corpora;
mod crowd;
mod departure;
mod doors;
mod drill;
mod faults;
mod files;
mod flood;
mod gpio;
mod handbook;
mod harbour;
mod house;
#[cfg(feature = "https")]
mod https;
mod keeping;
mod limits;
mod logbook;
mod looking;
mod missing;
mod nights;
mod orders;
mod overboard;
mod pages;
mod passages;
mod plotter;
mod ports;
mod powercut;
mod queries;
mod radio;
mod recording;
mod replay;
mod rescue;
mod rest;
mod review;
mod service;
mod sounders;
mod spoken;
mod truth;
mod views;
mod voice;
mod webhook;
mod wire;
