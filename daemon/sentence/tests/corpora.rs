//! Replays the corpora of the fuzz targets on stable: what a fuzzer has found once stays found.

#[path = "../../../tests/fuzz/sentences.rs"]
mod sentences;

/// Every file of a corpus.
fn replay(target: &str, run: fn(&[u8])) {
    let folder = format!("{}/../../tests/fuzz/corpus/{target}", env!("CARGO_MANIFEST_DIR"));
    let files = std::fs::read_dir(&folder).unwrap_or_else(|why| panic!("{folder}: {why}"));
    let mut count = 0;
    for file in files.flatten() {
        run(&std::fs::read(file.path()).unwrap_or_default());
        count += 1;
    }
    assert!(count > 0, "{folder} is empty");
}

#[test]
fn framing() {
    replay("framing", sentences::framing);
}

#[test]
fn reassembly() {
    replay("reassembly", sentences::reassembly);
}

#[test]
fn decoding() {
    replay("decoding", sentences::decoding);
}
