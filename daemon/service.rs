//! The service manager's side of the daemon: notifications over systemd's datagram socket (sd_notify(3)).

use crate::clock::Clock;
use std::io;
use std::os::linux::net::SocketAddrExt;
use std::os::unix::net::{SocketAddr, UnixDatagram};
use std::time::Duration;
use terms::Moment;

/// The service manager that started the daemon and wants notifications; else nobody.
#[derive(Debug, Default)]
pub struct Manager {
    socket: Option<(UnixDatagram, SocketAddr)>,
    /// The watchdog bites after this long without being fed.
    bites_after: Option<Duration>,
    fed: Option<Moment>,
}

impl Manager {
    /// From NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID.
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

    /// Reports that the watch stands.
    pub fn ready(&self) {
        self.tell("READY=1\nSTATUS=The watch stands");
    }

    /// Reports that the orders are being reloaded; `ready` ends it.
    pub fn reloading(&self, clock: Clock) {
        self.tell(&format!("RELOADING=1\nMONOTONIC_USEC={}", clock.monotonic_us()));
    }

    /// Reports that the watch is ending.
    pub fn stopping(&self) {
        self.tell("STOPPING=1\nSTATUS=The watch ends");
    }

    /// Feeds the watchdog after a finished pass of the watch. Nothing else feeds it, so a hung watch is caught. Feeds
    /// at most four times per interval, however many passes there are.
    pub fn passed(&mut self, now: Moment) {
        let Some(bites_after) = self.bites_after else { return };
        if self.fed.is_none_or(|fed| now.since(fed) >= bites_after / 4) && self.tell("WATCHDOG=1") {
            self.fed = Some(now);
        }
    }

    /// When to wake a watch that wants to run at `due`: within half the watchdog's interval, even if nothing comes.
    pub fn wake(&self, now: Moment, due: Option<Moment>) -> Option<Moment> {
        let pass = self.bites_after.map(|after| now + after / 2);
        [due, pass].into_iter().flatten().min()
    }

    /// Sends a notification; does not wait for a manager that cannot listen just now.
    fn tell(&self, words: &str) -> bool {
        self.socket.as_ref().is_some_and(|(s, to)| s.send_to_addr(words.as_bytes(), to).is_ok())
    }
}

/// A socket for notifications. A place that begins with '@' is an abstract name, not a file (unix(7)).
fn connect(place: &str) -> io::Result<(UnixDatagram, SocketAddr)> {
    let address = match place.strip_prefix('@') {
        Some(name) => SocketAddr::from_abstract_name(name)?,
        None => SocketAddr::from_pathname(place)?,
    };
    let socket = UnixDatagram::unbound()?;
    socket.set_nonblocking(true)?;
    Ok((socket, address))
}
