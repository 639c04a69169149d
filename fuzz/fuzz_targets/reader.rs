//! Whatever comes in, the reader answers with records or with problems that have a place in the file.

#![no_main]

#[path = "../src/holds.rs"]
mod holds;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Err(why) = holds::check(bytes) {
        panic!("{why}");
    }
});
