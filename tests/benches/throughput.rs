//! Lines a second of `replay` with tracking, orders and logbook on, beside nmea-parser decoding the same lines and
//! nothing else, in one run. The lines are a crowd's, each with its feed and its time in a TAG block.
//!
//!     cargo bench --bench throughput

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a bench stops where its footing is missing, and takes the time"
)]

mod crowd;

use crowd::Crowd;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::process::{Command, Stdio};
use std::time::Instant;

const SHIPS: usize = 1_000;
const MINUTES: u64 = 20;

fn main() {
    // Asked by `cargo test --benches` only to show that it builds.
    if std::env::args().any(|a| a == "--test") {
        return;
    }
    let crowd = Crowd::of(SHIPS, MINUTES, 1000);
    let folder = std::env::temp_dir().join(format!("mw-bench-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let file = folder.join("crowd.nmea");
    std::fs::write(&file, crowd.tagged()).unwrap();

    let mut best = [f64::INFINITY; 3];
    for _ in 0..3 {
        for (best, logbook) in best.iter_mut().zip([true, false]) {
            let start = Instant::now();
            let mut command = Command::new(env!("CARGO_BIN_EXE_middlewatch"));
            command.args(["replay", "--json"]);
            if logbook {
                command.arg("--logbook").arg(folder.join("logbook.db"));
            }
            let status = command.arg(&file).stdout(Stdio::null()).stderr(Stdio::null()).status().unwrap();
            assert!(status.success());
            *best = best.min(start.elapsed().as_secs_f64());
        }

        let start = Instant::now();
        let mut parser = nmea_parser::NmeaParser::new();
        let mut taken = 0u32;
        for line in &crowd.lines {
            // It panics on some input; the made lines are none of it, but one in a hundred thousand must not end the bench.
            let parsed = catch_unwind(AssertUnwindSafe(|| parser.parse_sentence(&line.text).is_ok()));
            taken += u32::from(parsed.unwrap_or(false));
        }
        best[2] = best[2].min(start.elapsed().as_secs_f64());
        assert!(taken > 0);
    }
    let _ = std::fs::remove_dir_all(&folder);
    let tell = |what: &str, s: f64| {
        let rate = crowd.lines.len() as f64 / s;
        println!("{what} {rate:>9.0} lines/s, {:.2} of nmea-parser's", best[2] / s);
    };
    println!("{} lines of {SHIPS} ships in {MINUTES} minutes; best of three", crowd.lines.len());
    tell("replay with tracking, orders and logbook:   ", best[0]);
    tell("replay with tracking and orders, no logbook:", best[1]);
    tell("nmea-parser decoding alone:                 ", best[2]);
}
