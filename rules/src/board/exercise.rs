//! Exercises on the board: alerts of an origin of their own.

use super::Board;
use crate::alert::{AlertId, Origin, Priority};
use crate::builtin::BuiltIn;
use crate::life::Raise;
use crate::words::Words;
use terms::{Moment, Subject};

impl Board {
    /// Raises an exercise of the order or built-in alert of this name. It lives as the real one would, beside the real one
    /// if that comes, and does not count against the signals a minute. `words` as for [`Self::call`].
    pub fn exercise(
        &mut self,
        at: Moment,
        order: &str,
        subject: Subject,
        priority: Priority,
        words: Words,
    ) -> AlertId {
        let at = self.pass(at);
        let escalation = BuiltIn::named(order).and_then(BuiltIn::escalation);
        let raise = Raise {
            origin: Origin::Exercise(order.to_owned()),
            order: order.to_owned(),
            subject,
            priority,
            words,
            signals: None,
            repeats: None,
            escalation,
            badness: 0.0,
            feed: None,
            exercise: true,
        };
        self.alerts.raise(at, raise)
    }

    /// Ends the exercise: clears all its alerts with these last words.
    pub fn end_exercise(&mut self, at: Moment, words: &Words) {
        let at = self.pass(at);
        let of = |id: &AlertId| matches!(self.alerts.origin(*id), Some(Origin::Exercise(_)));
        let ids: Vec<AlertId> = self.alerts.iter().map(|a| a.id).filter(of).collect();
        self.clear_all(at, ids, words);
    }
}
