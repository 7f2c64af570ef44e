//! Sentences kept on request: every checked line with its time and feed, and between them the crew's acts and all
//! other inputs of the watch, so that `replay` repeats the night.
//!
//! A recording is a folder of files, each of them gzip (RFC 1952) of text. Each sentence is stored as it came, behind
//! a TAG block with the feed (s), UTC in milliseconds if known (c) and steady time (r). Lines that begin with
//! `#middlewatch ` hold everything else as JSON; other programs skip them. Each file begins with one that holds what a
//! watch needs to continue from there.

mod form;
mod keep;
mod read;
mod recorder;

pub use read::{Boots, Opened, Reading, opened};
pub use recorder::Recorder;
