//! The daemon: what touches the world. It carries what the pure crates decide: feeds and the clock in, signals,
//! logbook and control out.

pub mod check;
pub mod cli;
pub mod clock;
pub mod control;
pub mod demo;
mod departure;
mod diagnostics;
pub mod explain;
pub mod feeds;
pub mod files;
pub mod gpio;
pub mod handbook;
pub mod listen;
pub mod logbook;
pub mod outcome;
pub mod ports;
pub mod quick;
pub mod recording;
pub mod replay;
pub mod review;
pub mod run;
pub mod service;
pub mod signals;
pub mod status;
pub mod window;
