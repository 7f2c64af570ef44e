//! The watch's end of a recording. The watch never waits for it.

use super::keep::{Job, Keeper, State};
use crate::clock;
use boat::Boat;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::time::Duration;
use terms::Moment;
use watch::{Begin, Input, Watch};

/// Most inputs waiting for the disk: a minute or more of four full wires. Beyond that they are counted, not recorded.
const WAITING: usize = 8192;
/// How long the last lines have to reach the disk when the daemon stops.
const LAST_WRITE: Duration = Duration::from_millis(300);

/// Passes on what to record. Does nothing if no recording is configured.
#[derive(Debug)]
pub struct Recorder {
    to: Option<SyncSender<Job>>,
    state: Arc<State>,
}

impl Recorder {
    /// Begins a recording if the boat's file asks for one; its first file begins with the watch's [`Input::Begin`].
    pub fn start(boat: &Boat) -> Self {
        let state = Arc::new(State::default());
        let mut recorder = Self { to: None, state: Arc::clone(&state) };
        let Some(settings) = &boat.sentences else { return recorder };
        let (to, from) = sync_channel(WAITING);
        let keeper = Keeper::new(settings, Arc::clone(&state));
        match std::thread::Builder::new().name("sentences".to_owned()).spawn(move || keeper.run(&from)) {
            Ok(_) => recorder.to = Some(to),
            Err(e) => state.fails(Some(e.to_string())),
        }
        recorder
    }

    /// Records an input at the moment the watch takes it.
    pub fn input(&self, at: Moment, input: &Input, watch: &Watch) {
        if self.to.is_none() {
            return;
        }
        self.put(match input {
            Input::Line(feed, line) => Job::Line(watch.stamp(at), *feed, line.clone()),
            other => Job::Input(at, other.clone()),
        });
    }

    /// Begins the next file when due. Returns why sentences are not kept; `None` while they are.
    pub fn pass(&mut self, at: Moment, watch: &Watch) -> Option<String> {
        if self.to.is_some() && self.state.head_wanted.swap(false, Ordering::Relaxed) {
            let begin = Begin { boot: clock::boot_id(), ..watch.go_on(at) };
            if !self.put(Job::Input(watch.moment(at), Input::Begin(Box::new(begin)))) {
                self.state.head_wanted.store(true, Ordering::Relaxed);
            }
        }
        self.state.failing()
    }

    /// Queues a job; returns `false` if there was no room.
    fn put(&self, job: Job) -> bool {
        let Some(to) = &self.to else { return true };
        let put = to.try_send(job).is_ok();
        self.state.lost.fetch_add(u64::from(!put), Ordering::Relaxed);
        put
    }

    /// Ends the file in order, if that is quick.
    pub fn stop(&mut self) {
        let Some(to) = self.to.take() else { return };
        let (done, wait) = sync_channel(1);
        if to.try_send(Job::Stop(done)).is_ok() {
            // If it takes longer, the file breaks off; what it holds stays readable.
            let _ = wait.recv_timeout(LAST_WRITE);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use terms::FeedId;

    #[test]
    fn a_disk_that_hangs_costs_lines_of_the_recording_and_no_time() {
        // Nothing drains the queue.
        let (to, _from) = sync_channel(WAITING);
        let mut recorder = Recorder::start(&Boat::default());
        recorder.to = Some(to);
        let watch = Watch::new(&Boat::default());
        let began = clock::Clock.now();
        let line = Input::Line(FeedId(0), sentence::encode::hdt("II", Some(1.0)).parse().unwrap());
        (0..WAITING + 1000).for_each(|_| recorder.input(Moment(1), &line, &watch));
        assert_eq!(recorder.state.lost.load(Ordering::Relaxed), 1000);
        recorder.stop();
        let took = clock::Clock.now().since(began);
        assert!(took < Duration::from_secs(5), "{took:?}");
    }
}
