#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| bolster_link_fuzz::station(bytes));
