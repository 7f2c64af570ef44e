//! What sounds, shines and is pressed, through the built binary: recorded lines, programs, sentences.

use crate::aboard::{Daemon, Folder, PATIENCE, SerialLine, sentence, shim, text, until};
use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, UdpSocket};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

/// Changes of a recorded line: steady time in milliseconds and level.
fn recorded(path: &Path) -> Vec<(i64, bool)> {
    let text = std::fs::read_to_string(path).unwrap_or_default();
    text.lines()
        .filter_map(|l| {
            let (at, level) = l.split_once(' ')?;
            Some((at.parse().ok()?, level == "1"))
        })
        .collect()
}

/// Lengths of the tones, and of the pauses between.
fn lengths(changes: &[(i64, bool)]) -> Vec<i64> {
    changes.windows(2).map(|w| w[1].0 - w[0].0).collect()
}

fn fifo(folder: &Folder, name: &str) -> std::path::PathBuf {
    let path = folder.0.join(name);
    nix::unistd::mkfifo(&path, nix::sys::stat::Mode::S_IRWXU).unwrap();
    path
}

#[test]
fn a_buzzer_a_lamp_and_a_relay_follow_an_overboard_button_until_it_is_acknowledged_by_another() {
    let folder = Folder::new("buzz");
    let (overboard, acknowledge) = (fifo(&folder, "overboard"), fifo(&folder, "acknowledge"));
    let [buzzer, lamp, relay, heart, sense] =
        ["buzzer", "lamp", "relay", "heart", "sense"].map(|n| folder.0.join(n));
    std::fs::write(&sense, "1").unwrap();
    let daemon = Daemon::start_in(
        folder,
        &format!(
            "[[signal]]\nname = \"horn\"\nbuzzer = {{ recorded = {buzzer:?} }}\n\
             [[signal]]\nname = \"light\"\nlamp = {{ recorded = {lamp:?} }}\n\
             [[signal]]\nname = \"deck\"\nrelay = {{ recorded = {relay:?} }}\n\
             [[button]]\nname = \"rail\"\nline = {{ recorded = {overboard:?} }}\ndoes = \"overboard\"\nhold = \"1 s\"\n\
             [[button]]\nname = \"helm\"\nline = {{ recorded = {acknowledge:?} }}\ndoes = \"acknowledge\"\n\
             [heartbeat]\nline = {{ recorded = {heart:?} }}\n"
        ),
    );
    let mut rail = std::fs::OpenOptions::new().write(true).open(&overboard).unwrap();
    // Bounces, and a touch that is too short.
    rail.write_all(b"1").unwrap();
    std::thread::sleep(Duration::from_millis(200));
    rail.write_all(b"0101010").unwrap();
    std::thread::sleep(Duration::from_millis(1300));
    assert!(daemon.status()["casualties"].as_array().unwrap().is_empty(), "not held long enough");
    assert!(recorded(&buzzer).is_empty());

    let pressed = Instant::now();
    rail.write_all(b"1").unwrap();
    until("the emergency's pattern", || (recorded(&buzzer).len() > 14).then_some(()));
    assert!(pressed.elapsed() >= Duration::from_secs(1), "held for its time");
    let casualty = daemon.status()["casualties"][0].clone();
    assert_eq!(casualty["source"], "button");
    assert!(casualty["elapsed_s"].as_f64().unwrap() >= 1.0, "since it was pressed: {casualty}");
    let tones: Vec<i64> = lengths(&recorded(&buzzer)).into_iter().step_by(2).take(7).collect();
    // A loaded machine is late by some milliseconds, with the beginning of a tone as with its end.
    assert!(tones.iter().all(|t| (150..450).contains(t)), "seven short: {tones:?}");
    until("the lamp to flash", || (recorded(&lamp).len() > 2).then_some(()));
    assert_eq!(recorded(&relay).last().map(|c| c.1), Some(true));

    let mut helm = std::fs::OpenOptions::new().write(true).open(&acknowledge).unwrap();
    helm.write_all(b"10").unwrap();
    std::thread::sleep(Duration::from_millis(60));
    helm.write_all(b"1").unwrap();
    until("the relay to open", || {
        (recorded(&relay).last()? == &(recorded(&relay).last()?.0, false)).then_some(())
    });
    until("silence", || (!recorded(&buzzer).last()?.1).then_some(()));
    let silent = recorded(&buzzer).len();
    std::thread::sleep(Duration::from_millis(2500));
    assert_eq!(recorded(&buzzer).len(), silent, "it stays silent");
    assert!(recorded(&lamp).last().unwrap().1, "lit: the casualty is still out there");
    let beats = lengths(&recorded(&heart));
    assert!(beats.len() > 3 && beats.iter().all(|b| (450..3000).contains(b)), "{beats:?}");

    assert!(daemon.tell(&["stand-down", "--reason", "recovered"]).status.success());
    until("the lamp to go out", || (!recorded(&lamp).last()?.1).then_some(()));
    let dead = recorded(&heart).len();
    drop(daemon.stop());
    // Its folder is gone with it: the line was read before.
    assert!(dead > 3);
}

