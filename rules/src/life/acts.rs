//! What the crew does to an alert.

use super::{Alerts, Happened, SOUND_RETURNS};
use crate::alert::{Addressee, AlertId, AlertState, Carry, EventKind, Origin, Priority, Refused};
use crate::builtin::BuiltIn;
use crate::words::Words;
use terms::Moment;

impl Alerts {
    fn may_be_acted_on(&self, id: AlertId) -> Result<(), Refused> {
        let watch_alarm = self.origin(id) == Some(&Origin::BuiltIn(BuiltIn::WatchAlarm));
        if watch_alarm { Err(Refused::ResetIt) } else { Ok(()) }
    }

    /// The crew acknowledges an alert.
    pub fn acknowledge(&mut self, at: Moment, id: AlertId) -> Result<(), Refused> {
        self.may_be_acted_on(id)?;
        let s = self.standing.get_mut(&id).ok_or(Refused::NoSuchAlert(id))?;
        match s.alert.state {
            AlertState::ActiveUnacknowledged
            | AlertState::ActiveSilenced
            | AlertState::ResponsibilityTransferred => {
                s.alert.state = AlertState::ActiveAcknowledged;
                (s.silenced_until, s.next_escalation) = (None, None);
                s.next_repeat = s.interval().map(|i| at + i);
                self.emit(at, id, EventKind::Acknowledged, 0);
                self.arm(id);
            }
            AlertState::RectifiedUnacknowledged => {
                s.alert.state = AlertState::Normal;
                self.emit(at, id, EventKind::Acknowledged, 0);
                self.clear(at, id);
            }
            state => return Err(Refused::WrongState { id, state }),
        }
        Ok(())
    }

    /// Silences an alert for [`SOUND_RETURNS`].
    pub fn silence(&mut self, at: Moment, id: AlertId) -> Result<(), Refused> {
        self.may_be_acted_on(id)?;
        let s = self.standing.get_mut(&id).ok_or(Refused::NoSuchAlert(id))?;
        match s.alert.state {
            AlertState::ActiveUnacknowledged | AlertState::ActiveSilenced => {
                s.alert.state = AlertState::ActiveSilenced;
                s.silenced_until = Some(at + SOUND_RETURNS);
                s.next_repeat = None;
                self.emit(at, id, EventKind::Silenced, 0);
                self.arm(id);
                Ok(())
            }
            state => Err(Refused::WrongState { id, state }),
        }
    }

    /// The watch is guided to the casualty of an alert. Changes nothing in the alert, and is no event of its count.
    pub fn guide(&mut self, at: Moment, id: AlertId, words: Words, passing: bool) {
        let Some(s) = self.standing.get(&id) else { return };
        let to = Addressee::Watch(self.watch.clone());
        let carry = Carry { to, aloud: true, passing, ..Carry::default() };
        let (alert, origin) = (s.alert.clone(), s.origin.clone());
        self.events.push(Happened { at, kind: EventKind::Guidance, alert, origin, carry, said: words });
    }

    /// Silences what is said of an alert that was acknowledged already and makes no other sound.
    pub fn hush(&mut self, at: Moment, id: AlertId) {
        self.emit(at, id, EventKind::Silenced, 0);
    }

    /// Transfers an alarm or a warning to somebody else; an emergency alarm or a caution cannot be.
    pub fn transfer(&mut self, at: Moment, id: AlertId) -> Result<(), Refused> {
        self.may_be_acted_on(id)?;
        let s = self.standing.get_mut(&id).ok_or(Refused::NoSuchAlert(id))?;
        let state = s.alert.state;
        let can = matches!(s.alert.priority, Priority::Warning | Priority::Alarm)
            && matches!(
                state,
                AlertState::ActiveUnacknowledged
                    | AlertState::ActiveSilenced
                    | AlertState::ActiveAcknowledged
            );
        if !can {
            return Err(Refused::WrongState { id, state });
        }
        s.alert.state = AlertState::ResponsibilityTransferred;
        (s.silenced_until, s.next_repeat, s.next_escalation) = (None, None, None);
        self.emit(at, id, EventKind::Transferred, 0);
        self.arm(id);
        Ok(())
    }
}
