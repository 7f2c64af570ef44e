//! The review of a night from the logbook, read through a connection that cannot write.

mod approach;
mod casualty;
mod deck;
mod error;
mod export;
mod html;
mod json;
mod lessons;
mod night;
mod passage;
mod passages;
mod practice;
mod print;
mod read;
mod verb;
mod watches;
mod weather;
mod when;

pub use deck::Hour;
pub use error::ReviewError;
pub use night::{
    Alert, Approach, Blind, Casualty, Feed, Minute, Night, Occurrence, OwnPoint, Passage, Remark, Run, Span,
};
pub use passages::{Leg, passages};
pub use practice::Drilled;
pub use read::{read, was_replayed};
pub use verb::{Review, verb};
pub use watches::{Blindness, WatchKept};
pub use when::When;

/// What a review is no substitute for; printed once in each.
pub const CAUTION: &str = "This lookout is an aid. It replaces neither a person who keeps watch by sight and hearing, \
nor the collision regulations, nor your own procedures for a person overboard.";
