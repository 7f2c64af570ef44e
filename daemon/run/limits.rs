//! What the system must allow before the watch begins. Short of threads or descriptors later on, parts of it would fail
//! one by one, or never begin.

use boat::Boat;
use nix::sys::resource::{Resource, getrlimit, setrlimit};
use std::sync::Mutex;

/// Descriptors of the daemon itself, some 30, and of the 96 connections that control has at most, with room to spare.
const OWN_FILES: usize = 160;
/// Descriptors of one feed, signal or button: a program has three pipes.
const FILES_EACH: usize = 4;
/// Threads of the daemon itself (the feeds, two for signals and control, logbook, sentences), and as many that wait for a
/// file or a device.
const OWN_THREADS: usize = 10;

/// Makes sure of the descriptors and threads that the watch of this boat needs at most.
///
/// # Errors
/// What there is too little of, how much is needed, and where it is allowed.
pub(super) fn ensure(boat: &Boat) -> Result<(), String> {
    let parts = boat.feeds.len() + boat.signals.len() + boat.buttons.len();
    files(OWN_FILES + FILES_EACH * parts)?;
    // Opening a serial line or a GPIO chip takes a thread for a moment.
    threads(OWN_THREADS + parts)
}

/// Makes sure of descriptors: asks for more if there is leave to have them.
fn files(needed: usize) -> Result<(), String> {
    let needed = needed as u64;
    let (soft, hard) =
        getrlimit(Resource::RLIMIT_NOFILE).map_err(|e| format!("the limit of open files: {e}"))?;
    if soft >= needed || (hard >= needed && setrlimit(Resource::RLIMIT_NOFILE, needed, hard).is_ok()) {
        return Ok(());
    }
    Err(format!(
        "too few files may be open: the watch of this boat needs {needed}, and {soft} are allowed; allow more \
         (`ulimit -n 1024` in the shell, LimitNOFILE=1024 in the service)"
    ))
}

/// Makes sure of threads: all of them at once, for a moment.
fn threads(needed: usize) -> Result<(), String> {
    let hold = Mutex::new(());
    std::thread::scope(|scope| {
        // Released before the threads are waited for.
        let _held = hold.lock();
        for there in 0..needed {
            let wait = || drop(hold.lock());
            if let Err(e) = std::thread::Builder::new().spawn_scoped(scope, wait) {
                return Err(format!(
                    "too few threads: the watch of this boat needs {needed}, and the system gives {there} ({e}); \
                     allow more (`ulimit -u` in the shell, TasksMax= and LimitNPROC= in the service), or free memory"
                ));
            }
        }
        Ok(())
    })
}
