//! A crowd at control's door: who is let in, who gives way, and that acts come through; and a door that cannot be opened.

use crate::aboard::{Daemon, Folder, Receiver, until};
use crate::control::{Answer, NOTE, TOKEN, free_address, request, send, start};
use nix::sys::ptrace::{self, Options};
use nix::sys::wait::waitpid;
use nix::unistd::Pid;
use serde_json::Value;
use socket2::{Domain, Socket, Type};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{IpAddr, SocketAddr, TcpListener, TcpStream};
use std::os::unix::net::{UnixListener, UnixStream};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

const OPEN_READING: &str = "token_file = \"token\"\nopen_reading = true\n";

/// A connection from the nth address of this computer's loopback network.
fn from(n: u8, to: SocketAddr) -> TcpStream {
    let socket = Socket::new(Domain::IPV4, Type::STREAM, None).unwrap();
    socket.bind(&SocketAddr::from((IpAddr::from([127, 0, 0, n]), 0)).into()).unwrap();
    socket.connect(&to.into()).unwrap();
    let stream = TcpStream::from(socket);
    stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    stream
}

/// What is answered to a note from the nth address.
fn note(n: u8, address: SocketAddr) -> Answer {
    let mut stream = from(n, address);
    let length = NOTE.len();
    let head = format!("POST /act HTTP/1.1\r\nhost: {address}\r\nauthorization: Bearer {TOKEN}");
    let _ = write!(stream, "{head}\r\ncontent-length: {length}\r\n\r\n{NOTE}");
    Answer::of(stream)
}

/// Does something that must take less than two seconds.
fn promptly<T>(what: &str, act: impl FnOnce() -> T) -> T {
    let began = Instant::now();
    let done = act();
    assert!(began.elapsed() < Duration::from_secs(2), "{what}: {:?}", began.elapsed());
    done
}

#[test]
fn two_hundred_half_open_connections_keep_nobody_from_acting_and_end_soon() {
    let (daemon, address) = start("halves", OPEN_READING, "");
    let began = Instant::now();
    let crowd: Vec<TcpStream> = (0..200)
        .map(|n| {
            let mut stream = from(1, address);
            // Half of them say nothing, the others half a request.
            if n % 2 == 0 {
                let _ = stream.write_all(b"POST /act HTTP/1.1\r\nhost: localhost\r\nconte");
            }
            stream
        })
        .collect();
    promptly("another address", || assert_eq!(note(2, address).status, 200));
    promptly("the same address", || assert_eq!(note(1, address).status, 200));
    promptly("the socket", || assert!(daemon.tell(&["note", "by the socket"]).status.success()));
    for mut stream in crowd {
        // Each was closed, be it with a reset.
        let _ = stream.read_to_end(&mut Vec::new());
    }
    assert!(began.elapsed() < Duration::from_secs(8), "{:?}", began.elapsed());
}

#[test]
fn idle_clients_do_not_fill_the_socket() {
    let daemon = Daemon::start("idle", "");
    let socket = daemon.folder.0.join("control.sock");
    let crowd: Vec<UnixStream> = (0..300).map(|_| UnixStream::connect(&socket).unwrap()).collect();
    promptly("an act", || assert!(daemon.tell(&["note", "beside the idle"]).status.success()));
    drop(crowd);
}

/// Opens an event page from the nth address; its status, and the connection.
fn page(n: u8, address: SocketAddr) -> (u16, BufReader<TcpStream>) {
    let mut stream = from(n, address);
    write!(stream, "GET /events HTTP/1.1\r\nhost: {address}\r\n\r\n").unwrap();
    let mut stream = BufReader::new(stream);
    let mut first = String::new();
    let _ = stream.read_line(&mut first);
    (first.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0), stream)
}

#[test]
fn event_pages_are_bounded_for_each_address_and_leave_room_for_another() {
    let (daemon, address) = start("sixtyfour", OPEN_READING, "");
    let (open, full): (Vec<_>, Vec<_>) = (0..64).map(|_| page(1, address)).partition(|(s, _)| *s == 200);
    assert_eq!(open.len(), 8);
    assert!(full.iter().all(|(status, _)| *status == 503));
    let refused = Answer::of(full.into_iter().next_back().unwrap().1);
    assert!(refused.body.contains("8 pages look on from here already; close one"), "{}", refused.body);
    let others: Vec<_> = (0..8).map(|_| page(2, address)).collect();
    assert!(others.iter().all(|(status, _)| *status == 200));
    // Sixteen look on. One who has none gets the place of another's oldest.
    assert_eq!(page(3, address).0, 200);
    promptly("an act", || assert_eq!(note(1, address).status, 200));
    promptly("the socket", || assert!(daemon.tell(&["note", "beside the pages"]).status.success()));
}

