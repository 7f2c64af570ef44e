//! Each bad scenario file gives its messages, all of them; and no text whatever stops the reader. With `WRITE_EXPECTED`
//! set, the messages are written instead of compared; read the difference before committing it.

use proptest::prelude::*;
use scenario::Scenario;
use std::path::Path;

const BAD: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/bad-scenarios");
const GOOD: &str = include_str!("../../../fixtures/night-passage.toml");

#[test]
fn each_bad_file_gives_its_messages() {
    let mut files: Vec<_> = std::fs::read_dir(BAD).unwrap().map(|f| f.unwrap().path()).collect();
    files.retain(|f| f.extension().is_some_and(|e| e == "toml"));
    files.sort();
    assert!(files.len() >= 9, "{files:?}");
    let mut wrong = Vec::new();
    for file in files {
        let name = file.file_name().unwrap().to_str().unwrap();
        let told = told(&file, name);
        if std::env::var_os("WRITE_EXPECTED").is_some() {
            std::fs::write(file.with_extension("txt"), &told).unwrap();
        }
        if told != std::fs::read_to_string(file.with_extension("txt")).unwrap_or_default() {
            wrong.push(format!("--- {name} tells\n{told}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_reference_is_a_scenario_but_for_keys_that_exclude_each_other() {
    let text = Scenario::reference().to_string();
    let told = Scenario::read("x", &text).err().map_or(String::new(), |p| p.to_string());
    let told: Vec<&str> =
        told.lines().filter_map(|l| l.strip_prefix("x:")?.split_once(": ")).map(|l| l.1).collect();
    let expected = [
        "a leg has either `course_deg` or `toward`",
        "`place` has either `position`, or `bearing_deg` and `range_nm` from own vessel",
    ];
    assert_eq!(told, expected, "{text}");
}

fn told(file: &Path, name: &str) -> String {
    let problems = Scenario::read(name, &std::fs::read_to_string(file).unwrap()).err();
    problems.map_or(String::new(), |p| format!("{p}\n"))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn a_file_cut_or_changed_anywhere_is_read_or_refused(at in 0..GOOD.len(), len in 0..40usize, put in "[ -~]{0,6}") {
        let floor = |mut i: usize| { while !GOOD.is_char_boundary(i) { i -= 1; } i };
        let (from, until) = (floor(at), floor((at + len).min(GOOD.len())));
        let text = format!("{}{put}{}", &GOOD[..from], &GOOD[until..]);
        if let Ok(scenario) = Scenario::read("x", &text) {
            // The first lines are enough to show that it plays.
            prop_assert!(scenario.play().take(50).is_sorted_by_key(|t| t.at));
        }
    }
}
