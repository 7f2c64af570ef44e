//! Replays the corpus of the fuzz target `picture` on stable: lines to the picture, whatever the lines.

#[path = "fuzz/picture.rs"]
mod picture;

#[test]
fn lines_to_the_picture() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/fuzz/corpus/picture");
    let files = std::fs::read_dir(folder).unwrap_or_else(|why| panic!("{folder}: {why}"));
    let mut count = 0;
    for file in files.flatten() {
        picture::picture(&std::fs::read(file.path()).unwrap_or_default());
        count += 1;
    }
    assert!(count > 0, "{folder} is empty");
}
