//! Bytes on a wire to typed reports, and back. Pure: no clock is read here and no I/O done.
//!
//! [`Framer`] splits bytes into lines, [`Sentence`] checks one line, [`Decoder`] gives its meaning as a [`Report`];
//! [`encode`] goes the other way. All of it is total: any input gives a report or a [`Refusal`], in bounded time and
//! memory.

pub mod ais;
mod decoder;
pub mod encode;
mod fields;
mod framer;
mod instruments;
mod library;
mod plan;
mod refusal;
mod report;
mod sentence;
mod tag;

pub use decoder::{Decoder, DecoderOptions};
pub use framer::{Counts, Framed, Framer, FramerOptions, MAX_LINE};
pub use plan::{RoutePart, Waypoint, WaypointPlace};
pub use refusal::Refusal;
pub use report::*;
pub use sentence::{CheckedLine, Sentence};
pub use tag::{TagBlock, TagGroup};
