//! The daemon under a service manager: what it is told over its datagram socket, and what the journal gets. The words are
//! those of sd_notify(3), sd_watchdog_enabled(3), sd-daemon(3) and systemd.exec(5).

use crate::aboard::{Daemon, Folder, text, until};
use nix::sys::ptrace::{self, Options};
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use std::io::{Read, Write};
use std::os::unix::fs::MetadataExt;
use std::os::unix::net::{UnixDatagram, UnixStream};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// The watchdog's interval in these tests.
const INTERVAL: Duration = Duration::from_millis(1500);

/// A datagram socket in the place of systemd's.
struct Manager(UnixDatagram);

impl Manager {
    fn listen(folder: &Folder) -> Self {
        let socket = UnixDatagram::bind(folder.0.join("notify")).unwrap();
        socket.set_read_timeout(Some(INTERVAL)).unwrap();
        Self(socket)
    }

    /// The next message, or none within the watchdog's interval.
    fn next(&self) -> Option<String> {
        let mut buffer = [0; 4096];
        let n = self.0.recv(&mut buffer).ok()?;
        Some(String::from_utf8(buffer[..n].to_vec()).unwrap())
    }

    /// The next message but WATCHDOG=1.
    fn next_word(&self) -> String {
        until("a word to systemd", || self.next().filter(|m| m != "WATCHDOG=1"))
    }

    /// Takes what was sent before; then whether nothing comes for two intervals.
    fn falls_silent(&self) -> bool {
        self.0.set_nonblocking(true).unwrap();
        while self.next().is_some() {}
        self.0.set_nonblocking(false).unwrap();
        self.next().is_none() && self.next().is_none()
    }

    /// The watchdog is fed so long without one interval left out.
    fn is_fed_for(&self, time: Duration) {
        let end = Instant::now() + time;
        let mut last = Instant::now();
        while Instant::now() < end {
            assert_eq!(self.next().as_deref(), Some("WATCHDOG=1"));
            assert!(last.elapsed() < INTERVAL, "{:?}", last.elapsed());
            last = Instant::now();
        }
    }
}

fn start(folder: Folder) -> (Manager, Daemon) {
    let manager = Manager::listen(&folder);
    let socket = folder.0.join("notify");
    let interval = INTERVAL.as_micros().to_string();
    let environment = [("NOTIFY_SOCKET", socket.as_path()), ("WATCHDOG_USEC", Path::new(&interval))];
    let daemon = Daemon::start_preloaded(folder, "", &environment);
    (manager, daemon)
}

fn pid(daemon: &Daemon) -> Pid {
    Pid::from_raw(daemon.pid())
}

#[test]
fn systemd_hears_that_the_watch_stands_then_that_it_lives_then_that_it_ends() {
    let (manager, daemon) = start(Folder::new("notify"));
    assert!(manager.next_word().starts_with("READY=1\n"));
    // Nobody asks and no feed brings anything: the watch makes its passes all the same.
    manager.is_fed_for(INTERVAL * 5);

    kill(pid(&daemon), Signal::SIGHUP).unwrap();
    let reloading = manager.next_word();
    assert!(reloading.starts_with("RELOADING=1\nMONOTONIC_USEC="), "{reloading}");
    assert!(manager.next_word().starts_with("READY=1\n"), "the reload is done");

    let told = Instant::now();
    daemon.stop();
    assert!(told.elapsed() < Duration::from_secs(2), "{:?}", told.elapsed());
    assert!(manager.next_word().starts_with("STOPPING=1\n"));
    assert_eq!(manager.next(), None, "it was ready once, and once after the reload");
}

#[test]
fn the_watchdog_starves_while_the_daemon_is_stopped_and_is_fed_again_afterwards() {
    let (manager, daemon) = start(Folder::new("stopped"));
    manager.next_word();
    kill(pid(&daemon), Signal::SIGSTOP).unwrap();
    assert!(manager.falls_silent());
    kill(pid(&daemon), Signal::SIGCONT).unwrap();
    manager.is_fed_for(INTERVAL * 2);
    assert!(daemon.status()["vessel"].is_null(), "the watch answers again");
}

/// Only the thread of the watch is held, by ptrace; all others run on, with their timers.
#[test]
fn the_watchdog_starves_while_a_pass_hangs_though_all_else_runs() {
    let (manager, daemon) = start(Folder::new("hangs"));
    manager.next_word();
    // The watch runs on the first thread, whose number is the process's (signal(7), gettid(2)).
    ptrace::seize(pid(&daemon), Options::empty()).unwrap();
    ptrace::interrupt(pid(&daemon)).unwrap();
    nix::sys::wait::waitpid(pid(&daemon), None).unwrap();
    let mut control = UnixStream::connect(daemon.folder.0.join("control.sock")).unwrap();
    control.write_all(b"GET /openapi.json HTTP/1.1\r\nhost: boat\r\nconnection: close\r\n\r\n").unwrap();
    let mut answer = String::new();
    control.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 200"), "what needs no watch is answered: {answer}");
    assert!(manager.falls_silent());
    ptrace::detach(pid(&daemon), None).unwrap();
    manager.is_fed_for(INTERVAL * 2);
}

