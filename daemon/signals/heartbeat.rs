//! A line that moves as long as the watch is stood: an outside relay that hears no change any more falls, and whoever
//! sleeps is woken by that.

use super::{Reporter, TRY_AGAIN};
use crate::clock::Clock;
use crate::gpio::Gpio as _;
use boat::GpioLine;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Notify;

/// The line changes no more often.
const HALF: Duration = Duration::from_millis(500);
/// Without a pass of the watch for so long the line is not active: a relay that looks at the level falls too.
const DEAD: Duration = Duration::from_secs(5);

/// Changes the line at the watch's finished passes, until dropped.
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
