//! What only time shows: silent feeds, a lost fix, a missing clock.

use crate::Watch;
use crate::senses::STEADY;
use lookout::{Propulsion, Visibility};
use rules::{BuiltIn, Doing, Words};
use std::time::Duration;
use terms::{Moment, Subject};

/// How long UTC may be unknown before an alert: by then even a cold receiver has given its almanac's time (common
/// practice).
pub(crate) const CLOCK_PATIENCE: Duration = Duration::from_secs(120);
/// How long without a fix before an alert.
const FIX_LOST_AFTER: Duration = Duration::from_secs(30);

impl Watch {
    /// Finds feeds silent too long, and a lost fix.
    pub(crate) fn look_for_silence(&mut self, at: Moment) {
        while let Some(feed) = self.silences.pop(at) {
            let Some(ear) = self.ears.get_mut(usize::from(feed.0)) else { continue };
            // One that comes and goes has stayed away this time.
            let news = ear.silent || ear.fall_silent(at);
            ear.tell_health(at, feed, &mut self.lookout);
            if news {
                self.board.call(at, BuiltIn::FeedSilent, Subject::Feed(feed), Words::default());
            }
            self.silences.set(feed, (!news).then(|| at + STEADY));
            self.steady.set(feed, None);
        }
        while let Some(feed) = self.steady.pop(at) {
            if let Some(ear) = self.ears.get_mut(usize::from(feed.0)) {
                ear.settle();
            }
            self.board.over(at, BuiltIn::FeedSilent, Subject::Feed(feed));
        }
        if !self.fix_lost && self.fix_lost_at().is_some_and(|s| s <= at) {
            self.fix_lost = true;
            let words = match self.had_fix {
                Some(_) => {
                    "Position lost: no fix by satellite any more, and nothing to go on by. Close approach and casualties are \
                     judged from the last one"
                }
                None => {
                    "No fix by satellite since the watch began: nothing can be said about ranges and close approach"
                }
            };
            self.board.call(at, BuiltIn::FixLost, Subject::OwnVessel, words.into());
        }
    }

    /// Finds that neither satellites nor the computer's clock give UTC. A replay has the recorded time, or none.
    pub(crate) fn look_for_clock(&mut self, at: Moment) {
        if self.not_before.is_none() {
            return;
        }
        if self.calendar(at).is_some() {
            self.clock_unknown = None;
            if std::mem::take(&mut self.clock_told) {
                self.board.over(at, BuiltIn::ClockNotKnown, Subject::OwnVessel);
            }
            return;
        }
        let since = *self.clock_unknown.get_or_insert(at);
        if !self.clock_told && at.since(since) >= CLOCK_PATIENCE {
            self.clock_told = true;
            let words = "The time is not known: no satellite gives it and the computer's clock is wrong. Times of the \
                         logbook, the sun and schedules cannot be trusted until one does";
            self.board.call(at, BuiltIn::ClockNotKnown, Subject::OwnVessel, words.into());
        }
    }

    /// Passes on the declarations; the lookout needs them to name rules of the road.
    pub(crate) fn declare_to_lookout(&mut self) {
        let declared = self.board.declared();
        let propulsion = match declared.doing {
            Some(Doing::UnderPower) => Some(Propulsion::Power),
            Some(Doing::UnderSail | Doing::HoveTo) => Some(Propulsion::Sail),
            Some(Doing::AtAnchor | Doing::Moored) | None => None,
        };
        let visibility = declared.visibility.map(|v| match v {
            rules::Visibility::Good => Visibility::InSight,
            rules::Visibility::Restricted => Visibility::Restricted,
        });
        self.lookout.declare(propulsion, visibility);
    }

    /// When the fix will count as lost if nothing comes; never if no feed can bring one.
    pub(crate) fn fix_lost_at(&self) -> Option<Moment> {
        match self.had_fix {
            Some(last) => Some(last + FIX_LOST_AFTER),
            None => self.live.then(|| self.began + FIX_LOST_AFTER * 4),
        }
    }
}
