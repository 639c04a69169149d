//! The example car: as large as a real team's, without errors, and with findings of many kinds.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::support::Sandbox;

pub(crate) fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car")
}

fn json(args: &[&str]) -> Value {
    Sandbox::new().tierod_in(&folder(), args).json()
}

/// Copies the example car, so that a test can break it.
pub(crate) fn copy(sandbox: &Sandbox) {
    fn walk(from: &Path, to: &Path) {
        std::fs::create_dir_all(to).unwrap();
        for entry in std::fs::read_dir(from).unwrap() {
            let entry = entry.unwrap();
            let to = to.join(entry.file_name());
            if entry.file_type().unwrap().is_dir() {
                walk(&entry.path(), &to);
            } else {
                std::fs::copy(entry.path(), to).unwrap();
            }
        }
    }
    walk(&folder(), &sandbox.path());
}

#[test]
fn it_has_the_size_of_a_real_season() {
    let graph = json(&["graph", "--format", "json"]);
    let mut kinds: BTreeMap<&str, usize> = BTreeMap::new();
    let mut below_car = 0;
    let mut of_car = 0;
    for node in graph["nodes"].as_array().unwrap() {
        let kind = node["kind"].as_str().unwrap();
        *kinds.entry(kind).or_default() += 1;
        match (kind, node["tier"].as_str()) {
            ("target", Some("car")) => of_car += 1,
            ("target" | "requirement", Some("system" | "part")) => below_car += 1,
            _ => {}
        }
    }
    for (kind, least) in [
        ("goal", 1),
        ("event", 8),
        ("system", 9),
        ("part", 70),
        ("analysis", 15),
        ("decision", 6),
        ("result", 20),
        ("revision", 1),
        ("waiver", 2),
    ] {
        assert!(kinds[kind] >= least, "{kind}: {} of {least}", kinds[kind]);
    }
    assert_eq!((kinds["goal"], kinds["event"], kinds["system"], kinds["waiver"]), (1, 8, 9, 2));
    assert!(of_car >= 12 && below_car >= 60, "{of_car} car targets, {below_car} below");
}

#[test]
fn it_has_no_error_and_findings_of_many_kinds() {
    let report = json(&["check", "--format", "json"]);
    assert_eq!(report["summary"]["error"], 0);
    let findings = report["findings"].as_array().unwrap();
    assert!((8..=16).contains(&findings.len()), "{} findings", findings.len());
    let checks: BTreeSet<&str> = findings.iter().map(|finding| finding["check"].as_str().unwrap()).collect();
    assert!(checks.len() >= 8, "{checks:?}");
    assert_eq!(report["summary"]["waived"], 1);
}

/// The first report does not depend on today's date.
#[test]
fn it_is_the_same_on_any_day() {
    let text = |args: &[&str]| Sandbox::new().tierod_in(&folder(), args).out;
    assert_eq!(text(&["check"]), text(&["check", "--on", "2027-03-19"]));
    assert_ne!(text(&["check"]), text(&["check", "--on", "2027-06-30"]), "unless another day is named");
}

/// Edits one place of a file of the copy, and returns the new findings.
#[track_caller]
fn broken(file: &str, from: &str, to: &str) -> Vec<String> {
    let sandbox = Sandbox::new();
    copy(&sandbox);
    let reported = |sandbox: &Sandbox| -> BTreeSet<String> {
        let report = sandbox.tierod(&["check", "--format", "json"]).json();
        let findings = report["findings"].as_array().unwrap().iter();
        let line = |f: &Value| {
            let text = |key: &str| f[key].as_str().unwrap_or("-").to_owned();
            format!("{} {} {} {}", text("level"), text("check"), text("record"), text("path"))
        };
        findings.map(line).collect()
    };
    let before = reported(&sandbox);
    let text = std::fs::read_to_string(sandbox.path_of(file)).unwrap();
    assert!(text.contains(from), "{file} contains {from:?}");
    sandbox.write(file, text.replacen(from, to, 1));
    reported(&sandbox).difference(&before).cloned().collect()
}

#[test]
fn errors_in_it_are_reported_at_the_right_place() {
    assert_eq!(
        broken("suspension/suspension.yaml", "mass: {value:", "mass: {valeu:")
            .iter()
            .map(|line| line.split(' ').nth(1).unwrap())
            .collect::<Vec<_>>(),
        ["missing-key", "unknown-key"]
    );
    let reported = broken("season/goal-and-events.yaml", "  first-eight:\n    title", "  first-nine:\n    title");
    assert!(
        reported.iter().any(|line| line.contains("unknown-reference acceleration season/goal-and-events.yaml")),
        "{reported:#?}"
    );
    let reported = broken("test/results.yaml", "test/", "tests/");
    assert_eq!(reported.len(), 1, "{reported:#?}");
    assert!(reported[0].starts_with("warning no-evidence "), "{reported:#?}");
}
