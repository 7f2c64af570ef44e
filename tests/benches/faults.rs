//! Whether a dead webhook, a full disk and a crowd at the control's door delay what sounds: from the last byte of a
//! beacon's first sentence on a serial line to the buzzer's line and to the start of a command, with the faults and
//! without, through the built binary.
//!
//!     cargo bench --bench faults      (as root: it mounts a small file system to be filled)
//!
//! Two daemons run side by side and are given their beacons in turn, so that whatever else the machine does falls on
//! both.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a bench stops where its footing is missing, and takes the time"
)]

#[path = "../aboard/mod.rs"]
mod aboard;

use aboard::{Daemon, Folder, PATIENCE, SerialLine, sentence, until};
use std::collections::VecDeque;
use std::io::{BufRead, BufReader, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::os::unix::net::UnixListener;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::mpsc::{self, Receiver};
use std::time::{Duration, Instant};

/// Beacons that are raised in each in a round, one after the other.
const PER_ROUND: u32 = 200;
/// Rounds.
const ROUNDS: u32 = 5;
const BEACONS: u32 = PER_ROUND * ROUNDS;
/// The 99th percentile with the faults is at most so many times that without.
const AT_MOST: f64 = 1.2;
/// Differences below this are the timer's and the scheduler's own.
const GRAIN_MS: f64 = 0.5;
/// ... and below this in any case.
const BOUND_MS: f64 = 20.0;

/// A position report with status 14 (active) of a person overboard device, payload by `sentence::encode`.
fn burst(n: u32) -> String {
    let mmsi = terms::Mmsi::new(972_400_000 + n).unwrap();
    let mut report = ::sentence::ais::AisReport::new(1, 0, mmsi);
    report.nav_status = Some(14);
    report.position = terms::Position::new(50.01, -1.0).ok();
    ::sentence::encode::ais(&report, "AI", 'A', 0).concat() + "\r\n"
}

/// A file system of 256 KiB, gone when it is dropped.
struct Small(PathBuf);

impl Small {
    fn mount(at: PathBuf) -> Option<Self> {
        std::fs::create_dir_all(&at).unwrap();
        let mounted =
            Command::new("mount").args(["-t", "tmpfs", "-o", "size=256k", "tmpfs"]).arg(&at).status();
        mounted.is_ok_and(|s| s.success()).then_some(Self(at))
    }

    /// Fills it to the last byte.
    fn fill(&self) {
        let mut file = std::fs::File::create(self.0.join("filling")).unwrap();
        while file.write_all(&[0; 4096]).is_ok() {}
        while file.write_all(&[0]).is_ok() {}
    }
}

impl Drop for Small {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg("-l").arg(&self.0).status();
    }
}

/// One boat under measure.
struct Boat {
    daemon: Daemon,
    line: SerialLine,
    rung: Receiver<Instant>,
    sounded: Receiver<Instant>,
    buzzer: Vec<Duration>,
    command: Vec<Duration>,
}

impl Boat {
    fn start(name: &str, webhook: &str, control: &str, logbook: Option<&Path>) -> Self {
        let folder = Folder::new(name);
        let device = folder.0.join("ais");
        let line = SerialLine::plug(&device);
        let (bell, buzzer) = (folder.0.join("bell"), folder.0.join("buzzer"));
        nix::unistd::mkfifo(&buzzer, nix::sys::stat::Mode::S_IRWXU).unwrap();
        let body = format!(
            "[[feed]]\nname = \"ais\"\nserial = {device:?}\nbaud = 38400\n\
             [[signal]]\nname = \"bell\"\ncommand = [{:?}, \"--ring\", {bell:?}]\n\
             [[signal]]\nname = \"horn\"\nbuzzer = {{ recorded = {buzzer:?} }}\n\
             [[signal]]\nname = \"shore\"\nwebhook = \"{webhook}\"\n",
            std::env::current_exe().unwrap(),
        );
        let (rung, sounded) = (listen(&bell), hear(&buzzer));
        let logbook = logbook.map_or(String::new(), |path| format!("[logbook]\npath = {path:?}\n"));
        let daemon = Daemon::start_with(folder, &format!("{body}{logbook}"), control);
        until("the feed", || (daemon.status()["feeds"][0]["state"] == "up").then_some(()));
        let mut boat = Self { daemon, line, rung, sounded, buzzer: Vec::new(), command: Vec::new() };
        boat.line
            .master
            .write_all(sentence("GPRMC,021407.00,A,5000.000,N,00100.000,W,5.0,090.0,011126,,,A").as_bytes())
            .unwrap();
        until("a fix", || boat.daemon.status()["own"]["latitude_deg"].as_f64());
        boat
    }

    fn beacon(&mut self, n: u32) {
        let text = burst(n);
        while self.rung.try_recv().is_ok() || self.sounded.try_recv().is_ok() {}
        let start = Instant::now();
        self.line.master.write_all(text.as_bytes()).unwrap();
        self.buzzer.push(self.sounded.recv_timeout(PATIENCE).unwrap() - start);
        self.command.push(self.rung.recv_timeout(PATIENCE).unwrap() - start);
        assert!(self.daemon.tell(&["stand-down", "--reason", "test"]).status.success());
    }
}

