//! A program as a signal: speech, a sound file, a light. It gets the words on standard input and the record by
//! environment, is never run through a shell, and is ended when its time is up.

use crate::event::EventRecord;
use rules::{AlertId, EventKind, Priority};
use std::collections::VecDeque;
use std::process::{ExitStatus, Stdio};
use std::sync::Arc;
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::process::Command;
use tokio::sync::mpsc;

/// Alerts that may wait while the program speaks of another; beyond that the least urgent is left out.
const WAITING: usize = 64;

/// Whether an event makes a sound, or ends one.
fn sounds(kind: EventKind) -> bool {
    matches!(kind, EventKind::Raised | EventKind::Repeated | EventKind::Escalated | EventKind::Noted)
}

/// Runs the program for one event after another, the most urgent first. One at a time, so that two voices never
/// speak at once; something more urgent cuts the running one short, and an acknowledgement ends it.
pub(super) async fn run(
    argv: Vec<String>,
    timeout: Duration,
    mut events: mpsc::Receiver<Arc<EventRecord>>,
    mut outcome: impl FnMut(Result<(), String>),
) {
    let mut waiting: VecDeque<Arc<EventRecord>> = VecDeque::new();
    loop {
        let Some(record) = take_most_urgent(&mut waiting) else {
            let Some(record) = events.recv().await else { return };
            keep(&mut waiting, record);
            continue;
        };
        let mut speaking = std::pin::pin!(once(&argv, timeout, &record));
        loop {
            tokio::select! {
                biased;
                next = events.recv() => {
                    let Some(next) = next else { return };
                    let over = !sounds(next.event) && next.alert.id == record.alert.id;
                    let urgent = sounds(next.event) && next.alert.priority > record.alert.priority;
                    keep(&mut waiting, next);
                    if over {
                        break;
                    }
                    if urgent {
                        keep(&mut waiting, record.clone());
                        break;
                    }
                }
                done = &mut speaking => {
                    outcome(done);
                    break;
                }
            }
        }
    }
}

/// Keeps an event that sounds, in place of an older one of its alert; takes away one whose alert was answered.
fn keep(waiting: &mut VecDeque<Arc<EventRecord>>, record: Arc<EventRecord>) {
    if record.event != EventKind::Noted {
        waiting.retain(|w| w.alert.id != record.alert.id || w.seq > record.seq);
    }
    if !sounds(record.event) {
        return;
    }
    if waiting.len() >= WAITING
        && let Some(least) = (0..waiting.len()).min_by_key(|&i| waiting[i].alert.priority)
    {
        if waiting[least].alert.priority > record.alert.priority {
            return;
        }
        waiting.remove(least);
    }
    waiting.push_back(record);
}

/// The most urgent, of those the one that has waited longest.
fn take_most_urgent(waiting: &mut VecDeque<Arc<EventRecord>>) -> Option<Arc<EventRecord>> {
    let most: Priority = waiting.iter().map(|w| w.alert.priority).max()?;
    let at = waiting.iter().position(|w| w.alert.priority == most)?;
    waiting.remove(at)
}

/// Runs the program once. Dropped half-way, it is killed.
pub(super) async fn once(argv: &[String], timeout: Duration, record: &EventRecord) -> Result<(), String> {
    let Some((program, arguments)) = argv.split_first() else { return Err("no program is named".into()) };
    let json = serde_json::to_string(record).map_err(|e| e.to_string())?;
    let AlertId(id) = record.alert.id;
    let mut child = Command::new(program)
        .args(arguments)
        .env("MIDDLEWATCH_RECORD", &json)
        .env("MIDDLEWATCH_ALERT", id.to_string())
        .env("MIDDLEWATCH_PRIORITY", record.alert.priority.to_string())
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .kill_on_drop(true)
        .spawn()
        .map_err(|e| format!("{program}: {e}"))?;
    let mut input = child.stdin.take();
    let words = format!("{}\n", record.alert.text);
    let finished = tokio::time::timeout(timeout, async {
        if let Some(mut input) = input.take() {
            // A program that doesn't read its input is free to do so.
            let _ = input.write_all(words.as_bytes()).await;
        }
        child.wait().await
    });
    match finished.await {
        Ok(Ok(status)) if status.success() => Ok(()),
        Ok(Ok(status)) => Err(format!("{program} {}", ended(status))),
        Ok(Err(e)) => Err(format!("{program}: {e}")),
        Err(_) => Err(format!("{program} did not end within {} s and was stopped", timeout.as_secs_f64())),
    }
}

fn ended(status: ExitStatus) -> String {
    status.code().map_or_else(|| "was killed".into(), |c| format!("ended with status {c}"))
}
