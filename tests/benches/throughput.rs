//! Lines a second of `replay` with tracking, orders and logbook on, beside nmea-parser decoding the same lines and
//! nothing else, in one run.
//!
//!     cargo bench --bench throughput

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a bench stops where its footing is missing, and takes the time"
)]

use scenario::{Scenario, What};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::process::{Command, Stdio};
use std::time::Instant;

fn main() {
    // Asked by `cargo test --benches` only to show that it builds.
    if std::env::args().any(|a| a == "--test") {
        return;
    }
    let scenario = match Scenario::read("busy-strait.toml", include_str!("../../fixtures/busy-strait.toml")) {
        Ok(s) => s,
        Err(e) => {
            eprintln!("{e}");
            std::process::exit(1);
        }
    };
    let lines: Vec<String> = scenario
        .play()
        .filter_map(|t| if let What::Line { line, .. } = t.what { Some(line) } else { None })
        // TAG blocks are none of nmea-parser's business.
        .map(|l| l.rsplit('\\').next().unwrap_or_default().to_owned())
        .collect();
    let folder = std::env::temp_dir().join(format!("mw-bench-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let file = folder.join("strait.txt");
    std::fs::write(&file, lines.join("\r\n") + "\r\n").unwrap();

    let mut best = [f64::INFINITY; 2];
    for _ in 0..3 {
        let start = Instant::now();
        let status = Command::new(env!("CARGO_BIN_EXE_middlewatch"))
            .args(["replay", "--json", "--logbook"])
            .arg(folder.join("logbook.db"))
            .arg(&file)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .unwrap();
        assert!(status.success());
        best[0] = best[0].min(start.elapsed().as_secs_f64());

        let start = Instant::now();
        let mut parser = nmea_parser::NmeaParser::new();
        let mut taken = 0u32;
        for line in &lines {
            // It panics on some input; the made lines are none of it, but one in a hundred thousand must not end the bench.
            let parsed = catch_unwind(AssertUnwindSafe(|| parser.parse_sentence(line).is_ok()));
            taken += u32::from(parsed.unwrap_or(false));
        }
        best[1] = best[1].min(start.elapsed().as_secs_f64());
        assert!(taken > 0);
    }
    let _ = std::fs::remove_dir_all(&folder);
    let rate = |s: f64| lines.len() as f64 / s;
    println!("{} lines of fixtures/busy-strait.toml; best of three", lines.len());
    println!("replay with tracking, orders and logbook: {:>9.0} lines/s", rate(best[0]));
    println!("nmea-parser decoding alone:               {:>9.0} lines/s", rate(best[1]));
    println!("ratio {:.2}", best[1] / best[0]);
}
