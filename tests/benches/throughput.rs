//! Lines a second of `replay` with tracking, orders and logbook on, beside nmea-parser decoding the same lines and
//! nothing else, in one run.
//!
//!     cargo bench --bench throughput

use scenario::{Scenario, What};
use std::fmt::Write;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::process::{Command, Stdio};
use std::time::Instant;

/// Ships in sight, hours of watch.
const SHIPS: u32 = 200;
const HOURS: u32 = 3;

/// A busy strait: own vessel crosses, ships go both ways, each on a course and at a speed of her own.
fn strait() -> String {
    let mut s = format!(
        "version = 1\ntitle = \"strait\"\nstart = \"2026-09-14T22:00:00Z\"\nduration = \"{HOURS}:00\"\nseed = 7\n\
         [own]\nname = \"BENCH\"\nmmsi = 232990417\nclass = \"B\"\nposition = \"50°00.00′N 001°00.00′W\"\n\
         course_deg = 10\nspeed_kn = 6.0\nturn_deg_min = 180\nyaw_deg = 4\nyaw_period_s = 7\nvariation_deg = -1.5\n\
         [[wind]]\nat = \"0:00\"\nfrom_deg = 300\nspeed_kn = 14\n[[depth]]\nat = \"0:00\"\nbelow_transducer_m = 40\n\
         [instruments]\nsounder_range_m = 120\n\
         [[feed]]\nname = \"bus\"\ntalker = \"GP\"\nsentences = {{ RMC = 1, GGA = 1, HDG = 1, VHW = 1, DPT = 1, MWV = 1 }}\n\
         [[feed]]\nname = \"ais\"\ntalker = \"AI\"\nhears = {{ probability = 0.95, range_nm = 40 }}\nsentences = {{ VDO = 5 }}\n"
    );
    for n in 0..SHIPS {
        let (lat, lon) = (49.0 + f64::from(n * 37 % 100) * 0.02, -2.0 + f64::from(n * 61 % 100) * 0.02);
        let course = if n % 2 == 0 { 70 + n % 9 } else { 250 + n % 9 };
        let _ = write!(
            s,
            "[[ship]]\nmmsi = {}\nname = \"SHIP {n}\"\nclass = \"{}\"\ntype = 70\nposition = \"{:02}°{:05.2}′N {:03}°{:05.2}′W\"\n\
             course_deg = {course}\nspeed_kn = {}\n",
            230_000_000 + n,
            if n % 5 == 0 { "B" } else { "A" },
            lat as u32,
            lat.fract() * 60.0,
            (-lon) as u32,
            (-lon).fract() * 60.0,
            6 + n % 14
        );
    }
    s
}

fn main() {
    // Asked by `cargo test --benches` only to show that it builds.
    if std::env::args().any(|a| a == "--test") {
        return;
    }
    let scenario = match Scenario::read("strait", &strait()) {
        Ok(s) => s,
        Err(e) => {
            eprintln!("{e}");
            std::process::exit(1);
        }
    };
    let lines: Vec<String> = scenario
        .play()
        .filter_map(|t| if let What::Line { line, .. } = t.what { Some(line) } else { None })
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
    println!("{} lines, {SHIPS} ships, {HOURS} h; best of three", lines.len());
    println!("replay with tracking, orders and logbook: {:>9.0} lines/s", rate(best[0]));
    println!("nmea-parser decoding alone:               {:>9.0} lines/s", rate(best[1]));
    println!("ratio {:.2}", best[1] / best[0]);
}
