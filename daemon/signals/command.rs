//! A program as a signal: speech, a sound file, a light. It reads what a voice says on standard input, and the
//! text and the record from its environment. It never runs through a shell, and on timeout it is killed with everything it has started.

use super::Reporter;
use super::ear::{Ear, Heard, urgency};
use nix::sys::signal::{Signal, killpg};
use nix::unistd::Pid;
use record::EventRecord;
use rules::{AlertId, EventKind};
use std::collections::VecDeque;
use std::io;
use std::process::{ExitStatus, Stdio};
use std::sync::Arc;
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::process::{Child, Command};
use tokio::sync::Semaphore;

/// Alerts that may wait while the program speaks of another; beyond that the least urgent is dropped.
const WAITING: usize = 64;

/// Runs the program for one event after another, most urgent first. One runs at a time, so that two voices never speak
/// at once. A more urgent event cuts the running one short, and an acknowledgement ends it.
pub(super) async fn run(program: Program, mut ear: Ear, mut reporter: Reporter) {
    let mut waiting: VecDeque<Arc<EventRecord>> = VecDeque::new();
    loop {
        let Some(record) = take_most_urgent(&mut waiting) else {
            let Some(heard) = ear.next().await else { return };
            keep(&mut waiting, &heard);
            continue;
        };
        let Some(record) = ear.put_off(record) else { continue };
        let mut speaking = std::pin::pin!(program.once(&record));
        loop {
            tokio::select! {
                biased;
                next = ear.next() => {
                    let Some(next) = next else { return };
                    let over = next.ends() && next.id() == record.alert.id;
                    let urgent = next.is_aloud() && urgency(&next.record) > urgency(&record);
                    keep(&mut waiting, &next);
                    if over {
                        break;
                    }
                    if urgent {
                        put(&mut waiting, record.clone());
                        break;
                    }
                }
                done = &mut speaking => {
                    reporter.report(done);
                    break;
                }
            }
        }
    }
}

/// Keeps an event that sounds in place of an older one of its alert, or removes an alert that was answered.
fn keep(waiting: &mut VecDeque<Arc<EventRecord>>, heard: &Heard) {
    let record = &heard.record;
    if record.event != EventKind::Noted && (heard.is_aloud() || heard.ends()) {
        waiting.retain(|w| w.alert.id != record.alert.id || w.seq > record.seq);
    }
    if heard.is_aloud() && !heard.ends() {
        put(waiting, record.clone());
    }
}

fn put(waiting: &mut VecDeque<Arc<EventRecord>>, record: Arc<EventRecord>) {
    if waiting.len() >= WAITING
        && let Some(least) = (0..waiting.len()).min_by_key(|&i| urgency(&waiting[i]))
    {
        if urgency(&waiting[least]) > urgency(&record) {
            return;
        }
        waiting.remove(least);
    }
    waiting.push_back(record);
}

/// Takes the most urgent event; among equals, the one that has waited longest.
fn take_most_urgent(waiting: &mut VecDeque<Arc<EventRecord>>) -> Option<Arc<EventRecord>> {
    let most = waiting.iter().map(|w| urgency(w)).max()?;
    let at = waiting.iter().position(|w| urgency(w) == most)?;
    waiting.remove(at)
}

/// A process group, killed when this is dropped unless it has ended by itself.
struct Group(Option<Pid>);

impl Drop for Group {
    fn drop(&mut self) {
        if let Some(leader) = self.0 {
            // It may have ended this very moment, with nothing left to kill.
            let _ = killpg(leader, Signal::SIGKILL);
        }
    }
}

/// A program that calls people.
pub(super) struct Program {
    argv: Vec<String>,
    /// Longest run time.
    timeout: Duration,
    /// Allows one start at a time: if the disk does not answer, a start never returns.
    starting: Arc<Semaphore>,
}

impl Program {
    pub(super) fn new(argv: Vec<String>, timeout: Duration) -> Self {
        Self { argv, timeout, starting: Arc::new(Semaphore::new(1)) }
    }

    /// Runs it once. If dropped half-way, kills it with everything it has started.
    pub(super) async fn once(&self, record: &EventRecord) -> Result<(), String> {
        let Some(name) = self.argv.first() else { return Err("no program is named".into()) };
        match tokio::time::timeout(self.timeout, self.to_its_end(record)).await {
            Ok(Ok(status)) if status.success() => Ok(()),
            Ok(Ok(status)) => Err(format!("{name} {}", ended(status))),
            Ok(Err(e)) => Err(format!("{name}: {e}")),
            Err(_) => {
                Err(format!("{name} did not end within {} s and was stopped", self.timeout.as_secs_f64()))
            }
        }
    }

    async fn to_its_end(&self, record: &EventRecord) -> io::Result<ExitStatus> {
        // Declared last, so that the group is dropped first.
        let (mut child, mut group) = self.start(record).await?;
        if let Some(mut input) = child.stdin.take() {
            // A program is free to ignore its input.
            let _ = input.write_all(format!("{}\n", record.alert.spoken).as_bytes()).await;
        }
        let status = child.wait().await;
        // It has ended by itself; its number may belong to another process by now.
        group.0 = None;
        status
    }

    /// Starts it on a blocking thread: a start waits until the file has been found and read.
    async fn start(&self, record: &EventRecord) -> io::Result<(Child, Group)> {
        let json = serde_json::to_string(record)?;
        let AlertId(id) = record.alert.id;
        let mut command = Command::new(self.argv.first().map_or("", String::as_str));
        command
            .args(self.argv.iter().skip(1))
            .env("MIDDLEWATCH_RECORD", &json)
            .env("MIDDLEWATCH_TEXT", &record.alert.text)
            .env("MIDDLEWATCH_ALERT", id.to_string())
            .env("MIDDLEWATCH_PRIORITY", record.alert.priority.to_string())
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .process_group(0)
            .kill_on_drop(true);
        let turn = self.starting.clone().acquire_owned().await.map_err(io::Error::other)?;
        let start = move || {
            let child = command.spawn()?;
            drop(turn);
            let leader = child.id().and_then(|id| i32::try_from(id).ok()).map(Pid::from_raw);
            Ok((child, Group(leader)))
        };
        tokio::task::spawn_blocking(start).await.map_err(io::Error::other)?
    }
}

fn ended(status: ExitStatus) -> String {
    status.code().map_or_else(|| "was killed".into(), |c| format!("ended with status {c}"))
}
