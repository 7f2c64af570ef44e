//! The service manager's side of the daemon: what systemd is told over its datagram socket (sd_notify(3)).

use crate::clock::Clock;
use std::io;
use std::os::linux::net::SocketAddrExt;
use std::os::unix::net::{SocketAddr, UnixDatagram};
use std::time::Duration;
use terms::Moment;

/// The service manager, where one has started the daemon and wants to be told; else nobody.
#[derive(Debug, Default)]
pub struct Manager {
    socket: Option<(UnixDatagram, SocketAddr)>,
    /// The watchdog bites when it was not fed for so long.
    bites_after: Option<Duration>,
    fed: Option<Moment>,
}

impl Manager {
    /// As NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID say.
    pub fn of_environment() -> Self {
        let of = |name: &str| std::env::var(name).ok();
        let socket = of("NOTIFY_SOCKET").and_then(|place| match connect(&place) {
            Ok(socket) => Some(socket),
            Err(e) => {
                tracing::warn!(%place, %e, "the service manager cannot be told how the watch fares");
                None
            }
        });
        let meant = of("WATCHDOG_PID").is_none_or(|pid| pid == std::process::id().to_string());
        let bites_after = of("WATCHDOG_USEC")
            .filter(|_| meant)
            .and_then(|us| us.parse().ok())
            .filter(|&us| us > 0)
            .map(Duration::from_micros);
        Self { socket, bites_after, fed: None }
    }

    /// The watch stands.
    pub fn ready(&self) {
        self.tell("READY=1\nSTATUS=The watch stands");
    }

    /// The orders are read anew; `ready` says that it is done.
    pub fn reloading(&self, clock: Clock) {
        self.tell(&format!("RELOADING=1\nMONOTONIC_USEC={}", clock.monotonic_us()));
    }

    /// The watch ends.
    pub fn stopping(&self) {
        self.tell("STOPPING=1\nSTATUS=The watch ends");
    }

    /// A pass of the watch is finished: feeds the watchdog. This is the only thing that does, so a watch that hangs is
    /// found out. At most four times in its interval, however many passes there are.
    pub fn passed(&mut self, now: Moment) {
        let Some(bites_after) = self.bites_after else { return };
        if self.fed.is_none_or(|fed| now.since(fed) >= bites_after / 4) && self.tell("WATCHDOG=1") {
            self.fed = Some(now);
        }
    }

    /// When the watch must be woken that wants to be at `due`: within half of what the watchdog waits, even where nothing
    /// comes.
    pub fn wake(&self, now: Moment, due: Option<Moment>) -> Option<Moment> {
        let pass = self.bites_after.map(|after| now + after / 2);
        [due, pass].into_iter().flatten().min()
    }

    /// Tells; a manager that cannot listen just now is not waited for.
    fn tell(&self, words: &str) -> bool {
        self.socket.as_ref().is_some_and(|(s, to)| s.send_to_addr(words.as_bytes(), to).is_ok())
    }
}

/// A socket to tell on. A place that begins with '@' is no file but an abstract name (unix(7)).
fn connect(place: &str) -> io::Result<(UnixDatagram, SocketAddr)> {
    let address = match place.strip_prefix('@') {
        Some(name) => SocketAddr::from_abstract_name(name)?,
        None => SocketAddr::from_pathname(place)?,
    };
    let socket = UnixDatagram::unbound()?;
    socket.set_nonblocking(true)?;
    Ok((socket, address))
}
