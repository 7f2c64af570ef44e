//! What an order may cost at its worst, so that no file of orders can keep the watch from its work.
//!
//! Points stand for time and memory alike, by the weights below. They were measured with
//! `cargo run --profile deep -p watch --example orders` on two busy cores of a virtual machine (AMD EPYC), 1,000 ships:
//!
//! - a test judged about one subject takes 0.04 to 0.25 µs: one point;
//! - a judgement that falls due by time takes 0.3 to 1.6 µs, timers included: seven points for each one a second;
//! - an alert that stands takes 2 µs in each copy of all that must outlast a restart, and each event makes one;
//! - a window takes up to 4.6 kB for each subject, and own vessel's windows are in those copies too.
//!
//! At [`MOST_COST`] all orders are judged once about 4,000 ships in 0.2 s, what falls due by time or comes with the reports
//! of 4,000 ships takes at most a quarter of a core, some two thousand alerts stand, and what the orders remember takes
//! up to 80 MB.

use crate::board::{MOST_SUBJECTS, ONE_BY_ONE};
use crate::condition::{Measure, Test};
use crate::judge::{SOONEST_AHEAD, runs_down};
use crate::life::ALARM_REPEATS;
use crate::order::Order;
use crate::window::Window;
use std::time::Duration;
use terms::Whose;

/// Greatest cost of all orders of a file together, in points. The shipped files take up to a fifth of it.
pub const MOST_COST: u64 = 1_000_000;

/// A judgement a second that falls due by time alone.
const DUE_EACH_SECOND: f64 = 7.0;
/// An alert that may stand and is repeated every [`ALARM_REPEATS`] or less often.
const ALERT: f64 = 500.0;
/// The memory of a window about one subject.
const WINDOW: f64 = 72.0;
/// A window of own vessel, which is copied with all that must outlast a restart.
const WINDOW_KEPT: f64 = 2_500.0;
/// Most feeds of a boat.
const FEEDS: usize = 32;

/// What an order may cost at its worst, in points.
pub fn cost(order: &Order) -> u64 {
    // As many alerts as are announced one by one, and as many more that have ended and wait for an acknowledgement.
    let (subjects, alerts) = match order.each {
        Whose::Own => (1, 1),
        Whose::Target => (MOST_SUBJECTS, 2 * ONE_BY_ONE),
        Whose::Feed => (FEEDS, 2 * ONE_BY_ONE),
    };
    let about = subjects as f64;
    // One more that the order cannot be judged; of several subjects another for the crowd.
    let alerts = alerts + if order.each == Whose::Own { 1 } else { 2 };
    let repeats = order.repeats.unwrap_or(ALARM_REPEATS).min(ALARM_REPEATS);
    let windows: Vec<Duration> = order.tests.iter().filter_map(Test::window).collect();
    let each_second = order.tests.iter().map(due_each_second).fold(0.0, f64::max);
    let kept = if order.each == Whose::Own { WINDOW_KEPT } else { 0.0 };
    let points = about * order.tests.len() as f64
        + about * each_second * DUE_EACH_SECOND
        + windows.len() as f64 * (about * WINDOW + kept)
        + alerts as f64 * ALERT * (ALARM_REPEATS.as_secs_f64() / repeats.as_secs_f64().max(1.0));
    points.ceil() as u64
}

/// How often a test about one subject falls due by time alone, at most.
fn due_each_second(test: &Test) -> f64 {
    match (test.window(), &test.measure) {
        (Some(length), _) => 1.0 / Window::new(length).width().as_secs_f64().max(0.001),
        (_, Measure::Quantity(q)) if runs_down(*q) => 1.0 / SOONEST_AHEAD.as_secs_f64(),
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Orders, SHIPPED};

    fn points(order: &str) -> u64 {
        let text = format!("version = 1\n[[order]]\nname = \"x\"\npriority = \"alarm\"\n{order}\n");
        let orders = Orders::read("x", &text).unwrap_or_else(|p| panic!("{p}"));
        orders.cost()
    }

    #[test]
    fn the_shipped_orders_take_two_thirds_of_what_is_allowed() {
        let cost = Orders::read("passage", SHIPPED).unwrap().cost();
        assert!(cost < MOST_COST * 2 / 3, "{cost}");
    }

    #[test]
    fn what_must_be_judged_often_or_remembered_costs_more() {
        let own = points("when = \"SOG is over 5 kn\"");
        let all = "all = [\"SOG is over 5 kn\", \"SOG is over 6 kn\"]";
        assert_eq!(own, 1 + 2 * 500);
        assert_eq!(points(&format!("when = {{ {all} }}")), own + 1);
        assert_eq!(points("when = \"SOG is over 5 kn\"\nrepeats = \"5 s\""), 1 + 12 * 2 * 500);
        assert_eq!(points("when = \"SOG rises 3 kn in 32 min\""), own + 72 + 2_500 + 1);
        assert_eq!(points("when = \"SOG rises 3 kn in 1 s\""), own + 72 + 2_500 + 224);
        let target = points("each = \"target\"\nwhen = \"range is under 1 nm\"");
        assert_eq!(target, 4096 + 18 * 500);
        let ten_seconds = points("each = \"target\"\nwhen = \"range falls 1 nm in 10 s\"");
        assert_eq!(ten_seconds, target + 4096 * 72 + 91_751);
    }
}
