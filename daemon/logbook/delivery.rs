//! What goes into the logbook: rows, and the deliveries of events.

use record::{EventRecord, FeedRow, OwnRow, Stamp, TargetRow};
use rules::Priority;
use std::sync::Arc;
use terms::Quantity;

/// Identifies a delivery within this run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DeliveryId(pub(super) u64);

/// A delivery that is due.
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    /// Identifies it when reporting back.
    pub id: DeliveryId,
    /// The receiver's key for it: the same for every attempt, in this run and later ones, and shared with no other
    /// delivery to that receiver.
    pub key: String,
    /// What to send: the record in JSON, with `log_id` if known by now.
    pub body: String,
    /// The greatest priority of what waits of its alert.
    pub priority: Priority,
    /// When the event happened, so that a late one can say so. Its steady time may belong to an earlier boot.
    pub at: Stamp,
    /// Whether the steady time of `at` belongs to this boot.
    pub same_boot: bool,
    /// Failed attempts in this run.
    pub tries: u32,
}

/// A row on its way to the disk.
#[derive(Debug, Clone)]
pub(super) enum Row {
    Own(OwnRow),
    Target(TargetRow),
    Instrument(Quantity, f64),
    Feed(FeedRow),
}

/// An event on its way to the disk.
#[derive(Debug)]
pub(super) struct EventItem {
    /// Identifies the event in memory until its row has a number.
    pub key: u64,
    pub at: Stamp,
    pub record: Arc<EventRecord>,
    pub reply: Option<tokio::sync::oneshot::Sender<Result<i64, super::LogbookError>>>,
}
