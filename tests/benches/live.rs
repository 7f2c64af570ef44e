//! What the daemon takes of the processor while it hears a thousand ships live, beside a program that receives the same
//! lines at the same time and throws them away: on four pseudo-terminals, then by UDP.
//!
//!     cargo bench --bench live

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a bench stops where its footing is missing, and takes the time"
)]

#[path = "../aboard/mod.rs"]
mod aboard;
mod crowd;

use aboard::{Daemon, Folder, SerialLine, until};
use crowd::Crowd;
use nix::sys::termios::{self, SetArg};
use std::fs::File;
use std::io::{Read, Write};
use std::net::UdpSocket;
use std::process::{Child, Command};
use std::time::{Duration, Instant};

const SHIPS: usize = 1_000;
/// The picture fills before it is measured, and then for how long it is.
const FILLS: Duration = Duration::from_secs(20);
const MEASURED: Duration = Duration::from_secs(40);

/// Reads whatever comes by each wire, a thread each, and throws it away.
fn throw_away(wires: &[String]) {
    let threads: Vec<_> = wires
        .iter()
        .map(|wire| {
            let wire = wire.clone();
            std::thread::spawn(move || {
                let mut room = [0; 4096];
                match wire.strip_prefix("udp:") {
                    Some(address) => {
                        let socket = UdpSocket::bind(address).unwrap();
                        while socket.recv(&mut room).is_ok() {}
                    }
                    None => {
                        let mut file = File::open(&wire).unwrap();
                        let mut raw = termios::tcgetattr(&file).unwrap();
                        termios::cfmakeraw(&mut raw);
                        termios::tcsetattr(&file, SetArg::TCSANOW, &raw).unwrap();
                        while file.read(&mut room).is_ok_and(|n| n > 0) {}
                    }
                }
            })
        })
        .collect();
    threads.into_iter().for_each(|t| t.join().unwrap());
}

/// The program that throws away; it ends with this.
struct Bare(Child);

impl Bare {
    fn start(wires: &[String]) -> Self {
        let command = Command::new(std::env::current_exe().unwrap()).arg("--throw-away").args(wires).spawn();
        Self(command.unwrap())
    }
}

impl Drop for Bare {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Processor time of all threads of a process.
fn processor(pid: u32) -> Duration {
    let tasks = std::fs::read_dir(format!("/proc/{pid}/task")).unwrap();
    let of = |task: std::io::Result<std::fs::DirEntry>| {
        let text = std::fs::read_to_string(task.ok()?.path().join("schedstat")).ok()?;
        text.split(' ').next()?.parse::<u64>().ok()
    };
    Duration::from_nanos(tasks.filter_map(of).sum())
}

/// Sends each line at its time to both, and tells what each took of the processor.
fn compare(what: &str, crowd: &Crowd, pids: [u32; 2], mut send: impl FnMut(usize, &[u8])) {
    let begin = Instant::now();
    let (mut before, mut lines) = (None, 0u32);
    for line in &crowd.lines {
        let due = Duration::from_millis(line.at.0 as u64);
        if let Some(ahead) = due.checked_sub(begin.elapsed()) {
            std::thread::sleep(ahead);
        }
        if due >= FILLS {
            before.get_or_insert_with(|| (Instant::now(), pids.map(processor)));
            lines += 1;
        }
        if due >= FILLS + MEASURED {
            break;
        }
        send(line.feed, format!("{}\r\n", line.text).as_bytes());
    }
    let Some((began, [daemon, bare])) = before else { return };
    let (took, now) = (began.elapsed().as_secs_f64(), pids.map(processor));
    let (daemon, bare) = ((now[0] - daemon).as_secs_f64(), (now[1] - bare).as_secs_f64());
    println!(
        "{what}: {:.0} lines a second; daemon {:.2} % of a core, thrown away {:.2} %: {:.2} times",
        f64::from(lines) / took,
        daemon / took * 100.0,
        bare / took * 100.0,
        daemon / bare
    );
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    // As the program that throws away.
    if let [_, verb, wires @ ..] = arguments.as_slice()
        && verb == "--throw-away"
    {
        throw_away(wires);
        return;
    }
    // Asked by `cargo test --benches` only to show that it builds.
    if arguments.iter().any(|a| a == "--test") {
        return;
    }
    let crowd = Crowd::of(SHIPS, 2, 1000);

    let folder = Folder::new("live-wires");
    let mut feeds = String::new();
    let plug = |name: &str| {
        let path = folder.0.join(name);
        (SerialLine::plug(&path), path.display().to_string())
    };
    let (mut heard, mut thrown, mut wires) = (Vec::new(), Vec::new(), Vec::new());
    for name in &crowd.feeds {
        let (line, path) = plug(name);
        feeds += &format!("[[feed]]\nname = \"{name}\"\nserial = \"{path}\"\nbaud = 38400\n");
        heard.push(line);
        let (line, path) = plug(&format!("{name}-thrown"));
        thrown.push(line);
        wires.push(path);
    }
    let daemon = Daemon::start_in(folder, &feeds);
    let bare = Bare::start(&wires);
    let up = |daemon: &Daemon| {
        let status = daemon.status();
        let feeds = status["feeds"].as_array().unwrap();
        feeds.iter().all(|f| f["state"] == "up").then_some(())
    };
    until("the feeds", || up(&daemon));
    compare("four pseudo-terminals", &crowd, [daemon.pid() as u32, bare.0.id()], |feed, line| {
        heard[feed].master.write_all(line).unwrap();
        thrown[feed].master.write_all(line).unwrap();
    });
    drop((daemon, bare));

    // Ports that nobody has, all four of each at once.
    let free: Vec<UdpSocket> =
        (0..2 * crowd.feeds.len()).map(|_| UdpSocket::bind("127.0.0.1:0").unwrap()).collect();
    let addresses: Vec<String> = free.iter().map(|s| s.local_addr().unwrap().to_string()).collect();
    drop(free);
    let (heard, thrown) = addresses.split_at(crowd.feeds.len());
    let feed =
        |(name, address): (&String, &String)| format!("[[feed]]\nname = \"{name}\"\nudp = \"{address}\"\n");
    let feeds: String = crowd.feeds.iter().zip(heard).map(feed).collect();
    let daemon = Daemon::start("live-udp", &feeds);
    let bare = Bare::start(&thrown.iter().map(|a| format!("udp:{a}")).collect::<Vec<_>>());
    until("the feeds", || up(&daemon));
    let out = UdpSocket::bind("127.0.0.1:0").unwrap();
    compare("UDP                  ", &crowd, [daemon.pid() as u32, bare.0.id()], |feed, line| {
        for to in [&heard[feed], &thrown[feed]] {
            // Nobody may listen there yet.
            let _ = out.send_to(line, to);
        }
    });
}
