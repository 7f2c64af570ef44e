//! Wires that belong to the running watch: nobody takes them from it, and who looks on looks through it.

use crate::aboard::{Daemon, PATIENCE, middlewatch, sentence, text, until, verb};
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use serde_json::Value;
use socket2::{Domain, Protocol, Socket, Type};
use std::io::{BufRead, BufReader, ErrorKind, Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpListener, UdpSocket};
use std::os::unix::net::UnixStream;
use std::process::{Child, Stdio};

fn free() -> SocketAddr {
    UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap()
}

fn feed(address: SocketAddr) -> String {
    format!("[[feed]]\nname = \"net\"\nudp = \"{address}\"\n")
}

/// Binds as a program does that means to share a port.
fn grasp(address: SocketAddr) -> std::io::Result<Socket> {
    let socket = Socket::new(Domain::IPV4, Type::DGRAM, Some(Protocol::UDP))?;
    socket.set_reuse_address(true)?;
    socket.set_reuse_port(true)?;
    socket.bind(&address.into())?;
    Ok(socket)
}

/// How many sentences a feed has brought.
fn sentences(daemon: &Daemon, feed: usize) -> u64 {
    daemon.status()["feeds"][feed]["sentences"].as_u64().unwrap()
}

fn heading(degrees: f64) -> String {
    sentence(&format!("IIHDT,{degrees:.1},T"))
}

#[test]
fn a_second_program_is_refused_the_port_and_the_watch_hears_on() {
    let address = free();
    let first = Daemon::start("port", &feed(address));
    until("the feed", || (first.status()["feeds"][0]["state"] == "up").then_some(()));
    for theirs in [address, SocketAddr::new(Ipv4Addr::UNSPECIFIED.into(), address.port())] {
        assert_eq!(grasp(theirs).unwrap_err().kind(), ErrorKind::AddrInUse);
    }
    // Another watch says which feed it cannot open, and why.
    let second = Daemon::start("port-too", &feed(address));
    let why = format!("UDP port {} is taken by another program", address.port());
    let state = until("the second's feed", || {
        let state = second.status()["feeds"][0]["state"].as_str()?.to_owned();
        state.starts_with("down").then_some(state)
    });
    assert!(state.contains(&why), "{state}");
    assert!(
        second.stderr().lines().any(|l| l.contains("feed=net") && l.contains(&why)),
        "{}",
        second.stderr()
    );
    // So does `listen`, and where to look through.
    let out = verb(&["listen", &format!("udp:{address}")]);
    let said = text(&out.stderr);
    assert!(!out.status.success() && said.contains(&why) && said.contains("--config FILE"), "{said}");

    let sender = UdpSocket::bind("127.0.0.1:0").unwrap();
    sender.send_to(heading(123.4).as_bytes(), address).unwrap();
    until("the first to hear", || (first.status()["own"]["heading_deg"] == 123.4).then_some(()));
    // Once the port is free, the second has it by itself.
    drop(first.stop());
    until("the second's feed", || (second.status()["feeds"][0]["state"] == "up").then_some(()));
}

/// `listen` beside a daemon, once it looks on.
struct Listening {
    child: Child,
    lines: BufReader<std::process::ChildStdout>,
}

impl Listening {
    fn start(daemon: &Daemon, input: &str) -> Self {
        let mut child = middlewatch()
            .args(["listen", "--json", "--config"])
            .arg(daemon.folder.0.join("boat.toml"))
            .arg(input)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut said = String::new();
        BufReader::new(child.stderr.as_mut().unwrap()).read_line(&mut said).unwrap();
        assert!(said.contains("through the running watch, which has it up"), "{said}");
        let lines = BufReader::new(child.stdout.take().unwrap());
        Self { child, lines }
    }

    fn next(&mut self) -> Value {
        let mut line = String::new();
        self.lines.read_line(&mut line).unwrap();
        serde_json::from_str(&line).unwrap_or_else(|e| panic!("{e}: {line}"))
    }