#[test]
fn the_watchdog_of_another_process_is_left_alone() {
    let folder = Folder::new("other");
    let manager = Manager::listen(&folder);
    let socket = folder.0.join("notify");
    let environment = [
        ("NOTIFY_SOCKET", socket.as_path()),
        ("WATCHDOG_USEC", Path::new("1500000")),
        ("WATCHDOG_PID", Path::new("1")),
    ];
    let _daemon = Daemon::start_preloaded(folder, "", &environment);
    assert!(manager.next_word().starts_with("READY=1\n"));
    assert!(manager.falls_silent());
}

/// Each field of an entry as the journal's own protocol has it: name=value, or the name, a length and a value of lines.
fn fields(entry: &[u8]) -> std::collections::BTreeMap<String, String> {
    let mut all = std::collections::BTreeMap::new();
    let mut rest = entry;
    while let Some(end) = rest.iter().position(|&b| b == b'\n') {
        let (line, after) = (text(&rest[..end]), &rest[end + 1..]);
        rest = match line.split_once('=') {
            Some((name, value)) => {
                all.insert(name.to_owned(), value.to_owned());
                after
            }
            None => {
                let length = u64::from_le_bytes(after[..8].try_into().unwrap()) as usize;
                all.insert(line, text(&after[8..8 + length]));
                &after[8 + length + 1..]
            }
        };
    }
    all
}

/// A file that goes when the test does, however it ends.
struct Removed(PathBuf);

impl Drop for Removed {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.0);
    }
}

#[test]
#[ignore = "needs root to stand in for the journal, and no journal that is there already"]
fn the_journal_gets_each_line_with_its_level_and_its_fields() {
    let place = Path::new("/run/systemd/journal");
    std::fs::create_dir_all(place).unwrap();
    let socket = place.join("socket");
    let journal = std::os::unix::net::UnixDatagram::bind(&socket).expect("no journal is there");
    let _socket = Removed(socket);
    journal.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    let folder = Folder::new("journal");
    // Where the daemon's standard error will go.
    let stderr = folder.write("stderr", "");
    let file = std::fs::metadata(&stderr).unwrap();
    let stream = format!("{}:{}", file.dev(), file.ino());
    let gone = folder.0.join("gone");
    let orders = folder.write("orders.toml", "version = 1\n[[order]]\nname = 3\n");
    let body = format!("[[feed]]\nname = \"a\"\nserial = {gone:?}\n[orders]\npath = {orders:?}\n");
    let daemon = Daemon::start_preloaded(folder, &body, &[("JOURNAL_STREAM", Path::new(&stream))]);
    let mut entry = vec![0; 65_536];
    let mut wanted = vec!["feed lost", "the watch stands", "orders.toml:3:"];
    while !wanted.is_empty() {
        let n = journal.recv(&mut entry).expect("the wanted lines come");
        let told = fields(&entry[..n]);
        let field = |name: &str| told.get(name).map_or("", String::as_str);
        let (message, level) = (field("MESSAGE"), field("PRIORITY"));
        assert_eq!(field("SYSLOG_IDENTIFIER"), "middlewatch");
        let warns = message == "feed lost" || message.contains(": warning: ");
        assert_eq!(level, if warns { "4" } else { "6" }, "{told:?}");
        match message {
            "feed lost" => assert_eq!(field("MIDDLEWATCH_FEED"), "a", "{told:?}"),
            m if m.contains("orders.toml:3:") => assert_eq!(field("MIDDLEWATCH_ALERT"), "1", "{told:?}"),
            _ => {}
        }
        wanted.retain(|words| !message.contains(words));
    }
    assert_eq!(daemon.stderr(), "", "nothing is told twice");
    // A journal that takes nothing more, as one whose disk does not answer, costs lines and not the watch.
    crowd_of_overboards(&daemon);
    daemon.stop();
}

/// More lines than half a page, or a socket's queue, takes.
fn crowd_of_overboards(daemon: &Daemon) {
    for n in 0..25 {
        let name = format!("Somebody with a name of forty letters {n:02}");
        assert!(daemon.tell(&["overboard", &name]).status.success(), "{n}");
    }
    assert_eq!(daemon.status()["casualties"].as_array().unwrap().len(), 25);
}

