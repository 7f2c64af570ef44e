//! A line that changes level while the watch is stood. If it stops changing, an outside relay drops out and wakes
//! whoever sleeps.

use super::{Reporter, TRY_AGAIN};
use crate::clock::Clock;
use crate::gpio::Gpio as _;
use boat::GpioLine;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Notify;

/// Shortest time between two changes.
const HALF: Duration = Duration::from_millis(500);
/// If the watch makes no pass for this long, the line goes inactive, so that a relay which looks at the level drops out
/// too.
const DEAD: Duration = Duration::from_secs(5);

/// Changes the line as the watch finishes passes, until dropped.
pub(super) async fn run(line: GpioLine, passes: Arc<Notify>, mut reporter: Reporter) {
    loop {
        let mut output = match line.output() {
            Ok(output) => output,
            Err(e) => {
                reporter.report(Err(e.to_string()));
                tokio::time::sleep(TRY_AGAIN).await;
                continue;
            }
        };
        reporter.report(Ok(()));
        let (mut level, mut changed) = (false, Clock.now());
        loop {
            let passed = tokio::time::timeout(DEAD, passes.notified()).await.is_ok();
            let now = Clock.now();
            if passed && now.since(changed) < HALF {
                continue;
            }
            level = passed && !level;
            changed = now;
            if let Err(e) = output.set(level) {
                reporter.report(Err(e.to_string()));
                break;
            }
        }
    }
}
