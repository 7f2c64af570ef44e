//! A feed's source, opened: serial line, socket, file or standard input behind one way to read.

use super::net;
use boat::Connection;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::fs::File;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, ReadHalf};
use tokio::net::{TcpStream, UdpSocket};
use tokio_serial::{SerialPortBuilderExt, SerialStream};

/// How long a file that has no more bytes rests before it is looked at again.
const LOOK_AGAIN: Duration = Duration::from_millis(500);

/// A connection that brings no byte for so long is closed and opened anew: its peer may be gone without a word.
const QUIET_CONNECTION: Duration = Duration::from_secs(60);

/// Where bytes go back on a feed's own wire.
pub type Back = Box<dyn AsyncWrite + Send + Unpin>;

/// A source that has been opened.
pub enum Opened {
    /// Bytes in a row; they may end.
    Stream(Box<dyn AsyncRead + Send + Unpin>),
    /// A file that may grow.
    File(Followed),
    /// A connection to a server.
    Connection(ReadHalf<TcpStream>),
    /// Datagrams of whole lines; they never end.
    Datagrams(UdpSocket),
}

impl Opened {
    /// Opens a source; the second is where to write what goes back on the same wire, if it has two ways.
    ///
    /// # Errors
    /// What the system says, with the place it is about.
    pub async fn open(source: &Connection) -> io::Result<(Self, Option<Back>)> {
        Ok(match source {
            Connection::Serial { path, baud } => {
                let (from, to) = tokio::io::split(open_serial(path.clone(), *baud).await?);
                (Self::Stream(Box::new(from)), Some(Box::new(to)))
            }
            Connection::Tcp(address) => {
                // Halves that end nothing when they are dropped: a server may close on whom it hears no more.
                let (from, to) = tokio::io::split(net::connect(address).await?);
                (Self::Connection(from), Some(Box::new(to)))
            }
            Connection::Udp { bind, group, interface } => {
                (Self::Datagrams(net::bind(*bind, *group, *interface)?), None)
            }
            Connection::File(path) => (Self::File(Followed::open(path).await?), None),
            Connection::StandardInput => (Self::Stream(Box::new(tokio::io::stdin())), None),
        })
    }

    /// Reads what has come, at most a bufferful; nothing at the end of a stream.
    ///
    /// # Errors
    /// What the system says, and a connection that brings nothing for a minute.
    pub async fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        match self {
            Self::Stream(s) => s.read(into).await,
            Self::File(f) => f.read(into).await,
            Self::Datagrams(s) => s.recv(into).await,
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

    /// Whether each read brings whole lines: what a datagram doesn't end never will be.
    pub fn whole_lines(&self) -> bool {
        matches!(self, Self::Datagrams(_))
    }
}

/// Opens a serial line, exclusively: 8 data bits, no parity, one stop bit (IEC 61162-1 clause 5). Its hang-up, as when
/// an adapter is unplugged, reads as an end.
pub(crate) fn serial(path: &Path, baud: u32) -> io::Result<SerialStream> {
    tokio_serial::new(path.to_string_lossy(), baud).open_native_async().map_err(|e| {
        use tokio_serial::ErrorKind as Kind;
        let (kind, why) = match e.kind() {
            Kind::Io(io::ErrorKind::PermissionDenied) => (
                io::ErrorKind::PermissionDenied,
                format!("{e}; who is in the group of the device, usually dialout, may open it"),
            ),
            Kind::Io(kind) => (kind, e.to_string()),
            // What the library calls a line that is locked.
            Kind::NoDevice => (io::ErrorKind::ResourceBusy, "another program has it open".to_owned()),
            _ => (io::ErrorKind::Other, e.to_string()),
        };
        io::Error::new(kind, format!("{}: {why}", path.display()))
    })
}

/// Opens a serial line where it holds nobody up: a broken adapter may keep whoever opens it waiting.
pub(crate) async fn open_serial(path: PathBuf, baud: u32) -> io::Result<SerialStream> {
    tokio::task::spawn_blocking(move || serial(&path, baud)).await.map_err(io::Error::other)?
}

/// A file read from its start and then followed as it grows; begun anew when it is cut short or replaced.
pub struct Followed {
    path: PathBuf,
    file: File,
    read: u64,
}

impl Followed {
    /// Opens it; a named pipe is waited for.
    async fn open(path: &Path) -> io::Result<Self> {
        let file = File::open(path)
            .await
            .map_err(|e| io::Error::new(e.kind(), format!("{}: {e}", path.display())))?;
        Ok(Self { path: path.to_owned(), file, read: 0 })
    }

    /// Whether the path names another file by now, or fewer bytes than were read.
    async fn replaced(&self) -> bool {
        // Asked where a disk that does not answer holds nobody up.
        tokio::fs::metadata(&self.path).await.is_ok_and(|m| m.is_file() && m.len() < self.read)
    }

    /// Reads on, once there is something.
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