    fn end(mut self) {
        kill(Pid::from_raw(i32::try_from(self.child.id()).unwrap()), Signal::SIGINT).unwrap();
        assert!(self.child.wait().unwrap().success());
    }
}

#[test]
fn listen_beside_the_watch_shows_what_the_watch_hears_and_takes_nothing() {
    let (address, server) = (free(), TcpListener::bind("127.0.0.1:0").unwrap());
    let body = format!(
        "{}[[feed]]\nname = \"mux of the mast\"\ntcp = \"{}\"\n",
        feed(address),
        server.local_addr().unwrap()
    );
    let daemon = Daemon::start("beside", &body);
    let (mut wire, _) = server.accept().unwrap();
    until("both feeds", || {
        let status = daemon.status();
        status["feeds"].as_array()?.iter().all(|f| f["state"] == "up").then_some(())
    });
    let mut by_name = Listening::start(&daemon, "feed:net");
    let mut by_address = Listening::start(&daemon, &format!("udp:{address}"));
    let mut of_mast = Listening::start(&daemon, "feed:mux of the mast");
    let sender = UdpSocket::bind("127.0.0.1:0").unwrap();
    for n in 0..5 {
        // Neither line has an end; the second's checksum is wrong, and a byte of it is no letter.
        sender.send_to(heading(f64::from(n)).trim_end().as_bytes(), address).unwrap();
        sender.send_to(b"$IIHDT,1\xff2.0,T*00", address).unwrap();
        wire.write_all(heading(200.0 + f64::from(n)).as_bytes()).unwrap();
    }
    for n in 0..5 {
        for listening in [&mut by_name, &mut by_address] {
            assert_eq!(listening.next()["true_deg"], f64::from(n));
            assert!(listening.next()["refused"].is_string());
        }
        assert_eq!(of_mast.next()["true_deg"], 200.0 + f64::from(n));
    }
    until("the watch to hear all", || {
        (sentences(&daemon, 0) == 5 && sentences(&daemon, 1) == 5).then_some(())
    });
    [by_name, by_address, of_mast].into_iter().for_each(Listening::end);
    // Nobody else has connected.
    server.set_nonblocking(true).unwrap();
    assert_eq!(server.accept().unwrap_err().kind(), ErrorKind::WouldBlock);
    // The watch goes on.
    sender.send_to(heading(77.0).as_bytes(), address).unwrap();
    until("one more", || (sentences(&daemon, 0) == 6).then_some(()));
}

#[test]
fn a_live_check_beside_the_watch_takes_nothing_either() {
    let address = free();
    let daemon = Daemon::start("check-beside", &feed(address));
    until("the feed", || (daemon.status()["feeds"][0]["state"] == "up").then_some(()));
    let mut check = middlewatch()
        .args(["check", "--live", "--json", "--config"])
        .arg(daemon.folder.0.join("boat.toml"))
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let sender = UdpSocket::bind("127.0.0.1:0").unwrap();
    let mut sent = 0;
    until("the check", || {
        sender.send_to(heading(12.0).as_bytes(), address).unwrap();
        sent += 1;
        check.try_wait().unwrap()
    });
    let said = text(&check.wait_with_output().unwrap().stdout);
    let line = said.lines().find(|l| l.contains("feed net")).unwrap_or_else(|| panic!("{said}"));
    let line: Value = serde_json::from_str(line).unwrap();
    assert_eq!(line["good"], true, "{line}");
    assert!(line["words"].as_str().unwrap().ends_with("through the running watch"), "{line}");
    until("the watch to hear all", || (sentences(&daemon, 0) == sent).then_some(()));
}

