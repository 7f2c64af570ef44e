//! A program as a signal: speech, a sound file, a light. It reads what a voice says on standard input, and the
//! text and the record from its environment. It never runs through a shell, and on timeout it is killed with everything it has started.

use super::Reporter;
use super::ear::Ear;
use super::turn::Turns;
use crate::clock::Clock;
use nix::sys::signal::{Signal, killpg};
use nix::unistd::Pid;
use record::EventRecord;
use rules::AlertId;
use std::io;
use std::process::{ExitStatus, Stdio};
use std::sync::Arc;
use std::time::Duration;
use terms::speech;
use tokio::io::AsyncWriteExt;
use tokio::process::{Child, Command};
use tokio::sync::Semaphore;

/// What a program gets beyond the time its words take: to start, to load a voice, to pause between sentences (own choice).
const MARGIN: Duration = Duration::from_secs(7);

/// Runs the program for one event after another, most urgent first. One runs at a time, so that two voices never speak
/// at once. A more urgent event cuts the running one short, which is no failure, and an acknowledgement ends it.
pub(super) async fn run(program: Program, mut ear: Ear, mut reporter: Reporter) {
    let mut turns = Turns::default();
    loop {
        let Some(line) = turns.next(Clock.now()) else {
            let Some(heard) = ear.next().await else { return };
            turns.hear(&heard, None);
            continue;
        };
        if ear.put_off(line.record.clone()).is_none() {
            continue;
        }
        let mut speaking = std::pin::pin!(program.once(&line.record));
        loop {
            tokio::select! {
                biased;
                next = ear.next() => {
                    let Some(next) = next else { return };
                    if turns.hear(&next, Some(&line)) {
                        if !(next.ends() && next.id() == line.record.alert.id) {
                            turns.put_back(line.clone());
                        }
                        break;
                    }
                }
                done = &mut speaking => {
                    turns.spoken(Clock.now(), &line);
                    reporter.report(done);
                    break;
                }
            }
        }
    }
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
    /// Longest run time, unless its words take longer.
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
        let timeout = self.timeout.max(speech::takes(&record.alert.spoken) + MARGIN);
        match tokio::time::timeout(timeout, self.to_its_end(record)).await {
            Ok(Ok(status)) if status.success() => Ok(()),
            Ok(Ok(status)) => Err(format!("{name} {}", ended(status))),
            Ok(Err(e)) => Err(format!("{name}: {e}")),
            Err(_) => Err(format!("{name} did not end within {} s and was stopped", timeout.as_secs_f64())),
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
