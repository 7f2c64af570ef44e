//! The watch's end of a recording. The watch never waits for it.

use super::form::{Head, HeadFeed, Mark, VERSION};
use super::keep::{Entry, Keeper, Told};
use crate::clock;
use crate::config::{Boat, Feed};
use crate::event::EventRecord;
use crate::logbook::Stamp;
use crate::watch::{FeedSetting, Numbers, Watch};
use rules::AlertId;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::time::Duration;
use terms::{FeedId, Moment, Utc};

/// Lines and marks that may wait for the disk: what four full wires bring in a minute or more. Beyond that they are not
/// recorded, and counted.
const WAITING: usize = 8192;
/// The last lines have so long to get to the disk when the daemon is stopped.
const LAST_WRITE: Duration = Duration::from_millis(300);
/// The computer's clock was set when it is off by more than it could drift between two looks.
const CLOCK_SET_MS: i64 = 500;

/// Hands on what is to be recorded, and knows what a file's head needs. Where no recording is asked for, it does
/// nothing.
#[derive(Debug)]
pub struct Recorder {
    to: Option<SyncSender<Entry>>,
    told: Arc<Told>,
    begun: bool,
    failing: bool,
    numbers: Numbers,
    /// Text of the orders in force; `None` for the built-in ones.
    orders: Option<String>,
    /// Between steady time and the computer's clock.
    clock_offset_ms: Option<i64>,
}

impl Recorder {
    /// Begins a recording where the boat asks for one. The last numbers of alerts and casualties are those used so far.
    pub fn start(boat: &Boat, numbers: Numbers) -> Self {
        let told = Arc::new(Told::default());
        let mut recorder = Self {
            to: None,
            told: Arc::clone(&told),
            begun: false,
            failing: false,
            numbers,
            orders: None,
            clock_offset_ms: None,
        };
        let Some(settings) = &boat.sentences else { return recorder };
        told.head_wanted.store(true, Ordering::Relaxed);
        let (to, from) = sync_channel(WAITING);
        let keeper = Keeper::new(settings, Arc::clone(&told));
        match std::thread::Builder::new().name("sentences".to_owned()).spawn(move || keeper.run(&from)) {
            Ok(_) => recorder.to = Some(to),
            Err(e) => told.fails(Some(e.to_string())),
        }
        recorder
    }

    /// Records a line that a feed brought.
    pub fn line(&self, at: impl FnOnce() -> Stamp, feed: FeedId, line: &[u8]) {
        if self.to.is_some() {
            self.put(Entry::Line(at(), feed, line.into()));
        }
    }

    /// Records something else.
    pub fn mark(&self, at: Moment, mark: impl FnOnce() -> Mark) {
        if self.to.is_some() {
            self.put(Entry::Mark(at, mark()));
        }
    }

    /// Records which orders are in force now.
    pub fn orders(&mut self, at: Moment, from: &str, text: Option<String>) {
        self.orders.clone_from(&text);
        self.mark(at, || Mark::Orders { from: from.to_owned(), text });
    }

    /// Records the computer's clock where it was set.
    pub fn clock(&mut self, at: Moment, utc: Utc) {
        let offset = utc.0.saturating_sub(at.0);
        if self.clock_offset_ms.is_none_or(|before| (offset - before).abs() >= CLOCK_SET_MS) {
            self.clock_offset_ms = Some(offset);
            self.mark(at, || Mark::Clock { utc });
        }
    }

    /// Minds the numbers that an event has used.
    pub fn event(&mut self, record: &EventRecord) {
        let AlertId(alert) = record.alert.id;
        self.numbers.alert = self.numbers.alert.max(alert);
        let casualty = record.casualty.as_ref().map_or(0, |c| c.id.0);
        self.numbers.casualty = self.numbers.casualty.max(casualty);
    }

    /// Begins the next file where one is due. Tells when the recording begins to fail, and why, and when it goes on.
    pub fn pass(&mut self, at: Moment, watch: &Watch, feeds: &[Feed]) -> Option<Option<String>> {
        if self.to.is_some() && self.told.head_wanted.swap(false, Ordering::Relaxed) {
            let head = Mark::Head(Box::new(self.head(at, watch, feeds)));
            if !self.put(Entry::Mark(at, head)) {
                self.told.head_wanted.store(true, Ordering::Relaxed);
            }
        }
        let failing = self.told.failing();
        let changed = self.failing != failing.is_some();
        self.failing = failing.is_some();
        changed.then_some(failing)
    }

    fn head(&mut self, at: Moment, watch: &Watch, feeds: &[Feed]) -> Head {
        let [alerts, casualties] = watch.snapshot(at);
        Head {
            version: VERSION,
            program: env!("CARGO_PKG_VERSION").to_owned(),
            boot: clock::boot_id(),
            utc: watch.stamp(at).utc.map(|(utc, _)| utc),
            begins: !std::mem::replace(&mut self.begun, true),
            feeds: feeds.iter().map(FeedSetting::of).enumerate().map(|(n, f)| HeadFeed::of(n, &f)).collect(),
            last_alert: self.numbers.alert,
            last_casualty: self.numbers.casualty,
            alerts,
            casualties,
            hearing: watch.kept_hearing(),
            rates: watch.usual_rates(),
            orders_from: watch.orders_from().to_owned(),
            orders: self.orders.clone(),
        }
    }

    /// `false` where there was no room.
    fn put(&self, entry: Entry) -> bool {
        let Some(to) = &self.to else { return true };
        let put = to.try_send(entry).is_ok();
        self.told.lost.fetch_add(u64::from(!put), Ordering::Relaxed);
        put
    }

    /// Ends the file in order, if that goes quickly.
    pub fn stop(&mut self) {
        let Some(to) = self.to.take() else { return };
        let (done, wait) = sync_channel(1);
        if to.try_send(Entry::Stop(done)).is_ok() {
            // Where it takes longer, the file breaks off; what is in it can be read.
            let _ = wait.recv_timeout(LAST_WRITE);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_disk_that_hangs_costs_lines_of_the_recording_and_no_time() {
        // Nobody takes anything out of the queue.
        let (to, _from) = sync_channel(WAITING);
        let mut recorder = Recorder::start(&Boat::default(), Numbers::default());
        recorder.to = Some(to);
        let began = clock::Clock.now();
        let at = Stamp { steady: Moment(1), utc: None, feed: None };
        (0..WAITING + 1000).for_each(|_| recorder.line(|| at, FeedId(0), b"$IIHDT,1.0,T*1B"));
        assert_eq!(recorder.told.lost.load(Ordering::Relaxed), 1000);
        recorder.stop();
        let took = clock::Clock.now().since(began);
        assert!(took < Duration::from_secs(5), "{took:?}");
    }
}
