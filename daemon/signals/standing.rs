//! The alerts a signal deals with: those that sound, those not yet acknowledged, those that go on.

use super::ear::{Heard, put, urgency};
use record::EventRecord;
use rules::{AlertId, AlertState, EventKind, Priority};
use std::collections::BTreeMap;
use std::sync::Arc;

/// One alert.
#[derive(Debug, Clone)]
pub(super) struct Held {
    /// Its last event.
    pub record: Arc<EventRecord>,
    /// Called aloud and not yet answered.
    pub sounding: bool,
}

/// All alerts.
#[derive(Debug, Default)]
pub(super) struct Standing {
    held: BTreeMap<AlertId, Held>,
}

impl Standing {
    /// Takes an event in.
    pub fn hear(&mut self, heard: &Heard) {
        let id = heard.id();
        if heard.is_over() {
            self.held.remove(&id);
            return;
        }
        let before = self.held.get(&id).is_some_and(|h| h.sounding);
        let unacknowledged = heard.record.alert.state == Some(AlertState::ActiveUnacknowledged);
        let sounding = unacknowledged && !heard.ends() && (heard.is_aloud() || before);
        put(&mut self.held, id, Held { record: heard.record.clone(), sounding }, |h| &h.record);
    }

    fn from(&self, least: Priority) -> impl Iterator<Item = &Held> {
        self.held.values().filter(move |h| h.record.alert.priority >= least)
    }

    /// The priority of the most urgent alert that sounds, at least `least`; real before exercise.
    pub fn sounds(&self, least: Priority) -> Option<Priority> {
        self.from(least).filter(|h| h.sounding).map(|h| urgency(&h.record)).max().map(|(_, p, _)| p)
    }

    /// Whether an alert of at least this priority is still unacknowledged.
    pub fn unacknowledged(&self, least: Priority) -> bool {
        self.from(least).any(|h| {
            !matches!(
                h.record.alert.state,
                Some(AlertState::ActiveAcknowledged | AlertState::ResponsibilityTransferred)
            )
        })
    }

    /// Whether there are no alerts of at least this priority.
    pub fn is_empty(&self, least: Priority) -> bool {
        self.from(least).next().is_none()
    }

    /// All alerts, by number.
    pub fn iter(&self) -> impl Iterator<Item = &Held> {
        self.held.values()
    }
}

/// The priority with which an event sounds once: aloud, but not one that goes on until somebody answers. A test sounds
/// like an alarm.
pub(super) fn once(heard: &Heard) -> Option<Priority> {
    let record = &heard.record;
    if heard.is_test() {
        return Some(Priority::Alarm);
    }
    let goes_on =
        record.alert.state == Some(AlertState::ActiveUnacknowledged) && record.event != EventKind::Noted;
    (heard.is_aloud() && !(goes_on && record.alert.priority >= Priority::Alarm))
        .then_some(record.alert.priority)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use boat::Hears;
    use record::example;

    /// An event of an alert.
    pub fn event(id: u32, priority: Priority, state: AlertState, kind: EventKind, aloud: bool) -> Heard {
        let mut record = example::record();
        (record.alert.id, record.alert.order) = (AlertId(id), "depth".to_owned());
        (record.alert.priority, record.alert.state, record.event) = (priority, Some(state), kind);
        record.alert.exercise = false;
        let hears = if aloud { Hears::Aloud } else { Hears::Quietly };
        Heard { record: Arc::new(record), hears, first: kind == EventKind::Raised, level: 0 }
    }

    #[test]
    fn it_sounds_until_somebody_answers() {
        use {AlertState as S, EventKind as E, Priority as P};
        let mut standing = Standing::default();
        standing.hear(&event(1, P::Warning, S::ActiveUnacknowledged, E::Raised, true));
        standing.hear(&event(2, P::Alarm, S::ActiveUnacknowledged, E::Raised, true));
        assert_eq!(standing.sounds(Priority::Notice), Some(P::Alarm));
        standing.hear(&event(2, P::Alarm, S::ActiveSilenced, E::Silenced, false));
        assert_eq!(standing.sounds(Priority::Notice), Some(P::Warning));
        standing.hear(&event(2, P::Alarm, S::ActiveUnacknowledged, E::Repeated, true));
        assert_eq!(standing.sounds(Priority::Notice), Some(P::Alarm), "the sound returns");
        standing.hear(&event(2, P::Alarm, S::ActiveAcknowledged, E::Acknowledged, false));
        standing.hear(&event(1, P::Warning, S::RectifiedUnacknowledged, E::Rectified, false));
        assert_eq!(standing.sounds(Priority::Notice), None);
        assert!(standing.unacknowledged(Priority::Notice), "the warning");
        standing.hear(&event(1, P::Warning, S::Normal, E::Cleared, false));
        assert!(!standing.unacknowledged(Priority::Notice) && !standing.is_empty(Priority::Notice));
        let elsewhere = Heard {
            hears: Hears::Elsewhere,
            ..event(2, P::Alarm, S::ActiveAcknowledged, E::Escalated, true)
        };
        standing.hear(&elsewhere);
        assert!(standing.is_empty(Priority::Notice));
    }

    #[test]
    fn a_real_alarm_sounds_before_an_emergency_that_is_an_exercise() {
        use {AlertState as S, EventKind as E, Priority as P};
        let mut standing = Standing::default();
        let mut drill = event(1, P::EmergencyAlarm, S::ActiveUnacknowledged, E::Raised, true);
        Arc::make_mut(&mut drill.record).alert.exercise = true;
        standing.hear(&drill);
        assert_eq!(standing.sounds(Priority::Notice), Some(P::EmergencyAlarm));
        standing.hear(&event(2, P::Alarm, S::ActiveUnacknowledged, E::Raised, true));
        assert_eq!(standing.sounds(Priority::Notice), Some(P::Alarm));
    }

    #[test]
    fn an_alarm_held_back_does_not_sound() {
        let mut standing = Standing::default();
        standing.hear(&event(1, Priority::Alarm, AlertState::ActiveUnacknowledged, EventKind::Raised, false));
        assert_eq!(standing.sounds(Priority::Notice), None);
        for id in 2..3000 {
            standing.hear(&event(
                id,
                Priority::Alarm,
                AlertState::ActiveUnacknowledged,
                EventKind::Raised,
                true,
            ));
        }
        assert_eq!(standing.iter().count(), 1024);
    }
}
