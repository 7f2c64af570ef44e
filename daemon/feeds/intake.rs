//! The queues between the feeds and the watch. Two lanes: one for beacons, which drops nothing, and one for everything
//! else, where each wire has a bounded share and drops the excess.

use sentence::{CheckedLine, Counts};
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use terms::{FeedId, Mmsi, Moment};
use tokio::sync::{Notify, broadcast, mpsc};

/// Most lines of one wire waiting for the watch: some twenty seconds of four full 38,400-baud lines.
const SHARE: usize = 2048;
/// Most lines of all feeds together waiting.
const ORDINARY: usize = 8192;
/// Most beacon lines waiting. Beyond that, a feed's reading pauses until there is room.
const BEACONS: usize = 1024;

/// More waiting lines than this are a backlog, which beacons overtake.
const BACKLOG: usize = 64;
/// So is a line that has waited longer: what waits for the rest between two passes is younger.
const LATE: Duration = Duration::from_millis(300);

/// Pieces of one feed that wait for those who look on, and the most bytes of one.
const PIECES: usize = 64;
const PIECE: usize = 4096;

/// A checked line on its way to the watch.
#[derive(Debug)]
pub struct Line {
    /// When its last byte was read.
    pub at: Moment,
    /// The feed it came by.
    pub feed: FeedId,
    /// The line.
    pub line: CheckedLine,
    /// Returns the feed's share when the line is done with.
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

/// What others than the watch can see of a feed.
#[derive(Debug)]
pub struct FeedStatus {
    inner: Mutex<(String, Counts)>,
    waiting: AtomicUsize,
    dropped: AtomicU64,
    heard: broadcast::Sender<Arc<[u8]>>,
}

impl Default for FeedStatus {
    fn default() -> Self {
        Self {
            inner: Mutex::default(),
            waiting: AtomicUsize::new(0),
            dropped: AtomicU64::new(0),
            heard: broadcast::Sender::new(PIECES),
        }
    }
}

impl FeedStatus {
    fn lock(&self) -> MutexGuard<'_, (String, Counts)> {
        // Nothing under this lock can panic, and half-written counts are still counts.
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

    /// Lines dropped because the watch could not keep up, and datagrams that the kernel dropped because this daemon
    /// could not.
    pub fn dropped(&self) -> u64 {
        self.dropped.load(Ordering::Relaxed)
    }

    /// Looks on: every byte that comes from now on, in pieces, as it came by the wire. Whoever reads slowly loses pieces;
    /// the feed waits for nobody.
    pub fn look_on(&self) -> broadcast::Receiver<Arc<[u8]>> {
        self.heard.subscribe()
    }

    /// Shows bytes to those who look on.
    fn show(&self, bytes: &[u8]) {
        if self.heard.receiver_count() > 0 {
            // Fails where the last of them has gone meanwhile.
            bytes.chunks(PIECE).for_each(|piece| drop(self.heard.send(piece.into())));
        }
    }
}

/// The watch's end of the queues.
#[derive(Debug)]
pub struct Lines {
    ordinary: Lane,
    beacons: Lane,
    /// A wire's share is half full.
    hurry: Arc<Notify>,
}

/// One lane of the queue.
#[derive(Debug)]
struct Lane {
    to: mpsc::Sender<Line>,
    from: mpsc::Receiver<Line>,
    /// The line that `wait` received.
    first: Option<Line>,
}

impl Lane {
    fn of(bound: usize) -> Self {
        let (to, from) = mpsc::channel(bound);
        Self { to, from, first: None }
    }

    /// Waits for a line. Safe to drop half-way.
    async fn wait(&mut self) {
        if self.first.is_none() {
            self.first = self.from.recv().await;
        }
    }

    fn take(&mut self) -> Option<Line> {
        self.first.take().or_else(|| self.from.try_recv().ok())
    }

    /// The line that `take` would return.
    fn peek(&mut self) -> Option<&Line> {
        self.first = self.take();
        self.first.as_ref()
    }
}

impl Default for Lines {
    fn default() -> Self {
        Self { ordinary: Lane::of(ORDINARY), beacons: Lane::of(BEACONS), hurry: Arc::default() }
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
            ordinary: self.ordinary.to.clone(),
            beacons: self.beacons.to.clone(),
            hurry: self.hurry.clone(),
        }
    }

    /// Waits for a line: returns at once for a beacon, otherwise after at least `rest`, unless one wire brings so much
    /// that it would be dropped. Safe to drop half-way: no line is lost.
    pub async fn come(&mut self, rest: Duration) {
        // A timer takes at least a millisecond, and a flood leaves none to spare.
        if !rest.is_zero() {
            tokio::select! {
                biased;
                () = self.beacons.wait() => return,
                () = self.hurry.notified() => return,
                () = tokio::time::sleep(rest) => {}
            }
        }
        tokio::select! {
            () = self.beacons.wait() => {}
            () = self.ordinary.wait() => {}
        }
    }

