//! What leaves the watch and what is done to it: event records, entries, rows, acts. Plain data with serde. Pure: reads
//! no clock and does no I/O.

mod act;
mod bridge;
mod call;
mod casualty;
mod departure;
mod done;
mod drill;
mod entry;
mod event;
pub mod example;
mod handover;
mod item;
mod json;
mod lines;
mod passage;
mod row;
pub mod schema;
mod status;
mod whole;
pub mod words;

pub use act::{Act, ActError};
pub use bridge::{alarm_number, identifier};
pub use call::{Call, CallKind};
pub use casualty::{CasualtyAnswer, CasualtyQuestion};
pub use departure::{Asked, CheckItem, DepartureAct, DepartureSheet, Part, Verdict};
pub use done::{Backup, Done, Nothing, Refusal, SignalTest, Tried};
pub use drill::{Drill, DrillEnd, Measures};
pub use entry::{Carried, Entry, Removed, SetAside, reason_words, tally};
pub use event::{AlertPart, CasualtyPart, ElsewherePart, EventRecord, LinePart, OwnPart, TargetPart};
pub use handover::{Date, Dated, Handover, LightChangeNow, LightNow, LowBeacon, LowBeaconBasis};
pub use item::{ComesFrom, Item, NoItem};
pub use json::from_json;
pub use lines::{HeldFeed, HeldFeeds, Piece};
pub use passage::PassageNow;
pub use row::{FeedRow, OwnRow, Stamp, TargetRow};
pub use status::{
    AisNow, AlertNow, CallNow, CasualtyNow, ExerciseNow, FeedNow, LogbookNow, OwnNow, ReckonedNow, RestNow,
    RowNow, SignalNow, Status, TargetNow, WatchNow,
};
