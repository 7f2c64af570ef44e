//! The picture: own vessel, targets, encounters, casualties, UTC and how fresh each of them is. Pure: time is an
//! input, no clock is read here and no I/O done; the daemon hears sentences and wakes it when it asks.

pub mod casualty;
mod finding;
mod kind;
mod lookout;
mod motion;
mod own;
mod settings;
mod source;
mod state;
mod table;
mod target;
mod utc;

pub use finding::Finding;
pub use kind::Kind;
pub use lookout::Lookout;
pub use motion::{Closest, Motion, closest};
pub use settings::{Dimensions, Settings};
pub use source::Source;
pub use state::{OwnState, TargetState};
