//! What a look at the watch shows. A look takes `&self`: it changes nothing.

mod casualty;
mod handover;
pub(super) mod parts;
mod place;
mod rows;
mod status;

pub(super) use casualty::vessel_of;
pub(super) use handover::{Since, Trends};
pub(super) use place::{closest, direction, words as where_to_look};
pub(super) use status::casualty_now;
pub use status::{FeedOutside, Outside};
