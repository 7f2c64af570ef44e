//! One quantity, several sources: which one is used.

use crate::Settings;
use std::time::Duration;
use terms::{FeedId, Moment};

/// Sources kept for one quantity; any more are ignored.
const SOURCES_MAX: usize = 8;
/// How often in a row a better source must have been heard before it takes over from one that still talks.
const STEADY: u32 = 5;

/// What kind of source it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Origin {
    /// An instrument's sentence.
    #[default]
    Instrument,
    /// Own AIS transmitter's report (VDO).
    Transmitter,
    /// Worked out here from other quantities.
    Computed,
}

/// Who measured something.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Source {
    /// The wire it came in on.
    pub feed: FeedId,
    /// Which device on that wire, by its talker, if known.
    pub talker: Option<[u8; 2]>,
    /// What kind of source.
    pub origin: Origin,
}

impl Source {
    /// A sentence from that wire with an unknown talker.
    pub const fn of(feed: FeedId) -> Self {
        Self { feed, talker: None, origin: Origin::Instrument }
    }

    /// The same wire, but of that kind.
    pub(crate) const fn as_origin(self, origin: Origin) -> Self {
        Self { origin, ..self }
    }

    /// What to call it.
    pub(crate) fn describe(self, settings: &Settings) -> String {
        let feed = settings.feed_name(self.feed);
        let talker = self.talker.map(|t| t.escape_ascii().to_string());
        match (self.origin, talker) {
            (Origin::Instrument, Some(t)) => format!("{feed} (talker {t})"),
            (Origin::Instrument, None) => feed,
            (Origin::Transmitter, _) => format!("own AIS transmitter on {feed}"),
            (Origin::Computed, _) => format!("computed from {feed}"),
        }
    }
}

/// What one source last said.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Heard<T> {
    pub source: Source,
    pub value: T,
    pub at: Moment,
    /// Lower is better; two sentences of one device that differ in it count as two sources.
    pub quality: u8,
    /// How often in a row, without a silence.
    in_a_row: u32,
}

/// What became of a value heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// It is the one in use.
    Used,
    /// It is the one in use from now on.
    TakenOver {
        /// The one used until now.
        from: Source,
        /// It had fallen silent; otherwise it was just the worse of the two.
        silent: bool,
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
    /// Another source takes over when the one in use has said nothing for this long.
    pub fn new(silence: Duration) -> Self {
        Self { heard: Vec::new(), chosen: 0, silence }
    }

    /// Takes a value. The settings' order of feeds decides if there is one, else quality, else the lower feed.
    pub fn hear(
        &mut self,
        at: Moment,
        source: Source,
        value: T,
        quality: u8,
        settings: &Settings,
    ) -> Verdict {
        let known = self.heard.iter().position(|h| h.source == source && h.quality == quality);
        let Some(new) = known.or_else(|| self.room(at)) else { return Verdict::Aside };
        let before = known.and_then(|i| self.heard.get(i)).map(|h| (h.at, h.in_a_row));
        let in_a_row = match before {
            Some((then, n)) if at.since(then) <= self.silence => n.saturating_add(1),
            _ => 1,
        };
        let h = Heard { source, value, at, quality, in_a_row };
        let used = self.current().copied();
        match self.heard.get_mut(new) {
            Some(place) => *place = h,
            None => self.heard.push(h),
        }
        let Some(used) = used.filter(|_| new != self.chosen) else { return Verdict::Used };
        let silent = at.since(used.at) > self.silence;
        if silent || (in_a_row >= STEADY && order(&h, settings) < order(&used, settings)) {
            self.chosen = new;
            return Verdict::TakenOver { from: used.source, silent };
        }
        Verdict::Aside
    }

    /// A place for a source not heard before: a new one, or that of a source long silent.
    fn room(&self, at: Moment) -> Option<usize> {
        if self.heard.len() < SOURCES_MAX {
            return Some(self.heard.len());
        }
        let silent = |(i, h): &(usize, &Heard<T>)| *i != self.chosen && at.since(h.at) > self.silence;
        self.heard.iter().enumerate().find(silent).map(|(i, _)| i)
    }

    /// The last value of the source in use.
    pub fn current(&self) -> Option<&Heard<T>> {
        self.heard.get(self.chosen)
    }

    /// The last values of all sources.
    pub fn all(&self) -> &[Heard<T>] {
        &self.heard
    }
}

/// Lower is better. Measured values go before those own transmitter repeats, and those before computed ones; among
/// equals the settings' order decides if it names feeds, else the quality.
fn order<T>(h: &Heard<T>, settings: &Settings) -> (Origin, usize, usize) {
    let (rank, quality) = (settings.rank(h.source.feed), usize::from(h.quality));
    let (first, second) = if settings.feed_order.is_empty() { (quality, rank) } else { (rank, quality) };
    (h.source.origin, first, second)
}
