//! One quantity, several sources: which of them is used.

use crate::Settings;
use std::time::Duration;
use terms::{FeedId, Moment};

/// Sources kept of one quantity; more are not listened to.
const SOURCES_MAX: usize = 8;
/// A better source must have been heard so often in a row before it takes over from one that still talks.
const STEADY: u32 = 5;

/// Who measured something.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Source {
    /// The wire it came by.
    pub feed: FeedId,
    /// Which device on that wire, by its talker, where it is known; `None` for own AIS transmitter as well.
    pub talker: Option<[u8; 2]>,
    /// Own AIS transmitter's report (VDO).
    pub transmitter: bool,
}

impl Source {
    /// A sentence of that wire whose talker is not told.
    pub const fn of(feed: FeedId) -> Self {
        Self { feed, talker: None, transmitter: false }
    }
}

/// What one source last said.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Heard<T> {
    pub source: Source,
    pub value: T,
    pub at: Moment,
    /// Lower is better.
    quality: u8,
    /// How often in a row, without a silence.
    in_a_row: u32,
}

/// What became of a value that was heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// It is the one in use.
    Used,
    /// It is the one in use from now on; before it was the other.
    TakenOver {
        /// The source used until now.
        from: Source,
    },
    /// Another source is in use.
    Aside,
}

/// What all sources of one quantity say, and which is used.
#[derive(Debug, Clone)]
pub(crate) struct Channel<T> {
    heard: Vec<Heard<T>>,
    chosen: usize,
    silence: Duration,
}

impl<T: Copy> Channel<T> {
    /// Another source takes over when the one in use has said nothing for so long.
    pub fn new(silence: Duration) -> Self {
        Self { heard: Vec::new(), chosen: 0, silence }
    }

    /// Takes a value. By the settings' order of feeds where there is one, else by quality, else the lower feed.
    pub fn hear(
        &mut self,
        at: Moment,
        source: Source,
        value: T,
        quality: u8,
        settings: &Settings,
    ) -> Verdict {
        let new = match self.heard.iter().position(|h| h.source == source) {
            Some(i) => i,
            None if self.heard.len() < SOURCES_MAX => {
                self.heard.push(Heard { source, value, at, quality, in_a_row: 0 });
                self.heard.len() - 1
            }
            None => return Verdict::Aside,
        };
        let Some(h) = self.heard.get_mut(new) else { return Verdict::Aside };
        let broken = at.since(h.at) > self.silence;
        let in_a_row = if broken { 1 } else { h.in_a_row.saturating_add(1) };
        *h = Heard { source, value, at, quality, in_a_row };
        let h = *h;
        if new == self.chosen {
            return Verdict::Used;
        }
        let Some(used) = self.current() else { return Verdict::Aside };
        let silent = at.since(used.at) > self.silence;
        if silent || (h.in_a_row >= STEADY && order(&h, settings) < order(used, settings)) {
            let from = used.source;
            self.chosen = new;
            return Verdict::TakenOver { from };
        }
        Verdict::Aside
    }

    /// The last value of the source in use.
    pub fn current(&self) -> Option<&Heard<T>> {
        self.heard.get(self.chosen)
    }
}

/// Lower is better: the settings' order where it names feeds, else the quality first.
fn order<T>(h: &Heard<T>, settings: &Settings) -> (usize, usize) {
    let (rank, quality) = (settings.rank(h.source.feed), usize::from(h.quality));
    if settings.feed_order.is_empty() { (quality, rank) } else { (rank, quality) }
}
