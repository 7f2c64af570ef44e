//! What time does to an alert: it sounds again, is repeated, and escalates.

use super::{Alerts, LAST_LEVEL, Standing};
use crate::alert::{AlertId, AlertState, EventKind, Origin, Priority};
use terms::Moment;

impl Alerts {
    /// Runs everything due by a moment: ends silences, repeats, escalates.
    pub fn advance(&mut self, at: Moment) {
        while let Some(&(due, id)) = self.due.first() {
            if due > at {
                break;
            }
            let Some(s) = self.standing.get_mut(&id) else {
                self.due.remove(&(due, id));
                continue;
            };
            if s.next_escalation.is_some_and(|t| t <= at) {
                self.escalate(at, id);
            } else if s.silenced_until.is_some_and(|t| t <= at) {
                s.silenced_until = None;
                s.alert.state = AlertState::ActiveUnacknowledged;
                s.next_repeat = s.interval().map(|i| at + i);
                self.emit(at, id, EventKind::Repeated, 0);
            } else {
                let (worst, more) = self.worst_of_group(at, id);
                self.repeat_one(at, worst, more);
            }
            self.arm(id);
        }
    }

    fn escalate(&mut self, at: Moment, id: AlertId) {
        let Some(s) = self.standing.get_mut(&id) else { return };
        s.alert.level = (s.alert.level + 1).min(LAST_LEVEL);
        if let Some(to) = s.escalation.and_then(|e| e.to) {
            s.alert.priority = s.alert.priority.max(to);
        }
        // Silenced is not acknowledged: the next person is called aloud.
        s.alert.state = AlertState::ActiveUnacknowledged;
        s.silenced_until = None;
        self.start_clocks(at, id);
        self.emit(at, id, EventKind::Escalated, 0);
    }

    /// The worst of an order's unacknowledged alerts, which is repeated for all of them, and the number of the others,
    /// which wait another interval. Built-in alerts and emergencies are repeated one by one.
    fn worst_of_group(&mut self, at: Moment, id: AlertId) -> (AlertId, u32) {
        let Some(first) = self.standing.get(&id) else { return (id, 0) };
        let alone = |s: &Standing| matches!(s.origin, Origin::BuiltIn(_) | Origin::Exercise(_));
        if alone(first) || first.alert.priority == Priority::EmergencyAlarm {
            return (id, 0);
        }
        let order = &first.alert.order;
        let group: Vec<(AlertId, f64)> = self
            .standing
            .iter()
            .filter(|(_, s)| s.alert.state == AlertState::ActiveUnacknowledged && s.alert.order == *order)
            .filter(|(_, s)| !alone(s) && (!s.alert.exercise || first.alert.exercise))
            .map(|(id, s)| (*id, s.badness))
            .collect();
        let worst =
            group.iter().max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0))).map_or(id, |(id, _)| *id);
        for &(other, _) in group.iter().filter(|(other, _)| *other != worst) {
            if let Some(s) = self.standing.get_mut(&other) {
                s.next_repeat = s.interval().map(|i| at + i);
            }
            self.arm(other);
        }
        (worst, group.len().saturating_sub(1) as u32)
    }

    fn repeat_one(&mut self, at: Moment, id: AlertId, more: u32) {
        if let Some(s) = self.standing.get_mut(&id) {
            s.next_repeat = s.interval().map(|i| at + i);
        }
        self.emit(at, id, EventKind::Repeated, more);
        self.arm(id);
    }
}
