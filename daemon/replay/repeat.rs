//! A recorded watch, repeated.

use super::{Play, ReplayError};
use crate::check::built_in_orders;
use crate::recording::{Head, HeadFeed, Item, Mark};
use crate::run::NOT_BEFORE;
use lookout::casualty::Gap;
use rules::Orders;
use std::time::Duration;
use terms::{FeedId, Moment};
use watch::{FeedSetting, Watch};

impl Play {
    /// Does what the recorded watch was told.
    pub(super) fn repeat(&mut self, at: Moment, item: Item) {
        let mark = match item {
            Item::Line(feed, line) => {
                self.lines += 1;
                let feed = FeedId(u16::try_from(feed).unwrap_or(u16::MAX));
                return self.watch.hear(at, feed, &line);
            }
            Item::Mark(mark) => mark,
        };
        match mark {
            // What was refused then is refused again.
            Mark::Act(act) => drop(self.watch.act(at, act)),
            Mark::Casualty(question) => drop(self.watch.casualty_told(at, &question)),
            Mark::Departure { ask, outside } => drop(self.watch.departure(at, ask, outside)),
            Mark::Tried { button } => drop(self.watch.is_tried(at, &button)),
            Mark::Feed { feed, open, counts } => self.watch.feed_state(at, feed, open, &counts),
            Mark::Trouble { what, about, words } => self.watch.trouble(at, what, about, words),
            Mark::Orders { from, text } => self.set_orders(at, &from, text.as_deref()),
            Mark::Clock { utc } => self.watch.system_utc(at, utc),
            Mark::Lost { lines } => {
                eprintln!("at {} s: {lines} lines were not recorded, the disk could not follow", at.as_s());
            }
            Mark::Head(_) => {}
        }
    }

    /// Begins a watch as the recorded one began, or went on.
    pub(super) fn begin_anew(&mut self, at: Moment, head: &Head) -> Result<(), ReplayError> {
        self.put_out()?;
        self.recorded = true;
        self.refused += self.watch.all_refused();
        let settings: Vec<FeedSetting> = head.feeds.iter().map(HeadFeed::setting).collect();
        if let Some(logbook) = &self.logbook {
            settings.iter().zip(0..).for_each(|(f, n)| logbook.name_feed(FeedId(n), &f.name));
        }
        self.watch = Watch::new(at, &self.boat, &settings, head.numbers(), Some(NOT_BEFORE));
        if let Some(utc) = head.utc {
            self.watch.system_utc(at, utc);
        }
        let (alerts, casualties) = (Some(head.alerts.as_str()), Some(head.casualties.as_str()));
        if let Err(why) = self.watch.restore(at, alerts, casualties, Gap::Of(Duration::ZERO)) {
            eprintln!("what was open when the recording began could not all be read: {why}");
        }
        self.watch.restore_hearing(at, &head.hearing);
        self.watch.restore_rates(&head.rates);
        self.set_orders(at, &head.orders_from, head.orders.as_deref());
        Ok(())
    }

    /// Puts recorded orders in force, unless the command line names others.
    fn set_orders(&mut self, at: Moment, from: &str, text: Option<&str>) {
        let recorded = || text.map_or_else(|| Ok(built_in_orders()), |text| Orders::read(from, text));
        match self.orders.clone().map_or_else(|| recorded().map(|o| (o, from.to_owned())), Ok) {
            Ok((orders, from)) => self.watch.set_orders(at, orders, &from),
            Err(why) => eprintln!("the recorded orders cannot be read, those before stay in force: {why}"),
        }
    }
}
