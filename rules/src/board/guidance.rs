//! Guidance to a casualty: what is said between the calls of its alert.

use super::Board;
use crate::alert::AlertId;
use crate::words::Words;
use terms::Moment;

impl Board {
    /// Guides the watch to the casualty of an alert with these words; whoever else the alert is for need not hear them.
    /// `passing`: they need not be kept. Does nothing if no such alert stands.
    pub fn guide(&mut self, at: Moment, id: AlertId, words: Words, passing: bool) {
        let at = self.pass(at);
        self.alerts.guide(at, id, words, passing);
    }

    /// The crew silences the guidance of an alert that it has acknowledged. Does nothing if no such alert stands.
    pub fn hush(&mut self, at: Moment, id: AlertId) {
        let at = self.pass(at);
        self.alerts.hush(at, id);
    }
}
