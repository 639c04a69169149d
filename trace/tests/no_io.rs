//! Files, processes and git are used in `trace/src/git` only: all other code works on data in memory.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use std::path::{Path, PathBuf};

/// Words of code that reads or writes outside of memory, joined from parts, so that this file has none of them.
fn forbidden() -> Vec<String> {
    let modules = ["fs", "process", "env", "net"].map(|name| format!("std::{name}"));
    let grouped = ["fs", "process", "env", "net"].map(|name| format!("std::{{{name}"));
    let crates = ["git2", "walkdir", "tempfile"].map(|name| format!("{name}::"));
    modules.into_iter().chain(grouped).chain(crates).collect()
}

/// A file of tests that may have them.
const EXCEPT: [&str; 1] = ["checks/tests.rs"];

fn sources(folder: &Path, out: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, out);
        } else if path.extension().is_some_and(|end| end == "rs") {
            out.push(path);
        }
    }
}

/// The lines of a source that use something forbidden, without its tests and comments.
fn uses(text: &str) -> Vec<&str> {
    let code = text.split("#[cfg(test)]\nmod tests {").next().unwrap_or_default();
    let code = code.lines().filter(|line| !line.trim_start().starts_with("//"));
    let forbidden = forbidden();
    code.filter(|line| forbidden.iter().any(|word| line.contains(word))).collect()
}

#[test]
fn only_the_git_folder_does_io() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut all = Vec::new();
    sources(&root, &mut all);
    let mut in_git = 0;
    for path in all {
        let name = path.strip_prefix(&root).unwrap().to_str().unwrap().replace('\\', "/");
        let text = std::fs::read_to_string(&path).unwrap();
        if name.starts_with("git/") {
            in_git += uses(&text).len();
        } else if !EXCEPT.contains(&name.as_str()) {
            assert_eq!(uses(&text), [""; 0], "{name}");
        }
    }
    assert!(in_git > 10, "the scan finds what there is: {in_git}");
}
