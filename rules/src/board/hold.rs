//! How long something has been true.

use std::time::Duration;
use terms::Moment;

/// How long something has been true; time during which it is not known does not count.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Hold {
    gathered: Duration,
    since: Option<Moment>,
}

impl Hold {
    fn so_far(&self, at: Moment) -> Duration {
        self.gathered + self.since.map_or(Duration::ZERO, |s| at.since(s))
    }

    /// It is true now.
    pub fn running(self, at: Moment) -> Self {
        Self { since: self.since.or(Some(at)), ..self }
    }

    /// It is not known now.
    pub fn paused(self, at: Moment) -> Self {
        Self { gathered: self.so_far(at), since: None }
    }

    /// When it will have been true for a given length of time.
    pub fn reaches(&self, at: Moment, length: Duration) -> Moment {
        at + length.saturating_sub(self.so_far(at))
    }
}
