//! The house rules that no compiler holds: what a room of this project may know, and what it must not do.

use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn entries(folder: &Path) -> Vec<PathBuf> {
    let mut all: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    all.sort();
    all
}

#[test]
fn every_test_file_is_a_module_of_this_program() {
    let tests = root().join("tests");
    let main = std::fs::read_to_string(tests.join("main.rs")).unwrap();
    for path in entries(&tests) {
        let name = path.file_stem().unwrap().to_str().unwrap();
        let is_file = path.extension().is_some_and(|e| e == "rs") && name != "main";
        if is_file || path.join("mod.rs").is_file() {
            let declared = main.lines().filter(|l| *l == format!("mod {name};")).count();
            assert_eq!(declared, 1, "tests/main.rs must say `mod {name};`");
        }
    }
}
