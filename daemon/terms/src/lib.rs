//! The terms that the other crates share: moments, angles, positions, identities and quantities. Pure: reads no clock,
//! does no I/O.

mod angle;
mod battery;
mod brought;
mod day;
mod hour;
mod leg;
mod mmsi;
mod moment;
mod position;
mod problem;
mod quantity;
mod ship_time;
mod span;
pub mod speech;
mod tendency;
mod text;
mod wakes;
mod word;

pub use angle::{Circular, in_sector, normal_deg, three_digits, turn_deg};
pub use battery::BatteryKind;
pub use day::{Day, Every};
pub use hour::{Hour, Hours};
pub use leg::Beside;
pub use mmsi::{Mmsi, Station};
pub use moment::{Moment, Utc, UtcSource};
pub use position::{METRES_PER_NM, Plane, Position, PositionError};
pub use problem::{Problem, Problems, Severity, nearest, version_trouble};
pub use quantity::{
    CallId, CasualtyId, Dimension, FeedId, Quantity, Reading, SignalId, Subject, Unit, Value, Whose,
};
pub use ship_time::ShipTime;
pub use span::{exact, rounded, span};
pub use tendency::tendency;
pub use text::{is_hidden, legible, one_line};
pub use wakes::{Wakes, assert_ahead, soonest};
pub use word::ClosedList;
