//! How long something has been so.

use std::time::Duration;
use terms::Moment;

/// How long something has been so; time when it is unknown does not count.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Hold {
    gathered: Duration,
    since: Option<Moment>,
}

impl Hold {
    fn so_far(&self, at: Moment) -> Duration {
        self.gathered + self.since.map_or(Duration::ZERO, |s| at.since(s))
    }

    /// Notes that it is so now.
    pub fn running(self, at: Moment) -> Self {
        Self { since: self.since.or(Some(at)), ..self }
    }

    /// Notes that it is unknown now.
    pub fn paused(self, at: Moment) -> Self {
        Self { gathered: self.so_far(at), since: None }
    }

    /// When it will have lasted `length`.
    pub fn reaches(&self, at: Moment, length: Duration) -> Moment {
        at + length.saturating_sub(self.so_far(at))
    }
}
