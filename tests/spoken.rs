//! What a voice says: short enough, side before distance, and the same event as the text beside it.

use crate::aboard::{Folder, text, verb};
use rules::{BuiltIn, Orders, SHIPPED};
use serde_json::Value;
use std::path::Path;
use std::process::Command;
use terms::speech::{MOST_WORDS, words};

/// Eight seconds at 150 words a minute.
const LONGEST_S: f64 = 8.0;

fn root(path: &str) -> String {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path).display().to_string()
}

/// Priority and spoken line of every event of the fixtures that calls.
fn spoken_lines() -> Vec<(String, String, String)> {
    let boat = root("fixtures/windlestraw.toml");
    let orders = root("rules/orders/passage.toml");
    let mut said = Vec::new();
    for scenario in ["night-passage", "at-anchor", "coast-traffic"] {
        let input = root(&format!("fixtures/{scenario}.toml"));
        let out = verb(&["replay", "--json", "--config", &boat, "--orders", &orders, &input]);
        assert!(out.status.success(), "{}", text(&out.stderr));
        for line in text(&out.stdout).lines() {
            let event: Value = serde_json::from_str(line).unwrap();
            let part = |name: &str| event["alert"][name].as_str().unwrap_or_default().to_owned();
            if matches!(event["event"].as_str(), Some("raised" | "repeated" | "escalated" | "noted")) {
                said.push((part("priority"), part("spoken"), part("text")));
            }
        }
    }
    said
}

#[test]
fn no_spoken_line_has_more_than_twenty_words() {
    for built_in in BuiltIn::ALL {
        assert!(words(built_in.aloud()) <= 8, "{built_in:?}");
    }
    let lines = spoken_lines();
    assert!(lines.len() > 50);
    for (priority, spoken, text) in &lines {
        assert!((1..=MOST_WORDS).contains(&words(spoken)), "{priority}: {spoken} ({text})");
        // Units and signs are written; a voice would read letters.
        let unspeakable = |c: char| c.is_ascii_digit() || "°/:".contains(c);
        assert!(priority == "notice" || !spoken.contains(unspeakable), "{spoken} ({text})");
    }
}

#[test]
fn a_ship_is_called_by_side_then_distance_then_what_she_does() {
    let lines = spoken_lines();
    let ship = lines.iter().find(|(_, _, text)| text.contains("CPA")).unwrap();
    let (before, passes) = ship.1.split_once(". Passes ").unwrap_or_else(|| panic!("{}", ship.1));
    assert!(
        before.starts_with("Ship, ") && (before.ends_with("miles") || before.ends_with("mile")),
        "{before}"
    );
    assert!(
        passes.contains(" in ") && (passes.ends_with("minutes.") || passes.ends_with("minute.")),
        "{passes}"
    );
    let overboard = lines.iter().find(|(priority, ..)| priority == "emergency alarm").unwrap();
    assert!(overboard.1.starts_with("Man overboard, "), "{}", overboard.1);
    let sides = ["Ahead", "Astern", "On the", "degrees on the", "Close by", "Position not known"];
    assert!(sides.iter().any(|side| overboard.1.contains(side)), "{}", overboard.1);
}

#[test]
fn an_order_may_say_it_in_its_own_words() {
    let order = |say: &str| {
        let text = format!(
            "version = 1\n[[order]]\nname = \"shoal\"\npriority = \"alarm\"\nwhen = \"depth below keel is under 3 m\"\n\
             text = \"Depth {{depth below keel}}\"\nsay = \"{say}\"\n"
        );
        Orders::read("orders.toml", &text)
    };
    assert!(order("Turn out. {depth below keel} under her.").is_ok());
    let long = order(&"one two three four five six ".repeat(4)).unwrap_err().to_string();
    assert!(long.contains("too long to be spoken"), "{long}");
    assert!(order("{SOG of nobody}").is_err());
    assert!(Orders::read("passage.toml", SHIPPED).is_ok());
}

/// Prints how long each line takes, longest last.
#[test]
#[ignore = "needs espeak-ng, which is no part of the build"]
fn a_synthesiser_speaks_every_line_within_eight_seconds() {
    let folder = Folder::new("spoken");
    let wave = folder.0.join("said.wav");
    let mut lines: Vec<String> =
        spoken_lines().into_iter().filter(|l| l.0 != "notice").map(|l| l.1).collect();
    lines.extend(BuiltIn::ALL.map(|b| b.aloud().to_owned()));
    lines.sort();
    lines.dedup();
    let seconds = |line: &str| {
        let done = Command::new("espeak-ng").args(["-s", "150", "-w"]).arg(&wave).arg(line).status().unwrap();
        assert!(done.success());
        // 16 bits, one channel, 22,050 a second, behind 44 bytes of head.
        (std::fs::metadata(&wave).unwrap().len() - 44) as f64 / 44_100.0
    };
    let mut timed: Vec<(f64, String)> = lines.into_iter().map(|l| (seconds(&l), l)).collect();
    timed.sort_by(|a, b| a.0.total_cmp(&b.0));
    timed.iter().for_each(|(s, line)| println!("{s:4.1} s  {line}"));
    let (longest, line) = timed.last().unwrap();
    assert!(*longest <= LONGEST_S, "{longest:.1} s: {line}");
}
