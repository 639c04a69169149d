//! The hash over the sources that decide numbers, which keys the caches.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

#[path = "../sources.rs"]
mod sources;

use std::fs;
use std::path::{Path, PathBuf};

use sources::{FOLDERS, LOCK, hash, paths};
use tempfile::TempDir;

/// The top folder of the workspace.
fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap().to_owned()
}

/// A copy of the sources in another folder.
fn copy() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for path in paths(&top()).unwrap().into_iter().chain([LOCK.to_owned()]) {
        let to = folder.path().join(&path);
        fs::create_dir_all(to.parent().unwrap()).unwrap();
        fs::write(to, fs::read(top().join(path)).unwrap()).unwrap();
    }
    folder
}

fn change(folder: &TempDir, path: &str, change: impl Fn(String) -> String) {
    let file = folder.path().join(path);
    let content = fs::read_to_string(&file).unwrap();
    fs::write(file, change(content)).unwrap();
}

#[test]
fn the_same_sources_give_the_same_hash() {
    let expected = hash(&top()).unwrap();
    assert_eq!(expected.len(), 64);
    assert_eq!(expected, env!("TIEROD_SOURCES_HASH"), "the build script ran after the last change");
    let folder = copy();
    assert_eq!(hash(folder.path()).unwrap(), expected, "in another folder");
    for path in paths(folder.path()).unwrap() {
        change(&folder, &path, |text| text.replace('\n', "\r\n"));
    }
    change(&folder, LOCK, |text| text.replace('\n', "\r\n"));
    assert_eq!(hash(folder.path()).unwrap(), expected, "with other line ends");
    for path in ["trace/src/notes.txt", "trace/src/.graph.rs.swp", "schema/src/.hidden.rs", "cli/src/main.rs"] {
        let file = folder.path().join(path);
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        fs::write(file, "anything").unwrap();
    }
    assert_eq!(hash(folder.path()).unwrap(), expected, "with files that are not compiled into numbers");
}

#[test]
fn other_sources_give_another_hash() {
    let folder = copy();
    let expected = hash(folder.path()).unwrap();
    let differs = |what: &str| {
        assert_ne!(hash(folder.path()).unwrap(), expected, "{what}");
    };
    for (part, ending) in FOLDERS {
        let all = paths(folder.path()).unwrap();
        let path = all.iter().rfind(|path| path.starts_with(part)).unwrap();
        let content = fs::read_to_string(folder.path().join(path)).unwrap();
        change(&folder, path, |text| text + " ");
        differs(&format!("{path} changed"));
        fs::remove_file(folder.path().join(path)).unwrap();
        differs(&format!("{path} removed"));
        let renamed = folder.path().join(format!("{part}/zz{ending}"));
        fs::write(&renamed, &content).unwrap();
        differs(&format!("{path} renamed"));
        fs::write(folder.path().join(path), &content).unwrap();
        differs(&format!("{path} copied"));
        fs::remove_file(renamed).unwrap();
        assert_eq!(hash(folder.path()).unwrap(), expected);
    }
    // The same bytes, divided into files in another way.
    change(&folder, "models/src/car.rs", |text| text[..text.len() - 1].to_owned());
    change(&folder, "models/src/catalogue.rs", |text| format!("\n{text}"));
    differs("a line end in the next file");
}

#[test]
fn the_locked_versions_of_dependencies_are_included() {
    let folder = copy();
    let expected = hash(folder.path()).unwrap();
    let lock = fs::read_to_string(folder.path().join(LOCK)).unwrap();
    let with_another_version = |name: &str| {
        let (before, after) = lock.split_once(&format!("name = \"{name}\"\nversion = \"")).unwrap();
        fs::write(folder.path().join(LOCK), format!("{before}name = \"{name}\"\nversion = \"9{after}")).unwrap();
        hash(folder.path()).unwrap()
    };
    // Used directly; by the models; by a dependency.
    for name in ["petgraph", "statrs", "hashbrown"] {
        assert_ne!(with_another_version(name), expected, "{name}");
    }
    for name in ["clap", "minijinja"] {
        assert_eq!(with_another_version(name), expected, "{name} only concerns the command line");
    }
    fs::remove_file(folder.path().join(LOCK)).unwrap();
    assert_ne!(hash(folder.path()).unwrap(), expected, "nothing locked");
}

#[test]
fn a_missing_folder_is_an_error() {
    for (part, ending) in FOLDERS {
        let folder = copy();
        fs::remove_dir_all(folder.path().join(part)).unwrap();
        assert!(hash(folder.path()).is_err(), "{part} is missing");
        fs::create_dir(folder.path().join(part)).unwrap();
        assert!(hash(folder.path()).unwrap_err().contains(ending), "{part} is empty");
    }
}

/// Every file that the crates compile in is hashed.
#[test]
fn included_files_are_hashed() {
    let hashed = paths(&top()).unwrap();
    let mut found = 0;
    for path in hashed.iter().filter(|path| path.ends_with(".rs") && !path.ends_with("tests.rs")) {
        let text = fs::read_to_string(top().join(path)).unwrap();
        for include in ["include_str!(", "include_bytes!(", "include!("] {
            for part in text.split(include).skip(1) {
                let named = part.split('"').nth(1).unwrap();
                let file = top().join(path).parent().unwrap().join(named).canonicalize().unwrap();
                let file =
                    file.strip_prefix(top().canonicalize().unwrap()).unwrap().to_str().unwrap().replace('\\', "/");
                assert!(hashed.contains(&file), "{path} compiles in {file}, which is not hashed");
                found += 1;
            }
        }
    }
    assert!(found >= 3, "the score sheets are compiled in");
}
