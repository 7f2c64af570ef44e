//! What a bridge says about our alerts, on a feed that the boat's file trusts: ACN and ACK.

use super::Watch;
use record::{alarm_number, identifier};
use rules::AlertId;
use sentence::DeviceAlert;
use terms::Moment;

impl Watch {
    /// Carries out a bridge's command. Ignores commands for alerts that are not ours, or that do not allow it: on a
    /// bus every device hears what is said to the others.
    pub(super) fn bridge(&mut self, at: Moment, words: &DeviceAlert) {
        let named = |a: &&rules::Alert| words.identifier.is_none_or(|n| n == identifier(&a.order));
        let refused = match (words.command, words.instance) {
            (Some(command), Some(instance)) => {
                let ours = self.board.alerts().filter(named).find(|a| a.id.0 == instance).map(|a| a.id);
                let Some(id) = ours else { return };
                if matches!(command, 'A' | 'S' | 'O') {
                    self.somebody_acts(at);
                }
                match command {
                    'A' => self.board.acknowledge(at, id),
                    'S' => self.board.silence(at, id),
                    'O' => self.board.transfer(at, id),
                    // Q asks for the alert again; the next list repeats it anyway.
                    _ => Ok(()),
                }
            }
            (None, None) => match acknowledged(words).and_then(|n| self.newest(n)) {
                Some(id) => {
                    self.somebody_acts(at);
                    self.board.acknowledge(at, id)
                }
                None => return,
            },
            _ => return,
        };
        // Already acknowledged, or not to be acknowledged, or the watch alarm, which is reset by now: the bridge is owed
        // nothing.
        let _ = refused;
    }

    /// The newest open alert with a number of three digits.
    fn newest(&self, number: u32) -> Option<AlertId> {
        self.board.alerts().map(|a| a.id).filter(|id| alarm_number(*id) == number).max()
    }
}

/// The number that an ACK names. An ACK has nothing else, which sets it apart from an ALR.
fn acknowledged(words: &DeviceAlert) -> Option<u32> {
    let bare = DeviceAlert { identifier: words.identifier, ..DeviceAlert::default() };
    words.identifier.filter(|_| *words == bare)
}
