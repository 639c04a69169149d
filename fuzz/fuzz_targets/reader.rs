//! Whatever comes in, the reader answers with records or with problems that have a place, and its two ways agree.

#![no_main]

#[path = "../src/agree.rs"]
mod agree;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Err(why) = agree::holds(bytes) {
        panic!("{why}");
    }
});
