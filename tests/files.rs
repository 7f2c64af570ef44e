//! What stands in a file's place and is none: a named pipe, a device, gigabytes, a disk that hangs. None of them costs the
//! watch time or memory, and each is named to whoever must mend it.

use crate::aboard::{Daemon, Folder, middlewatch, sentence, shim, text, until, verb};
use nix::sys::signal::{Signal, kill};
use nix::sys::stat::Mode;
use nix::unistd::{Pid, mkfifo};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::Stdio;
use std::time::{Duration, Instant};

const ORDER: &str = "version = 1\n[[order]]\nname = \"first\"\npriority = \"caution\"\nwhen = \"SOG is over 1 kn\"\ntext = \"x\"\n";

fn pipe(path: &Path) {
    mkfifo(path, Mode::S_IRWXU).unwrap();
}

fn fix() -> String {
    sentence("GPRMC,021407.00,A,5048.000,N,00106.000,W,5.0,090.0,011126,,,A")
}

/// A file of four gigabytes that takes no room.
fn vast(path: &Path) {
    std::fs::File::create(path).unwrap().set_len(4 << 30).unwrap();
}

#[test]
fn what_is_no_file_is_refused_at_once_by_every_verb_that_reads_one() {
    let folder = Folder::new("nofile");
    let (hollow, large) = (folder.0.join("pipe.toml"), folder.0.join("vast.toml"));
    pipe(&hollow);
    vast(&large);
    let places = [
        (hollow.to_str().unwrap(), "this is a named pipe, not a plain file"),
        ("/dev/zero", "this is a device, not a plain file"),
        (large.to_str().unwrap(), "it has more than 4 MiB"),
        (folder.0.to_str().unwrap(), "this is a folder, not a plain file"),
    ];
    for (place, why) in places {
        let boat = folder.write("boat.toml", &format!("version = 1\n[orders]\npath = {place:?}\n"));
        let boat = boat.to_str().unwrap();
        for arguments in [
            vec!["run", "--config", place],
            vec!["check", "--config", place],
            vec!["check", "--orders", place],
            vec!["check", "--config", boat],
            vec!["replay", "--config", place, "-"],
            vec!["replay", "--orders", place, "-"],
        ] {
            let began = Instant::now();
            let out = verb(&arguments);
            let said = text(&out.stdout) + &text(&out.stderr);
            assert_eq!(out.status.code(), Some(78), "{arguments:?}: {said}");
            assert!(said.contains(&format!("{place}: cannot be read: {why}")), "{arguments:?}: {said}");
            assert!(began.elapsed() < Duration::from_secs(20), "{arguments:?}");
        }
    }
    // A scenario is known by its name.
    let out = verb(&["replay", large.to_str().unwrap()]);
    assert!(text(&out.stderr).contains("more than 4 MiB"), "{}", text(&out.stderr));
    let out = verb(&["replay", "/dev/zero"]);
    assert!(text(&out.stderr).contains("this is a device"), "{}", text(&out.stderr));
    let out = verb(&["listen", "/dev/zero"]);
    assert!(text(&out.stderr).contains("this is a device"), "{}", text(&out.stderr));
}

#[test]
fn a_pipe_is_an_input_of_replay_and_listen_and_a_feed() {
    let folder = Folder::new("pipe");
    let way = folder.0.join("lines");
    pipe(&way);
    for arguments in [["listen", "--json"], ["replay", "--json"]] {
        let child = middlewatch()
            .args(arguments)
            .arg(&way)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        std::fs::OpenOptions::new().write(true).open(&way).unwrap().write_all(fix().as_bytes()).unwrap();
        let out = child.wait_with_output().unwrap();
        assert!(out.status.success(), "{arguments:?}");
    }
    let daemon = Daemon::start_in(folder, &format!("[[feed]]\nname = \"log\"\nfile = {way:?}\n"));
    // Whoever writes may come and go.
    for n in 1..=2 {
        std::fs::OpenOptions::new().write(true).open(&way).unwrap().write_all(fix().as_bytes()).unwrap();
        until("the sentence", || {
            (daemon.try_status()?["feeds"][0]["sentences"].as_u64()? == n).then_some(())
        });
    }
    daemon.stop();
}

#[test]
fn a_pipe_in_place_of_the_orders_keeps_no_watch_from_standing_or_going_on() {
    let folder = Folder::new("hollow");
    let orders = folder.0.join("orders.toml");
    pipe(&orders);
    let log = folder.write("log", "");
    let body = format!("[orders]\npath = {orders:?}\n[[feed]]\nname = \"log\"\nfile = {log:?}\n");
    let daemon = Daemon::start_in(folder, &body);
    let said = || daemon.alert("orders not loaded")["text"].as_str().unwrap().to_owned();
    assert!(said().contains("The watch stands by other orders"), "{}", said());
    assert!(said().contains("this is a named pipe"), "{}", said());

    std::fs::remove_file(&orders).unwrap();
    std::fs::write(&orders, ORDER).unwrap();
    assert!(daemon.tell(&["reload"]).status.success());
    assert!(daemon.status()["orders"].as_str().unwrap().contains("orders.toml"), "{}", daemon.status());

    std::fs::remove_file(&orders).unwrap();
    pipe(&orders);
    kill(Pid::from_raw(daemon.pid()), Signal::SIGHUP).unwrap();
    until("the words", || said().contains("The orders in force stay").then_some(()));
    std::fs::OpenOptions::new().append(true).open(&log).unwrap().write_all(fix().as_bytes()).unwrap();
    until("the watch to go on", || {
        (daemon.try_status()?["feeds"][0]["sentences"].as_u64()? == 1).then_some(())
    });
    std::fs::remove_file(&orders).unwrap();
    vast(&orders);
    let out = daemon.tell(&["reload"]);
    assert!(text(&out.stderr).contains("it has more than 4 MiB"), "{}", text(&out.stderr));
    daemon.stop();
}

