//! From the last byte of a beacon's first sentence on a serial line to the start of a command and to the webhook's
//! request, through the built binary.
//!
//!     cargo bench --bench latency

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a bench stops where its footing is missing, and takes the time"
)]

#[path = "../aboard/mod.rs"]
mod aboard;

use aboard::{Daemon, Folder, Receiver, SerialLine, sentence, until};
use std::io::Write;
use std::os::unix::net::UnixListener;
use std::sync::mpsc;
use std::time::{Duration, Instant};

/// Beacons that are raised, one after the other.
const BEACONS: u32 = 200;

/// A position report with status 14 (active) of a person overboard device, payload by `sentence::encode`.
fn burst(n: u32) -> String {
    let mmsi = terms::Mmsi::new(972_300_000 + n).unwrap();
    let mut report = ::sentence::ais::AisReport::new(1, 0, mmsi);
    report.nav_status = Some(14);
    report.position = terms::Position::new(50.01, -1.0).ok();
    ::sentence::encode::ais(&report, "AI", 'A', 0).concat() + "\r\n"
}

fn percentile(sorted: &[Duration], p: f64) -> f64 {
    let at = ((sorted.len() as f64 * p).ceil() as usize).clamp(1, sorted.len()) - 1;
    sorted[at].as_secs_f64() * 1000.0
}

fn tell(what: &str, mut times: Vec<Duration>) {
    times.sort();
    println!(
        "{what}: p50 {:.1} ms, p99 {:.1} ms, worst {:.1} ms, of {}",
        percentile(&times, 0.5),
        percentile(&times, 0.99),
        percentile(&times, 1.0),
        times.len()
    );
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
    let folder = Folder::new("latency");
    let device = folder.0.join("ais");
    let mut line = SerialLine::plug(&device);
    let receiver = Receiver::start(&[]);
    let bell = folder.0.join("bell");
    let listener = UnixListener::bind(&bell).unwrap();
    let (to, rung) = mpsc::channel();
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            if stream.is_err() || to.send(Instant::now()).is_err() {
                return;
            }
        }
    });
    let daemon = Daemon::start_in(
        folder,
        &format!(
            "[[feed]]\nname = \"ais\"\nserial = {device:?}\nbaud = 38400\n\
             [[signal]]\nname = \"bell\"\ncommand = [{:?}, \"--ring\", {bell:?}]\n\
             [[signal]]\nname = \"helm\"\nwebhook = \"http://{}/\"\n",
            std::env::current_exe().unwrap(),
            receiver.address
        ),
    );
    until("the feed", || (daemon.status()["feeds"][0]["state"] == "up").then_some(()));
    line.master
        .write_all(sentence("GPRMC,021407.00,A,5000.000,N,00100.000,W,5.0,090.0,011126,,,A").as_bytes())
        .unwrap();
    let (mut command, mut webhook) = (Vec::new(), Vec::new());
    for n in 0..BEACONS {
        let text = burst(n);
        // The bell may have rung again for the one before.
        while rung.try_recv().is_ok() {}
        let start = Instant::now();
        line.master.write_all(text.as_bytes()).unwrap();
        let (arrived, record) = receiver.next_at();
        assert_eq!(record["event"], "raised");
        webhook.push(arrived - start);
        command.push(rung.recv_timeout(aboard::PATIENCE).unwrap() - start);
        assert!(daemon.tell(&["stand-down", "--reason", "test"]).status.success());
        receiver.wait_for(|r| r["event"] == "cleared");
    }
    tell("last byte to the command's start  ", command);
    tell("last byte to the webhook's request", webhook);
}
