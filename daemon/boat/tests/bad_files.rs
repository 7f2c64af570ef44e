//! Each bad boat file gives its messages, all of them; and no text whatever stops the reader.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a test reads fixtures, and stops where its footing is missing"
)]

use proptest::prelude::*;
use std::path::Path;

const BAD: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../fixtures/bad-boats");

#[test]
fn each_bad_file_gives_its_messages() {
    let mut files: Vec<_> = std::fs::read_dir(BAD).unwrap().map(|f| f.unwrap().path()).collect();
    files.retain(|f| f.extension().is_some_and(|e| e == "toml"));
    files.sort();
    assert!(files.len() >= 12, "{files:?}");
    let mut wrong = Vec::new();
    for file in files {
        let name = file.file_name().unwrap().to_str().unwrap();
        let said = said(&file, name);
        if said != std::fs::read_to_string(file.with_extension("txt")).unwrap_or_default() {
            wrong.push(format!("--- {name} says\n{said}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

fn said(file: &Path, name: &str) -> String {
    let read = boat::read(name, &std::fs::read_to_string(file).unwrap());
    format!("{}\n", read.map_or_else(|wrong| wrong, |(_, odd)| odd))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    #[test]
    fn a_file_cut_or_changed_anywhere_is_read_or_refused(at in 0.0..1.0, len in 0..40usize, put in "[ -~]{0,6}") {
        let good = boat::reference().to_string();
        let floor = |mut i: usize| { while !good.is_char_boundary(i) { i -= 1; } i };
        let at = (at * good.len() as f64) as usize;
        let (from, until) = (floor(at), floor((at + len).min(good.len())));
        let _ = boat::read("x", &format!("{}{put}{}", &good[..from], &good[until..]));
    }
}
