//! Diagnostics that spare the disk. Writes at most [`A_MINUTE`] lines a minute of one kind (one place in the code),
//! then reports how many it left out. What matters is in the logbook as well.

use crate::clock::Clock;
use std::collections::BTreeMap;
use std::io::Write;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;
use terms::Moment;
use tracing::Metadata;
use tracing_subscriber::fmt::MakeWriter;
use tracing_subscriber::fmt::writer::OptionalWriter;

/// Most lines of one kind in a minute.
const A_MINUTE: u32 = 20;
const MINUTE: Duration = Duration::from_secs(60);

/// How often one kind of line was written recently.
#[derive(Debug, Clone, Copy)]
struct Tally {
    since: Moment,
    written: u32,
    left_out: u64,
}

/// Where lines go, and how often each kind was written recently. There are as many kinds as places in the code.
pub struct Sparing<M> {
    to: M,
    now: fn() -> Moment,
    kinds: Mutex<BTreeMap<&'static str, Tally>>,
}

impl<M> Sparing<M> {
    /// Spares `to`.
    pub fn new(to: M) -> Self {
        Self { to, now: || Clock.now(), kinds: Mutex::default() }
    }

    /// Where to write another line of a kind, if allowed, and a remark to write first about those left out.
    pub fn admitted(&self, kind: &'static str) -> Result<(&M, Option<String>), ()> {
        let now = (self.now)();
        // Nothing under this lock can panic, and a half-written tally is still a tally.
        let mut kinds = self.kinds.lock().unwrap_or_else(PoisonError::into_inner);
        let tally = kinds.entry(kind).or_insert(Tally { since: now, written: 0, left_out: 0 });
        let mut left_out = 0;
        if now.since(tally.since) >= MINUTE {
            left_out = tally.left_out;
            *tally = Tally { since: now, written: 0, left_out: 0 };
        }
        if tally.written >= A_MINUTE {
            tally.left_out += 1;
            return Err(());
        }
        tally.written += 1;
        let words = (left_out > 0).then(|| format!("{left_out} lines like the next one were left out"));
        Ok((&self.to, words))
    }
}

impl<'a, M: MakeWriter<'a>> MakeWriter<'a> for Sparing<M> {
    type Writer = OptionalWriter<M::Writer>;

    fn make_writer(&'a self) -> Self::Writer {
        OptionalWriter::some(self.to.make_writer())
    }

    fn make_writer_for(&'a self, line: &Metadata<'_>) -> Self::Writer {
        // A line's name is its place in the code.
        let Ok((to, left_out)) = self.admitted(line.name()) else { return OptionalWriter::none() };
        if let Some(words) = left_out {
            // If standard error is gone, nobody is left to report to.
            let _ = to.make_writer_for(line).write_all(format!("{words}\n").as_bytes());
        }
        OptionalWriter::some(to.make_writer_for(line))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::tests::Kept;
    use super::*;
    use std::sync::atomic::{AtomicI64, Ordering};

    static NOW: AtomicI64 = AtomicI64::new(0);

    #[test]
    fn a_fault_that_goes_on_for_a_week_fills_no_disk() {
        let kept = Kept::default();
        let to = kept.clone();
        let sparing =
            Sparing { now: || Moment(NOW.load(Ordering::Relaxed)), ..Sparing::new(move || to.clone()) };
        let all = tracing_subscriber::fmt().with_writer(sparing).with_ansi(false).finish();
        tracing::subscriber::with_default(all, || {
            for s in 0..600 {
                NOW.store(s * 1000, Ordering::Relaxed);
                (0..10).for_each(|_| tracing::warn!(s, "a wire fails"));
                if s % 100 == 0 {
                    tracing::info!("another kind");
                }
            }
        });
        let told = kept.text();
        let count = |what: &str| told.lines().filter(|l| l.contains(what)).count();
        // Ten minutes at ten lines a second.
        assert_eq!(count("a wire fails"), 200, "{told}");
        assert_eq!(count("580 lines like the next one were left out"), 9, "{told}");
        assert_eq!(count("another kind"), 6, "{told}");
    }
}
