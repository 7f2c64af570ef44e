//! The lookout as the board sees it at one moment.

use lookout::Lookout;
use rules::Picture;
use terms::{Dimension, Moment, Position, Quantity, Reading, Subject, Utc, Whose};

/// The picture of one moment.
pub(super) struct View<'w> {
    pub at: Moment,
    pub lookout: &'w Lookout,
}

impl Picture for View<'_> {
    fn reading(&self, subject: Subject, quantity: Quantity) -> Reading {
        self.lookout.reading(self.at, subject, quantity)
    }

    fn transducer(&self, name: &str) -> Option<(Dimension, Reading)> {
        self.lookout.transducer(name)
    }

    fn subjects(&self, whose: Whose) -> Vec<Subject> {
        self.lookout.subjects(whose)
    }

    fn name_of(&self, subject: Subject) -> String {
        self.lookout.name_of(subject)
    }

    fn utc(&self) -> Option<Utc> {
        self.lookout.utc(self.at).map(|(utc, _)| utc)
    }

    fn position(&self) -> Option<Position> {
        self.lookout.own(self.at).position
    }
}
