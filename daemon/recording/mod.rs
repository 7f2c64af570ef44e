//! Sentences kept on request: every checked line with its time and feed, and between them the acts of the crew and
//! whatever else was told to the watch, so that `replay` repeats the night.
//!
//! A recording is a folder of files, each of them gzip (RFC 1952) of text. A sentence stands in it as it came, behind a
//! TAG block that tells the feed (s), UTC in milliseconds where it was known (c) and steady time (r). Lines that begin
//! with `#middlewatch ` hold everything else as JSON; other programs pass them over. Each file begins with one that holds what a
//! watch needs to go on from there.

mod form;
mod keep;
mod read;
mod recorder;

pub use read::{Boots, Opened, Reading, opened};
pub use recorder::Recorder;
