//! What the board keeps across a restart of the daemon or the computer.

use super::Board;
use crate::declared::Declarations;
use crate::life::KeptAlerts;
use crate::window::Window;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use terms::{Moment, Position, Subject, Utc};

/// How soon after a restart a restored condition must be met again before it counts as ended.
const MET_AGAIN_WITHIN: Duration = Duration::from_secs(300);

/// Everything that must outlast a restart: every open alert and its clocks, the declarations, the anchor, the orders'
/// rests, and the recent course of own vessel's quantities.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Snapshot {
    /// When it was taken, in the steady time of that run.
    pub at: Moment,
    pub(super) alerts: KeptAlerts,
    #[serde(flatten)]
    pub(super) declared: Declarations,
    pub(super) anchor: Option<Position>,
    pub(super) on_watch: Option<(String, Moment)>,
    /// The watch that the roster had put on.
    #[serde(default)]
    pub(super) rostered: Option<(String, Utc)>,
    pub(super) orders: Vec<KeptOrder>,
}

/// What is kept of one order.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct KeptOrder {
    pub name: String,
    /// Subjects about which it rests, and until when.
    pub rests: Vec<(Subject, Moment)>,
    /// Windows of tests about own vessel, by the test's place.
    pub windows: Vec<(usize, Window)>,
}

impl KeptOrder {
    fn shifted(self, by_ms: i64, windows_too: bool) -> Self {
        let rests = self.rests.into_iter().map(|(s, m)| (s, Moment(m.0.saturating_add(by_ms)))).collect();
        // Across a gap of unknown length nobody knows what a value did in the last three hours.
        let windows = if windows_too { self.windows } else { Vec::new() };
        Self { rests, windows: windows.into_iter().map(|(i, w)| (i, w.shifted(by_ms))).collect(), ..self }
    }
}

impl Board {
    /// What to keep, as of the board's last moment.
    pub fn snapshot(&self) -> Snapshot {
        Snapshot {
            at: self.now,
            alerts: self.alerts.keep(),
            declared: self.declared,
            anchor: self.anchor,
            on_watch: self.on_watch.clone(),
            rostered: self.rostered.clone(),
            orders: self.watched.iter().map(super::Watched::keep).filter(|k| !k.is_empty()).collect(),
        }
    }

    /// Restores what a board kept before a restart; call it before setting the orders. `gap` is the time since the
    /// snapshot, by UTC; without it durations continue from the snapshot and read "at least". Unacknowledged alerts
    /// are announced again at once. A condition not met again within five minutes has ended; an emergency has not: a
    /// person ends it.
    pub fn restore(&mut self, at: Moment, snapshot: Snapshot, gap: Option<Duration>) {
        let at = self.pass(at);
        let gap_ms = gap.map_or(0, |g| i64::try_from(g.as_millis()).unwrap_or(i64::MAX));
        let by_ms = at.0.saturating_sub(snapshot.at.0).saturating_sub(gap_ms);
        self.alerts.take_over(at, snapshot.alerts, by_ms, gap.is_none());
        self.declared = snapshot.declared;
        self.anchor = snapshot.anchor;
        self.on_watch = snapshot.on_watch.map(|(who, m)| (who, Moment(m.0.saturating_add(by_ms))));
        self.rostered = snapshot.rostered;
        self.alerts.watch = self.on_watch.as_ref().map(|(who, _)| who.clone());
        self.kept =
            snapshot.orders.into_iter().map(|k| (k.name.clone(), k.shifted(by_ms, gap.is_some()))).collect();
        self.unconfirmed_until = Some(at + MET_AGAIN_WITHIN);
    }

    /// Ends restored alerts that were not met again in time.
    pub(super) fn end_unconfirmed(&mut self) {
        if self.unconfirmed_until.is_some_and(|t| t <= self.now) {
            self.unconfirmed_until = None;
            self.kept.clear();
            self.alerts.end_unconfirmed(self.now);
        }
    }
}

impl KeptOrder {
    fn is_empty(&self) -> bool {
        self.rests.is_empty() && self.windows.is_empty()
    }
}
