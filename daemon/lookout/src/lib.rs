//! The picture: own vessel, targets, encounters, casualties, UTC and how fresh each of them is. Pure: time is an input,
//! no clock is read here and no I/O done; the daemon feeds it sentences and wakes it when it asks.

mod air_tide;
pub mod anchor;
pub mod casualty;
mod claim;
pub mod drift;
mod duplicate;
mod encounter;
mod finding;
pub mod hearing;
mod judging;
mod kind;
mod light;
mod lookout;
mod motion;
mod own;
mod plotter;
mod radar;
mod reading;
pub mod search;
mod settings;
mod source;
mod state;
mod table;
mod target;
mod track;
mod utc;
mod words;

pub use encounter::{Encounter, Situation};
pub use finding::Finding;
pub use kind::Kind;
pub use light::{Change as LightChange, Light, Sky, sun_altitude_deg};
pub use lookout::Lookout;
pub use motion::{Closest, Motion, closest};
pub use own::{DeadReckoning, ReckonedBy, Trouble};
pub use plotter::PassageState;
pub use settings::{Dimensions, Settings};
pub use source::{Origin, Source};
pub use state::{OwnState, TargetState};
pub use words::{Propulsion, Visibility};