#[test]
fn a_terminal_that_was_stopped_costs_lines_and_not_the_watch() {
    use nix::fcntl::{FcntlArg, OFlag, fcntl};
    let folder = Folder::new("stopped");
    let terminal = folder.0.join("stderr");
    nix::unistd::mkfifo(&terminal, nix::sys::stat::Mode::S_IRWXU).unwrap();
    // For reading and writing, so that opening it waits for nobody.
    let mut unread = std::fs::OpenOptions::new().read(true).write(true).open(&terminal).unwrap();
    fcntl(&unread, FcntlArg::F_SETFL(OFlag::O_NONBLOCK)).unwrap();
    assert_eq!(fcntl(&unread, FcntlArg::F_SETPIPE_SZ(4096)).unwrap(), 4096);
    // There is room for some lines.
    unread.write_all(&[b'.'; 2500]).unwrap();
    let daemon = Daemon::start_in(folder, "");
    crowd_of_overboards(&daemon);
    let mut part = [0; 8192];
    let full = unread.read(&mut part).unwrap();
    let mut told = text(&part[..full]);
    assert!(!told.contains("letters 18 overboard"), "nobody had to wait: {told}");
    // Once somebody looks again the others come; twenty of a kind in a minute.
    until("the rest", || {
        let n = unread.read(&mut part).unwrap_or(0);
        told.push_str(&text(&part[..n]));
        told.contains("letters 18 overboard").then_some(())
    });
    daemon.stop();
}

#[test]
fn lines_are_for_people_where_only_the_name_of_a_journal_was_inherited() {
    let daemon = Daemon::start_preloaded(Folder::new("people"), "", &[("JOURNAL_STREAM", Path::new("1:1"))]);
    until("the watch", || daemon.stderr().contains("INFO middlewatch::run: the watch stands").then_some(()));
}

/// Runs one of systemd's own programs over a shipped file; both outputs together.
fn systemd(program: &str, arguments: &[&str]) -> String {
    let out =
        std::process::Command::new(program).args(arguments).env("SYSTEMD_COLORS", "0").output().unwrap();
    assert!(out.status.success(), "{program} {arguments:?}: {}", text(&out.stderr));
    text(&out.stdout) + &text(&out.stderr)
}

fn shipped(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("systemd").join(name)
}

#[test]
#[ignore = "needs systemd-analyze and systemd-sysusers"]
fn systemd_finds_nothing_wrong_with_the_shipped_unit_and_little_exposed() {
    let folder = Folder::new("unit");
    // The program is not installed here; what is built stands in for it.
    let unit = std::fs::read_to_string(shipped("middlewatch.service")).unwrap();
    let unit = unit.replace("/usr/bin/middlewatch", env!("CARGO_BIN_EXE_middlewatch"));
    let unit = folder.write("middlewatch.service", &unit);
    assert_eq!(systemd("systemd-analyze", &["verify", "--man=no", unit.to_str().unwrap()]), "");
    // The threshold is in tenths; exposure over it makes the program fail.
    let unit = shipped("middlewatch.service");
    systemd(
        "systemd-analyze",
        &["security", "--offline=true", "--threshold=19", "--no-pager", unit.to_str().unwrap()],
    );
}

#[test]
#[ignore = "needs systemd-analyze and systemd-sysusers"]
fn systemd_makes_the_user_with_the_groups_of_its_devices() {
    let folder = Folder::new("users");
    let root = format!("--root={}", folder.0.display());
    for part in ["etc", "usr/lib/sysusers.d"] {
        std::fs::create_dir_all(folder.0.join(part)).unwrap();
    }
    // As Debian's base-passwd has them.
    folder.write("etc/passwd", "root:x:0:0:root:/root:/bin/bash\n");
    folder.write("etc/group", "root:x:0:\ndialout:x:20:\naudio:x:29:\n");
    let users = shipped("middlewatch.sysusers");
    systemd("systemd-sysusers", &[&root, users.to_str().unwrap()]);
    let groups = std::fs::read_to_string(folder.0.join("etc/group")).unwrap();
    for group in ["dialout", "audio", "gpio"] {
        let line = groups.lines().find(|l| l.starts_with(&format!("{group}:"))).unwrap();
        assert!(line.ends_with(":middlewatch"), "{line}");
    }
    assert!(std::fs::read_to_string(folder.0.join("etc/passwd")).unwrap().contains("\nmiddlewatch:"));
}

