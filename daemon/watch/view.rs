//! The lookout as the board sees it at one moment.

use super::Ear;
use lookout::Lookout;
use rules::Picture;
use terms::{Dimension, Moment, Position, Quantity, Reading, Subject, Utc, Whose};

/// The picture of one moment.
pub(super) struct View<'w> {
    pub at: Moment,
    pub lookout: &'w Lookout,
    pub ears: &'w [Ear],
}

impl Picture for View<'_> {
    fn reading(&self, subject: Subject, quantity: Quantity) -> Reading {
        self.lookout.reading(self.at, subject, quantity)
    }

    fn transducer(&self, name: &str) -> Option<(Dimension, Reading)> {
        self.lookout.transducer(self.at, name)
    }

    fn subjects(&self, whose: Whose) -> Vec<Subject> {
        match whose {
            Whose::Own => vec![Subject::OwnVessel],
            Whose::Target => self.lookout.identities().map(Subject::Target).collect(),
            Whose::Feed => self.lookout.feeds().map(Subject::Feed).collect(),
        }
    }

    fn name_of(&self, subject: Subject) -> String {
        match subject {
            Subject::Target(mmsi) => self
                .lookout
                .target(self.at, mmsi)
                .and_then(|t| t.name)
                .unwrap_or_else(|| format!("MMSI {mmsi}")),
            Subject::Feed(id) => {
                self.ears.get(usize::from(id.0)).map_or_else(|| format!("feed {}", id.0), |e| e.name.clone())
            }
            Subject::Casualty(id) => format!("casualty {}", id.0),
            Subject::Signal(id) => format!("signal {}", id.0),
            Subject::OwnVessel => "own vessel".to_owned(),
            Subject::Logbook => "logbook".to_owned(),
            Subject::Lookout => "lookout".to_owned(),
        }
    }

    fn utc(&self) -> Option<Utc> {
        self.lookout.utc(self.at).map(|(utc, _)| utc)
    }

    fn position(&self) -> Option<Position> {
        self.lookout.own(self.at).position
    }
}
