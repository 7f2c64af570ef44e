//! A fix that comes back: what dead reckoning placed meanwhile is joined to it.

use super::Casualties;
use crate::own::Returned;
use terms::{Moment, Plane, Position};

impl Returned {
    /// Where a place that was reckoned at a moment lay, if the error has grown evenly. Others stay where they are.
    pub fn joined(&self, at: Moment, place: Position) -> Position {
        if at <= self.from || at > self.to {
            return place;
        }
        let part = at.seconds_from(self.from) / self.to.seconds_from(self.from);
        let (east, north) = Plane::at(self.reckoned).east_north(self.fix);
        Plane::at(place).position(east * part, north * part)
    }
}

impl Casualties {
    /// Moves own track, and the marks made on it, to where they lay by the fix that came back.
    pub(crate) fn join(&mut self, returned: &Returned) {
        self.track.join(returned);
        for mark in self.open.iter_mut().chain(self.closed.iter_mut()).filter_map(|c| c.mark.as_mut()) {
            mark.position = returned.joined(mark.at, mark.position);
        }
    }
}