#[test]
fn a_sense_line_that_sees_nothing_is_told_of_by_the_other_signals() {
    let folder = Folder::new("sense");
    let [buzzer, sense] = ["buzzer", "sense"].map(|n| folder.0.join(n));
    std::fs::write(&sense, "0").unwrap();
    let daemon = Daemon::start_in(
        folder,
        &format!(
            "[[signal]]\nname = \"horn\"\nbuzzer = {{ recorded = {buzzer:?} }}\nsense = {{ recorded = {sense:?} }}\n"
        ),
    );
    assert!(daemon.tell(&["overboard"]).status.success());
    let alert = daemon.alert("signal failing");
    assert!(alert["text"].as_str().unwrap().contains("saw nothing when it sounded"), "{alert}");
}

#[test]
fn a_signal_that_works_again_after_a_restart_ends_its_alert() {
    let voice = |code: u8| {
        format!("[[signal]]\nname = \"voice\"\ncommand = [\"/bin/sh\", \"-c\", \"exit {code}\"]\n")
    };
    let daemon = Daemon::start_in(Folder::new("mended"), &voice(1));
    assert!(daemon.tell(&["overboard"]).status.success());
    daemon.alert("signal failing");
    let daemon = Daemon::start_in(daemon.stop(), &voice(0));
    until("its end", || {
        (daemon.alert("signal failing")["state"] == "rectified-unacknowledged").then_some(())
    });
}

#[test]
fn a_program_that_hangs_holds_nobody_up_and_is_ended_with_all_it_started() {
    let folder = Folder::new("hang");
    let [heard, buzzer, child] = ["heard", "buzzer", "child"].map(|n| folder.0.join(n));
    let script = folder.write("hang.sh", &format!("sleep 300 & echo $! > {}; wait\n", child.display()));
    let daemon = Daemon::start_in(
        folder,
        &format!(
            "[[signal]]\nname = \"hangs\"\ncommand = [\"/bin/sh\", {script:?}]\ntimeout = \"1 h\"\n\
             [[signal]]\nname = \"voice\"\ncommand = [\"/bin/sh\", \"-c\", \"cat >> {}; env | grep -e ^MIDDLEWATCH_PRIORITY -e ^MIDDLEWATCH_TEXT >> {}\"]\n\
             [[signal]]\nname = \"other\"\ncommand = [\"/bin/sh\", \"-c\", \"echo told >> {}.never\"]\norders = [\"depth\"]\n\
             [[signal]]\nname = \"horn\"\nbuzzer = {{ recorded = {buzzer:?} }}\n",
            heard.display(),
            heard.display(),
            heard.display()
        ),
    );
    assert!(daemon.tell(&["overboard", "Ada; rm -rf /"]).status.success());
    until("the buzzer", || (!recorded(&buzzer).is_empty()).then_some(()));
    let words = until("the voice", || {
        std::fs::read_to_string(&heard).ok().filter(|h| h.contains("MIDDLEWATCH_PRIORITY"))
    });
    assert!(words.contains("TEXT=Ada; rm -rf / overboard"), "as words, to no shell: {words}");
    assert!(words.starts_with("Man overboard, Ada; rm. "), "{words}");
    assert!(words.contains("MIDDLEWATCH_PRIORITY=emergency alarm"), "{words}");
    let pid = until("the child", || std::fs::read_to_string(&child).ok()?.trim().parse::<i32>().ok());
    let lives = || {
        Path::new(&format!("/proc/{pid}/stat")).exists()
            && !std::fs::read_to_string(format!("/proc/{pid}/stat")).unwrap_or_default().contains(") Z ")
    };
    assert!(lives());
    assert!(daemon.tell(&["silence"]).status.success());
    until("the program and its child to be ended", || (!lives()).then_some(()));
    assert!(!Path::new(&format!("{}.never", heard.display())).exists(), "not one of its orders");
}

/// A child of this process that shows its sentences.
fn next_with(lines: &mut impl Iterator<Item = String>, formatter: &str) -> String {
    lines.find(|l| l.get(3..6) == Some(formatter)).unwrap_or_else(|| panic!("no {formatter} came"))
}

