//! Alerts that outlast a restart of the daemon or the computer.

use super::{Alerts, Standing};
use crate::alert::{AlertId, AlertState, Origin, Priority};
use crate::builtin::BuiltIn;
use serde::{Deserialize, Serialize};
use terms::{Moment, Subject};

/// The alerts that were not over, with their timers.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct KeptAlerts {
    last_id: u32,
    standing: Vec<Standing>,
}

impl KeptAlerts {
    /// Shifts every moment by a number of milliseconds, from the steady time of the run before to that of this one.
    fn shift(&mut self, by_ms: i64) {
        let carried = |m: Moment| Moment(m.0.saturating_add(by_ms));
        for s in &mut self.standing {
            s.alert.began = carried(s.alert.began);
            s.said_at = carried(s.said_at);
            for clock in [&mut s.silenced_until, &mut s.next_repeat, &mut s.next_escalation] {
                *clock = clock.map(carried);
            }
        }
    }
}

impl Alerts {
    /// What is to be kept.
    pub fn keep(&self) -> KeptAlerts {
        KeptAlerts { last_id: self.last_id, standing: self.standing.values().cloned().collect() }
    }

    /// Takes over the alerts of the run before. Unacknowledged ones are repeated at once. `at_least` says that a gap of
    /// unknown length lies in between. Alerts of the watch alarm, which goes on by its own
    /// clock, and of an exercise are dropped.
    pub fn take_over(&mut self, at: Moment, mut kept: KeptAlerts, by_ms: i64, at_least: bool) {
        kept.shift(by_ms);
        self.restarted = Some(at);
        self.last_id = self.last_id.max(kept.last_id);
        for mut s in kept.standing {
            let (subject, id) = (s.alert.subject, s.alert.id);
            let taken = self.find(&s.origin, subject).is_some() || self.standing.contains_key(&id);
            // An exercise ends with the run in which it began.
            let gone = matches!(s.origin, Origin::BuiltIn(BuiltIn::WatchAlarm) | Origin::Exercise(_));
            if taken || gone {
                continue;
            }
            s.alert.began_at_least |= at_least;
            s.unconfirmed = true;
            if s.alert.state == AlertState::ActiveUnacknowledged {
                s.next_repeat = Some(at);
            }
            self.last_id = self.last_id.max(id.0);
            self.by_origin.entry(s.origin.clone()).or_default().insert(subject, id);
            self.standing.insert(id, s);
            self.arm(id);
        }
    }

    /// Adopts the alert of an order about a subject that was taken over and still stands.
    pub fn adopt(&mut self, origin: &Origin, subject: Subject) -> Option<AlertId> {
        let id = self.find(origin, subject)?;
        let s = self.standing.get_mut(&id).filter(|s| s.unconfirmed)?;
        s.unconfirmed = false;
        s.alert.is_active().then_some(id)
    }

    /// Ends the alerts that were taken over and not met again. Emergencies stay: only a person ends them.
    pub fn end_unconfirmed(&mut self, at: Moment) {
        let ids: Vec<AlertId> =
            self.standing.iter().filter(|(_, s)| s.unconfirmed).map(|(id, _)| *id).collect();
        for id in ids {
            if let Some(s) = self.standing.get_mut(&id) {
                s.unconfirmed = false;
                if s.alert.priority != Priority::EmergencyAlarm && s.alert.is_active() {
                    s.said = std::mem::take(&mut s.said).not_met_again();
                }
            }
            self.rectify(at, id);
        }
    }

    /// Names of the orders that have alerts, without duplicates.
    pub fn orders(&self) -> Vec<String> {
        let mut names: Vec<String> = self
            .standing
            .values()
            .filter_map(|s| match &s.origin {
                Origin::Order(n) | Origin::Unjudged(n) | Origin::Crowd(n) => Some(n.clone()),
                Origin::BuiltIn(_) | Origin::Exercise(_) | Origin::Note(_) => None,
            })
            .collect();
        names.sort();
        names.dedup();
        names
    }
}
