//! A webhook: posts its share of the logbook's outbox, in order, for as long as it takes.

use super::Reporter;
use super::ear::Resting;
use super::http::{self, Trouble};
use super::signature::{Key, content_digest, sign};
use crate::clock::Clock;
use crate::files;
use crate::logbook::Logbook;
use boat::{KeyFile, Webhook};
use hyper::header::{CONTENT_TYPE, HeaderName, HeaderValue};
use record::Stamp;
use rules::Priority;
use std::hash::{BuildHasher, RandomState};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use terms::{Moment, Utc, UtcSource};
use tokio::sync::Notify;

/// First wait after a failed post; doubles up to [`LONGEST_WAIT`].
const FIRST_WAIT: Duration = Duration::from_secs(1);
/// The longest wait between two tries.
const LONGEST_WAIT: Duration = Duration::from_secs(120);
/// Longest pause before the next post when the receiver refuses one but takes others.
const LONGEST_PAUSE: Duration = Duration::from_secs(10);
/// A signal that fails this long, at one thing after another, is reported as failing.
const PATIENCE: Duration = Duration::from_secs(20);

const CONTENT_DIGEST: HeaderName = HeaderName::from_static("content-digest");
const IDEMPOTENCY_KEY: HeaderName = HeaderName::from_static("idempotency-key");
const SIGNATURE_INPUT: HeaderName = HeaderName::from_static("signature-input");
const SIGNATURE: HeaderName = HeaderName::from_static("signature");

/// Reads the signing secret.
async fn read_key(file: &KeyFile, timeout: Duration) -> Result<Key, Trouble> {
    let away = |why: &dyn std::fmt::Display| Trouble::Away(format!("{}: {why}", file.path.display()), None);
    let read = |path: &Path| files::read(path, files::Kind::Secret);
    let bytes = files::aside(&file.path, timeout, read).await.map_err(|e| away(&e))?;
    let secret = bytes.trim_ascii_end().to_vec();
    if secret.is_empty() {
        Err(away(&"there is no secret in it"))
    } else {
        Ok(Key { id: file.id.clone(), secret })
    }
}

/// Posts the body for a JSON record under an idempotency key.
pub(super) async fn post(
    webhook: &Webhook,
    record: &str,
    idempotency_key: &str,
    clock: Clock,
    timeout: Duration,
) -> Result<(), Trouble> {
    let body = match &webhook.body {
        None => record.to_owned(),
        Some(template) => template.fill(&serde_json::from_str(record).unwrap_or_default()),
    };
    let key = match &webhook.key {
        Some(file) => Some(read_key(file, timeout).await?),
        None => None,
    };
    let headers = headers(webhook, &body, idempotency_key, key.as_ref(), clock.utc());
    http::post(&webhook.address, &headers, body, timeout).await
}

fn headers(
    webhook: &Webhook,
    body: &str,
    idempotency_key: &str,
    key: Option<&Key>,
    now: Utc,
) -> Vec<(HeaderName, HeaderValue)> {
    let given = |name: &HeaderName| webhook.headers.iter().find(|(n, _)| n == name).map(|(_, v)| v.clone());
    let content_type = given(&CONTENT_TYPE).unwrap_or_else(|| HeaderValue::from_static("application/json"));
    let mut headers = webhook.headers.clone();
    let mut put = |name: HeaderName, value: &str| {
        // Keys, digests and signatures use only characters that every header accepts.
        if let Ok(value) = HeaderValue::from_str(value) {
            headers.push((name, value));
        }
    };
    let digest = content_digest(body.as_bytes());
    put(IDEMPOTENCY_KEY, idempotency_key);
    put(CONTENT_DIGEST, &digest);
    if let Some(key) = key {
        let authority = webhook.address.authority();
        let mut components =
            vec![("@method", "POST"), ("@authority", authority.as_str()), ("@path", webhook.address.path())];
        components.extend(webhook.address.query().map(|q| ("@query", q)));
        components.extend(content_type.to_str().ok().map(|c| ("content-type", c)));
        components.extend([("content-digest", digest.as_str()), ("idempotency-key", idempotency_key)]);
        let signed = sign(key, now, &components);
        put(SIGNATURE_INPUT, &signed.input);
        put(SIGNATURE, &signed.signature);
    }
    headers.push((CONTENT_TYPE, content_type));
    headers
}