#[test]
fn a_plotter_is_told_and_only_a_trusted_one_is_heard() {
    let plotter = UdpSocket::bind("127.0.0.1:0").unwrap();
    plotter.set_read_timeout(Some(PATIENCE)).unwrap();
    let bridge = TcpListener::bind("127.0.0.1:0").unwrap();
    let [trusted, stranger] = [0; 2].map(|_| UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap());
    let daemon = Daemon::start(
        "bridge",
        &format!(
            "[[feed]]\nname = \"console\"\nudp = \"{trusted}\"\ntrusted = true\n\
             [[feed]]\nname = \"bus\"\nudp = \"{stranger}\"\n\
             [[signal]]\nname = \"plotter\"\nnmea = \"udp:{}\"\n\
             [[signal]]\nname = \"bridge\"\nnmea = \"tcp:{}\"\nsentences = [\"ALC\", \"ALR\"]\n",
            plotter.local_addr().unwrap(),
            bridge.local_addr().unwrap()
        ),
    );
    let mut seen = std::iter::from_fn(|| {
        let mut datagram = [0; 200];
        let n = plotter.recv(&mut datagram).ok()?;
        let line = text(&datagram[..n]);
        assert!(line.ends_with("\r\n") && line.len() <= 82, "{line:?}");
        Some(line)
    });
    next_with(&mut seen, "HBT");
    let own = sentence("GPRMC,021407.00,A,5048.000,N,00106.000,W,5.0,090.0,011126,,,A");
    let sender = UdpSocket::bind("127.0.0.1:0").unwrap();
    until("a fix", || {
        sender.send_to(own.as_bytes(), stranger).unwrap();
        daemon.status()["own"]["latitude_deg"].as_f64()
    });
    assert!(daemon.tell(&["overboard", "Ada"]).status.success());
    let alf = next_with(&mut seen, "ALF");
    let id = daemon.alert("person overboard")["id"].as_u64().unwrap();
    assert!(alf.contains(&format!(",B,E,V,,10001,{id},1,0,PERSON OVERBOARD*")), "{alf}");
    let tll = next_with(&mut seen, "TLL");
    assert!(tll.contains(",N,") && tll.contains(",Ada,"), "{tll}");
    assert!(next_with(&mut seen, "WPL").contains(",5048."));
    // The estimate is told again as it drifts, with the time of the estimate, though nobody asks and nothing happens.
    let later = next_with(&mut seen, "TLL");
    assert!(later.contains(",Ada,") && later.contains(",Q,"), "{later}");

    // The bridge that connects late gets the list of what stands.
    let (mut stream, _) = bridge.accept().unwrap();
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    let mut lines = BufReader::new(stream.try_clone().unwrap()).lines().map_while(Result::ok);
    until("the casualty in the list", || {
        next_with(&mut lines, "ALC").contains(&format!(",10001,{id},")).then_some(())
    });
    assert_eq!(stream.read(&mut []).unwrap(), 0);

    let acn = sentence(&format!("IIACN,021500.00,,10001,{id},A,C"));
    let state = || daemon.alert("person overboard")["state"].clone();
    for _ in 0..5 {
        sender.send_to(acn.as_bytes(), stranger).unwrap();
        sender.send_to(sentence(&format!("IIACK,{id:03}")).as_bytes(), stranger).unwrap();
    }
    until("them to be heard", || (daemon.status()["feeds"][1]["sentences"].as_u64()? >= 10).then_some(()));
    assert_eq!(state(), "active-unacknowledged", "a stranger's word does not count");
    let other = sentence(&format!("IIACN,021500.00,,10002,{id},A,C"));
    sender.send_to(other.as_bytes(), trusted).unwrap();
    sender.send_to(acn.replace(",A,C", ",S,C").as_bytes(), trusted).unwrap();
    sender.send_to(sentence(&format!("IIACN,021500.00,,10001,{id},S,C")).as_bytes(), trusted).unwrap();
    until("it to be silenced", || (state() == "active-silenced").then_some(()));
    sender.send_to(sentence(&format!("IIACK,{id:03}")).as_bytes(), trusted).unwrap();
    until("it to be acknowledged", || (state() == "active-acknowledged").then_some(()));

    // Somebody whom nobody saw fall is on a line, not at a point.
    let missing = daemon.tell(&["overboard", "Bo", "--last-seen", "1 h", "--missed", "20 min"]);
    assert!(
        text(&missing.stdout).starts_with("casualty 2 marked: between 60 min ago and 20 min ago"),
        "{missing:?}"
    );
    for n in [1, 2] {
        let place = format!(",LINE 2 {n}*");
        assert!(seen.any(|l| l.get(3..6) == Some("WPL") && l.contains(&place)), "{place}");
    }
    let wrong = daemon.tell(&["overboard", "Bo", "--last-seen", "20 min", "--missed", "1 h"]);
    assert!(text(&wrong.stderr).contains("nobody is missed before"), "{wrong:?}");
}

