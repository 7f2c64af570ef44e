//! Diagnostics. On standard error, for people, with time and level in words; in the journal, if standard error leads
//! there, through its own socket and with each value in a field of its own. Nobody waits for either: a stopped
//! terminal or a journal with a hung disk costs lines, not the watch.

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
use terms::legible;
use tracing::Level;
use tracing_subscriber::filter::LevelFilter;
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::util::SubscriberInitExt;

/// How many lines may wait to be written. Further ones are dropped and counted, and the count is reported.
const WAITING: usize = 256;
/// How long to wait for the last lines at the end.
const LAST_LINES: Duration = Duration::from_millis(200);

/// The journal's socket (systemd, "Native Journal Protocol").
const JOURNAL: &str = "/run/systemd/journal/socket";

enum Item {
    Line(Vec<u8>),
    /// Answered once everything before it is written.
    Last(SyncSender<()>),
}

/// The sending end of the line queue.
#[derive(Clone)]
struct Queue {
    to: SyncSender<Item>,
    lost: Arc<AtomicU64>,
}

impl Queue {
    /// A queue that its own thread writes to `sink`.
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

/// Each line goes out in one piece.
impl Write for Queue {
    fn write(&mut self, line: &[u8]) -> io::Result<usize> {
        self.send(legible(String::from_utf8_lossy(line)).into_bytes());
        Ok(line.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// Where lines end up.
struct Sink {
    to: Box<dyn Write + Send>,
    /// Formats a remark about the lines themselves.
    line_of: fn(&str) -> Vec<u8>,
}

impl Sink {
    fn people() -> Self {
        Self { to: Box::new(io::stderr()), line_of: |words| format!("{words}\n").into_bytes() }
    }

    fn journal(socket: UnixDatagram) -> Self {
        Self { to: Box::new(Socket(socket)), line_of: |words| line_of(Level::WARN, words) }
    }

    /// Writes a line, however long it takes.
    fn write(&mut self, line: &[u8]) {
        // If this fails, nobody is left to report to.
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

/// Running diagnostics. Dropping this waits briefly for the last lines.
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

/// Starts the diagnostics. Without a thread for them there are none.
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

/// A socket to the journal, if there is one. It stays unconnected because the journal may restart.
fn journal_socket() -> io::Result<UnixDatagram> {
    UnixDatagram::unbound()?.connect(JOURNAL)?;
    UnixDatagram::unbound()
}

/// Says on standard error why the daemon cannot stand its watch; the journal gets it as an error (sd-daemon(3)).
pub fn complain(why: &str) {
    let level = if to_journal() { "<3>" } else { "" };
    let lines: String = legible(why).lines().map(|line| format!("{level}{line}\n")).collect();
    // If standard error is gone, nobody is left to report to.
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
