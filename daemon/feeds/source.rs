//! A feed's source, opened: serial line, socket, file or standard input behind one way to read.

use super::net::{self, Datagrams};
use crate::files;
use boat::Connection;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::fs::File;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, ReadHalf};
use tokio::net::TcpStream;
use tokio::net::unix::pipe;
use tokio_serial::{SerialPortBuilderExt, SerialStream};

/// How long to wait at the end of a file before looking again.
const LOOK_AGAIN: Duration = Duration::from_millis(500);

/// How long a connection may bring no byte before it is closed and reopened: its peer may have vanished silently.
const QUIET_CONNECTION: Duration = Duration::from_secs(60);

/// Where bytes go back on a feed's own wire.
pub type Back = Box<dyn AsyncWrite + Send + Unpin>;

/// A source that has been opened.
pub enum Opened {
    /// A byte stream; may end.
    Stream(Box<dyn AsyncRead + Send + Unpin>),
    /// A file that may grow.
    File(Followed),
    /// A connection to a server.
    Connection(ReadHalf<TcpStream>),
    /// Datagrams of whole lines; they never end.
    Datagrams(Datagrams),
}

impl Opened {
    /// Opens a source. The second value is the way back on the same wire, if it works both ways.
    ///
    /// # Errors
    /// What the system says, with the place it concerns.
    pub async fn open(source: &Connection) -> io::Result<(Self, Option<Back>)> {
        Ok(match source {
            Connection::Serial { path, baud } => {
                let (from, to) = tokio::io::split(open_serial(path.clone(), *baud).await?);
                (Self::Stream(Box::new(from)), Some(Box::new(to)))
            }
            Connection::Tcp(address) => {
                // Dropping one half must not end the other: a server may close on a client that falls silent.
                let (from, to) = tokio::io::split(net::connect(address).await?);
                (Self::Connection(from), Some(Box::new(to)))
            }
            Connection::Udp { bind, group, interface } => {
                (Self::Datagrams(Datagrams::bind(*bind, *group, *interface)?), None)
            }
            Connection::File(path) if is_pipe(path.clone()).await? => {
                // Also opened for writing, so that it does not end when a writer closes it.
                let open = pipe::OpenOptions::new().read_write(true).open_receiver(path);
                let pipe = open.map_err(|e| io::Error::new(e.kind(), format!("{}: {e}", path.display())))?;
                (Self::Stream(Box::new(pipe)), None)
            }
            Connection::File(path) => (Self::File(Followed::open(path.clone()).await?), None),
            Connection::StandardInput => (Self::Stream(Box::new(tokio::io::stdin())), None),
        })
    }

    /// Reads what has come, at most a bufferful; zero at the end of a stream.
    ///
    /// # Errors
    /// What the system says, or that a connection brought nothing for a minute.
    pub async fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        match self {
            Self::Stream(s) => s.read(into).await,
            Self::File(f) => f.read(into).await,
            Self::Datagrams(d) => d.read(into).await,
            Self::Connection(s) => {
                tokio::time::timeout(QUIET_CONNECTION, s.read(into)).await.map_err(|_| {
                    io::Error::new(
                        io::ErrorKind::TimedOut,
                        format!("no byte for {} s", QUIET_CONNECTION.as_secs()),
                    )
                })?
            }
        }
    }

    /// Datagrams that the system dropped since this was opened, because they were not read in time.
    pub const fn dropped(&self) -> u64 {
        match self {
            Self::Datagrams(d) => d.dropped(),
            _ => 0,
        }
    }

    /// Whether each read brings whole lines: a line that its datagram does not end never will end.
    pub fn whole_lines(&self) -> bool {
        matches!(self, Self::Datagrams(_))
    }
}

/// Where a feed's bytes come from, as `listen` takes it, with paths from the root.
pub fn address(source: &Connection) -> String {
    let whole = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    match source {
        Connection::Serial { path, baud } => format!("serial:{}@{baud}", whole(path).display()),
        Connection::Tcp(address) => format!("tcp:{address}"),
        Connection::Udp { bind, group, interface } => {
            let group = group.map_or(String::new(), |g| format!(" group {g}"));
            let interface = interface.map_or(String::new(), |i| format!(" interface {i}"));
            format!("udp:{bind}{group}{interface}")
        }
        Connection::File(path) => whole(path).display().to_string(),
        Connection::StandardInput => "-".to_owned(),
    }
}

/// Opens a serial line exclusively: 8 data bits, no parity, one stop bit (IEC 61162-1 clause 5). A hang-up, such as an
/// unplugged adapter, reads as an end.
pub(crate) fn serial(path: &Path, baud: u32) -> io::Result<SerialStream> {
    tokio_serial::new(path.to_string_lossy(), baud).open_native_async().map_err(|e| {
        use tokio_serial::ErrorKind as Kind;
        let (kind, why) = match e.kind() {
            Kind::Io(io::ErrorKind::PermissionDenied) => (
                io::ErrorKind::PermissionDenied,
                format!("{e}; who is in the group of the device, usually dialout, may open it"),
            ),
            Kind::Io(kind) => (kind, e.to_string()),
            // The library reports a locked line this way.
            Kind::NoDevice => (io::ErrorKind::ResourceBusy, "another program has it open".to_owned()),
            _ => (io::ErrorKind::Other, e.to_string()),
        };
        io::Error::new(kind, format!("{}: {why}", path.display()))
    })
}

/// Opens a serial line on a thread that may block: a broken adapter may hang in open.
pub(crate) async fn open_serial(path: PathBuf, baud: u32) -> io::Result<SerialStream> {
    tokio::task::spawn_blocking(move || serial(&path, baud)).await.map_err(io::Error::other)?
}

/// Whether a feed's file is a named pipe, which another program writes to.
async fn is_pipe(path: PathBuf) -> io::Result<bool> {
    tokio::task::spawn_blocking(move || files::is_pipe(&path)).await.map_err(io::Error::other)
}

/// A file read from its start and followed as it grows; restarted when it is truncated or replaced.
pub struct Followed {
    path: PathBuf,
    file: File,
    read: u64,
}

impl Followed {
    /// Opens the file, on a thread that may block.
    async fn open(path: PathBuf) -> io::Result<Self> {
        let name = path.clone();
        let opened = tokio::task::spawn_blocking(move || files::open(&name)).await;
        let file = opened
            .map_err(io::Error::other)?
            .map_err(|e| io::Error::new(e.kind(), format!("{}: {e}", path.display())))?;
        Ok(Self { path, file: File::from_std(file), read: 0 })
    }

    /// Whether the path now names another file, or one shorter than what was read.
    async fn replaced(&self) -> bool {
        // On a thread that may block: the disk may not answer.
        tokio::fs::metadata(&self.path).await.is_ok_and(|m| m.is_file() && m.len() < self.read)
    }

    /// Reads on once there is something.
    async fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        loop {
            let n = self.file.read(into).await?;
            self.read += n as u64;
            if n > 0 {
                return Ok(n);
            }
            if self.replaced().await {
                return Err(io::Error::other(format!("{} was cut short", self.path.display())));
            }
            tokio::time::sleep(LOOK_AGAIN).await;
        }
    }
}