const FIX: &str = "GPRMC,021407.00,A,5048.000,N,00106.000,W,5.0,090.0,011126,,,A";

/// What has come at the far end of a wire, as whole lines.
struct FarEnd<W> {
    wire: W,
    came: String,
}

impl<W: Read + Write> FarEnd<W> {
    fn say(&mut self, body: &str) {
        self.wire.write_all(sentence(body).as_bytes()).unwrap();
    }

    /// Waits for a sentence; all that comes is given back if `returns`, as many a multiplexer does.
    fn hear(&mut self, formatter: &str, returns: bool) -> String {
        until(formatter, || {
            let mut chunk = [0; 1000];
            let n = self.wire.read(&mut chunk).unwrap_or(0);
            if returns {
                self.wire.write_all(&chunk[..n]).unwrap();
            }
            self.came.push_str(&text(&chunk[..n]));
            let (line, rest) = self.came.split_once("\r\n")?;
            let (line, rest) = (line.to_owned(), rest.to_owned());
            self.came = rest;
            (line.get(3..6) == Some(formatter)).then_some(line)
        })
    }
}

fn far_end_of(line: &SerialLine) -> FarEnd<std::fs::File> {
    use nix::fcntl::{FcntlArg, OFlag, fcntl};
    fcntl(&line.master, FcntlArg::F_SETFL(OFlag::O_NONBLOCK)).unwrap();
    FarEnd { wire: line.master.try_clone().unwrap(), came: String::new() }
}

#[test]
fn a_multiplexer_is_heard_and_told_on_one_serial_line_and_what_it_brings_back_is_not_believed() {
    let folder = Folder::new("mux");
    let device = folder.0.join("mux");
    let line = SerialLine::plug(&device);
    let mut far = far_end_of(&line);
    let daemon = Daemon::start_in(
        folder,
        &format!(
            "[[feed]]\nname = \"mux\"\nserial = {device:?}\nbaud = 38400\ntrusted = true\n\
             [[signal]]\nname = \"plotter\"\nnmea = \"feed:mux\"\n"
        ),
    );
    far.hear("HBT", true);
    far.say(FIX);
    until("a fix", || daemon.status()["own"]["latitude_deg"].as_f64());
    assert!(daemon.tell(&["overboard", "Ada"]).status.success());
    assert!(far.hear("TLL", true).contains(",Ada,"));
    far.hear("TLL", true);
    // What came back was heard before what is said after it.
    far.say("IIHDT,123.4,T");
    until("a heading", || daemon.status()["own"]["heading_deg"].as_f64());
    let status = daemon.status();
    assert_eq!(status["targets"], serde_json::json!([]), "she is no radar's target");
    assert!(status["feeds"][0]["sentences"].as_u64().unwrap() > 5, "{}", status["feeds"]);
    let alert =
        status["alerts"].as_array().unwrap().iter().find(|a| a["order"] == "person overboard").unwrap();
    assert_eq!(alert["text"], status["casualties"][0]["words"], "both are of this moment");
    // The same by another talker is what a radar sees.
    far.say("RATLL,01,5048.5000,N,00106.0000,W,Ada,021407.00,T,");
    until("a plot", || daemon.status()["targets"].as_array()?.first().map(|_| ()));

    // Unplugged, and plugged in again: whoever listens now is told what stands.
    drop((line, far));
    until("down", || daemon.status()["feeds"][0]["state"].as_str()?.starts_with("down").then_some(()));
    let line = SerialLine::plug(&device);
    assert!(far_end_of(&line).hear("TLL", false).contains(",Ada,"));
    daemon.stop();
}

#[test]
fn a_server_that_is_a_feed_is_told_on_the_same_connection() {
    let server = TcpListener::bind("127.0.0.1:0").unwrap();
    let daemon = Daemon::start(
        "duplex",
        &format!(
            "[[feed]]\nname = \"gateway\"\ntcp = \"{}\"\n\
             [[signal]]\nname = \"plotter\"\nnmea = \"feed:gateway\"\nsentences = [\"ALF\"]\n",
            server.local_addr().unwrap()
        ),
    );
    let accept = || {
        let (wire, _) = server.accept().unwrap();
        wire.set_read_timeout(Some(Duration::from_millis(10))).unwrap();
        FarEnd { wire, came: String::new() }
    };
    let mut far = accept();
    far.say(FIX);
    until("a fix", || daemon.status()["own"]["latitude_deg"].as_f64());
    assert!(daemon.tell(&["overboard", "Ada"]).status.success());
    far.hear("ALF", false);
    drop(far);
    let mut far = accept();
    assert!(daemon.tell(&["acknowledge"]).status.success());
    far.hear("ALF", false);
    daemon.stop();
}

