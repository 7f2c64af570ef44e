//! Periodic work.

use super::messenger::{HEARING, Messenger, RATES, RHYTHMS};
use crate::logbook::ANCHOR;
use record::FeedRow;
use std::time::Duration;
use terms::{FeedId, Moment};
use watch::{Effect, Input};

/// How often the watch learns the state of its feeds.
const WIRES: Duration = Duration::from_secs(10);
/// How often the feeds' counts go into the logbook.
const FEED_ROWS: Duration = Duration::from_secs(60);
/// How often the feeds' usual rates and silences, what was heard of others, and own track are saved.
const RATES_KEPT: Duration = Duration::from_secs(600);

/// When each was last done.
pub(super) struct Every {
    wires: Moment,
    feed_rows: Moment,
    rates_kept: Moment,
}

impl Every {
    pub const fn new(at: Moment) -> Self {
        Self { wires: at, feed_rows: at, rates_kept: at }
    }
}

/// Whether something is due again; if so, marks it done.
fn due(last: &mut Moment, at: Moment, every: Duration) -> bool {
    let due = at.since(*last) >= every;
    if due {
        *last = at;
    }
    due
}

impl Messenger {
    pub fn periodically(&mut self, at: Moment) {
        if due(&mut self.every.wires, at, WIRES) {
            self.logbook_health();
            for n in 0..self.feeds.len() {
                let status = &self.feeds[n].1;
                let (open, counts) = (status.state() == "up", status.counts());
                let feed = FeedId(u16::try_from(n).unwrap_or(u16::MAX));
                self.carry(at, Input::Wire { feed, open, counts });
            }
        }
        if due(&mut self.every.feed_rows, at, FEED_ROWS) {
            self.log_feeds(at);
        }
        if due(&mut self.every.rates_kept, at, RATES_KEPT) {
            let stamp = self.watch.stamp(at);
            // Numbers keyed by names always serialize to JSON.
            let json = |of: serde_json::Result<String>| of.unwrap_or_default();
            self.logbook.save_state(stamp, RATES, &json(serde_json::to_string(&self.watch.usual_rates())));
            self.logbook.save_state(stamp, ANCHOR, &json(serde_json::to_string(&self.watch.kept_anchor())));
            self.logbook.save_state(stamp, RHYTHMS, &json(serde_json::to_string(&self.watch.rhythms())));
            self.logbook.save_state(stamp, HEARING, &json(serde_json::to_string(&self.watch.kept_hearing())));
            // Nights without an event have a track too, on which somebody may be missed in the morning.
            self.logbook.take(Effect::Keep(stamp, Box::new(self.watch.kept(at))));
        }
    }

    /// Logs what the feeds have brought since the run began.
    pub fn log_feeds(&self, at: Moment) {
        for (name, feed) in &self.feeds {
            let counts = feed.counts();
            let row = FeedRow {
                feed: name.clone(),
                bytes: counts.bytes,
                sentences: counts.sentences,
                refused: counts.all_refused(),
                dropped: feed.dropped(),
            };
            self.logbook.feed(self.watch.stamp(at), row);
        }
    }
}
