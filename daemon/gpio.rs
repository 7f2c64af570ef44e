//! GPIO lines: one output or input each, on a chip of the kernel's character device, or recorded in a file if there is
//! no hardware (trials, tests).

use crate::clock::Clock;
use crate::files;
use boat::GpioLine;
use gpiocdev::Request;
use gpiocdev::line::{EdgeDetection, EdgeKind, Value};
use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::os::unix::fs::FileTypeExt;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::io::AsyncReadExt;
use tokio::net::unix::pipe;
use tokio::sync::mpsc;

/// An output.
pub trait Output: Send {
    /// Sets it active or inactive.
    ///
    /// # Errors
    /// The system's error.
    fn set(&mut self, active: bool) -> io::Result<()>;
}

/// A line whose level can be read.
pub trait Sense: Send {
    /// Whether it is active.
    ///
    /// # Errors
    /// The system's error.
    fn get(&mut self) -> io::Result<bool>;
}

/// The kernel lists the line's user under this name.
const CONSUMER: &str = "middlewatch";

fn told(line: &GpioLine, why: &dyn std::fmt::Display) -> io::Error {
    io::Error::other(format!("{line}: {why}"))
}

fn request(wanted: &GpioLine, edges: bool, output: bool) -> io::Result<Request> {
    let GpioLine::Chip { chip, line, active_low } = wanted else {
        return Err(told(wanted, &"this is no chip"));
    };
    let mut builder = Request::builder();
    builder.with_consumer(CONSUMER).on_chip(chip).with_line(*line);
    if output {
        builder.as_output(Value::Inactive);
    } else {
        builder.as_input();
    }
    if *active_low {
        builder.as_active_low();
    }
    if edges {
        builder.with_edge_detection(EdgeDetection::BothEdges);
    }
    builder.request().map_err(|e| told(wanted, &e))
}

/// A line that can be requested.
pub trait Gpio {
    /// Requests the line as an output, inactive at first.
    ///
    /// # Errors
    /// If it does not exist, or another program has it.
    fn output(&self) -> io::Result<Box<dyn Output>>;

    /// Requests the line for reading its level.
    ///
    /// # Errors
    /// If it does not exist, or another program has it.
    fn sense(&self) -> io::Result<Box<dyn Sense>>;

    /// Requests the line for waiting on its changes.
    ///
    /// # Errors
    /// If it does not exist, or another program has it.
    fn input(&self) -> io::Result<Input>;
}

impl Gpio for GpioLine {
    fn output(&self) -> io::Result<Box<dyn Output>> {
        Ok(match self {
            Self::Chip { .. } => {
                Box::new(OnChip { line: self.clone(), request: request(self, false, true)? })
            }
            Self::Recorded(path) => Box::new(OnPaper::open(path)?),
        })
    }

    fn sense(&self) -> io::Result<Box<dyn Sense>> {
        Ok(match self {
            Self::Chip { .. } => {
                Box::new(OnChip { line: self.clone(), request: request(self, false, false)? })
            }
            Self::Recorded(path) => Box::new(PaperSense(path.clone())),
        })
    }

    fn input(&self) -> io::Result<Input> {
        Ok(match self {
            Self::Chip { .. } => {
                let request = request(self, true, false)?;
                let level = request.lone_value().map(bool::from).map_err(|e| told(self, &e))?;
                let (to, edges) = mpsc::channel(EDGES);
                let line = self.clone();
                std::thread::Builder::new()
                    .name("gpio input".to_owned())
                    .spawn(move || watch_edges(&line, &request, &to))?;
                Input::Chip(level, edges)
            }
            Self::Recorded(path) => {
                // Also opened for writing, so that it does not end when a writer closes it.
                let open = pipe::OpenOptions::new().read_write(true).open_receiver(path);
                Input::Pipe(open.map_err(|e| told(self, &e))?)
            }
        })
    }
}

struct OnChip {
    line: GpioLine,
    request: Request,
}

impl Output for OnChip {
    fn set(&mut self, active: bool) -> io::Result<()> {
        self.request.set_lone_value(Value::from(active)).map_err(|e| told(&self.line, &e))
    }
}

impl Sense for OnChip {
    fn get(&mut self) -> io::Result<bool> {
        self.request.lone_value().map(bool::from).map_err(|e| told(&self.line, &e))
    }
}

struct OnPaper {
    file: File,
    level: bool,
}

impl OnPaper {
    fn open(path: &Path) -> io::Result<Self> {
        let at = |e: io::Error| io::Error::new(e.kind(), format!("{}: {e}", path.display()));
        // Open a named pipe for both ends: it must not wait for a reader.
        let piped = std::fs::metadata(path).is_ok_and(|m| m.file_type().is_fifo());
        let mut options = OpenOptions::new();
        let file = if piped { options.read(true).write(true) } else { options.append(true).create(true) };
        Ok(Self { file: file.open(path).map_err(at)?, level: false })
    }
}

impl Output for OnPaper {
    fn set(&mut self, active: bool) -> io::Result<()> {
        if active != self.level {
            self.level = active;
            let line = format!("{} {}\n", Clock.now().0, u8::from(active));
            self.file.write_all(line.as_bytes())?;
        }
        Ok(())
    }
}

struct PaperSense(PathBuf);

impl Sense for PaperSense {
    fn get(&mut self) -> io::Result<bool> {
        files::read(&self.0, files::Kind::Value).map(|t| t.first() == Some(&b'1'))
    }
}

/// Edges that may queue; a contact that bounces more is read later.
const EDGES: usize = 256;
/// Longest time until the thread of an abandoned input ends.
const LOOK: Duration = Duration::from_secs(1);

/// Forwards the edges of a line until nobody wants them.
fn watch_edges(line: &GpioLine, request: &Request, to: &mpsc::Sender<io::Result<bool>>) {
    while !to.is_closed() {
        // The edge gives the level at its time, even if another has followed since.
        let edge = request.wait_edge_event(LOOK).and_then(|there| {
            there.then(|| request.read_edge_event().map(|e| e.kind == EdgeKind::Rising)).transpose()
        });
        match edge {
            Ok(None) => {}
            Ok(Some(level)) => drop(to.blocking_send(Ok(level))),
            Err(e) => {
                let _ = to.blocking_send(Err(told(line, &e)));
                return;
            }
        }
    }
}

/// An input that reports its changes.
pub enum Input {
    /// On a chip: its level at the start, and the changes its own thread sees.
    Chip(bool, mpsc::Receiver<io::Result<bool>>),
    /// From a pipe.
    Pipe(pipe::Receiver),
}

impl Input {
    /// The level at the start; a pipe is inactive until it says otherwise.
    pub fn level(&self) -> bool {
        matches!(self, Self::Chip(true, _))
    }

    /// Waits for a change and returns the level after it. Cancel safe: no change is lost.
    ///
    /// # Errors
    /// The system's error.
    pub async fn changed(&mut self) -> io::Result<bool> {
        match self {
            Self::Chip(_, edges) => {
                edges.recv().await.unwrap_or_else(|| Err(io::ErrorKind::UnexpectedEof.into()))
            }
            Self::Pipe(pipe) => loop {
                let mut byte = [0];
                if pipe.read(&mut byte).await? == 0 {
                    return Err(io::ErrorKind::UnexpectedEof.into());
                }
                match byte[0] {
                    b'0' => return Ok(false),
                    b'1' => return Ok(true),
                    _ => {}
                }
            },
        }
    }
}
