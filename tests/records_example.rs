//! The example car gets records in with every command: a bill of materials, evidence files and stress files.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::support::Sandbox;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car").canonicalize().unwrap()
}

/// Every file below a folder with its bytes, without git's.
fn files(folder: &Path, prefix: &str, found: &mut BTreeMap<String, Vec<u8>>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let entry = entry.unwrap();
        let path = format!("{prefix}{}", entry.file_name().to_str().unwrap());
        if path == ".git" {
            continue;
        }
        if entry.file_type().unwrap().is_dir() {
            files(&entry.path(), &format!("{path}/"), found);
        } else {
            found.insert(path, std::fs::read(entry.path()).unwrap());
        }
    }
}

fn all_files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    files(folder, "", &mut found);
    found
}

/// A copy of the example, so that a command may write.
fn copy() -> Sandbox {
    let sandbox = Sandbox::new();
    for (path, bytes) in all_files(&folder()) {
        sandbox.write(&path, bytes);
    }
    sandbox
}

/// The bill of materials has what the records of the brakes have: 8040 g and 1348 EUR, added up by hand.
#[track_caller]
fn imports_without_a_change(sandbox: &Sandbox, folder: &Path) {
    let before = all_files(folder);
    let answer = sandbox.tierod_in(folder, &["import", "bom", "--format", "json"]).ended(0).json();
    assert_eq!((&answer["unchanged"], &answer["written"]), (&11.into(), &false.into()), "{answer}");
    for key in ["added", "changed", "gone", "unread"] {
        assert_eq!(answer[key], serde_json::json!([]), "{key}: {answer}");
    }
    let totals: Vec<[Option<f64>; 2]> = answer["totals"]
        .as_array()
        .unwrap()
        .iter()
        .map(|total| [total["sheet"].as_f64(), total["records"].as_f64()])
        .collect();
    assert_eq!(totals, [[Some(8040.0); 2], [Some(1348.0); 2]]);
    assert!(all_files(folder) == before, "a file was changed");
}

#[test]
fn the_bill_of_materials_imports_without_a_change() {
    let sandbox = copy();
    imports_without_a_change(&sandbox, &sandbox.path());
    // An edited record is what the sheet changes back.
    sandbox.tierod(&["set", "front-disc.mass", "0.59 kg"]).ended(0);
    let answer = sandbox.tierod(&["import", "bom", "--dry-run", "--format", "json"]).ended(0).json();
    assert_eq!(answer["changed"][0]["id"], "front-disc", "{answer}");
    assert_eq!(answer["changed"].as_array().unwrap().len(), 1);
}

/// In the season from its commit until the brakes are weighed.
#[test]
fn the_season_imports_its_bill_of_materials_without_a_change() {
    let sandbox = Sandbox::new();
    sandbox.tierod(&["example", "car"]).ended(0);
    let car = sandbox.path_of("car");
    let git = |args: &[&str]| sandbox.git_in(&car, args);
    let commits = git(&["log", "--format=%H", "--reverse", "--", "cad/README.md"]);
    let commits: Vec<&str> = commits.lines().collect();
    let [_, first, last] = commits[..] else { panic!("{commits:?}") };
    for commit in [first.to_owned(), format!("{last}~1")] {
        git(&["checkout", "-q", &commit]);
        imports_without_a_change(&sandbox, &car);
    }
    assert_eq!(git(&["status", "--porcelain"]), "");
    git(&["checkout", "-q", last]);
    assert!(sandbox.tierod_in(&car, &["import", "bom"]).ended(2).err.contains("bom"));
}

#[test]
fn three_results_read_their_number_from_their_evidence() {
    let sandbox = copy();
    let value = |id: &str| {
        let values = sandbox.tierod(&["values", "--format", "json"]).ended(0).json();
        let all = values["values"].as_array().unwrap();
        let target = all.iter().find(|value| value["id"] == id).unwrap();
        (target["value"].as_f64().unwrap(), target["origin"].as_str().unwrap().to_owned())
    };
    // The highest load of the files, and the rows of the list that are done.
    for (id, expected) in [("belt-anchor-strength", 13.6), ("mould-count", 8.0), ("brake-pedal-strength", 2.2)] {
        assert_eq!(value(id), (expected, "result".to_owned()), "{id}");
    }
    let path = "test/2027-03-03-moulds.csv";
    let text = std::fs::read_to_string(sandbox.path_of(path)).unwrap();
    sandbox.write(path, text.replacen("done", "open", 1));
    assert_eq!(value("mould-count").0, 7.0, "a changed file is a changed result");
}

/// What `tests/stress/make_meshes.py rack-mount` prints from the exact stress: safety, idle share, mass in kg.
const EXACT: [(f64, f64, f64); 3] =
    [(3.6819, 0.9510, 0.357_210), (2.2730, 0.7966, 0.280_665), (2.1875, 0.5595, 0.210_499)];

#[test]
fn the_rack_mount_shows_its_iterations() {
    let sandbox = Sandbox::new();
    let why = sandbox.tierod_in(&folder(), &["why", "rack-mount", "--format", "json"]).ended(0).json();
    let stress = &why["stress"][0];
    assert_eq!((stress["needed_safety"].as_f64(), &stress["stopped_early"]), (Some(2.0), &true.into()));
    let iterations: &Vec<Value> = stress["iterations"].as_array().unwrap();
    assert_eq!(iterations.len(), 3);
    for (own, (safety, idle, mass)) in iterations.iter().zip(EXACT) {
        let number = |key: &str| own[key].as_f64().unwrap();
        assert!((number("safety") / safety - 1.0).abs() < 1e-2, "{own}");
        assert!((number("idle_share") - idle).abs() < 1e-2, "{own}");
        assert!((number("mass") / mass - 1.0).abs() < 1e-3, "{own}");
    }
    let shown = sandbox.tierod_in(&folder(), &["why", "rack-mount"]).ended(0).out;
    assert!(shown.contains("a scale from 0 to the allowable stress of 160 MPa"), "{shown}");
    assert!(shown.contains("\ncaution  check load cases and calculation methods first"), "{shown}");
}