#[test]
fn a_disk_that_hangs_while_the_orders_are_read_holds_up_nothing() {
    let folder = Folder::new("hung");
    let orders = folder.write("orders.toml", ORDER);
    let mark = folder.write("orders.toml.hung", "");
    let preload = shim("hung", &folder.0);
    let environment = [("LD_PRELOAD", &*preload), ("HUNG", &*orders)];
    let body = format!("[orders]\npath = {orders:?}\n");
    let daemon = Daemon::start_preloaded(folder, &body, &environment);
    let said = || daemon.alert("orders not loaded")["text"].as_str().unwrap().to_owned();
    assert!(said().contains("5 s were not enough; its disk may not answer"), "{}", said());

    std::fs::remove_file(&mark).unwrap();
    assert!(daemon.tell(&["reload"]).status.success());
    std::fs::write(&mark, "").unwrap();
    // Many hang-ups cost one thread and one more, and status is answered meanwhile.
    for _ in 0..100 {
        kill(Pid::from_raw(daemon.pid()), Signal::SIGHUP).unwrap();
    }
    let (began, mut answered) = (Instant::now(), 0);
    until("the words", || {
        answered += u32::from(daemon.try_status().is_some());
        said().contains("The orders in force stay").then_some(())
    });
    assert!(began.elapsed() >= Duration::from_secs(4) || answered > 1, "{answered}");
    let status = daemon.status();
    assert!(status["orders"].as_str().unwrap().contains("orders.toml"), "{status}");
    // And the daemon ends though a thread of it never will.
    let began = Instant::now();
    daemon.stop();
    assert!(began.elapsed() < Duration::from_secs(10), "{:?}", began.elapsed());
}

#[test]
fn a_token_that_is_no_file_lets_nobody_in_and_holds_up_nobody() {
    let folder = Folder::new("token");
    let token = folder.0.join("token");
    pipe(&token);
    let place = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let control = format!("listen = \"{place}\"\ntoken_file = {token:?}\n");
    let daemon = Daemon::start_with(folder, "", &control);
    let ask = || {
        let mut stream = TcpStream::connect(place).ok()?;
        let head =
            "GET /status HTTP/1.1\r\nhost: localhost\r\nauthorization: Bearer 0123456789abcdef\r\n\r\n";
        stream.write_all(head.as_bytes()).ok()?;
        let mut answer = String::new();
        stream.read_to_string(&mut answer).ok()?;
        Some(answer)
    };
    let refused = || until("an answer", ask).starts_with("HTTP/1.1 503");
    assert!(refused(), "a pipe");
    std::fs::remove_file(&token).unwrap();
    std::os::unix::fs::symlink("/dev/zero", &token).unwrap();
    assert!(refused(), "a device");
    std::fs::remove_file(&token).unwrap();
    std::fs::write(&token, "0123456789abcdef\n").unwrap();
    assert!(until("an answer", ask).starts_with("HTTP/1.1 200"));
    assert!(daemon.stderr().contains("token: cannot be read: this is a named pipe"), "{}", daemon.stderr());
}

#[test]
fn check_warns_of_files_that_others_can_read_or_change() {
    let folder = Folder::new("exposed");
    let (token, key) = (folder.write("token", "0123456789abcdef"), folder.write("key", "secret"));
    let orders = folder.write("orders.toml", ORDER);
    let boat = folder.write(
        "boat.toml",
        &format!(
            "version = 1\n[control]\nlisten = \"127.0.0.1:8127\"\ntoken_file = {token:?}\n[orders]\npath = {orders:?}\n\
             [[signal]]\nname = \"shore\"\nwebhook = \"http://127.0.0.1:9/\"\n\
             signature = {{ key_id = \"boat\", secret_file = {key:?} }}\n"
        ),
    );
    let rights = |path: &Path, mode| {
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    };
    let check = || {
        let out = verb(&["check", "--config", boat.to_str().unwrap()]);
        assert!(out.status.success(), "{}", text(&out.stdout));
        text(&out.stdout)
    };
    for path in [&token, &key, &boat, &orders] {
        rights(path, 0o600);
    }
    assert!(!check().contains("can read") && !check().contains("can change"), "{}", check());
    rights(&token, 0o644);
    rights(&key, 0o604);
    rights(&boat, 0o644);
    rights(&orders, 0o666);
    let said = check();
    for expected in [
        "token: warning: everybody on this computer can read the token; `chmod o-r` it",
        "key: warning: everybody on this computer can read the secret of shore; `chmod o-r` it",
        "boat.toml: warning: everybody on this computer can read the addresses and headers of its webhooks",
        "orders.toml: warning: everybody on this computer can change it; `chmod o-w` it",
        "orders.toml: usable, 1 order, 1 warning",
    ] {
        assert!(said.contains(expected), "{expected}: {said}");
    }
}
