//! The queues between the feeds and the watch. Two lanes: one for beacons, which is never dropped from, and one for
//! everything else, where each wire has a bounded share and drops what does not fit.

use sentence::Counts;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use terms::{FeedId, Mmsi, Moment};
use tokio::sync::mpsc;

/// Lines of one wire that may wait for the watch; at four full 38,400-baud lines this is some twenty seconds' worth.
const SHARE: usize = 2048;
/// Lines of all feeds together that may wait.
const ORDINARY: usize = 8192;
/// Lines of beacons that may wait; beyond that a feed is not read on until there is room.
const BEACONS: usize = 1024;

/// More waiting lines than this are a backlog, which beacons overtake.
const BACKLOG: usize = 64;

/// A checked line on its way to the watch.
#[derive(Debug)]
pub struct Line {
    /// When its last byte was read.
    pub at: Moment,
    /// By which feed.
    pub feed: FeedId,
    /// The line, without its end.
    pub bytes: Box<[u8]>,
    /// Gives the feed's share back when the line is done with.
    _place: Option<Place>,
}

/// A place in a feed's share of the queue.
#[derive(Debug)]
struct Place(Arc<FeedStatus>);

impl Drop for Place {
    fn drop(&mut self) {
        self.0.waiting.fetch_sub(1, Ordering::Relaxed);
    }
}

/// Which lane a line takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Urgency {
    Ordinary,
    Beacon,
}

/// What is known of a feed from outside the watch.
#[derive(Debug, Default)]
pub struct FeedStatus {
    inner: Mutex<(String, Counts)>,
    waiting: AtomicUsize,
    dropped: AtomicU64,
}

impl FeedStatus {
    fn lock(&self) -> MutexGuard<'_, (String, Counts)> {
        // Nothing that can panic runs under this lock, and counts half written are still counts.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// "up", "ended", or "down: why".
    pub fn state(&self) -> String {
        self.lock().0.clone()
    }

    /// Bytes, sentences and refusals so far.
    pub fn counts(&self) -> Counts {
        self.lock().1.clone()
    }

    /// Lines dropped because the watch could not keep up.
    pub fn dropped(&self) -> u64 {
        self.dropped.load(Ordering::Relaxed)
    }
}

/// The watch's end of the queues.
#[derive(Debug)]
pub struct Lines {
    ordinary: (mpsc::Sender<Line>, mpsc::Receiver<Line>),
    beacons: (mpsc::Sender<Line>, mpsc::Receiver<Line>),
}

impl Default for Lines {
    fn default() -> Self {
        Self { ordinary: mpsc::channel(ORDINARY), beacons: mpsc::channel(BEACONS) }
    }
}

impl Lines {
    /// A feed's end. A patient feed (a file) waits for room; a wire drops and counts.
    pub(super) fn intake(&self, feed: FeedId, patient: bool, crew: Vec<Mmsi>) -> Intake {
        Intake {
            feed,
            patient,
            crew,
            status: Arc::default(),
            ordinary: self.ordinary.0.clone(),
            beacons: self.beacons.0.clone(),
        }
    }

    /// The next line. Safe to drop half-way: no line is lost.
    pub async fn next(&mut self) -> Option<Line> {
        if let Some(line) = self.ready() {
            return Some(line);
        }
        tokio::select! {
            biased;
            line = self.beacons.1.recv() => line,
            line = self.ordinary.1.recv() => line,
        }
    }

    /// A line that is there already. The few lines that came before a beacon's are taken first, so that its range can be
    /// told; behind a backlog it does not wait.
    pub fn ready(&mut self) -> Option<Line> {
        if self.ordinary.1.len() <= BACKLOG
            && let Ok(line) = self.ordinary.1.try_recv()
        {
            return Some(line);
        }
        self.beacons.1.try_recv().or_else(|_| self.ordinary.1.try_recv()).ok()
    }
}

/// A feed's end of the queues.
pub(super) struct Intake {
    feed: FeedId,
    patient: bool,
    crew: Vec<Mmsi>,
    status: Arc<FeedStatus>,
    ordinary: mpsc::Sender<Line>,
    beacons: mpsc::Sender<Line>,
}

impl Intake {
    pub(super) fn status(&self) -> Arc<FeedStatus> {
        self.status.clone()
    }

    pub(super) fn crew(&self) -> &[Mmsi] {
        &self.crew
    }

    pub(super) fn state(&self, state: &str) {
        state.clone_into(&mut self.status.lock().0);
    }

    pub(super) fn counts(&self, counts: &Counts) {
        self.status.lock().1.clone_from(counts);
    }

    /// Queues a line. When the watch is gone there is nobody to tell, and the line is let go.
    pub(super) async fn put(&self, at: Moment, bytes: Box<[u8]>, urgency: Urgency) {
        let line = |place| Line { at, feed: self.feed, bytes, _place: place };
        if urgency == Urgency::Beacon {
            let _ = self.beacons.send(line(None)).await;
        } else if self.patient {
            let _ = self.ordinary.send(line(None)).await;
        } else {
            let waiting = self.status.waiting.fetch_add(1, Ordering::Relaxed);
            let place = Place(self.status.clone());
            if waiting >= SHARE || self.ordinary.try_send(line(Some(place))).is_err() {
                self.status.dropped.fetch_add(1, Ordering::Relaxed);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_flooding_wire_drops_its_own_lines_and_no_beacon() {
        let mut lines = Lines::default();
        let flood = lines.intake(FeedId(0), false, Vec::new());
        let other = lines.intake(FeedId(1), false, Vec::new());
        for _ in 0..SHARE + 10 {
            flood.put(Moment(1), Box::from(&b"x"[..]), Urgency::Ordinary).await;
        }
        other.put(Moment(2), Box::from(&b"y"[..]), Urgency::Ordinary).await;
        flood.put(Moment(3), Box::from(&b"z"[..]), Urgency::Beacon).await;
        assert_eq!(flood.status().dropped(), 10);
        assert_eq!(other.status().dropped(), 0);
        assert_eq!(&*lines.next().await.unwrap().bytes, b"z", "the beacon comes first");
        while lines.ready().is_some() {}
        flood.put(Moment(4), Box::from(&b"x"[..]), Urgency::Ordinary).await;
        assert_eq!(flood.status().dropped(), 10, "the share is given back when lines are done with");
    }
}
