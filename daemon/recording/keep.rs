//! The thread that writes a recording.

use super::form::{Lost, Marked, json_line, sentence_line, source_name};
use crate::clock::Clock;
use boat::Sentences;
use flate2::Compression;
use flate2::write::GzEncoder;
use record::Stamp;
use record::words;
use sentence::CheckedLine;
use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use terms::{FeedId, Moment};
use watch::{Begin, Input};

/// How often compressed data goes to the disk: a kill costs at most this much of the recording.
const FLUSH_EVERY: Duration = Duration::from_secs(5);
/// How long before a failed disk is retried.
const AGAIN_AFTER: Duration = Duration::from_secs(10);
/// Most files in a full folder; the oldest goes as the next begins.
const FILES: u64 = 8;
/// Suffix of a recording's files.
const SUFFIX: &str = ".nmea.gz";

/// Work for the thread.
#[derive(Debug)]
pub(super) enum Job {
    Line(Stamp, FeedId, CheckedLine),
    Input(Moment, Input),
    Stop(SyncSender<()>),
}

/// What the thread shares with the watch's end.
#[derive(Debug, Default)]
pub(super) struct State {
    /// A new file is due and needs its head.
    pub head_wanted: AtomicBool,
    /// Lines and marks that found no room in the queue and are not yet logged as lost.
    pub lost: AtomicU64,
    /// Why nothing is recorded now.
    failing: Mutex<Option<String>>,
}

impl State {
    pub fn fails(&self, why: Option<String>) {
        // Nothing under this lock can panic; so below.
        *self.failing.lock().unwrap_or_else(PoisonError::into_inner) = why;
    }