#[test]
fn a_flood_of_looks_and_readers_that_do_not_read_delay_no_act() {
    let (daemon, address) = start("looks", OPEN_READING, "");
    let (stop, looks, shed) = (AtomicBool::new(false), AtomicUsize::new(0), AtomicUsize::new(0));
    std::thread::scope(|scope| {
        for n in 1..=24 {
            let (stop, looks, shed) = (&stop, &looks, &shed);
            scope.spawn(move || {
                let mut unread = Vec::new();
                while !stop.load(Ordering::Relaxed) {
                    let mut stream = from(1 + n % 3, address);
                    let asked = write!(stream, "GET /status HTTP/1.1\r\nhost: {address}\r\n\r\n");
                    if n % 4 == 0 {
                        unread.push(stream);
                        unread.drain(..unread.len().saturating_sub(10));
                        continue;
                    }
                    match asked.map_or(0, |()| Answer::of(stream).status) {
                        200 => looks.fetch_add(1, Ordering::Relaxed),
                        // One that gave way to another got no answer.
                        0 | 503 => shed.fetch_add(1, Ordering::Relaxed),
                        other => panic!("{other}"),
                    };
                }
            });
        }
        until("the flood", || (looks.load(Ordering::Relaxed) > 200).then_some(()));
        for n in 0..10 {
            let text = format!("note {n}");
            let told = std::panic::catch_unwind(|| {
                promptly("the socket", || assert!(daemon.tell(&["note", &text]).status.success()));
                promptly("TCP", || assert_eq!(note(9, address).status, 200));
            });
            if let Err(why) = told {
                stop.store(true, Ordering::Relaxed);
                std::panic::resume_unwind(why);
            }
        }
        // The socket has its own share of the looks.
        let seen = daemon.try_status();
        stop.store(true, Ordering::Relaxed);
        assert_eq!(seen.unwrap()["version"], 1);
    });
}

/// The watch's thread is held by ptrace, as in the service's tests, so that questions pile up.
#[test]
fn looks_that_pile_up_are_shed_and_an_act_is_done_all_the_same() {
    let (daemon, address) = start("pile", OPEN_READING, "");
    let watch = Pid::from_raw(daemon.pid());
    ptrace::seize(watch, Options::empty()).unwrap();
    ptrace::interrupt(watch).unwrap();
    waitpid(watch, None).unwrap();
    let look = |n| {
        let mut stream = from(n, address);
        write!(stream, "GET /status HTTP/1.1\r\nhost: {address}\r\n\r\n").unwrap();
        stream
    };
    let waiting: Vec<TcpStream> = (0..8).map(|_| look(1)).collect();
    let refused = until("a look to be shed", || {
        let one_more = look(2);
        one_more.set_read_timeout(Some(Duration::from_millis(300))).unwrap();
        Some(Answer::of(one_more)).filter(|answer| answer.status != 0)
    });
    assert_eq!(refused.status, 503);
    assert!(refused.body.contains("too many look at once"), "{}", refused.body);
    let mut act = UnixStream::connect(daemon.folder.0.join("control.sock")).unwrap();
    let length = NOTE.len();
    write!(act, "POST /act HTTP/1.1\r\nhost: x\r\ncontent-length: {length}\r\n\r\n{NOTE}").unwrap();
    ptrace::detach(watch, None).unwrap();
    promptly("the act", || assert_eq!(Answer::of(&act).status, 200));
    // One more may have come before the last of them.
    let statuses: Vec<u16> = waiting.into_iter().map(|look| Answer::of(look).status).collect();
    assert!(statuses.contains(&200) && statuses.iter().all(|s| [200, 503].contains(s)), "{statuses:?}");
}

#[test]
fn foreign_names_and_pages_are_refused_whatever_they_ask() {
    for (name, control) in [
        ("plain", "names = [\"boat.example\"]\n".to_owned()),
        ("opened", format!("{OPEN_READING}names = [\"boat.example\"]\n")),
    ] {
        let (_daemon, address) = start(name, &control, "");
        let ask =
            |line: &str, lines: &str| send(address, format!("{line} HTTP/1.1\r\n{lines}\r\n\r\n").as_bytes());
        let own = format!("host: {address}");
        for path in ["/", "/status", "/events", "/metrics", "/openapi.json", "/nowhere"] {
            let line = format!("GET {path}");
            for foreign in ["host: evil.example", "host: evil.example:80", "host: 127.0.0.1.evil.example"] {
                let answer = ask(&line, foreign);
                assert_eq!(answer.status, 403, "{path} {foreign}");
                assert!(answer.json()["error"].as_str().unwrap().contains("names"), "{}", answer.body);
            }
            assert_eq!(ask(&line, "accept: */*").status, 400, "no host at all");
            assert_eq!(ask(&line, &format!("{own}\r\norigin: http://evil.example")).status, 403, "{path}");
        }
        assert_eq!(ask("GET http://evil.example/status", &own).status, 403);
        for own in [&own, "host: localhost:1", "host: Boat.example"] {
            let answer = ask("GET /status", own);
            assert_eq!(answer.status, 200, "{own}");
            assert!(!answer.head.to_lowercase().contains("access-control"), "{}", answer.head);
        }
        let asked = "\r\naccess-control-request-method: POST\r\norigin: ";
        let answer = ask("OPTIONS /act", &format!("{own}{asked}http://evil.example"));
        assert_eq!(answer.status, 403);
        let answer = ask("OPTIONS /act", &format!("{own}{asked}http://{address}"));
        assert_eq!(answer.status, 405);
        assert!(!answer.head.to_lowercase().contains("access-control"), "{}", answer.head);
    }
    let (_daemon, address) = start("origin", OPEN_READING, "");
    let act = |origin: &str| {
        let length = NOTE.len();
        let head = format!("POST /act HTTP/1.1\r\nhost: {address}\r\nauthorization: Bearer {TOKEN}");
        send(
            address,
            format!("{head}\r\norigin: {origin}\r\ncontent-length: {length}\r\n\r\n{NOTE}").as_bytes(),
        )
    };
    for origin in ["http://evil.example", "null", "http://127.0.0.1"] {
        assert_eq!(act(origin).status, 403, "{origin}");
    }
    assert_eq!(act(&format!("http://{address}")).status, 200, "the watch card's own");
}