/// When a command began: it says so by connecting.
fn listen(bell: &Path) -> Receiver<Instant> {
    let listener = UnixListener::bind(bell).unwrap();
    let (to, rung) = mpsc::channel();
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            if stream.is_err() || to.send(Instant::now()).is_err() {
                return;
            }
        }
    });
    rung
}

/// When the buzzer's line rose.
fn hear(buzzer: &Path) -> Receiver<Instant> {
    let pipe = std::fs::OpenOptions::new().read(true).write(true).open(buzzer).unwrap();
    let (to, sounded) = mpsc::channel();
    std::thread::spawn(move || {
        for line in BufReader::new(pipe).lines().map_while(Result::ok) {
            if line.ends_with(" 1") && to.send(Instant::now()).is_err() {
                return;
            }
        }
    });
    sounded
}

fn percentile(times: &mut [Duration], p: f64) -> f64 {
    times.sort();
    let at = ((times.len() as f64 * p).ceil() as usize).clamp(1, times.len()) - 1;
    times[at].as_secs_f64() * 1000.0
}

/// Keeps a thousand connections at a door, for ever: half of them say nothing, half ask for a stream and never read it.
fn crowd(door: SocketAddr) {
    let mut crowd = VecDeque::new();
    loop {
        if let Ok(mut stream) = TcpStream::connect_timeout(&door, Duration::from_secs(1)) {
            if crowd.len() % 2 == 0 {
                let _ = write!(stream, "GET /events HTTP/1.1\r\nhost: {door}\r\n\r\n");
            }
            crowd.push_back(stream);
        }
        if crowd.len() > 1000 {
            crowd.pop_front();
            std::thread::sleep(Duration::from_millis(10));
        }
    }
}

/// Tells both, and whether the faults cost more than they may: by the middle one of the rounds' ratios, because the 99th
/// percentile of one round is a few values that the scheduler picks.
fn compare(what: &str, sound: &[Duration], faulty: &[Duration]) -> bool {
    let round = |times: &[Duration], p: f64| {
        let each = times.chunks(PER_ROUND as usize).map(|c| percentile(&mut c.to_vec(), p));
        let mut each: Vec<f64> = each.collect();
        each.sort_by(f64::total_cmp);
        each[each.len() / 2]
    };
    let mut ratios: Vec<f64> = sound
        .chunks(PER_ROUND as usize)
        .zip(faulty.chunks(PER_ROUND as usize))
        .map(|(a, b)| percentile(&mut b.to_vec(), 0.99) / percentile(&mut a.to_vec(), 0.99))
        .collect();
    ratios.sort_by(f64::total_cmp);
    let ratio = ratios[ratios.len() / 2];
    let (a99, b99) = (round(sound, 0.99), round(faulty, 0.99));
    println!(
        "{what}: p50 {:.2} ms and p99 {a99:.2} ms without, p50 {:.2} ms and p99 {b99:.2} ms with the faults: {ratio:.2} times \
         (rounds from {:.2} to {:.2})",
        round(sound, 0.5),
        round(faulty, 0.5),
        ratios[0],
        ratios[ratios.len() - 1]
    );
    (ratio <= AT_MOST || b99 <= a99 + GRAIN_MS) && b99 < BOUND_MS
}

fn main() {
    // As the daemon's command: it says that it began by connecting to a socket.
    let arguments: Vec<String> = std::env::args().collect();
    if let [_, ring, bell] = arguments.as_slice()
        && ring == "--ring"
    {
        std::os::unix::net::UnixStream::connect(bell).unwrap();
        return;
    }
    // Asked by `cargo test --benches` only to show that it builds.
    if std::env::args().any(|a| a == "--test") {
        return;
    }
    let Some(small) = Small::mount(std::env::temp_dir().join(format!("mw-small-{}", std::process::id())))
    else {
        println!("a file system to be filled cannot be mounted here: nothing is measured");
        return;
    };
    let good = aboard::Receiver::start(&[]);
    // It takes every connection and never says a word.
    let dead = TcpListener::bind("127.0.0.1:0").unwrap();
    let mut sound = Boat::start("sound", &format!("http://{}/", good.address), "", None);
    let webhook = format!("http://{}/", dead.local_addr().unwrap());
    let door = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let control = format!("listen = \"{door}\"");
    let mut faulty = Boat::start("faulty", &webhook, &control, Some(&small.0.join("logbook.db")));
    small.fill();
    std::thread::spawn(move || crowd(door));
    for n in 0..BEACONS {
        sound.beacon(n);
        faulty.beacon(n);
    }
    let status = faulty.daemon.status();
    assert!(status["logbook"]["failing"].is_string(), "the disk was full: {}", status["logbook"]);
    assert!(
        status["logbook"]["deliveries_waiting"].as_u64().unwrap() > u64::from(BEACONS),
        "the webhook was dead"
    );
    let within = [
        compare("last byte to the buzzer's line  ", &sound.buzzer, &faulty.buzzer),
        compare("last byte to the command's start", &sound.command, &faulty.command),
    ];
    assert!(within == [true, true], "the faults delay what sounds by more than {AT_MOST} times");
}
