//! The daemon: what touches the world. It carries what the pure crates decide: feeds and the clock in, signals,
//! logbook and control out.

pub mod event;
pub mod logbook;
