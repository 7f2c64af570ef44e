//! What the system must allow: `run` makes sure of it before the watch begins.

use crate::aboard::{Daemon, Folder, Receiver, shim, text, until, verb};
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use std::net::TcpListener;
use std::process::{Command, Stdio};
use std::time::Duration;

/// What runs out at the start is said, and the watch does not stand half.
#[test]
fn too_few_descriptors_or_threads_end_the_start_with_what_to_do() {
    let folder = Folder::new("limits");
    let boat = Daemon::describe(&folder, "[[feed]]\nname = \"net\"\nudp = \"127.0.0.1:0\"\n", "");
    let shim = shim("threads", &folder.0);
    // In a shell of its own, which sets its limits.
    let start = |limit: &str| {
        let mut command = Command::new("sh");
        command.args(["-c", &format!("{limit}exec \"$@\""), "sh", env!("CARGO_BIN_EXE_middlewatch")]);
        command.args(["run", "--config"]).arg(&boat).stdin(Stdio::null());
        command
    };
    let run = |limit: &str, threads: Option<u32>| {
        let mut command = start(limit);
        if let Some(n) = threads {
            command.env("MIDDLEWATCH_THREADS", n.to_string()).env("LD_PRELOAD", &shim);
        }
        let out = command.output().unwrap();
        (out.status.code(), text(&out.stderr))
    };
    for files in [5, 8, 12, 20, 24, 64] {
        let (code, said) = run(&format!("ulimit -n {files}; "), None);
        let told = said.contains(&format!("the watch of this boat needs 164, and {files} are allowed"));
        assert!(code == Some(1) && told && said.contains("LimitNOFILE=1024"), "{files}: {code:?} {said}");
    }
    for threads in [0, 1, 2, 4, 6, 8, 11] {
        let (code, said) = run("", Some(threads));
        assert!(code == Some(1) && said.contains("too few threads"), "{threads}: {code:?} {said}");
        assert!(said.contains("TasksMax="), "{said}");
    }
    // Where there is leave to have more, it is taken.
    let mut child = start("ulimit -S -n 12; ").stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    until("the watch", || {
        let asked = verb(&["status", "--control", folder.0.join("control.sock").to_str().unwrap()]);
        asked.status.success().then_some(())
    });
    kill(Pid::from_raw(i32::try_from(child.id()).unwrap()), Signal::SIGTERM).unwrap();
    assert!(child.wait().unwrap().success());
}

/// Names of hosts are looked up, and devices opened, on threads of their own, which end when they are idle.
#[test]
#[ignore = "waits 12 s for idle threads to end"]
fn where_no_thread_is_to_be_had_later_a_feed_is_opened_and_an_alarm_sent_all_the_same() {
    let (server, receiver) = (TcpListener::bind("127.0.0.1:0").unwrap(), Receiver::start(&[]));
    let folder = Folder::new("no-thread");
    let (shim, stop) = (shim("threads", &folder.0), folder.0.join("stop"));
    let daemon = Daemon::start_preloaded(
        folder,
        &format!(
            "[[feed]]\nname = \"mux\"\ntcp = \"localhost:{}\"\n\
             [[signal]]\nname = \"helm\"\nwebhook = \"http://localhost:{}/\"\n",
            server.local_addr().unwrap().port(),
            receiver.address.port()
        ),
        &[("LD_PRELOAD", &shim), ("MIDDLEWATCH_NO_MORE_THREADS", &stop)],
    );
    let (wire, _) = server.accept().unwrap();
    assert!(daemon.tell(&["overboard", "Ada"]).status.success());
    receiver.wait_for(|r| r["casualty"]["crew"] == "Ada");
    // Idle threads are kept for ten seconds by default.
    std::thread::sleep(Duration::from_secs(12));
    std::fs::write(&stop, "").unwrap();
    drop(wire);
    assert!(daemon.tell(&["overboard", "Bo"]).status.success());
    receiver.wait_for(|r| r["casualty"]["crew"] == "Bo");
    server.set_nonblocking(true).unwrap();
    until("the feed", || server.accept().ok());
    assert!(!daemon.stderr().contains("panicked"), "{}", daemon.stderr());
}
