//! The only place where clocks are read.

use nix::time::{ClockId, clock_gettime};
use std::time::Duration;
use terms::{Moment, Utc};

/// Steady time (Linux boot time, which runs on through a suspend) and the system's idea of UTC.
#[derive(Debug, Clone, Copy, Default)]
pub struct Clock;

impl Clock {
    /// Steady time now.
    pub fn now(self) -> Moment {
        Moment(read_ms(ClockId::CLOCK_BOOTTIME))
    }

    /// The system's UTC now: a hint that may be years wrong.
    pub fn utc(self) -> Utc {
        Utc(read_ms(ClockId::CLOCK_REALTIME))
    }

    /// Waits until a moment of steady time. Woken at least once a second, because a timer of the kernel's monotonic
    /// clock stands still while the computer is suspended and steady time does not.
    pub async fn until(self, at: Option<Moment>) {
        let second = Duration::from_secs(1);
        let wait = at.map_or(second, |at| at.since(self.now()).min(second));
        tokio::time::sleep(wait).await;
    }
}

/// Milliseconds of a clock. Linux has had both clocks since 2.6.39, so reading them cannot fail there; where it did,
/// zero is a time before everything and nothing counts as fresh by it.
fn read_ms(clock: ClockId) -> i64 {
    clock_gettime(clock).map_or(0, |t| t.tv_sec() * 1000 + t.tv_nsec() / 1_000_000)
}

/// The kernel's name for this boot; steady times compare only within one.
pub fn boot_id() -> String {
    std::fs::read_to_string("/proc/sys/kernel/random/boot_id")
        .map_or_else(|_| "unknown".into(), |s| s.trim().into())
}
