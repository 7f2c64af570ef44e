//! Diagnostics: for people on standard error, with time and level in words; for the journal, where standard error goes to
//! it, over its own socket, each value in a field of its own. Nobody waits for either: a terminal that was stopped, or a
//! journal whose disk does not answer, costs lines and not the watch.

mod journal;
mod sparing;

use journal::{Journal, line_of};
use sparing::Sparing;
use std::io::{self, Write};
use std::os::unix::fs::MetadataExt;
use std::os::unix::net::UnixDatagram;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::time::Duration;
use tracing::Level;
use tracing_subscriber::filter::LevelFilter;
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::util::SubscriberInitExt;

/// Lines that may wait to be written; beyond that they are counted, and how many were lost is said.
const WAITING: usize = 256;
/// At the end the last lines are waited for so long.
const LAST_LINES: Duration = Duration::from_millis(200);

/// The journal's socket (systemd, "Native Journal Protocol").
const JOURNAL: &str = "/run/systemd/journal/socket";

enum Item {
    Line(Vec<u8>),
    /// All before it are written when this is answered.
    Last(SyncSender<()>),
}

/// The near end of the lines' way out.
#[derive(Clone)]
struct Queue {
    to: SyncSender<Item>,
    lost: Arc<AtomicU64>,
}

impl Queue {
    /// A queue that a thread of its own writes to `sink`.
    fn to(sink: Sink) -> io::Result<Self> {
        let (to, from) = sync_channel(WAITING);
        let lost = Arc::<AtomicU64>::default();
        let all = lost.clone();
        std::thread::Builder::new().name("diagnostics".to_owned()).spawn(move || write(&from, &all, sink))?;
        Ok(Self { to, lost })
    }

    fn send(&self, line: Vec<u8>) {
        if self.to.try_send(Item::Line(line)).is_err() {
            self.lost.fetch_add(1, Ordering::Relaxed);
        }
    }
}

/// A line is written in one piece.
impl Write for Queue {
    fn write(&mut self, line: &[u8]) -> io::Result<usize> {
        self.send(line.to_owned());
        Ok(line.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Where lines end up.
struct Sink {
    to: Box<dyn Write + Send>,
    /// Makes a line of words about the lines themselves.
    line_of: fn(&str) -> Vec<u8>,
}

impl Sink {
    fn people() -> Self {
        Self { to: Box::new(io::stderr()), line_of: |words| format!("{words}\n").into_bytes() }
    }

    fn journal(socket: UnixDatagram) -> Self {
        Self { to: Box::new(Socket(socket)), line_of: |words| line_of(Level::WARN, words) }
    }

    /// Writes a line, however long that takes.
    fn write(&mut self, line: &[u8]) {
        // Where it cannot be written there is nobody left to tell.
        let _ = self.to.write_all(line);
    }
}

/// The way to the journal: each entry is one datagram.
struct Socket(UnixDatagram);

impl Write for Socket {
    fn write(&mut self, entry: &[u8]) -> io::Result<usize> {
        self.0.send_to(entry, JOURNAL)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

fn write(from: &Receiver<Item>, lost: &AtomicU64, mut sink: Sink) {
    while let Ok(item) = from.recv() {
        match item {
            Item::Line(line) => sink.write(&line),
            Item::Last(written) => drop(written.try_send(())),
        }
        let lost = lost.swap(0, Ordering::Relaxed);
        if lost > 0 {
            sink.write(&(sink.line_of)(&format!("{lost} lines of diagnostics were lost: nobody took them")));
        }
    }
}

/// Diagnostics that have been started; when this is dropped, the last lines are waited for a little.
pub struct Diagnostics(Option<Queue>);

impl Drop for Diagnostics {
    fn drop(&mut self) {
        let Some(queue) = &self.0 else { return };
        let (written, all) = sync_channel(1);
        if queue.to.try_send(Item::Last(written)).is_ok() {
            let _ = all.recv_timeout(LAST_LINES);
        }
    }
}

/// Starts the diagnostics. Where no thread can be had for them there are none.
pub fn start() -> Diagnostics {
    let socket = if to_journal() { journal_socket().ok() } else { None };
    let for_journal = socket.is_some();
    let Ok(queue) = Queue::to(socket.map_or_else(Sink::people, Sink::journal)) else {
        return Diagnostics(None);
    };
    let to = queue.clone();
    if for_journal {
        tracing_subscriber::registry().with(LevelFilter::INFO).with(Sparing::new(Journal::to(to))).init();
    } else {
        let all = tracing_subscriber::fmt().with_max_level(Level::INFO).with_ansi(false);
        all.with_writer(Sparing::new(move || to.clone())).init();
    }
    Diagnostics(Some(queue))
}

/// A socket to the journal, if there is one. It stays unconnected: the journal may be started anew.
fn journal_socket() -> io::Result<UnixDatagram> {
    UnixDatagram::unbound()?.connect(JOURNAL)?;
    UnixDatagram::unbound()
}

/// Says on standard error why the daemon cannot stand its watch; to the journal as an error (sd-daemon(3)).
pub fn complain(why: &str) {
    let level = if to_journal() { "<3>" } else { "" };
    let lines: String = why.lines().map(|line| format!("{level}{line}\n")).collect();
    // Where standard error is gone there is nobody left to tell.
    let _ = io::stderr().lock().write_all(lines.as_bytes());
}

/// Whether standard error goes to the journal: JOURNAL_STREAM names its device and inode (systemd.exec(5)). A program
/// started from a service inherits the name, but not always the stream.
fn to_journal() -> bool {
    let Ok(stream) = std::env::var("JOURNAL_STREAM") else { return false };
    std::fs::metadata("/proc/self/fd/2").is_ok_and(|m| stream == format!("{}:{}", m.dev(), m.ino()))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    /// What was written.
    #[derive(Clone, Default)]
    pub struct Kept(Arc<Mutex<Vec<u8>>>);

    impl Kept {
        pub fn text(&self) -> String {
            String::from_utf8(self.0.lock().unwrap().clone()).unwrap()
        }
    }

    impl Write for Kept {
        fn write(&mut self, part: &[u8]) -> io::Result<usize> {
            self.0.lock().unwrap().extend(part);
            Ok(part.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn lines_beyond_the_bound_are_lost_and_counted_and_nobody_waits() {
        let (to, from) = sync_channel(WAITING);
        let queue = Queue { to, lost: Arc::default() };
        // Nothing is written yet.
        (0..WAITING + 44).for_each(|n| queue.send(format!("line {n}\n").into_bytes()));
        let (kept, lost) = (Kept::default(), queue.lost.clone());
        drop(queue);
        write(&from, &lost, Sink { to: Box::new(kept.clone()), ..Sink::people() });
        let told = kept.text();
        assert_eq!(told.lines().filter(|l| l.starts_with("line ")).count(), WAITING);
        assert!(told.contains("\n44 lines of diagnostics were lost: nobody took them\n"), "{told}");
    }
}
