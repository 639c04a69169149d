//! Tests of the data of the season, without git.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::*;

fn repository() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn below(folder: &Path, prefix: &str, found: &mut BTreeSet<String>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let entry = entry.unwrap();
        let path = format!("{prefix}{}", entry.file_name().to_str().unwrap());
        if entry.file_type().unwrap().is_dir() {
            below(&entry.path(), &format!("{path}/"), found);
        } else {
            found.insert(path);
        }
    }
}

#[test]
fn all_files_are_listed() {
    let paths = |list: &[(&str, &str)]| list.iter().map(|(path, _)| (*path).to_owned()).collect::<BTreeSet<_>>();
    let mut car = paths(files::CAR);
    car.extend(files::BINARY.iter().map(|(path, _)| (*path).to_owned()));
    for (folder, listed) in [("example-car", car), ("templates/season", paths(files::PHASES))] {
        let mut there = BTreeSet::new();
        below(&repository().join(folder), "", &mut there);
        assert_eq!(listed, there, "{folder}");
    }
}

#[test]
fn inconsistent_data_is_an_error() {
    let mut state: Files = [("a.yaml".to_owned(), "parts:\n  hub: {in: car}\n".to_owned())].into();
    assert!(replace(&mut state, "hub", "in: car", "in: suspension").is_ok());
    assert_eq!(state["a.yaml"], "parts:\n  hub: {in: suspension}\n");
    assert_eq!(replace(&mut state, "hub", "in: car", "").unwrap_err(), "hub contains `in: car` 0 times");
    assert_eq!(replace(&mut state, "a.yaml", "s", "").unwrap_err(), "a.yaml contains `s` 4 times");
    assert_eq!(replace(&mut state, "nut", "s", "").unwrap_err(), "no record nut");
    assert!(both_amounts("hub.mass", "1 kg drawn").is_err());
    let both = both_amounts("hub.mass", "1 kg drawn -> 1.1 kg weighed").unwrap();
    assert_eq!(both.1, "mass: {value: 1.1 kg, basis: weighed}");
}