/// The task of one webhook.
pub(super) struct Sender {
    pub name: String,
    pub webhook: Webhook,
    /// Longest time one attempt may take.
    pub timeout: Duration,
    pub clock: Clock,
    pub logbook: Logbook,
    pub resting: Resting,
    pub reporter: Reporter,
    /// Notified of an urgent event, which cuts a long back-off short.
    pub urgent: Arc<Notify>,
}

impl Sender {
    /// Runs until the task is dropped or the logbook is gone.
    pub async fn run(mut self) {
        let (mut away, mut refused) = (0, 0);
        let mut failing_since = None;
        let mut changes = self.logbook.outbox_changes();
        loop {
            changes.mark_unchanged();
            let now = self.now();
            let Some(due) = self.logbook.due(&self.name, &now, self.resting.hours, 1).pop() else {
                let next = self.logbook.next_due(&self.name, &now, self.resting.hours);
                tokio::select! {
                    changed = changes.changed() => if changed.is_err() { return },
                    () = self.clock.until(next) => {}
                    () = self.resting.moved_on() => {}
                }
                continue;
            };
            let outcome = post(&self.webhook, &due.body, &due.key, self.clock, self.timeout).await;
            match &outcome {
                Ok(()) => {
                    (away, refused) = (0, 0);
                    self.logbook.delivered(due.id);
                }
                // Everything else for this receiver waits too: it would fare no better, and this keeps the order.
                Err(Trouble::Away(_, later)) => {
                    let wait = back_off(away, LONGEST_WAIT).max(later.unwrap_or_default().min(LONGEST_WAIT));
                    away += 1;
                    self.logbook.failed(due.id, self.clock.now());
                    self.report(&mut failing_since, outcome);
                    self.wait(wait).await;
                    continue;
                }
                // The next one may fare better. This one is retried at growing intervals, and others of its alert wait.
                Err(Trouble::Refused(_)) => {
                    self.logbook.failed(due.id, self.clock.now() + back_off(due.tries, LONGEST_WAIT));
                    let pause = back_off(refused, LONGEST_PAUSE);
                    refused += 1;
                    self.report(&mut failing_since, outcome);
                    self.wait(pause).await;
                    continue;
                }
            }
            self.report(&mut failing_since, outcome);
        }
    }

    /// Now, with the watch's UTC.
    fn now(&mut self) -> Stamp {
        let utc = self.resting.utc().map(|utc| (utc, UtcSource::System));
        Stamp { steady: self.clock.now(), utc, feed: None }
    }

    /// Waits. An urgent event cuts the wait short, but not below the first wait.
    async fn wait(&self, wait: Duration) {
        let least = self.clock.now() + FIRST_WAIT.min(wait);
        let most = self.clock.now() + wait;
        let mut urgent = false;
        loop {
            let until = if urgent { least } else { most };
            if self.clock.now() >= until {
                return;
            }
            tokio::select! {
                () = self.urgent.notified() => urgent = true,
                () = self.clock.until(Some(until)) => {}
            }
        }
    }

    /// Reports a receiver that stays away, but not a single lost packet.
    fn report(&mut self, failing_since: &mut Option<Moment>, outcome: Result<(), Trouble>) {
        let now = self.clock.now();
        let since = *failing_since.get_or_insert(now);
        if outcome.is_ok() {
            *failing_since = None;
        }
        if outcome.is_ok() || now.since(since) >= PATIENCE {
            self.reporter.report(outcome.map_err(Trouble::words));
        }
    }
}

/// Whether an event must not wait for a receiver's back-off.
pub(super) fn is_urgent(priority: Priority, aloud: bool) -> bool {
    aloud && priority >= Priority::Alarm
}

/// The wait after `failures` failures in a row, randomized by a fifth so that several senders do not retry in step.
fn back_off(failures: u32, longest: Duration) -> Duration {
    // A hasher's seed is random.
    let random = RandomState::new().hash_one(failures) % 1000;
    let wait = FIRST_WAIT.saturating_mul(1 << failures.min(10)).min(longest);
    wait.mul_f64(0.9 + 0.2 * (random as f64 / 1000.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_up_to_their_bound_and_differ() {
        for (failures, seconds) in [(0, 1.0), (3, 8.0), (6, 64.0), (7, 120.0), (40, 120.0)] {
            let wait = back_off(failures, LONGEST_WAIT).as_secs_f64();
            assert!((seconds * 0.9..=seconds * 1.1).contains(&wait), "{failures}: {wait}");
        }
        let several: std::collections::BTreeSet<Duration> =
            (0..20).map(|_| back_off(5, LONGEST_WAIT)).collect();
        assert!(several.len() > 10, "they would try in step");
    }
}
