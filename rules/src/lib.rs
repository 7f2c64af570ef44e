//! Standing orders, the life of an alert, and whom it goes to. Pure: reads no clock and does no I/O.

mod alert;
mod board;
mod builtin;
mod condition;
mod cost;
mod declared;
mod judge;
mod life;
mod order;
mod picture;
mod proof;
mod read;
mod rest;
mod roster;
mod shipped;
mod trial;
mod watch_alarm;
mod window;
mod wording;
mod words;

pub use alert::{
    Addressee, Alert, AlertEvent, AlertId, AlertState, Carry, EventKind, Origin, Priority, Refused,
};
pub use board::{Board, BoardSettings, Handover, Possible, Snapshot};
pub use builtin::{BuiltIn, Escalation};
pub use condition::{Condition, Extent, Measure, Only, Predicate, Test, Trend, Truth};
pub use cost::MOST_COST;
pub use declared::{Declarations, Declared, Doing, Visibility, Waters};
pub use life::{
    ALARM_REPEATS, EMERGENCY_REMINDS, EMERGENCY_REPEATS, LAST_LEVEL, MOST_RECTIFIED, SOUND_RETURNS,
    WARNING_REPEATS,
};
pub use order::{Order, Orders, Piece, Worst};
pub use picture::Picture;
pub use proof::{Danger, Proof, WatchedBy, table as table_of_proofs};
pub use rest::{REST_OF_A_DAY, REST_OF_A_WEEK, Rest};
pub use roster::{DailyWatch, Present, Roster, RosterError, Rotation};
pub use shipped::SHIPPED;
pub use watch_alarm::{
    LONGEST_DORMANT, NoLookoutPosition, SHORTEST_DORMANT, Stage, Switch, TO_FIRST, TO_SECOND, TO_THIRD,
    WatchAlarm, WatchAlarmError, WatchAlarmSettings,
};
pub use wording::number as number_in_words;
pub use words::Words;