#[test]
fn a_wire_that_never_gets_rid_of_its_last_bit_holds_no_signal_up() {
    let folder = Folder::new("drain");
    let shim = shim("drain", &folder.0);
    let said = folder.0.join("said");
    let (mut ends, mut bridges) = (Vec::new(), String::new());
    for name in ["a", "b", "c"] {
        let device = folder.0.join(name);
        let line = SerialLine::plug(&device);
        ends.push((far_end_of(&line), line));
        bridges += &format!("[[signal]]\nname = \"{name}\"\nnmea = \"serial:{}@4800\"\n", device.display());
    }
    let body = format!(
        "{bridges}[[signal]]\nname = \"voice\"\ncommand = [\"sh\", \"-c\", \"cat >> {}\"]\n",
        said.display()
    );
    let daemon = Daemon::start_preloaded(folder, &body, &[("LD_PRELOAD", &shim)]);
    ends.iter_mut().for_each(|(far, _)| drop(far.hear("HBT", false)));
    assert!(daemon.tell(&["overboard", "Ada"]).status.success());
    until("the voice", || std::fs::read_to_string(&said).ok()?.contains("Ada").then_some(()));
    ends.iter_mut().for_each(|(far, _)| drop(far.hear("ALF", false)));
    daemon.stop();
}

#[test]
fn programs_that_cannot_be_read_from_their_disk_hold_no_signal_up() {
    let folder = Folder::new("disk");
    let shim = shim("spawn", &folder.0);
    let buzzer = folder.0.join("buzzer");
    let voices = ["a", "b", "c"].map(|n| {
        format!("[[signal]]\nname = \"{n}\"\ncommand = [\"true\"]\ntimeout = \"1 s\"\nfrom = \"emergency alarm\"\n")
    });
    let body =
        format!("{}[[signal]]\nname = \"horn\"\nbuzzer = {{ recorded = {buzzer:?} }}\n", voices.concat());
    let daemon = Daemon::start_preloaded(folder, &body, &[("LD_PRELOAD", &shim)]);
    assert!(daemon.tell(&["overboard", "Ada"]).status.success());
    until("the emergency's pattern", || (recorded(&buzzer).len() > 14).then_some(()));
    let alert = daemon.alert("signal failing");
    assert!(alert["text"].as_str().unwrap().contains("did not end within 9.4 s"), "{alert}");
    assert!(daemon.tell(&["acknowledge"]).status.success());
    until("silence", || recorded(&buzzer).last().map(|l| !l.1).filter(|quiet| *quiet));
    daemon.stop();
}

#[test]
fn check_tries_each_signal() {
    let folder = Folder::new("trial");
    let buzzer = folder.0.join("buzzer");
    let server = TcpListener::bind("127.0.0.1:0").unwrap();
    let boat = folder.write(
        "boat.toml",
        &format!(
            "version = 1\n[[signal]]\nname = \"horn\"\nbuzzer = {{ recorded = {buzzer:?} }}\n\
             [[signal]]\nname = \"none\"\nlamp = {{ chip = \"/dev/gpiochip77\", line = 3 }}\n\
             [[signal]]\nname = \"plotter\"\nnmea = \"udp:127.0.0.1:9\"\n\
             [[feed]]\nname = \"gateway\"\ntcp = \"{}\"\n\
             [[signal]]\nname = \"bridge\"\nnmea = \"feed:gateway\"\n\
             [[signal]]\nname = \"voice\"\ncommand = [\"true\"]\n",
            server.local_addr().unwrap()
        ),
    );
    let out = Command::new(env!("CARGO_BIN_EXE_middlewatch"))
        .args(["check", "--live", "--json", "--config"])
        .arg(boat)
        .output()
        .unwrap();
    let lines: Vec<Value> = text(&out.stdout).lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    let good = |what: &str| lines.iter().find(|l| l["what"] == what).unwrap()["good"].clone();
    assert_eq!(
        ["horn", "plotter", "bridge", "voice"].map(|s| good(&format!("signal {s}"))),
        [true, true, true, true].map(Value::from)
    );
    assert_eq!(good("signal none"), false, "there is no such chip here");
    assert_eq!(recorded(&buzzer).len(), 6, "three short");
}
