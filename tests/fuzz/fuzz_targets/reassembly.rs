#![no_main]

#[path = "../sentences.rs"]
mod sentences;

libfuzzer_sys::fuzz_target!(|data: &[u8]| sentences::reassembly(data));
