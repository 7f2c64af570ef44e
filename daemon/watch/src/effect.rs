//! Everything that leaves a watch. Nothing else can.

use crate::keep::Kept;
use record::{CasualtyPart, Entry, EventRecord, OwnRow, Stamp, TargetRow};
use rules::Carry;
use terms::Quantity;

/// One thing that leaves the watch.
#[derive(Debug)]
pub enum Effect {
    /// What must outlast a restart: once per input, ahead of the events it belongs to.
    Keep(Stamp, Box<Kept>),
    /// What happened to an alert, and who must hear of it.
    Event(Stamp, Box<EventRecord>, Carry),
    /// An open alert, for a logbook that lost its records. Nobody hears of it.
    Again(Stamp, Box<EventRecord>),
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
