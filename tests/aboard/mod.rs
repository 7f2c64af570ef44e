//! A daemon aboard: the built binary with real wires, a real receiver and a folder of its own.
#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::disallowed_methods,
    reason = "shared with the benches, and each of them uses its own part"
)]

pub mod uart;

use nix::fcntl::OFlag;
use nix::pty::{grantpt, posix_openpt, ptsname_r, unlockpt};
use serde_json::Value;
use std::fs::File;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener};
use std::os::fd::OwnedFd;
use std::os::unix::fs::{OpenOptionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, ExitStatus, Output, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc;
use std::time::{Duration, Instant};

/// Long enough for a loaded machine; a test that passes does not wait for it.
pub const PATIENCE: Duration = Duration::from_secs(30);

/// Orders that watch for ships and shoal water, as any file should, late enough to call for nothing in a test of others.
pub const WATCHFUL: &str = "\n[[order]]\nname = \"watchful: ships\"\neach = \"target\"\npriority = \"warning\"\n\
    when = { all = [\"CPA is under 0.1 nm\", \"TCPA is between 0 min and 5 min\"] }\npatience = \"never\"\n\
    [[order]]\nname = \"watchful: depth\"\npriority = \"warning\"\nwhen = \"depth below keel is under 1 m\"\n\
    patience = \"never\"\n";

/// Asks again and again until there is an answer.
///
/// # Panics
/// When there is none within [`PATIENCE`].
pub fn until<T>(what: &str, mut ask: impl FnMut() -> Option<T>) -> T {
    let end = Instant::now() + PATIENCE;
    loop {
        if let Some(t) = ask() {
            return t;
        }
        assert!(Instant::now() < end, "waited in vain for {what}");
        std::thread::yield_now();
        std::thread::park_timeout(Duration::from_millis(10));
    }
}

/// A folder of a test's own, removed when dropped.
pub struct Folder(pub PathBuf);

impl Folder {
    pub fn new(name: &str) -> Self {
        static MADE: AtomicU32 = AtomicU32::new(0);
        // All tests share a process, and two may choose the same name.
        let n = MADE.fetch_add(1, Ordering::Relaxed);
        // Short, because the path of a Unix socket holds 108 bytes.
        let path = std::env::temp_dir().join(format!("mw-{name}-{}-{n}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    /// Where a logbook of this folder stands.
    pub fn logbook(&self) -> PathBuf {
        self.0.join("logbook.db")
    }

    /// The logbook of the README's demo.
    pub fn demo_logbook(&self) -> PathBuf {
        let fixtures = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures");
        let logbook = self.logbook();
        let out = middlewatch()
            .args(["replay", "--config"])
            .arg(fixtures.join("windlestraw.toml"))
            .arg("--logbook")
            .arg(&logbook)
            .arg(fixtures.join("night-passage.toml"))
            .output()
            .unwrap();
        assert!(out.status.success(), "{}", text(&out.stderr));
        logbook
    }

    pub fn write(&self, name: &str, text: &str) -> PathBuf {
        let path = self.0.join(name);
        std::fs::write(&path, text).unwrap();
        path
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        if self.0.as_os_str().is_empty() {
            return;
        }
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// The built binary.
pub fn middlewatch() -> Command {
    Command::new(env!("CARGO_BIN_EXE_middlewatch"))
}

/// Runs one ignored test of this program in a process of its own, for tests that are killed or measured.
pub fn alone(test: &str) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.args(["--ignored", "--exact", test, "--nocapture"]);
    command
}

/// Builds one of the shims, to be loaded before the C library.
pub fn shim(name: &str, into: &Path) -> PathBuf {
    let built = into.join(format!("{name}.so"));
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/shim/{name}.c"));
    let done = Command::new("cc")
        .args(["-shared", "-fPIC", "-O1", "-o"])
        .args([&built, &source])
        .arg("-ldl")
        .status();
    assert!(done.unwrap().success());
    built
}

/// Runs a verb to its end.
pub fn verb(arguments: &[&str]) -> Output {
    middlewatch().args(arguments).stdin(Stdio::null()).output().unwrap()
}

pub fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// A daemon that stands its watch.
pub struct Daemon {
    pub folder: Folder,
    child: Child,
}

impl Daemon {
    /// Starts `run` with a boat.toml made of `body` and places inside the folder, and waits until it answers.
    pub fn start(name: &str, body: &str) -> Self {
        Self::start_in(Folder::new(name), body)
    }

    pub fn start_in(folder: Folder, body: &str) -> Self {
        Self::start_with(folder, body, "")
    }

    /// As `start_in`, with more lines for `[control]`.
    pub fn start_with(folder: Folder, body: &str, control: &str) -> Self {
        Self::launch(folder, body, control, &[])
    }

    /// As `start_in`, with something in its environment.
    pub fn start_preloaded(folder: Folder, body: &str, environment: &[(&str, &Path)]) -> Self {
        Self::launch(folder, body, "", environment)
    }

    fn launch(folder: Folder, body: &str, control: &str, environment: &[(&str, &Path)]) -> Self {
        let boat = Self::describe(&folder, body, control);
        Self::start_described(folder, &boat, environment)
    }

    /// Writes a boat.toml made of `body` and places inside the folder.
    pub fn describe(folder: &Folder, body: &str, control: &str) -> PathBuf {
        let places = format!(
            "version = 1\n{body}\n[control]\npath = {:?}\n{control}\n",
            folder.0.join("control.sock")
        );
        let places = if body.contains("[logbook]") {
            places
        } else {
            format!("{places}[logbook]\npath = {:?}\n", folder.logbook())
        };
        let places = if body.contains("[orders]") {
            places
        } else {
            format!(
                "{places}[orders]\npath = {:?}\n",
                Path::new(env!("CARGO_MANIFEST_DIR")).join("rules/orders/passage.toml")
            )
        };
        folder.write("boat.toml", &places)
    }

    /// Starts `run` with a boat.toml that is there, and waits until it answers.
    pub fn start_described(folder: Folder, boat: &Path, environment: &[(&str, &Path)]) -> Self {
        let daemon = Self::spawn(folder, boat, environment);
        until("the daemon to answer", || daemon.try_status());
        daemon
    }

    /// The same without waiting.
    pub fn spawn(folder: Folder, boat: &Path, environment: &[(&str, &Path)]) -> Self {
        let log = std::fs::File::create(folder.0.join("stderr")).unwrap();
        let child = middlewatch()
            .args(["run", "--config"])
            .arg(boat)
            .envs(environment.iter().copied())
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .unwrap();
        Self { folder, child }
    }

    fn socket(&self) -> PathBuf {
        self.folder.0.join("control.sock")
    }

    pub fn try_status(&self) -> Option<Value> {
        let out = middlewatch().args(["status", "--json", "--control"]).arg(self.socket()).output().unwrap();
        serde_json::from_slice(&out.stdout).ok()
    }

    pub fn status(&self) -> Value {
        self.try_status().expect("the daemon answers")
    }

    /// A verb of the crew.
    pub fn tell(&self, arguments: &[&str]) -> Output {
        middlewatch().args(arguments).arg("--control").arg(self.socket()).output().unwrap()
    }

    pub fn logbook(&self) -> PathBuf {
        self.folder.logbook()
    }

    /// Waits for an open alert of an order.
    pub fn alert(&self, order: &str) -> Value {
        until(order, || {
            let status = self.try_status()?;
            status["alerts"].as_array()?.iter().find(|a| a["order"] == order).cloned()
        })
    }

    pub fn pid(&self) -> i32 {
        i32::try_from(self.child.id()).unwrap()
    }

    /// Ends it as systemd would and waits.
    pub fn stop(mut self) -> Folder {
        nix::sys::signal::kill(nix::unistd::Pid::from_raw(self.pid()), nix::sys::signal::Signal::SIGTERM)
            .unwrap();
        let status = self.child.wait().unwrap();
        assert!(status.success(), "{status}: {}", self.stderr());
        std::mem::replace(&mut self.folder, Folder(PathBuf::new()))
    }

    /// Ends it as systemd would, however that goes: its status, and what it said.
    pub fn end(mut self) -> (Folder, ExitStatus, String) {
        nix::sys::signal::kill(nix::unistd::Pid::from_raw(self.pid()), nix::sys::signal::Signal::SIGTERM)
            .unwrap();
        let status = self.child.wait().unwrap();
        let said = self.stderr();
        (std::mem::replace(&mut self.folder, Folder(PathBuf::new())), status, said)
    }

    /// The far end of its standard input, once.
    pub fn standard_input(&mut self) -> Option<ChildStdin> {
        self.child.stdin.take()
    }

    /// Kills it as a power cut would.
    pub fn crash(mut self) -> Folder {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
        std::mem::replace(&mut self.folder, Folder(PathBuf::new()))
    }

    pub fn stderr(&self) -> String {
        let path = self.folder.0.join("stderr");
        // A pipe would be waited for.
        if path.is_file() { std::fs::read_to_string(path).unwrap_or_default() } else { String::new() }
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        if std::thread::panicking() {
            eprintln!("the daemon said:\n{}", self.stderr());
        }
    }
}

/// An HTTP receiver on loopback that answers each POST with the next status it is told to, 200 when told nothing.
pub struct Receiver {
    pub address: SocketAddr,
    bodies: mpsc::Receiver<(Instant, Value)>,
}

impl Receiver {
    /// `statuses`: answers of the first requests, in order.
    pub fn start(statuses: &[u16]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let (to, bodies) = mpsc::channel();
        // Owned, because the thread outlives the caller's list.
        let statuses: Vec<u16> = statuses.to_vec();
        let mut statuses = statuses.into_iter();
        std::thread::spawn(move || {
            for stream in listener.incoming() {
                let Ok(mut stream) = stream else { return };
                let mut reader = BufReader::new(stream.try_clone().unwrap());
                let arrived = Instant::now();
                let mut length = 0;
                loop {
                    let mut line = String::new();
                    if reader.read_line(&mut line).unwrap_or(0) == 0 || line == "\r\n" {
                        break;
                    }
                    if let Some(n) = line.to_lowercase().strip_prefix("content-length:") {
                        length = n.trim().parse().unwrap();
                    }
                }
                let mut body = vec![0; length];
                if reader.read_exact(&mut body).is_err() {
                    continue;
                }
                // A sender that was killed half-way has said nothing.
                let Ok(record) = serde_json::from_slice(&body) else { continue };
                let status = statuses.next().unwrap_or(200);
                let _ = write!(stream, "HTTP/1.1 {status} x\r\ncontent-length: 0\r\n\r\n");
                if status == 200 && to.send((arrived, record)).is_err() {
                    return;
                }
            }
        });
        Self { address, bodies }
    }

    /// The next record that was taken with status 200.
    pub fn next(&self) -> Value {
        self.next_at().1
    }

    /// The same, and when its connection was made.
    pub fn next_at(&self) -> (Instant, Value) {
        self.bodies.recv_timeout(PATIENCE).expect("a record at the receiver")
    }

    /// The records that have come so far and were not asked for.
    pub fn taken(&self) -> Vec<Value> {
        self.bodies.try_iter().map(|(_, record)| record).collect()
    }

    /// The next record that `wanted` likes.
    pub fn wait_for(&self, wanted: impl Fn(&Value) -> bool) -> Value {
        loop {
            let v = self.next();
            if wanted(&v) {
                return v;
            }
        }
    }
}

/// A serial line: a pseudo-terminal behind a name of its own, as an adapter has.
pub struct SerialLine {
    pub master: File,
    _slave: File,
}

impl SerialLine {
    pub fn plug(link: &std::path::Path) -> Self {
        let (master, slave, name) = pseudo_terminal();
        let _ = std::fs::remove_file(link);
        symlink(name, link).unwrap();
        Self { master, _slave: slave }
    }
}

/// A new pseudo-terminal: its master, its slave and the slave's name. No program inherits either end, whatever other
/// tests start at this moment: a daemon that held the far end would never see it close.
pub fn pseudo_terminal() -> (File, File, PathBuf) {
    let master = posix_openpt(OFlag::O_RDWR | OFlag::O_NOCTTY | OFlag::O_CLOEXEC).unwrap();
    grantpt(&master).unwrap();
    unlockpt(&master).unwrap();
    let name = PathBuf::from(ptsname_r(&master).unwrap());
    let slave =
        File::options().read(true).write(true).custom_flags(OFlag::O_NOCTTY.bits()).open(&name).unwrap();
    (File::from(OwnedFd::from(master)), slave, name)
}

/// A sentence with its checksum and line end.
pub fn sentence(body: &str) -> String {
    let start = if body.starts_with("AI") { '!' } else { '$' };
    format!("{start}{body}*{:02X}\r\n", body.bytes().fold(0, |a, b| a ^ b))
}