    pub fn failing(&self) -> Option<String> {
        self.failing.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

/// A file under way.
struct Begun {
    gz: GzEncoder<Counting>,
    flushed: Moment,
    /// It has reached its share, and the next was requested.
    full: bool,
}

/// A file and the bytes written to it.
struct Counting {
    file: File,
    bytes: u64,
}

impl Write for Counting {
    fn write(&mut self, buf: &[u8]) -> io::Result<usize> {
        let n = self.file.write(buf)?;
        self.bytes += n as u64;
        Ok(n)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// The thread's own state.
pub(super) struct Keeper {
    folder: PathBuf,
    limit_bytes: u64,
    /// Names of the feeds in TAG blocks.
    sources: Vec<String>,
    state: Arc<State>,
    last: Moment,
    file: Option<Begun>,
}

impl Keeper {
    pub fn new(settings: &Sentences, state: Arc<State>) -> Self {
        Self {
            folder: settings.folder.clone(),
            limit_bytes: settings.limit_bytes,
            sources: Vec::new(),
            state,
            last: Moment::ZERO,
            file: None,
        }
    }

    /// Works until told to stop or until its other end is gone.
    pub fn run(mut self, from: &Receiver<Job>) {
        let mut line = Vec::new();
        let mut failed: Option<Moment> = None;
        loop {
            let stop = match from.recv_timeout(FLUSH_EVERY) {
                Ok(Job::Stop(done)) => Some(done),
                Ok(entry) => {
                    if let Err(e) = self.take(entry, &mut line) {
                        failed = Some(self.fail(&e));
                    }
                    None
                }
                Err(RecvTimeoutError::Timeout) => None,
                Err(RecvTimeoutError::Disconnected) => return self.finish(),
            };
            if let Some(done) = stop {
                self.finish();
                // Whoever waited may have given up.
                let _ = done.try_send(());
                return;
            }
            if let Err(e) = self.care() {
                failed = Some(self.fail(&e));
            }
            if failed.is_some_and(|f| Clock.now().since(f) >= AGAIN_AFTER) {
                failed = None;
                self.state.head_wanted.store(true, Ordering::Relaxed);
            }
        }
    }

    /// Gives up the file: what it holds stays readable.
    fn fail(&mut self, why: &io::Error) -> Moment {
        self.file = None;
        self.state.fails(Some(format!("{}: {why}", self.folder.display())));
        Clock.now()
    }

    /// Ends the file; if that fails, it breaks off.
    fn finish(&mut self) {
        if let Some(begun) = self.file.take() {
            let _ = begun.gz.finish();
        }
    }

    fn take(&mut self, entry: Job, line: &mut Vec<u8>) -> io::Result<()> {
        line.clear();
        let share = self.share();
        match entry {
            Job::Input(steady_ms, input) => {
                self.last = steady_ms;
                if let Input::Begin(begin) = &input {
                    self.finish();
                    self.begin(begin)?;
                    let names = begin.feeds.iter().enumerate();
                    self.sources = names.map(|(n, f)| source_name(n, &f.name)).collect();
                }
                json_line(&Marked { steady_ms, input }, line)?;
            }
            Job::Line(at, feed, checked) => {
                self.last = at.steady;
                let source = self.sources.get(usize::from(feed.0)).map_or("", String::as_str);
                sentence_line(&at, source, &checked, line);
            }
            Job::Stop(_) => {}
        }
        let Some(begun) = &mut self.file else { return Ok(()) };
        begun.gz.write_all(line)?;
        if begun.gz.get_ref().bytes > share && !std::mem::replace(&mut begun.full, true) {
            self.state.head_wanted.store(true, Ordering::Relaxed);
        }
        Ok(())
    }

    /// Opens the next file and makes room for it.
    fn begin(&mut self, begin: &Begin) -> io::Result<()> {
        std::fs::create_dir_all(&self.folder)?;
        let there = files(&self.folder)?;
        self.make_room(&there);
        let number = there.last().map_or(1, |(n, ..)| n + 1);
        let utc = begin.utc.map_or_else(|| "no-utc".to_owned(), words::compact);
        let path = self.folder.join(format!("{number:06}-{utc}{SUFFIX}"));
        let file = File::options().write(true).create_new(true).open(path)?;
        let gz = GzEncoder::new(Counting { file, bytes: 0 }, Compression::default());
        self.file = Some(Begun { gz, flushed: Clock.now(), full: false });
        self.state.fails(None);
        Ok(())
    }

    /// One file's share of the limit.
    fn share(&self) -> u64 {
        self.limit_bytes / FILES
    }

    /// Removes the oldest files until there is room for two more. A file that cannot be removed is retried later.
    fn make_room(&self, there: &[(u64, PathBuf, u64)]) {
        let mut total: u64 = there.iter().map(|(_, _, bytes)| bytes).sum();
        for (_, path, bytes) in there {
            if total <= self.limit_bytes.saturating_sub(2 * self.share()) {
                break;
            }
            if std::fs::remove_file(path).is_ok() {
                total -= bytes;
            }
        }
    }

    /// Periodic work: logs what is missing and flushes compressed data to the disk.
    fn care(&mut self) -> io::Result<()> {
        let Some(begun) = &mut self.file else { return Ok(()) };
        if Clock.now().since(begun.flushed) < FLUSH_EVERY {
            return Ok(());
        }
        begun.flushed = Clock.now();
        let lost = self.state.lost.swap(0, Ordering::Relaxed);
        if lost > 0 {
            let mut line = Vec::new();
            json_line(&Lost { steady_ms: self.last, lost }, &mut line)?;
            begun.gz.write_all(&line)?;
        }
        begun.gz.flush()
    }
}

/// The files of a recording by their numbers, with their sizes.
fn files(folder: &Path) -> io::Result<Vec<(u64, PathBuf, u64)>> {
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name();
        let number =
            name.to_str().filter(|n| n.ends_with(SUFFIX)).and_then(|n| n.split_once('-')?.0.parse().ok());
        if let (Some(number), Ok(about)) = (number, entry.metadata()) {
            files.push((number, entry.path(), about.len()));
        }
    }
    files.sort();
    Ok(files)
}
