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
    let passage = root("rules/orders/passage.toml");
    let own = root("fixtures/windlestraw-orders.toml");
    let mut said = Vec::new();
    for (scenario, orders) in [
        ("night-passage", &passage),
        ("night-passage", &own),
        ("at-anchor", &passage),
        ("coast-traffic", &passage),
        ("every-kind", &passage),
        ("every-kind", &own),
    ] {
        let input = root(&format!("fixtures/{scenario}.toml"));
        let out = verb(&["replay", "--json", "--config", &boat, "--orders", orders, &input]);
        assert!(out.status.success(), "{}", text(&out.stderr));
        for line in text(&out.stdout).lines() {
            let event: Value = serde_json::from_str(line).unwrap();
            let part = |name: &str| event["alert"][name].as_str().unwrap_or_default().to_owned();
            if matches!(
                event["event"].as_str(),
                Some("raised" | "repeated" | "escalated" | "noted" | "guidance")
            ) {
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
        // Letters that a voice would spell: "en-em" is no mile.
        let spelled = ["nm", "kn", "m", "min", "CPA", "TCPA", "COG", "SOG", "MMSI", "hPa"];
        let word = |w: &str| spelled.contains(&w.trim_matches(|c: char| !c.is_alphabetic()));
        assert!(priority == "notice" || !spoken.split_whitespace().any(word), "{spoken} ({text})");
        assert!(!spoken.contains("degrees on the port quarter") && !spoken.contains("abaft"), "{spoken}");
    }
}

/// What no seaman says, or what another word says already. Read by no voice, they are banned from what is written, too.
const NOT_SAID: [&str; 12] = [
    "dead ahead",
    "dead astern",
    "abaft",
    "foretold",
    "no longer heard",
    "heard no more",
    " was told",
    " tells ",
    "stands for",
    "serves for",
    "passed at",
    "passes at",
];

#[test]
fn what_is_written_has_one_word_for_one_thing() {
    let mut lines: Vec<String> =
        spoken_lines().into_iter().flat_map(|(_, spoken, text)| [spoken, text]).collect();
    let orders = std::fs::read_to_string(root("rules/orders/passage.toml")).unwrap();
    let texts = |l: &&str| l.starts_with("text = ") || l.starts_with("say = ");
    lines.extend(orders.lines().filter(texts).map(str::to_owned));
    lines.extend(BuiltIn::ALL.map(|b| b.aloud().to_owned()));
    for verb_help in [&["--help"][..], &["casualty", "--help"], &["declare", "--help"], &["review", "--help"]]
    {
        lines.push(text(&verb(verb_help).stdout));
    }
    let folder = Folder::new("written");
    let logbook = folder.logbook();
    let (boat, input) = (root("fixtures/windlestraw.toml"), root("fixtures/night-passage.toml"));
    let kept = logbook.display().to_string();
    assert!(verb(&["replay", "--config", &boat, "--logbook", &kept, &input]).status.success());
    for more in [&[][..], &["--deck-log"]] {
        let out = verb(&[&["review", "--logbook", &kept], more].concat());
        assert!(out.status.success(), "{}", text(&out.stderr));
        lines.extend(text(&out.stdout).lines().map(str::to_owned));
    }
    for line in &lines {
        println!("{line}");
        NOT_SAID.iter().for_each(|no| assert!(!line.contains(no), "`{no}` in `{line}`"));
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
