//! Replays what the fuzz target `orders` found on its way, and every orders file of the project, on stable.

#[path = "../../tests/fuzz/orders.rs"]
mod orders;

use std::fs;
use std::path::Path;

#[test]
fn every_file_of_the_corpus_is_judged() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut seen = 0;
    for folder in ["rules/orders", "fixtures/orders", "tests/fuzz/corpus/orders"] {
        for entry in fs::read_dir(root.join(folder)).unwrap() {
            orders::orders(&fs::read(entry.unwrap().path()).unwrap());
            seen += 1;
        }
    }
    assert!(seen > 200, "only {seen} files");
}
