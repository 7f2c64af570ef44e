//! What a line costs the whole watch, timers included, by the number of ships around: lines at their own times, class B,
//! losses, several feeds.
//!
//!     cargo bench --bench fleet

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a bench stops where its footing is missing, and takes the time"
)]

mod crowd;

use boat::Boat;
use crowd::Crowd;
use rules::Orders;
use std::sync::Arc;
use std::time::{Duration, Instant};
use terms::{FeedId, Moment};
use watch::{Begin, Effect, FeedSetting, Input, Silence, Watch};

/// Ships, minutes of them, and how many such fleets: few ships are not like other few.
const FLEETS: [(usize, u64, u64); 4] = [(10, 20, 16), (100, 20, 4), (1_000, 10, 1), (4_000, 6, 1)];
/// The picture fills before it is measured.
const FILLS: Moment = Moment(120_000);

fn main() {
    // Asked by `cargo test --benches` only to show that it builds.
    if std::env::args().any(|a| a == "--test") {
        return;
    }
    println!("cost of a line through the whole watch with the timers that run before it, best of three");
    let only: Option<usize> = std::env::args().filter_map(|a| a.parse().ok()).next();
    let mut of_ten = None;
    for (ships, minutes, fleets) in FLEETS.into_iter().filter(|f| only.is_none_or(|o| o == f.0)) {
        let crowds: Vec<Crowd> = (0..fleets).map(|seed| Crowd::of(ships, minutes, seed)).collect();
        let all = |_| {
            crowds.iter().fold(Measured::default(), |mut sum, crowd| {
                measure(crowd, &mut sum);
                sum
            })
        };
        let best = (0..3).map(all).min_by_key(|m| m.ais.spent + m.own.spent).unwrap();
        let ten = *of_ten.get_or_insert(best.ais.each());
        println!(
            "{ships:>5} ships: AIS {:>5.2} µs, {:.2} times that of ten ships; own vessel's {:>5.2} µs, all {:>5.2} µs; \
             {:.1} lines, {:.1} wakes and {:.2} events a second",
            best.ais.each(),
            best.ais.each() / ten,
            best.own.each(),
            (best.ais + best.own).each(),
            f64::from(best.ais.lines + best.own.lines) / best.seconds,
            f64::from(best.wakes) / best.seconds,
            f64::from(best.events) / best.seconds,
        );
    }
}

/// What lines have cost.
#[derive(Clone, Copy, Default)]
struct Cost {
    spent: Duration,
    lines: u32,
}

impl Cost {
    /// Microseconds a line.
    fn each(self) -> f64 {
        self.spent.as_secs_f64() * 1e6 / f64::from(self.lines.max(1))
    }
}

impl std::ops::Add for Cost {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { spent: self.spent + other.spent, lines: self.lines + other.lines }
    }
}

#[derive(Default)]
struct Measured {
    /// Lines of other stations.
    ais: Cost,
    /// Lines of own vessel's instruments and transmitter.
    own: Cost,
    wakes: u32,
    events: u32,
    seconds: f64,
}

fn measure(crowd: &Crowd, measured: &mut Measured) {
    let lines: Vec<(Moment, bool, Input)> = crowd
        .lines
        .iter()
        .map(|l| {
            let line = Input::Line(FeedId(l.feed as u16), l.text.parse().unwrap());
            (l.at, l.text.contains("!AIVDM"), line)
        })
        .collect();
    let feed = |name: &String| FeedSetting {
        name: name.clone(),
        checksum_optional: false,
        simulator: true,
        trusted: false,
        silent_after: Silence::After(Duration::from_secs(60)),
    };
    let mut watch = Watch::new(&Boat::default());
    let begin = Begin {
        begins: true,
        utc: Some(crowd.start),
        feeds: crowd.feeds.iter().map(feed).collect(),
        orders: Arc::new(Orders::read("ocean", rules::SHIPPED).unwrap()),
        ..Begin::default()
    };
    watch.take(Moment::ZERO, Input::Begin(Box::new(begin))).unwrap();
    let end = lines.last().map_or(FILLS, |l| l.0);
    measured.seconds += end.as_s() - FILLS.as_s();
    for (at, ais, line) in lines {
        let (mut wakes, start) = (0, Instant::now());
        // What `take` does first; by steps, to count them.
        while let Some(due) = watch.next_wake().filter(|due| *due <= at) {
            watch.advance(due);
            wakes += 1;
        }
        let _ = watch.take(at, line);
        let events = watch.effects().filter(|e| matches!(e, Effect::Event(..))).count();
        let spent = start.elapsed();
        if at >= FILLS {
            let cost = if ais { &mut measured.ais } else { &mut measured.own };
            *cost = *cost + Cost { spent, lines: 1 };
            measured.wakes += wakes;
            measured.events += events as u32;
        }
    }
}
