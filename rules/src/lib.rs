//! Standing orders, the life of an alert, and who is to be told. Pure: no clock is read here and no I/O done.

mod alert;
mod board;
mod builtin;
mod condition;
mod declared;
mod judge;
mod life;
mod order;
mod picture;
mod read;
mod shipped;
mod window;
mod wording;

pub use alert::{Alert, AlertEvent, AlertId, AlertState, Carry, EventKind, Priority, Refused, Source};
pub use board::{Board, BoardSettings};
pub use builtin::{BuiltIn, Escalation};
pub use condition::{Condition, Extent, Measure, Only, Predicate, Test, Trend, Truth};
pub use declared::{Declared, Doing, Waters};
pub use life::{
    ALARM_REPEATS, EMERGENCY_REMINDS, EMERGENCY_REPEATS, LAST_LEVEL, SOUND_RETURNS, WARNING_REPEATS,
};
pub use order::{Order, Orders, Piece, Worst};
pub use picture::Picture;
pub use shipped::SHIPPED;
