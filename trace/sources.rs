//! A hash over the sources that decide numbers: it is part of the key of every cache file, so that a cache is read only
//! by a build that would write the same.
//!
//! Used by `build.rs`, and by a test. The same sources give the same hash everywhere: paths are relative and sorted,
//! line ends are normalised, and neither times nor absolute paths are read.
//!
//! The locked versions of dependencies are included as far as there is a `Cargo.lock`. A build that ignores it
//! (`cargo install` without `--locked`) is not distinguished from one that follows it.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::Path;

use sha2::{Digest as _, Sha256};

/// The folders whose files decide numbers, with the ending of those files.
pub(crate) const FOLDERS: [(&str, &str); 4] =
    [("models/src", ".rs"), ("schema/src", ".rs"), ("templates/contests", ".yaml"), ("trace/src", ".rs")];
/// The locked versions.
pub(crate) const LOCK: &str = "Cargo.lock";
/// The crates whose dependencies decide numbers.
const CRATES: [&str; 3] = ["tierod-models", "tierod-schema", "tierod-trace"];

/// The hash over the sources below the top folder of the workspace, in hexadecimal digits.
pub(crate) fn hash(top: &Path) -> Result<String, String> {
    let mut all = Sha256::new();
    let mut add = |name: &str, content: &[u8]| {
        for part in [name.as_bytes(), content] {
            all.update((part.len() as u64).to_le_bytes());
            all.update(part);
        }
    };
    for path in paths(top)? {
        let file = top.join(&path);
        let content = fs::read(&file).map_err(|error| format!("{}: {error}", file.display()))?;
        add(&path, &with_plain_line_ends(&content));
    }
    match fs::read_to_string(top.join(LOCK)) {
        Ok(lock) => add(LOCK, locked(&lock).as_bytes()),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
        Err(error) => return Err(format!("{LOCK}: {error}")),
    }
    Ok(all.finalize().iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    }))
}

/// The files below the top folder that decide numbers, relative to it and with `/`.
pub(crate) fn paths(top: &Path) -> Result<BTreeSet<String>, String> {
    let mut paths = BTreeSet::new();
    for (folder, ending) in FOLDERS {
        let before = paths.len();
        collect(top, folder, ending, &mut paths)?;
        // A hash that leaves out a folder would be the same for different sources.
        if paths.len() == before {
            return Err(format!("no {ending} files in {}", top.join(folder).display()));
        }
    }
    Ok(paths)
}

/// Adds the paths of the files in a folder and below it.
fn collect(top: &Path, folder: &str, ending: &str, paths: &mut BTreeSet<String>) -> Result<(), String> {
    let failed = |error: std::io::Error| format!("{}: {error}", top.join(folder).display());
    for entry in fs::read_dir(top.join(folder)).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        let name = entry.file_name();
        let name = name.to_str().ok_or_else(|| format!("a file name in {folder} is not UTF-8: {}", name.display()))?;
        let path = format!("{folder}/{name}");
        if name.starts_with('.') {
            // Backups and swap files of editors.
            continue;
        }
        if entry.file_type().map_err(failed)?.is_dir() {
            collect(top, &path, ending, paths)?;
        } else if name.ends_with(ending) {
            paths.insert(path);
        }
    }
    Ok(())
}

/// The content with `\n` in place of `\r\n`.
fn with_plain_line_ends(content: &[u8]) -> Vec<u8> {
    let next = content.iter().skip(1).map(Some).chain([None]);
    let pairs = content.iter().zip(next);
    pairs.filter(|(byte, next)| **byte != b'\r' || *next != Some(&b'\n')).map(|(byte, _)| *byte).collect()
}

/// A package of a lock file: its version and checksum, and the names of its dependencies.
#[derive(Default)]
struct Package {
    versions: BTreeSet<String>,
    dependencies: BTreeSet<String>,
}

/// The locked versions of the crates that decide numbers and of all that they depend on, one line per version.
fn locked(lock: &str) -> String {
    let mut packages: BTreeMap<&str, Package> = BTreeMap::new();
    for block in lock.split("[[package]]").skip(1) {
        let key = |key: &str| {
            let lines = block.lines().filter_map(|line| line.trim().strip_prefix(key)?.strip_prefix(" = \""));
            { lines }.find_map(|line| line.strip_suffix('"')).unwrap_or_default()
        };
        let package = packages.entry(key("name")).or_default();
        package.versions.insert(format!("{} {}", key("version"), key("checksum")));
        let names = block.split_once("dependencies = [").map_or("", |(_, list)| list.split(']').next().unwrap_or(list));
        // A dependency is `"name"`, or `"name version"` where there are several versions.
        let names = names.split(',').filter_map(|name| name.trim().trim_matches('"').split(' ').next());
        package.dependencies.extend(names.filter(|name| !name.is_empty()).map(str::to_owned));
    }
    let mut found: BTreeSet<&str> = BTreeSet::new();
    let mut open: Vec<&str> = CRATES.to_vec();
    while let Some(name) = open.pop() {
        if let Some(package) = packages.get(name)
            && found.insert(name)
        {
            open.extend(package.dependencies.iter().map(String::as_str));
        }
    }
    let mut out = String::new();
    for name in found {
        for version in packages.get(name).into_iter().flat_map(|package| &package.versions) {
            let _ = writeln!(out, "{name} {version}");
        }
    }
    out
}
