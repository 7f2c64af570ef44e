//! What leaves the watch and what is done to it: event records, entries, rows, acts. Plain data with serde; pure: no clock
//! is read here and no I/O done.

mod act;
mod bridge;
mod casualty;
mod departure;
mod drill;
mod entry;
mod event;
pub mod example;
mod row;
pub mod words;

pub use act::{Act, ActError};
pub use bridge::{alarm_number, identifier};
pub use casualty::CasualtyQuestion;
pub use departure::{CheckItem, DepartureAct, Verdict};
pub use drill::{Drill, DrillEnd, Measures};
pub use entry::{Entry, reason_words, tally};
pub use event::{AlertPart, CasualtyPart, EventRecord, OwnPart, TargetPart};
pub use row::{FeedRow, OwnRow, Stamp, TargetRow};