#[test]
fn what_was_entered_last_is_on_disk_when_it_is_told_to_stop() {
    let daemon = Daemon::start("flush", "");
    for n in 0..40 {
        assert!(daemon.tell(&["note", &format!("remark {n}")]).status.success());
    }
    assert!(daemon.tell(&["overboard", "Ada"]).status.success());
    let told = Instant::now();
    let folder = daemon.stop();
    assert!(told.elapsed() < Duration::from_secs(2), "{:?}", told.elapsed());
    let logbook = rusqlite::Connection::open(folder.0.join("logbook.db")).unwrap();
    let count = |sql: &str| logbook.query_row(sql, [], |r| r.get::<_, i64>(0)).unwrap();
    assert_eq!(count("SELECT count(*) FROM entries WHERE text LIKE 'remark %'"), 40);
    assert_eq!(
        count("SELECT count(*) FROM alerts WHERE event = 'raised' AND priority = 'emergency alarm'"),
        1
    );
    assert_eq!(count("SELECT count(*) FROM entries WHERE text = 'The watch was stopped'"), 1);
}

#[test]
fn a_logbook_that_takes_nothing_does_not_keep_the_daemon_from_stopping() {
    let daemon = Daemon::start("locked", "");
    let other = rusqlite::Connection::open(daemon.logbook()).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    assert!(daemon.tell(&["note", "while another program has the logbook"]).status.success());
    let told = Instant::now();
    // It waits a little, then leaves what waits in a file (see tests/rescue.rs), well before systemd would kill it.
    let (folder, status, said) = daemon.end();
    assert!(told.elapsed() < Duration::from_secs(9), "{:?}", told.elapsed());
    assert_eq!(status.code(), Some(1), "{said}");
    assert!(folder.0.join("logbook.db.waiting-1").exists(), "{said}");
}

#[test]
fn sighup_reads_the_orders_anew_and_keeps_those_in_force_where_the_file_is_bad() {
    let order = |name: &str| {
        format!(
            "version = 1\n[[order]]\nname = \"{name}\"\npriority = \"caution\"\nwhen = \"SOG is over 1 kn\"\ntext = \"x\"\n"
        )
    };
    let folder = Folder::new("hangup");
    let orders = folder.write("orders.toml", &order("first"));
    let daemon = Daemon::start_in(folder, &format!("[orders]\npath = {orders:?}\n"));
    std::fs::write(&orders, order("second")).unwrap();
    kill(pid(&daemon), Signal::SIGHUP).unwrap();
    let read = |times| {
        until("the orders to be read", || {
            let logbook = rusqlite::Connection::open(daemon.logbook()).unwrap();
            let sql = "SELECT count(*) FROM entries WHERE text LIKE 'Orders read:%'";
            logbook.query_row(sql, [], |r| r.get::<_, i64>(0)).ok().filter(|n| *n == times)
        })
    };
    read(2);
    std::fs::write(&orders, "version = 1\n[[order]]\nname = 3\n").unwrap();
    kill(pid(&daemon), Signal::SIGHUP).unwrap();
    let text = daemon.alert("orders not loaded")["text"].as_str().unwrap().to_owned();
    assert!(text.contains("The orders in force stay") && text.contains("orders.toml:3:"), "{text}");
    std::fs::remove_file(&orders).unwrap();
    kill(pid(&daemon), Signal::SIGHUP).unwrap();
    until("the new words", || {
        daemon.alert("orders not loaded")["text"].as_str()?.contains("cannot be read").then_some(())
    });
    std::fs::write(&orders, order("third")).unwrap();
    kill(pid(&daemon), Signal::SIGHUP).unwrap();
    read(3);
}

#[test]
fn a_storm_of_sighup_and_of_reloads_is_one_entry() {
    let order = |name: &str| {
        format!(
            "version = 1\n[[order]]\nname = \"{name}\"\npriority = \"caution\"\nwhen = \"SOG is over 1 kn\"\ntext = \"x\"\n"
        )
    };
    let folder = Folder::new("storm");
    let orders = folder.write("orders.toml", &order("first"));
    let daemon = Daemon::start_in(folder, &format!("[orders]\npath = {orders:?}\n"));
    let read = || {
        let logbook = rusqlite::Connection::open(daemon.logbook()).unwrap();
        let sql = "SELECT count(*) FROM entries WHERE text LIKE 'Orders read:%'";
        logbook.query_row(sql, [], |r| r.get::<_, i64>(0)).unwrap_or(0)
    };
    until("the begin", || (read() == 1).then_some(()));
    for n in 0..1000 {
        kill(pid(&daemon), Signal::SIGHUP).unwrap();
        if n % 50 == 0 {
            assert!(daemon.tell(&["reload"]).status.success());
        }
    }
    until("the reload", || (read() == 2).then_some(()));
    // What has changed is read at once all the same; until then nothing more was entered.
    std::fs::write(&orders, order("second")).unwrap();
    assert!(daemon.tell(&["reload"]).status.success());
    until("the new orders", || (read() >= 3).then_some(()));
    assert_eq!(read(), 3);
    daemon.stop();
}
