#![no_main]

#[path = "../checks/mod.rs"]
mod checks;

libfuzzer_sys::fuzz_target!(|job: &[u8]| checks::reader::check(job));
