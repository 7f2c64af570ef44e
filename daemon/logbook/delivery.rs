//! What goes into the logbook: rows, and the deliveries of events.

use record::{EventRecord, FeedRow, OwnRow, Stamp, TargetRow};
use rules::Priority;
use std::sync::Arc;
use terms::Quantity;

/// Names a delivery within this run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DeliveryId(pub(super) u64);

/// A delivery whose time has come.
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    /// To report back with.
    pub id: DeliveryId,
    /// What its receiver knows it by: the same for every attempt, in this run and in later ones, and no other
    /// delivery's to that receiver.
    pub key: String,
    /// What to send: the record in JSON, with `log_id` as far as it is known now.
    pub body: String,
    /// The alert's priority.
    pub priority: Priority,
    /// When the event happened, so that a late one can say so. Its steady time may be that of an earlier boot.
    pub at: Stamp,
    /// Whether the steady time of `at` is of this boot.
    pub same_boot: bool,
    /// Attempts that failed in this run.
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
    /// Names the event in memory, until its row has a number.
    pub key: u64,
    pub at: Stamp,
    pub record: Arc<EventRecord>,
    pub reply: Option<tokio::sync::oneshot::Sender<Result<i64, super::LogbookError>>>,
}
