//! Signals: what tells people. Each runs in a task of its own behind a bounded queue, so that a slow or dead one never
//! delays another, nor the watch.

mod command;
mod webhook;

pub use webhook::{Address, AddressError, address};

use crate::clock::Clock;
use crate::config::{Means, Signal};
use crate::event::{AlertPart, EventRecord, OwnPart};
use crate::logbook::{Delivery, Logbook, Stamp};
use rules::{AlertId, Carry, EventKind, Priority};
use std::sync::Arc;
use std::time::Duration;
use terms::{Moment, SignalId, UtcSource};
use tokio::sync::mpsc;

/// Events that may wait for a signal's task.
const WAITING: usize = 256;
/// First wait after a post that failed; it doubles up to [`LONGEST_WAIT`].
const FIRST_WAIT: Duration = Duration::from_secs(1);
/// The longest wait between two tries.
const LONGEST_WAIT: Duration = Duration::from_secs(120);
/// A signal that fails so long, at one thing after another, is reported as failing.
const PATIENCE: Duration = Duration::from_secs(20);
/// How a signal has fared.
#[derive(Debug)]
pub struct News {
    /// Which.
    pub signal: SignalId,
    /// Whether it told what it was given, or why not.
    pub outcome: Result<(), String>,
}

/// All signals of the boat.
pub struct Signals {
    logbook: Logbook,
    ends: Vec<End>,
}

/// The near end of one signal.
struct End {
    name: String,
    from: Priority,
    /// A command's events; a webhook's go through the logbook's outbox.
    sounder: Option<mpsc::Sender<Arc<EventRecord>>>,
}

impl Signals {
    /// Starts a task for each signal. Their news goes to `news`; when that is full it is left out, since then the watch
    /// has plenty of the same.
    pub fn start(signals: &[Signal], logbook: &Logbook, clock: Clock, news: &mpsc::Sender<News>) -> Self {
        let ends = signals.iter().zip(0u16..).map(|(s, n)| {
            let (id, news) = (SignalId(n), news.clone());
            let sounder = match &s.means {
                Means::Command(argv) => {
                    let (to, events) = mpsc::channel(WAITING);
                    let tell = move |outcome| drop(news.try_send(News { signal: id, outcome }));
                    tokio::spawn(command::run(argv.clone(), s.timeout, events, tell));
                    Some(to)
                }
                Means::Webhook(text) => {
                    // The address was read when the configuration was.
                    if let Ok(address) = address(text) {
                        let post = Post { id, address, timeout: s.timeout, clock, news, failing_since: None };
                        tokio::spawn(outbox(post, s.name.clone(), logbook.clone()));
                    }
                    None
                }
            };
            End { name: s.name.clone(), from: s.from, sounder }
        });
        Self { ends: ends.collect(), logbook: logbook.clone() }
    }

    /// Tells an event: to the sounders at once; into the logbook and the webhooks' outbox in one transaction. Where
    /// the order names its signals those carry it; else its priority decides.
    pub fn tell(&self, at: Stamp, record: EventRecord, carry: &Carry) {
        let record = Arc::new(record);
        let mut deliveries = Vec::new();
        for end in &self.ends {
            let by_priority = record.alert.priority >= end.from;
            let carried = carry.signals.as_ref().map_or(by_priority, |names| names.contains(&end.name));
            match &end.sounder {
                _ if !carried => {}
                Some(to) => {
                    if to.try_send(record.clone()).is_err() {
                        tracing::warn!(signal = %end.name, "too many events wait for this signal; one is left out");
                    }
                }
                None => deliveries.push(Delivery { signal: end.name.clone(), body: None }),
            }
        }
        // Nobody waits for the disk here: how it fares is the logbook's health.
        drop(self.logbook.event(at, &record, deliveries));
    }
}

/// What a webhook's task needs for a post.
struct Post {
    id: SignalId,
    address: Address,
    timeout: Duration,
    clock: Clock,
    news: mpsc::Sender<News>,
    failing_since: Option<Moment>,
}

impl Post {
    async fn post(&mut self, body: String) -> bool {
        let outcome = self.address.post(body, self.timeout).await;
        let good = outcome.is_ok();
        let now = self.clock.now();
        let since = *self.failing_since.get_or_insert(now);
        if good {
            self.failing_since = None;
        }
        // One lost packet is no news; a receiver that stays away is.
        if good || now.since(since) >= PATIENCE {
            let _ = self.news.try_send(News { signal: self.id, outcome });
        }
        good
    }

    /// How long to wait after so many failures in a row, spread by a fifth so that several don't try in step.
    fn back_off(&self, failures: u32) -> Duration {
        let wait = FIRST_WAIT.saturating_mul(1 << failures.min(10)).min(LONGEST_WAIT);
        wait.mul_f64(0.9 + 0.2 * (self.clock.now().0.rem_euclid(997) as f64 / 997.0))
    }
}

/// Posts what the logbook's outbox holds for one webhook, in its order, for as long as it takes.
async fn outbox(mut post: Post, name: String, logbook: Logbook) {
    let mut failures = 0;
    let mut changes = logbook.outbox_changes();
    loop {
        changes.mark_unchanged();
        let now = Stamp { steady: post.clock.now(), utc: Some((post.clock.utc(), UtcSource::System)) };
        let Some(due) = logbook.due(&name, &now, 1).pop() else {
            tokio::select! {
                changed = changes.changed() => if changed.is_err() { return },
                () = post.clock.until(logbook.next_due(&name)) => {}
            }
            continue;
        };
        if post.post(due.body).await {
            failures = 0;
            logbook.delivered(due.id);
        } else {
            let wait = post.back_off(failures);
            failures += 1;
            logbook.failed(due.id, post.clock.now() + wait);
            // Whatever comes next for this receiver waits too: it would fare no better, and the order is kept.
            tokio::time::sleep(wait).await;
        }
    }
}

/// Tries a signal once with words that say it is a test.
///
/// # Errors
/// What went wrong, in words.
pub async fn trial(signal: &Signal) -> Result<(), String> {
    let record = EventRecord {
        version: 1,
        log_id: None,
        seq: 1,
        event: EventKind::Noted,
        at: None,
        steady_s: 0.0,
        alert: AlertPart {
            id: AlertId(0),
            order: "signal test".into(),
            priority: Priority::Notice,
            state: None,
            text: "This is a test of the signal.".into(),
            exercise: true,
        },
        own: OwnPart::default(),
        target: None,
        casualty: None,
    };
    match &signal.means {
        Means::Command(argv) => command::once(argv, signal.timeout, &record).await,
        Means::Webhook(text) => {
            let body = serde_json::to_string(&record).map_err(|e| e.to_string())?;
            address(text).map_err(|e| e.to_string())?.post(body, signal.timeout).await
        }
    }
}
