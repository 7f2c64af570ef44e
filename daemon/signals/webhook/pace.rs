//! When to try a receiver again. The wait belongs to the receiver, not to what waits for it: a fresh alarm brings the
//! next try forward, and while any alarm waits the tries never lie far apart.

use super::Trouble;
use crate::logbook::{DISK_WAIT, Due, Logbook, is_urgent};
use std::hash::{BuildHasher, RandomState};
use std::time::Duration;
use terms::Moment;

/// First wait after a failed post; doubles up to [`LONGEST_WAIT`].
const FIRST_WAIT: Duration = Duration::from_secs(1);
/// The longest wait between two tries while no alarm waits.
const LONGEST_WAIT: Duration = Duration::from_secs(120);
/// The longest time from the beginning of one try to that of the next while an alarm waits. With a post that takes up to
/// [`boat::LONGEST_POST`], a receiver that is good for 20 s of each minute is met in every one of these.
const LONGEST_WAIT_OF_ALARM: Duration = Duration::from_secs(12);
/// Longest pause before the next post when the receiver refuses one but takes others.
const LONGEST_PAUSE: Duration = Duration::from_secs(10);
/// A fresh alarm is tried no sooner after a failed post than this: in a flood of alarms a receiver that is away is tried
/// once in so long.
const PROBE_AFTER: Duration = Duration::from_secs(2);
/// How long after its announcement a fresh alarm is ready to go out, for certain.
pub(super) const READY_AFTER: Duration = DISK_WAIT.saturating_add(Duration::from_millis(50));

/// How the last posts to one receiver went.
#[derive(Debug, Default)]
pub(super) struct Pace {
    /// Posts in a row that found it away.
    away: u32,
    /// Posts in a row that it refused.
    refused: u32,
}

impl Pace {
    /// Settles a delivery whose post began and ended at these moments. Returns when to post the next; `None` for at once.
    pub fn settle(
        &mut self,
        logbook: &Logbook,
        signal: &str,
        due: &Due,
        [began, ended]: [Moment; 2],
        outcome: &Result<(), Trouble>,
    ) -> Option<Moment> {
        let trouble = match outcome {
            Ok(()) => {
                *self = Self::default();
                logbook.delivered(due.id);
                return None;
            }
            Err(trouble) => trouble,
        };
        let longest = |urgent| if urgent { LONGEST_WAIT_OF_ALARM } else { LONGEST_WAIT };
        let own_wait = back_off(due.tries, longest(is_urgent(due.priority)));
        let urgent = logbook.urgent_waits(signal);
        let (own, next) = match trouble {
            // Everything else for this receiver waits too: it would fare no better. But if it took the one before, this
            // one may be what it chokes on, and the next goes first.
            Trouble::Away(_, later) => {
                let wait = back_off(self.away, LONGEST_WAIT).max(later.unwrap_or_default().min(LONGEST_WAIT));
                let own = if self.away == 0 { ended + own_wait } else { ended };
                self.away = self.away.saturating_add(1);
                (own, ended + wait)
            }
            // The next one may fare better. This one is retried at growing intervals, and others of its alert wait.
            Trouble::Refused(_) => {
                let pause = back_off(self.refused, LONGEST_PAUSE);
                self.refused = self.refused.saturating_add(1);
                (ended + own_wait, ended + pause)
            }
        };
        logbook.failed(due.id, own);
        let soon = (began + randomized(LONGEST_WAIT_OF_ALARM)).max(ended + FIRST_WAIT);
        Some(if urgent { next.min(soon) } else { next })
    }
}

/// When the next try is due that was due at `next` after a post that ended in vain, if an urgent event comes now.
pub(super) fn brought_forward(ended: Moment, next: Moment, now: Moment) -> Moment {
    next.min((ended + PROBE_AFTER).max(now + READY_AFTER))
}

/// The wait after `failures` failures in a row, at most `longest`.
fn back_off(failures: u32, longest: Duration) -> Duration {
    randomized(FIRST_WAIT.saturating_mul(1 << failures.min(10)).min(longest))
}

/// A wait, a tenth more or less, so that several senders do not retry in step.
fn randomized(wait: Duration) -> Duration {
    // A hasher's seed is random.
    let random = RandomState::new().hash_one(wait) % 1000;
    wait.mul_f64(0.9 + 0.2 * (random as f64 / 1000.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_up_to_their_bound_and_differ() {
        for (failures, seconds) in [(0, 1.0), (3, 8.0), (6, 64.0), (7, 120.0), (40, 120.0)] {
            let wait = back_off(failures, LONGEST_WAIT).as_secs_f64();
            assert!((seconds * 0.9..=seconds * 1.1).contains(&wait), "{failures}: {wait}");
        }
        let several: std::collections::BTreeSet<Duration> =
            (0..20).map(|_| back_off(5, LONGEST_WAIT)).collect();
        assert!(several.len() > 10, "they would try in step");
    }

    #[test]
    fn a_flood_of_alarms_tries_a_receiver_once_in_two_seconds_and_one_alarm_is_tried_at_once() {
        let (ended, next) = (Moment::from_s(100.0), Moment::from_s(200.0));
        let tried_at = |now| brought_forward(ended, next, Moment::from_s(now)).as_s();
        assert_eq!([100.1, 101.0, 150.0].map(tried_at), [102.0, 102.0, 150.3]);
        assert_eq!(tried_at(199.9), 200.0, "never later than it would have been");
    }
}
