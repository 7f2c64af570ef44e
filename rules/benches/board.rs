//! How long the board takes for a change, with few orders and with as many as may be, and how long a large file takes to read.
//! Prints nanoseconds; run with `cargo bench -p rules`.
#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    clippy::panic,
    clippy::expect_used,
    reason = "a bench takes the time, prints, and stops where its footing is missing"
)]

#[path = "../tests/table/mod.rs"]
mod table;

use std::fmt::Write;
use std::time::Instant;
use table::Table;
use terms::{Mmsi, Quantity as Q, Subject};

/// So many orders, of which each tenth is about targets, a third about SOG, the rest about other quantities.
fn orders(count: usize) -> String {
    let mut out = String::new();
    for i in 0..count {
        let (each, when) = match i % 30 {
            0..3 => (
                "target",
                format!(
                    "{{ all = [\"CPA is under 0.{i:06} nm\", \"TCPA is between 0 min and 20 min\", \"SOG is over 1 kn\"] }}"
                ),
            ),
            3..13 => ("own vessel", format!("\"SOG is over {}.{:03} kn\"", 50 + i % 7, i % 1000)),
            13..16 => ("own vessel", "\"pressure falls quickly\"".to_owned()),
            16..20 => ("own vessel", "\"heading is off its mean over 5 min by 40 deg\"".to_owned()),
            _ => ("own vessel", format!("\"depth below keel is under 0.{:03} m\"", i % 1000)),
        };
        let _ = write!(
            out,
            "[[order]]\nname = \"order {i}\"\neach = \"{each}\"\npriority = \"warning\"\npatience = \"never\"\nwhen = {when}\n"
        );
    }
    out
}

fn each(name: &str, times: u32, mut act: impl FnMut(u32)) {
    let begin = Instant::now();
    (0..times).for_each(&mut act);
    println!("{name}: {:.0} ns", begin.elapsed().as_nanos() as f64 / f64::from(times));
}

fn ship(n: u32) -> Subject {
    Mmsi::new(230_000_000 + n).map_or(Subject::OwnVessel, Subject::Target)
}

fn main() {
    for count in [30, 140] {
        let text = orders(count);
        let file = format!("version = 1\n{text}");
        let begin = Instant::now();
        let read = rules::Orders::read("bench", &file).expect("the bench's own orders are sound");
        println!(
            "{count} orders ({} kB) read: {:.1} ms",
            file.len() / 1000,
            begin.elapsed().as_secs_f64() * 1e3
        );
        drop(read);
        let mut t = Table::with(&text);
        t.set(Subject::OwnVessel, Q::Sog, 6.0);
        for n in 0..500 {
            t.set(ship(n), Q::Tcpa, 600.0).set(ship(n), Q::Cpa, 2.0 + f64::from(n) / 1000.0);
        }
        t.told();
        each(&format!("{count} orders, 500 targets: a CPA changes"), 2000, |i| {
            t.set(ship(i % 500), Q::Cpa, 2.0 + f64::from(i) / 10_000.0);
        });
        each(&format!("{count} orders, 500 targets: own SOG changes, its truths do not"), 2000, |i| {
            t.set(Subject::OwnVessel, Q::Sog, 6.0 + f64::from(i % 10) / 10.0);
        });
        each(
            &format!("{count} orders, 500 targets: own SOG changes what is true for all targets"),
            20,
            |i| {
                t.set(Subject::OwnVessel, Q::Sog, if i % 2 == 0 { 0.5 } else { 6.0 });
            },
        );
        each(&format!("{count} orders: a quantity nobody asks for changes"), 20_000, |i| {
            t.set(Subject::OwnVessel, Q::WaterTemperature, f64::from(i % 10));
        });
        each(&format!("{count} orders: a heading into windows of 5 min"), 2000, |i| {
            t.now_s += 0.1;
            t.set(Subject::OwnVessel, Q::Heading, f64::from(i % 10));
        });
        each(&format!("{count} orders: a second passes"), 200, |_| {
            t.pass(1.0);
        });
        assert!(t.told().is_empty(), "the bench calls nobody");
    }
}