/// Looks on by hand at all feeds, and reads no further than the first line; `None` if refused.
fn look_on(daemon: &Daemon) -> Option<BufReader<UnixStream>> {
    let mut stream = UnixStream::connect(daemon.folder.0.join("control.sock")).unwrap();
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    stream.write_all(b"GET /lines HTTP/1.1\r\nhost: x\r\n\r\n").unwrap();
    let mut stream = BufReader::new(stream);
    let mut line = String::new();
    while !line.starts_with("{\"feeds\":") {
        line.clear();
        if stream.read_line(&mut line).unwrap() == 0 {
            return None;
        }
    }
    let first: Value = serde_json::from_str(&line).unwrap();
    assert_eq!(first["feeds"][0]["feed"], "mux");
    Some(stream)
}

#[test]
fn whoever_looks_on_and_reads_nothing_loses_lines_and_the_watch_none() {
    const LINES: u64 = 60_000;
    let server = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = server.local_addr().unwrap();
    let daemon = Daemon::start("slow", &format!("[[feed]]\nname = \"mux\"\ntcp = \"{address}\"\n"));
    let (mut wire, _) = server.accept().unwrap();
    until("the feed", || (daemon.status()["feeds"][0]["state"] == "up").then_some(()));
    let mut slow = look_on(&daemon).unwrap();
    let many = heading(12.0).repeat(1000);
    for _ in 0..LINES / 1000 {
        wire.write_all(many.as_bytes()).unwrap();
    }
    until("the watch to hear all", || (sentences(&daemon, 0) == LINES).then_some(()));
    // He reads on, and learns what he missed.
    let mut read = 0;
    let lost = until("what was lost", || {
        let mut line = String::new();
        slow.read_line(&mut line).unwrap();
        // The lengths of chunks stand between the lines.
        let Ok(piece) = serde_json::from_str::<Value>(&line) else { return None };
        read += piece["bytes"].as_str()?.len();
        piece["lost"].as_u64().filter(|lost| *lost > 0)
    });
    assert!(lost > 10 && read < many.len() * 60 / 2, "{lost} pieces lost, {read} bytes read");
    // Six of one user may look at one time.
    let others: Vec<_> = (0..5).map(|_| look_on(&daemon).unwrap()).collect();
    let mut refused = UnixStream::connect(daemon.folder.0.join("control.sock")).unwrap();
    refused.write_all(b"GET /lines HTTP/1.1\r\nhost: x\r\n\r\n").unwrap();
    let mut said = String::new();
    refused.read_to_string(&mut said).unwrap();
    assert!(said.starts_with("HTTP/1.1 503"), "{said}");
    drop((others, slow));
    until("a place", || look_on(&daemon));
}

/// Nobody reads while the daemon is stopped; what the kernel then drops is counted, to the last datagram.
#[test]
fn datagrams_that_the_kernel_drops_are_counted() {
    const SENT: u64 = 5000;
    let address = free();
    let daemon = Daemon::start("drops", &feed(address));
    until("the feed", || (daemon.status()["feeds"][0]["state"] == "up").then_some(()));
    let sender = UdpSocket::bind("127.0.0.1:0").unwrap();
    let pid = Pid::from_raw(daemon.pid());
    kill(pid, Signal::SIGSTOP).unwrap();
    for _ in 0..SENT {
        sender.send_to(heading(12.0).as_bytes(), address).unwrap();
    }
    kill(pid, Signal::SIGCONT).unwrap();
    let counts = || {
        let feed = &daemon.status()["feeds"][0];
        (feed["sentences"].as_u64().unwrap(), feed["dropped"].as_u64().unwrap())
    };
    until("what was kept", || (counts().0 > 100).then_some(()));
    let mut more = 0;
    // The kernel tells it with the next datagram.
    until("all to be accounted for", || {
        let (sentences, dropped) = counts();
        if sentences + dropped == SENT + more && dropped > 0 {
            return Some(());
        }
        sender.send_to(heading(12.0).as_bytes(), address).unwrap();
        more += 1;
        None
    });
}
