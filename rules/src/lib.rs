//! Standing orders, the life of an alert, and who is to be told. Pure: no clock is read here and no I/O done.

mod alert;

pub use alert::{AlertId, AlertState, EventKind, Priority};
