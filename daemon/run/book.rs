//! The messenger's part for the logbook: whether what was done is on disk, what has become of the file, its copies, and
//! its end.

use super::messenger::Messenger;
use crate::control::Reply;
use crate::departure;
use crate::logbook::{Recovered, SetAside};
use record::{ActError, CheckItem, Done, Stamp};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;
use terms::{Moment, Utc};
use watch::{Fault, Input};

/// How long pending writes have to reach the disk when the daemon stops.
const LAST_WRITE: Duration = Duration::from_secs(8);
/// How long the answer to an act waits for the disk.
const DISK_ANSWER: Duration = Duration::from_secs(1);
/// How long the alert about a logbook that was set aside stands: every signal gets to it. Until it is acknowledged it is
/// then shown as rectified.
const ASIDE_STANDS: Duration = Duration::from_secs(60);
/// The key of the logbook's saved state that says when it was last copied.
const COPIED: &str = "copied";

/// What is remembered of the logbook.
pub(super) struct Book {
    path: PathBuf,
    /// The file last set aside, once reported, and until when that stands.
    set_aside: Option<SetAside>,
    aside_stands: Moment,
    /// When the logbook was last copied, in milliseconds of UTC; the least number for never.
    copied: Arc<AtomicI64>,
}

impl Book {
    pub fn new(path: PathBuf) -> Self {
        let copied = Arc::new(AtomicI64::new(i64::MIN));
        Self { path, set_aside: None, aside_stands: Moment(i64::MIN), copied }
    }

    /// Takes up when an earlier run last copied it.
    pub fn begin(&self, recovered: &Recovered) {
        if let Some(ms) = recovered.states.get(COPIED).and_then(|ms| ms.parse().ok()) {
            self.copied.store(ms, Ordering::Relaxed);
        }
    }
}

impl Messenger {
    /// Answers an act once it is on disk, or else says that it waits for that. What was done is done.
    pub fn when_written<A: Send + 'static>(
        &self,
        answer: Result<A, ActError>,
        reply: Reply<A>,
        words: impl FnOnce(&mut A) -> Option<&mut String> + Send + 'static,
    ) {
        // Whoever asked may have gone.
        let Ok(mut answer) = answer else { return drop(reply.send(answer)) };
        let settled = self.logbook.settled();
        tokio::spawn(async move {
            let written = tokio::time::timeout(DISK_ANSWER, settled).await;
            if !matches!(written, Ok(Ok(Ok(()))))
                && let Some(words) = words(&mut answer)
            {
                words.push_str("; the record is waiting for the disk");
            }
            drop(reply.send(Ok(answer)));
        });
    }

    /// Copies the logbook. The watch does not wait for a slow stick.
    pub fn back_up(&self, at: Moment, to: PathBuf, reply: Reply<Done>) {
        let copied = self.logbook.backup(&to);
        let (when, last, logbook) = (self.watch.stamp(at), self.book.copied.clone(), self.logbook.clone());
        tokio::spawn(async move {
            let answer = match copied.await {
                Ok(Ok(bytes)) => {
                    if let Some((Utc(ms), _)) = when.utc {
                        last.store(ms, Ordering::Relaxed);
                        logbook.save_state(when, COPIED, &ms.to_string());
                    }
                    Ok(Done { done: format!("{bytes} bytes copied to {}", to.display()) })
                }
                Ok(Err(e)) => Err(ActError::Nothing(e.to_string())),
                Err(_) => Err(ActError::Nothing("the logbook is closed".to_owned())),
            };
            let _ = reply.send(answer);
        });
    }

    /// Items of the departure check that the watch cannot judge: the disk and the copy of the logbook.
    pub fn outside_items(&self) -> Vec<CheckItem> {
        let now = self.watch.stamp(self.clock.now()).utc.map(|(utc, _)| utc);
        let copied = self.book.copied.load(Ordering::Relaxed);
        let copied = (copied != i64::MIN).then_some(Utc(copied));
        vec![departure::disk(&self.book.path), departure::copy(copied, now)]
    }

    /// Gives the watch whether the logbook can be written, and that a new file was begun.
    pub fn logbook_health(&mut self) {
        let health = self.logbook.health().borrow().clone();
        let at = self.clock.now();
        if let Some(aside) = health.set_aside.filter(|aside| self.book.set_aside.as_ref() != Some(aside)) {
            let told = record::SetAside {
                to: aside.to.as_ref().map(|to| to.display().to_string()),
                why: aside.why.to_string(),
                carried: aside.carried,
            };
            tracing::warn!("{}", told.text());
            self.book.set_aside = Some(aside);
            self.book.aside_stands = at + ASIDE_STANDS;
            self.carry(at, Input::SetAside(told));
        }
        let why =
            health.failing.as_ref().map(|e| format!("The logbook cannot be written, the watch goes on: {e}"));
        if why.is_some() || at >= self.book.aside_stands {
            self.fault(Fault::Logbook, why);
        }
    }

    /// Writes the last records and closes the logbook.
    ///
    /// # Errors
    /// If they did not reach it: where they are.
    pub async fn close_logbook(&self, stamp: Stamp) -> Result<(), String> {
        let closed = tokio::time::timeout(LAST_WRITE, self.logbook.close(stamp)).await;
        tracing::info!("the watch ends");
        match closed {
            Ok(Ok(result)) => result.map_err(|e| e.to_string()),
            // It had closed itself before.
            Ok(Err(_)) => Err("the logbook was closed before the end".to_owned()),
            Err(_) => Err(format!(
                "the disk of the logbook did not answer within {} s: what waited for it is lost",
                LAST_WRITE.as_secs()
            )),
        }
    }
}