/// The open alert about control in a status.
fn shut(status: &Value) -> Option<&Value> {
    status["alerts"].as_array()?.iter().find(|a| a["order"] == "control failing")
}

#[test]
fn a_stray_file_in_the_sockets_place_is_an_alert_until_it_is_gone() {
    let folder = Folder::new("stray");
    let socket = folder.write("control.sock", "a letter");
    let address = free_address();
    let boat = Daemon::describe(&folder, "", &format!("listen = \"{address}\"\n"));
    let daemon = Daemon::spawn(folder, &boat, &[]);
    let told = |what: &str, words: &str| {
        until(what, || {
            TcpStream::connect(address).ok()?;
            let status = request(address, "GET /status", None, "").json();
            let alert = shut(&status)?;
            let said = alert["text"].as_str().is_some_and(|t| t.contains(words));
            (said && alert["state"] != "rectified-unacknowledged").then(|| alert.clone())
        })
    };
    let works = |what: &str| {
        until(what, || {
            let status = daemon.try_status()?;
            shut(&status).is_none_or(|a| a["state"] == "rectified-unacknowledged").then_some(())
        });
    };
    let alert = told("the alert", "this is no socket and is left alone");
    assert_eq!(alert["priority"], "warning");
    assert!(alert["text"].as_str().unwrap().contains("control.sock"), "{alert}");
    assert_eq!(std::fs::read_to_string(&socket).unwrap(), "a letter");
    std::fs::remove_file(&socket).unwrap();
    works("the socket");
    // The same while the watch stands: the place is lost to a folder, then to another program, then to nobody.
    std::fs::remove_file(&socket).unwrap();
    std::fs::create_dir(&socket).unwrap();
    told("the folder", "this is no socket");
    std::fs::remove_dir(&socket).unwrap();
    works("the socket again");
    std::fs::remove_file(&socket).unwrap();
    let other = UnixListener::bind(&socket).unwrap();
    told("the other program", "another program's socket is here");
    drop(other);
    works("a dead socket is taken over");
    std::fs::remove_file(&socket).unwrap();
    works("a lost socket is made again");
    daemon.stop();
    assert!(!socket.exists());
}

#[test]
fn where_neither_socket_nor_tcp_can_be_opened_the_watch_stands_and_says_both() {
    let folder = Folder::new("shut");
    let receiver = Receiver::start(&[]);
    let place = folder.write("place", "no folder").join("control.sock");
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap();
    let orders = concat!(env!("CARGO_MANIFEST_DIR"), "/rules/orders/passage.toml");
    let boat = folder.write(
        "boat.toml",
        &format!(
            "version = 1\n[control]\npath = {place:?}\nlisten = \"{address}\"\n[logbook]\npath = {:?}\n\
             [orders]\npath = {orders:?}\n[[signal]]\nname = \"shore\"\nwebhook = \"http://{}/\"\n",
            folder.logbook(),
            receiver.address
        ),
    );
    let daemon = Daemon::spawn(folder, &boat, &[]);
    let record = receiver.wait_for(|r| r["alert"]["order"] == "control failing");
    assert_eq!(record["alert"]["about"], "control");
    assert!(record["alert"]["text"].as_str().unwrap().contains("The control socket cannot be opened"));
    until("the diagnostics", || daemon.stderr().contains("the watch stands").then_some(()));
    drop(taken);
    let status = until("TCP", || {
        TcpStream::connect(address).ok()?;
        let status = request(address, "GET /status", None, "").json();
        let text = shut(&status)?["text"].as_str()?;
        (!text.contains("over TCP cannot")).then_some(status)
    });
    assert!(shut(&status).unwrap()["text"].as_str().unwrap().contains("place"), "{status}");
    daemon.stop();
}
