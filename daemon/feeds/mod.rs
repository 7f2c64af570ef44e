//! Feeds: bytes off wires and connections, framed into lines and queued for the watch. A failed feed is retried for
//! ever, with a bounded back-off; no feed can end the daemon or fill its memory.

mod back;
mod intake;
mod net;
mod source;

pub use back::{Outgoing, WayBack, way_back};
pub use intake::{FeedStatus, Line, Lines};

use intake::{Intake, Urgency};
pub(crate) use net::connect;
pub use source::{Opened, address};
pub(crate) use source::{open_serial, serial};

use crate::clock::Clock;
use boat::{Connection, Feed};
use sentence::{CheckedLine, Framed, Framer, FramerOptions};
use std::io;
use std::sync::Arc;
use std::time::Duration;
use terms::{FeedId, Mmsi};

/// First wait before a failed feed is retried; doubles up to [`LONGEST_WAIT`].
const FIRST_WAIT: Duration = Duration::from_millis(500);
/// Longest wait before a failed feed is retried.
const LONGEST_WAIT: Duration = Duration::from_secs(15);
/// Most bytes per read; the largest datagram fits.
pub const CHUNK: usize = 65_536;

/// One feed on its way: reads, frames, queues.
pub struct Runner {
    feed: Feed,
    framer: Framer,
    intake: Intake,
    clock: Clock,
}

impl Runner {
    /// A feed that delivers its lines to `lines`. Lines from a `crew` identity take the beacons' lane.
    pub fn new(
        id: FeedId,
        feed: Feed,
        crew: Vec<Mmsi>,
        lines: &Lines,
        clock: Clock,
    ) -> (Self, Arc<FeedStatus>) {
        let patient = matches!(feed.source, Connection::File(_) | Connection::StandardInput);
        let intake = lines.intake(id, patient, crew);
        let status = intake.status();
        let framer = Framer::new(FramerOptions { checksum_optional: feed.checksum_optional });
        (Self { feed, framer, intake, clock }, status)
    }

    /// Runs until the task is dropped or standard input ends. Requests go back on the same wire.
    pub async fn run(mut self, mut outgoing: Outgoing) {
        let mut wait = FIRST_WAIT;
        loop {
            let before = self.framer.counts().sentences;
            let outcome = self.once(&mut outgoing).await;
            if self.framer.counts().sentences > before {
                wait = FIRST_WAIT;
            }
            let why = match outcome {
                Ok(()) if self.feed.source == Connection::StandardInput => {
                    self.intake.state("ended");
                    return;
                }
                Ok(()) => "closed by the other side".to_owned(),
                Err(e) => e.to_string(),
            };
            tracing::warn!(feed = %self.feed.name, %why, again_in_s = wait.as_secs_f64(), "feed lost");
            self.intake.state(&format!("down: {why}"));
            tokio::time::sleep(wait).await;
            wait = (wait * 2).min(LONGEST_WAIT);
        }
    }

    /// Opens the feed and reads it to its end.
    async fn once(&mut self, outgoing: &mut Outgoing) -> io::Result<()> {
        let (mut opened, mut back) = Opened::open(&self.feed.source).await?;
        self.intake.state("up");
        let ended = match &mut back {
            Some(back) => tokio::select! {
                ended = self.read(&mut opened) => ended,
                () = outgoing.send(back) => Ok(()),
            },
            None => self.read(&mut opened).await,
        };
        // Closing a serial line with unsent bytes may block for half a minute.
        drop(tokio::task::spawn_blocking(move || drop((opened, back))));
        ended
    }

    async fn read(&mut self, opened: &mut Opened) -> io::Result<()> {
        let mut chunk = vec![0; CHUNK];
        let mut dropped = 0;
        loop {
            let n = opened.read(&mut chunk).await?;
            let before = std::mem::replace(&mut dropped, opened.dropped());
            self.intake.lost(dropped - before);
            self.intake.show(&chunk[..n], opened.whole_lines());
            self.take(&chunk[..n]).await;
            if n == 0 || opened.whole_lines() {
                self.end_line().await;
            }
            if n == 0 && !opened.whole_lines() {
                return Ok(());
            }
        }
    }

    /// Frames bytes and queues the lines.
    async fn take(&mut self, bytes: &[u8]) {
        let mut lines = Vec::new();
        self.framer.push(bytes, &mut |f| keep(&f, self.intake.crew(), &mut lines));
        self.queue(lines).await;
    }

    /// Treats what the framer still holds without a line end as a line.
    async fn end_line(&mut self) {
        let mut lines = Vec::new();
        self.framer.finish(&mut |f| keep(&f, self.intake.crew(), &mut lines));
        self.queue(lines).await;
    }

    async fn queue(&mut self, lines: Vec<(CheckedLine, Urgency)>) {
        let at = self.clock.now();
        for (line, urgency) in lines {
            self.intake.put(at, line, urgency).await;
        }
        self.intake.counts(self.framer.counts());
    }
}

/// Keeps a checked line; the framer has already counted a refused one.
fn keep(framed: &Framed<'_>, crew: &[Mmsi], lines: &mut Vec<(CheckedLine, Urgency)>) {
    if let Framed::Sentence(s) = framed {
        let urgency = if s.is_urgent(crew) { Urgency::Beacon } else { Urgency::Ordinary };
        lines.push(((*s).into(), urgency));
    }
}