    /// A line that is already there. The few lines that came just before a beacon's go first, so that its range can be
    /// given; a beacon does not wait behind a backlog.
    pub fn ready(&mut self, now: Moment) -> Option<Line> {
        let late = self.ordinary.peek().is_some_and(|line| now.since(line.at) > LATE);
        if !late
            && self.ordinary.from.len() <= BACKLOG
            && let Some(line) = self.ordinary.take()
        {
            return Some(line);
        }
        self.beacons.take().or_else(|| self.ordinary.take())
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
    hurry: Arc<Notify>,
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

    /// Counts datagrams that the kernel dropped.
    pub(super) fn lost(&self, datagrams: u64) {
        self.status.dropped.fetch_add(datagrams, Ordering::Relaxed);
    }

    /// Shows bytes, as they were read, to those who look on; of `whole_lines` the last line may lack its end.
    pub(super) fn show(&self, bytes: &[u8], whole_lines: bool) {
        self.status.show(bytes);
        if whole_lines && !bytes.ends_with(b"\n") {
            self.status.show(b"\r\n");
        }
    }

    /// Queues a line. Once the watch is gone, the line is let go.
    pub(super) async fn put(&self, at: Moment, line: CheckedLine, urgency: Urgency) {
        let line = |place| Line { at, feed: self.feed, line, _place: place };
        if urgency == Urgency::Beacon {
            let _ = self.beacons.send(line(None)).await;
        } else if self.patient {
            let _ = self.ordinary.send(line(None)).await;
        } else {
            let waiting = self.status.waiting.fetch_add(1, Ordering::Relaxed);
            if waiting == SHARE / 2 {
                self.hurry.notify_one();
            }
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
    use std::task::{Context, Waker};

    /// A line that can be told from others.
    fn line(name: &str) -> CheckedLine {
        sentence::encode::sentence("II", "TST", &[name]).parse().unwrap()
    }

    #[tokio::test]
    async fn a_flooding_wire_drops_its_own_lines_and_no_beacon() {
        let mut lines = Lines::default();
        let flood = lines.intake(FeedId(0), false, Vec::new());
        let other = lines.intake(FeedId(1), false, Vec::new());
        for _ in 0..SHARE + 10 {
            flood.put(Moment(1), line("x"), Urgency::Ordinary).await;
        }
        other.put(Moment(2), line("y"), Urgency::Ordinary).await;
        flood.put(Moment(3), line("z"), Urgency::Beacon).await;
        assert_eq!(flood.status().dropped(), 10);
        assert_eq!(other.status().dropped(), 0);
        lines.come(Duration::MAX).await;
        assert_eq!(lines.ready(Moment(4)).unwrap().line, line("z"), "the beacon comes first");
        while lines.ready(Moment(4)).is_some() {}
        flood.put(Moment(4), line("x"), Urgency::Ordinary).await;
        assert_eq!(flood.status().dropped(), 10, "the share is given back when lines are done with");
    }

    /// Whether the wait ends at once.
    fn at_once(wait: impl Future<Output = ()>) -> bool {
        std::pin::pin!(wait).poll(&mut Context::from_waker(Waker::noop())).is_ready()
    }

    #[tokio::test]
    async fn only_a_beacon_or_a_flood_ends_the_rest() {
        const HOUR: Duration = Duration::from_secs(3600);
        let mut lines = Lines::default();
        let wire = lines.intake(FeedId(0), false, Vec::new());
        assert!(!at_once(lines.come(Duration::ZERO)), "nothing has come");
        wire.put(Moment(1), line("x"), Urgency::Ordinary).await;
        assert!(!at_once(lines.come(HOUR)));
        assert!(at_once(lines.come(Duration::ZERO)), "the watch is rested");
        assert_eq!(lines.ready(Moment(4)).unwrap().line, line("x"), "nothing is lost by waiting in vain");

        wire.put(Moment(2), line("x"), Urgency::Ordinary).await;
        wire.put(Moment(3), line("z"), Urgency::Beacon).await;
        assert!(at_once(lines.come(HOUR)));
        assert_eq!(lines.ready(Moment(4)).unwrap().line, line("x"), "what came before");
        assert_eq!(lines.ready(Moment(4)).unwrap().line, line("z"));
        assert!(lines.ready(Moment(4)).is_none());

        wire.put(Moment(3), line("x"), Urgency::Ordinary).await;
        wire.put(Moment(4), line("z"), Urgency::Beacon).await;
        assert_eq!(lines.ready(Moment(304)).unwrap().line, line("z"), "the watch lags behind");
        assert_eq!(lines.ready(Moment(304)).unwrap().line, line("x"));

        for _ in 0..SHARE / 2 {
            wire.put(Moment(4), line("x"), Urgency::Ordinary).await;
        }
        assert!(!at_once(lines.come(HOUR)));
        wire.put(Moment(4), line("x"), Urgency::Ordinary).await;
        assert!(at_once(lines.come(HOUR)), "the half of its share is taken");
    }
}
