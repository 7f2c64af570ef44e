//! The alerts a signal has to do with: what sounds, what nobody has acknowledged yet, what goes on.

use super::command::ends;
use boat::{Told, urgency};
use record::EventRecord;
use record::example;
use rules::{AlertId, AlertState, EventKind, Priority};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Alerts kept at most; the oldest of the least priority goes.
const BOUND: usize = 1024;

/// One alert.
#[derive(Debug, Clone)]
pub(super) struct Held {
    /// Its last event.
    pub record: Arc<EventRecord>,
    /// It was told aloud and nobody has answered.
    pub sounding: bool,
}

/// All of them.
#[derive(Debug, Default)]
pub(super) struct Standing {
    held: BTreeMap<AlertId, Held>,
}

impl Standing {
    /// Takes an event in.
    pub fn hear(&mut self, told: &Told) {
        let (id, record) = (told.record.alert.id, &told.record);
        let state = record.alert.state;
        if !told.carried || matches!(state, None | Some(AlertState::Normal)) {
            self.held.remove(&id);
            return;
        }
        let before = self.held.get(&id).is_some_and(|h| h.sounding);
        let sounding =
            state == Some(AlertState::ActiveUnacknowledged) && !ends(told) && (told.aloud || before);
        self.held.insert(id, Held { record: record.clone(), sounding });
        if self.held.len() > BOUND {
            let least = self.held.iter().min_by_key(|(id, h)| (urgency(&h.record), **id)).map(|(id, _)| *id);
            least.map(|id| self.held.remove(&id));
        }
    }

    /// The most urgent that sounds; anything real before any exercise.
    pub fn sounds(&self) -> Option<Priority> {
        self.held.values().filter(|h| h.sounding).map(|h| urgency(&h.record)).max().map(|(_, p, _)| p)
    }

    /// Whether there is one that nobody has acknowledged.
    pub fn unacknowledged(&self) -> bool {
        self.held.values().any(|h| {
            !matches!(
                h.record.alert.state,
                Some(AlertState::ActiveAcknowledged | AlertState::ResponsibilityTransferred)
            )
        })
    }

    /// All, in the order of their numbers.
    pub fn iter(&self) -> impl Iterator<Item = &Held> {
        self.held.values()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.held.is_empty()
    }
}

/// The priority an event sounds with once: told aloud, but not one of those that go on until somebody answers. A test
/// sounds as an alarm does.
pub(super) fn once(told: &Told) -> Option<Priority> {
    let record = &told.record;
    if record.alert.order == example::ORDER {
        return Some(Priority::Alarm);
    }
    let goes_on =
        record.alert.state == Some(AlertState::ActiveUnacknowledged) && record.event != EventKind::Noted;
    (told.aloud && told.carried && !(goes_on && record.alert.priority >= Priority::Alarm))
        .then_some(record.alert.priority)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// An event of an alert.
    pub fn told(id: u32, priority: Priority, state: AlertState, event: EventKind, aloud: bool) -> Told {
        let mut record = example::record();
        (record.alert.id, record.alert.order) = (AlertId(id), "depth".to_owned());
        (record.alert.priority, record.alert.state, record.event) = (priority, Some(state), event);
        record.alert.exercise = false;
        Told { record: Arc::new(record), aloud, carried: true, level: 0 }
    }

    #[test]
    fn it_sounds_until_somebody_answers() {
        use {AlertState as S, EventKind as E, Priority as P};
        let mut standing = Standing::default();
        standing.hear(&told(1, P::Warning, S::ActiveUnacknowledged, E::Raised, true));
        standing.hear(&told(2, P::Alarm, S::ActiveUnacknowledged, E::Raised, true));
        assert_eq!(standing.sounds(), Some(P::Alarm));
        standing.hear(&told(2, P::Alarm, S::ActiveSilenced, E::Silenced, false));
        assert_eq!(standing.sounds(), Some(P::Warning));
        standing.hear(&told(2, P::Alarm, S::ActiveUnacknowledged, E::Repeated, true));
        assert_eq!(standing.sounds(), Some(P::Alarm), "the sound returns");
        standing.hear(&told(2, P::Alarm, S::ActiveAcknowledged, E::Acknowledged, false));
        standing.hear(&told(1, P::Warning, S::RectifiedUnacknowledged, E::Rectified, false));
        assert_eq!(standing.sounds(), None);
        assert!(standing.unacknowledged(), "the warning");
        standing.hear(&told(1, P::Warning, S::Normal, E::Cleared, false));
        assert!(!standing.unacknowledged() && !standing.is_empty());
        let elsewhere =
            Told { carried: false, ..told(2, P::Alarm, S::ActiveAcknowledged, E::Escalated, true) };
        standing.hear(&elsewhere);
        assert!(standing.is_empty());
    }

    #[test]
    fn a_real_alarm_sounds_before_an_emergency_that_is_an_exercise() {
        use {AlertState as S, EventKind as E, Priority as P};
        let mut standing = Standing::default();
        let mut drill = told(1, P::EmergencyAlarm, S::ActiveUnacknowledged, E::Raised, true);
        Arc::make_mut(&mut drill.record).alert.exercise = true;
        standing.hear(&drill);
        assert_eq!(standing.sounds(), Some(P::EmergencyAlarm));
        standing.hear(&told(2, P::Alarm, S::ActiveUnacknowledged, E::Raised, true));
        assert_eq!(standing.sounds(), Some(P::Alarm));
    }

    #[test]
    fn an_alarm_held_back_does_not_sound() {
        let mut standing = Standing::default();
        standing.hear(&told(1, Priority::Alarm, AlertState::ActiveUnacknowledged, EventKind::Raised, false));
        assert_eq!(standing.sounds(), None);
        for id in 2..3000 {
            standing.hear(&told(
                id,
                Priority::Alarm,
                AlertState::ActiveUnacknowledged,
                EventKind::Raised,
                true,
            ));
        }
        assert_eq!(standing.iter().count(), BOUND);
    }
}
