//! For any input, the reader returns records, or problems with a position in the file.

#![no_main]

#[path = "../src/holds.rs"]
mod holds;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Err(why) = holds::check(bytes) {
        panic!("{why}");
    }
});
