//! A made crowd as a boat hears it: class A under way (a report each 2 to 10 s) and moored (180 s), class B (30 s), heard by
//! two receivers that lose reports, beside a GPS receiver and instruments on wires of their own.

#![allow(dead_code, reason = "each bench takes what it needs of it")]

use scenario::{Scenario, What};
use std::fmt::Write;
use terms::{Moment, Utc};

/// A line as it comes: when, by which feed (its place among `Crowd::feeds`), and its text, without a TAG block.
pub struct Line {
    pub at: Moment,
    pub feed: usize,
    pub text: String,
}

/// What a boat hears of a number of ships.
pub struct Crowd {
    pub start: Utc,
    pub feeds: Vec<String>,
    pub lines: Vec<Line>,
}

impl Crowd {
    /// A number of ships for some minutes, laid out by a seed.
    pub fn of(ships: usize, minutes: u64, seed: u64) -> Self {
        let text = scenario_of(ships, minutes, seed);
        let scenario = Scenario::read("crowd.toml", &text).unwrap_or_else(|e| {
            eprintln!("{e}");
            std::process::exit(1);
        });
        let feeds: Vec<String> = scenario.feeds().map(str::to_owned).collect();
        let place = |name: &str| feeds.iter().position(|f| f == name).unwrap_or(0);
        let lines = scenario
            .play()
            .filter_map(|t| match t.what {
                What::Line { feed, line } => Some(Line { at: t.at, feed: place(feed), text: line }),
                What::Act(_) => None,
            })
            .collect();
        Self { start: scenario.start(), lines, feeds }
    }

    /// As a file: each line behind a TAG block with its feed and its UTC in milliseconds (IEC 61162-450).
    pub fn tagged(&self) -> String {
        let mut file = String::new();
        for line in &self.lines {
            let source = self.feeds.get(line.feed).map_or("", String::as_str);
            let tag = format!("s:{source},c:{}", self.start.0 + line.at.0);
            let sum = tag.bytes().fold(0, |sum, byte| sum ^ byte);
            let _ = write!(file, "\\{tag}*{sum:02X}\\{}\r\n", line.text);
        }
        file
    }
}

/// Three in ten are class B and one in ten is moored; all within 25 miles.
fn scenario_of(ships: usize, minutes: u64, seed: u64) -> String {
    let (class_b, moored) = (ships * 3 / 10, ships / 10);
    let under_way = ships - class_b - moored;
    let mut text = format!(
        r#"
version = 1
title = "A crowd"
start = "2026-05-01T03:00:00Z"
duration = "{minutes} min"
seed = {seed}
[own]
name = "WINDLESTRAW"
mmsi = "232990417"
position = "50°30.00′N 000°30.00′W"
course_deg = 60
speed_kn = 6
[[feed]]
name = "gps"
talker = "GP"
sentences = {{ RMC = "1 s" }}
gps_error_m = 3
[[feed]]
name = "instruments"
talker = "II"
sentences = {{ HDT = "1 s", VHW = "1 s", DPT = "1 s", MWV = "1 s" }}
[[depth]]
at = "0:00"
below_transducer_m = 40
[[wind]]
at = "0:00"
from_deg = 240
speed_kn = 14
[[feed]]
name = "ais"
talker = "AI"
hears = {{ probability = 0.85, range_nm = 40 }}
sentences = {{ VDO = "5 s" }}
[[feed]]
name = "ais2"
talker = "AI"
hears = {{ probability = 0.7, range_nm = 30 }}
[[traffic]]
count = {under_way}
first_mmsi = "538100000"
within_nm = 25
lanes_deg = [70, 250, 345, 165]
slowest_kn = 7
fastest_kn = 24
[[traffic]]
count = {class_b}
first_mmsi = "232100000"
within_nm = 25
lanes_deg = [20, 110, 200, 290]
slowest_kn = 2.5
fastest_kn = 12
class_b = 1
"#
    );
    for n in 0..moored {
        // Spread evenly over the disc by the golden angle.
        let (bearing, range) = ((n * 1375 / 10) % 360, 25.0 * ((n as f64 + 0.5) / moored as f64).sqrt());
        let _ = writeln!(
            text,
            "[[ship]]\nmmsi = \"{}\"\nclass = \"A\"\nname = \"MOORED {n}\"\nship_type = 70\nnav_status = 5\n\
             course_deg = 0\nspeed_kn = 0\nplace = {{ bearing_deg = {bearing}, range_nm = {range:.2} }}",
            636_000_000 + n
        );
    }
    text
}
