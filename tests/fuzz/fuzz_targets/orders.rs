#![no_main]

#[path = "../orders.rs"]
mod orders;

libfuzzer_sys::fuzz_target!(|data: &[u8]| orders::orders(data));
