//! A webhook: posts its share of the logbook's outbox, in order, for as long as it takes.

mod pace;
#[cfg(test)]
mod tests;

use super::Reporter;
use super::ear::Resting;
use super::http::{self, Trouble};
use super::signature::{Key, content_digest, sign};
use crate::clock::Clock;
use crate::files;
use crate::logbook::{Due, Logbook, is_urgent};
use boat::{KeyFile, Webhook};
use hyper::header::{CONTENT_TYPE, HeaderName, HeaderValue};
use pace::Pace;
use record::Stamp;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use terms::{Moment, Utc, UtcSource};
use tokio::sync::Notify;

/// How long a post that is no alarm's may go on once an alarm waits behind it.
const GIVES_WAY_AFTER: Duration = Duration::from_secs(2);
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
        let mut pace = Pace::default();
        let mut failing_since = None;
        let mut changes = self.logbook.outbox_changes();
        loop {
            changes.mark_unchanged();
            let now = self.now();
            let Some(due) = self.logbook.due(&self.name, &now, self.resting.hours(), 1).pop() else {
                let next = self.logbook.next_due(&self.name, &now, self.resting.hours());
                tokio::select! {
                    changed = changes.changed() => if changed.is_err() { return },
                    () = self.clock.until(next) => {}
                    () = self.resting.moved_on() => {}
                }
                continue;
            };
            let outcome = tokio::select! {
                outcome = post(&self.webhook, &due.body, &due.key, self.clock, self.timeout) => outcome,
                () = alarm_behind(&due, &now, &self.name, &self.logbook, &self.urgent, self.clock) => {
                    self.logbook.failed(due.id, self.clock.now());
                    continue;
                }
            };
            let ended = self.clock.now();
            let next = pace.settle(&self.logbook, &self.name, &due, [now.steady, ended], &outcome);
            self.report(&mut failing_since, outcome);
            if let Some(next) = next {
                self.wait(ended, next).await;
            }
        }
    }

    /// Now, with the watch's UTC.
    fn now(&mut self) -> Stamp {
        let utc = self.resting.utc().map(|utc| (utc, UtcSource::System));
        Stamp { steady: self.clock.now(), utc, feed: None }
    }

    /// Waits for the next try after a post that ended in vain. An urgent event brings it forward.
    async fn wait(&self, ended: Moment, mut next: Moment) {
        while self.clock.now() < next {
            tokio::select! {
                () = self.urgent.notified() => next = pace::brought_forward(ended, next, self.clock.now()),
                () = self.clock.until(Some(next)) => {}
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

/// Ends once a fresh alarm is due behind a post that is no alarm's and takes long; never for the post of an alarm.
async fn alarm_behind(
    due: &Due,
    began: &Stamp,
    name: &str,
    logbook: &Logbook,
    urgent: &Notify,
    clock: Clock,
) {
    if is_urgent(due.priority) {
        std::future::pending::<()>().await;
    }
    loop {
        urgent.notified().await;
        let ready = (began.steady + GIVES_WAY_AFTER).max(clock.now() + pace::READY_AFTER);
        while clock.now() < ready {
            clock.until(Some(ready)).await;
        }
        if logbook.urgent_due(name, &Stamp { steady: clock.now(), ..*began }) {
            return;
        }
    }
}
