//! The only place that reads a clock.

use crate::files;
use nix::sys::time::TimeValLike;
use nix::time::{ClockId, clock_gettime};
use std::path::Path;
use std::sync::OnceLock;
use std::time::Duration;
use terms::{Moment, Utc};

/// Steady time (Linux boot time, which keeps running through a suspend) and the system's idea of UTC.
#[derive(Debug, Clone, Copy, Default)]
pub struct Clock;

/// A clock that the demo makes run faster: since when, how much faster, and UTC then.
#[derive(Debug)]
struct Hastened {
    from_us: i64,
    rate: i64,
    utc: Utc,
}

/// Set by the demo alone.
static HASTENED: OnceLock<Hastened> = OnceLock::new();

/// Lets the clocks of this process run `rate` times as fast from now on, beginning at this UTC. Once a process; for the
/// demo alone.
pub fn hasten(rate: u16, utc: Utc) {
    // A second call would change nothing.
    let _ = HASTENED.set(Hastened {
        from_us: read_us(ClockId::CLOCK_BOOTTIME),
        rate: i64::from(rate.max(1)),
        utc,
    });
}

/// Microseconds of steady time since the clocks were hastened, as they run now.
fn hastened_us(h: &Hastened) -> i64 {
    (read_us(ClockId::CLOCK_BOOTTIME) - h.from_us).saturating_mul(h.rate)
}

impl Clock {
    /// Steady time now.
    pub fn now(self) -> Moment {
        let us = HASTENED.get().map(|h| h.from_us + hastened_us(h));
        Moment(us.unwrap_or_else(|| read_us(ClockId::CLOCK_BOOTTIME)).div_euclid(1000))
    }

    /// The system's UTC now: a hint that may be years wrong.
    pub fn utc(self) -> Utc {
        HASTENED.get().map_or_else(
            || Utc(read_us(ClockId::CLOCK_REALTIME).div_euclid(1000)),
            |h| Utc(h.utc.0 + hastened_us(h).div_euclid(1000)),
        )
    }

    /// Microseconds of the kernel's monotonic clock, which the service manager reckons by.
    pub fn monotonic_us(self) -> i64 {
        read_us(ClockId::CLOCK_MONOTONIC)
    }

    /// Waits until a moment of steady time. Wakes at least once a second: a timer on the kernel's monotonic clock
    /// stops while the computer is suspended; steady time does not.
    pub async fn until(self, at: Option<Moment>) {
        let second = Duration::from_secs(1);
        let wait = at.map_or(second, |at| at.since(self.now()).min(second));
        tokio::time::sleep(wait / HASTENED.get().map_or(1, |h| u32::try_from(h.rate).unwrap_or(1))).await;
    }
}

/// Microseconds of a clock. Linux has had these clocks since 2.6.39, so reading them cannot fail there. If it did (a
/// 32-bit C library after 2038), zero lies before everything and makes nothing look fresh.
#[expect(clippy::disallowed_methods, reason = "the only place where clocks are read")]
fn read_us(clock: ClockId) -> i64 {
    clock_gettime(clock).map_or(0, |t| t.num_microseconds())
}

/// The kernel's name for this boot; steady times compare only within one boot. `None` if it cannot be read: every
/// start then counts as a new boot.
pub fn boot_id() -> Option<String> {
    let id = files::read(Path::new("/proc/sys/kernel/random/boot_id"), files::Kind::Value).ok()?;
    Some(String::from_utf8(id).ok()?.trim().to_owned()).filter(|id| !id.is_empty())
}
