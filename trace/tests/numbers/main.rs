//! Numbers through functions: records in, values out, against published figures. The binary is never started.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and prints what it measured or skipped"
)]

mod evidence;
mod intervals;
mod models;
mod read;
mod results;
mod scores;
mod transfers;
mod uncertainty;
mod units;

/// The tests in a file without a `mod` line would never run.
#[test]
fn every_file_is_a_module() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/numbers");
    let main = std::fs::read_to_string(folder.join("main.rs")).unwrap();
    for entry in std::fs::read_dir(&folder).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if let Some(stem) = name.strip_suffix(".rs").filter(|stem| *stem != "main") {
            assert!(main.contains(&format!("\nmod {stem};\n")), "tests/numbers/{name} is not in main.rs");
        }
    }
}
