#![no_main]

#[path = "../picture.rs"]
mod picture;

libfuzzer_sys::fuzz_target!(|data: &[u8]| picture::picture(data));
