#![no_main]

#[path = "../checks/mod.rs"]
mod checks;

libfuzzer_sys::fuzz_target!(|text: &str| checks::board::check(text));
