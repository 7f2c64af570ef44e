//! Everything that leaves a watch. What is not here cannot leave it.

use crate::keep::Kept;
use record::{CasualtyPart, Entry, EventRecord, OwnRow, Stamp, TargetRow};
use rules::Carry;
use terms::Quantity;

/// One thing that leaves the watch.
#[derive(Debug)]
pub enum Effect {
    /// What must outlast a restart: before the events that belong to it, once for all that one input brought.
    Keep(Stamp, Box<Kept>),
    /// What happened to an alert, and whom it is for.
    Event(Stamp, Box<EventRecord>, Carry),
    /// A row of the logbook.
    Row(Stamp, Row),
    /// An entry of the logbook.
    Entry(Stamp, Entry),
    /// Where the open casualties are, every ten seconds while there are any.
    Places(Stamp, Vec<CasualtyPart>),
}

/// A row of the logbook.
#[derive(Debug, Clone, PartialEq)]
pub enum Row {
    /// Own vessel.
    Own(OwnRow),
    /// A target.
    Target(TargetRow),
    /// A reading of own vessel's instruments.
    Instrument(Quantity, f64),
}
