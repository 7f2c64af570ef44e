//! What the board keeps across a restart of the daemon or the computer.

use super::{Board, ShipClock, WatchAlarm};
use crate::declared::Declarations;
use crate::life::KeptAlerts;
use crate::rest::Duties;
use crate::watch_alarm::KeptWatchAlarm;
use crate::window::Window;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use terms::{Moment, Position, Subject, Utc};

/// An alert from before a restart ends if its condition is not met again within this time.
const MET_AGAIN_WITHIN: Duration = Duration::from_secs(300);

/// What must outlast a restart: the alerts that are not over with their timers, the declarations, the anchor, who is on
/// watch, what rest each had, ship's time, the watch alarm, the rests of orders, and the recent course of own vessel's quantities.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Snapshot {
    /// When it was taken, in the steady time of that run.
    pub at: Moment,
    pub(super) alerts: KeptAlerts,
    #[serde(flatten)]
    pub(super) declared: Declarations,
    pub(super) anchor: Option<Position>,
    pub(super) on_watch: Option<(String, Moment)>,
    /// Whom the roster had put on watch, and since when.
    #[serde(default)]
    pub(super) rostered: Option<(String, Utc)>,
    #[serde(default)]
    pub(super) by_hand: bool,
    #[serde(default)]
    pub(super) duties: Duties,
    #[serde(default)]
    pub(super) ship_clock: Option<ShipClock>,
    #[serde(default)]
    pub(super) watch_alarm: Option<KeptWatchAlarm>,
    pub(super) orders: Vec<KeptOrder>,
}

/// What is kept of one order.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct KeptOrder {
    pub name: String,
    /// The subjects about which it rests, each with the moment until when.
    pub rests: Vec<(Subject, Moment)>,
    /// Windows of tests about own vessel, by the test's place.
    pub windows: Vec<(usize, Window)>,
}

impl KeptOrder {
    fn shifted(self, by_ms: i64, windows_too: bool) -> Self {
        let rests = self.rests.into_iter().map(|(s, m)| (s, Moment(m.0.saturating_add(by_ms)))).collect();
        // After a gap of unknown length the course of a value over the last hours is not known.
        let windows = if windows_too { self.windows } else { Vec::new() };
        Self { rests, windows: windows.into_iter().map(|(i, w)| (i, w.shifted(by_ms))).collect(), ..self }
    }
}

impl Board {
    /// What to keep, as of the board's present moment.
    pub fn snapshot(&self) -> Snapshot {
        Snapshot {
            at: self.now,
            alerts: self.alerts.keep(),
            declared: self.declared,
            anchor: self.anchor,
            on_watch: self.on_watch.clone(),
            rostered: self.rostered.clone(),
            by_hand: self.by_hand,
            duties: self.duties.clone(),
            ship_clock: Some(self.ship_clock),
            watch_alarm: self.watch_alarm.as_ref().map(WatchAlarm::keep),
            orders: self.watched.iter().map(super::Watched::keep).filter(|k| !k.is_empty()).collect(),
        }
    }

    /// Takes over a snapshot from before a restart; call it before the orders and the watch alarm are set. `gap` is the time from the snapshot
    /// to now by UTC; without it durations count on from the snapshot and are "at least" that long. Unacknowledged alerts
    /// are repeated at once. An alert that is not met again within five minutes ends, except an emergency: only a person
    /// ends that.
    pub fn restore(&mut self, at: Moment, snapshot: Snapshot, gap: Option<Duration>) {
        let at = self.pass(at);
        let gap_ms = gap.map_or(0, |g| i64::try_from(g.as_millis()).unwrap_or(i64::MAX));
        let by_ms = at.0.saturating_sub(snapshot.at.0).saturating_sub(gap_ms);
        self.alerts.take_over(at, snapshot.alerts, by_ms, gap.is_none());
        self.declared = snapshot.declared;
        self.anchor = snapshot.anchor;
        self.on_watch = snapshot.on_watch.map(|(who, m)| (who, Moment(m.0.saturating_add(by_ms))));
        self.rostered = snapshot.rostered;
        (self.by_hand, self.duties) = (snapshot.by_hand, snapshot.duties);
        if let Some(kept) = snapshot.ship_clock {
            self.ship_clock.take_up(kept);
        }
        self.kept_watch_alarm = snapshot.watch_alarm.map(|k| k.shifted(by_ms));
        self.alerts.watch = self.on_watch.as_ref().map(|(who, _)| who.clone());
        self.kept =
            snapshot.orders.into_iter().map(|k| (k.name.clone(), k.shifted(by_ms, gap.is_some()))).collect();
        self.unconfirmed_until = Some(at + MET_AGAIN_WITHIN);
    }

    /// Ends the alerts that were not met again, once the time for that is up.
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
