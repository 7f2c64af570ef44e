//! The daemon: what touches the world. It carries what the pure crates decide: feeds and the clock in, signals,
//! logbook and control out.

pub mod act;
pub mod check;
pub mod cli;
pub mod clock;
pub mod config;
pub mod control;
mod departure;
mod diagnostics;
pub mod event;
pub mod feeds;
pub mod gpio;
pub mod listen;
pub mod logbook;
pub mod ports;
pub mod recording;
pub mod replay;
pub mod review;
pub mod run;
pub mod service;
pub mod signals;
pub mod status;
pub mod watch;
pub mod words;
