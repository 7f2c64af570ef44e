//! What the board may ask of the watch at one moment: the lookout's picture, and words for alerts that no order
//! raised.

use super::calls::Calls;
use super::exercise::Exercise;
use super::guidance::Guidance;
use super::{Faults, built_in};
use crate::senses::Ear;
use lookout::casualty::{aloud, in_full};
use lookout::search::Sailing;
use lookout::{DeadReckoning, Lookout};
use rules::{BuiltIn, Origin, Picture, Words};
use std::time::Duration;
use terms::{
    Dimension, FeedId, Moment, Position, Quantity, Reading, Subject, Utc, Whose, span, three_digits,
};

/// The picture of one moment.
pub(super) struct View<'w> {
    pub at: Moment,
    pub lookout: &'w Lookout,
    pub ears: &'w [Ear],
    pub faults: &'w Faults,
    pub exercise: Option<&'w Exercise>,
    pub calls: &'w Calls,
    pub guidance: &'w Guidance,
    pub search: Option<&'w Sailing>,
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

    fn feed_of(&self, subject: Subject) -> Option<FeedId> {
        self.lookout.feed_of(subject)
    }

    fn lies_still(&self, subject: Subject) -> bool {
        self.lookout.lies_still(subject)
    }

    fn is_out_of_hearing(&self, subject: Subject) -> bool {
        self.lookout.is_out_of_hearing(self.at, subject)
    }

    fn last_heard(&self, subject: Subject) -> Option<Duration> {
        self.lookout.last_heard(self.at, subject)
    }

    fn utc(&self) -> Option<Utc> {
        self.lookout.utc(self.at).map(|(utc, _)| utc)
    }

    fn position(&self) -> Option<Position> {
        self.lookout.own(self.at).position
    }

    fn anchor(&self) -> Option<Position> {
        self.lookout.anchor(self.at).map(|a| a.position)
    }

    fn says(&self, origin: &Origin, about: Subject) -> Option<Words> {
        match (origin, about) {
            (Origin::Exercise(_), _) => {
                self.exercise?.says(self.at, about, self.lookout, self.guidance.side(about))
            }
            (Origin::BuiltIn(what), Subject::Casualty(id)) => {
                let state = self.lookout.casualty(self.at, id)?;
                let spoken = || Some(aloud(&state, self.guidance.side(about)));
                let words = || Words { written: in_full(&state), spoken: spoken() };
                (built_in(state.kind) == *what).then(words)
            }
            (Origin::BuiltIn(what), _) => self.says_built_in(*what, about),
            _ => None,
        }
    }
}

impl View<'_> {
    fn says_built_in(&self, what: BuiltIn, about: Subject) -> Option<Words> {
        match (what, about) {
            (BuiltIn::FeedSilent, Subject::Feed(feed)) => {
                self.ears.get(usize::from(feed.0))?.says(self.at).map(Words::from)
            }
            (_, Subject::Call(id)) => self.calls.says(what, id),
            (BuiltIn::SearchLeg, _) => {
                let (written, spoken) = self.search?.words(self.at, self.utc());
                Some(Words { written, spoken: Some(spoken) })
            }
            (BuiltIn::FixLost, _) => self.lookout.reckons(self.at).map(|r| reckoned(self.at, &r).into()),
            (BuiltIn::PositionDoubtful, _) => self.lookout.fix_in_doubt().map(Words::from),
            (BuiltIn::TimeDoubtful, _) => self.lookout.time_in_doubt(self.at).map(Words::from),
            _ => self.faults.get(&(what, about)).map(|why| why.as_str().into()),
        }
    }
}

/// A lost fix, and what she goes on by.
fn reckoned(at: Moment, r: &DeadReckoning) -> String {
    let stream = r.stream.map_or(String::new(), |s| {
        format!(", in a stream of {}° {:.1} kn", three_digits(s.set_deg), s.drift_kn)
    });
    format!(
        "Position lost: no fix by satellite for {}. By dead reckoning {}, give or take {:.1} nm: {:.1} nm by {}{stream}. \
         Casualties are told from there, close approach for three minutes",
        span(at.since(r.since)),
        r.position,
        r.error_nm,
        r.run_nm,
        r.by.words(),
    )
}
