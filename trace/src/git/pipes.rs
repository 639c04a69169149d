//! Files of git's folder that are a pipe or a device: git and libgit2 would wait for them, or read them without an end.

use std::path::{Path, PathBuf};

use walkdir::WalkDir;

use super::environment::discover;
use super::error::GitError;
use super::regular::small_text;

/// The files that are opened by name, in the folder of a working tree or in that of its repository.
const FILES: [&str; 18] = [
    "HEAD",
    "index",
    "config",
    "config.worktree",
    "commondir",
    "gitdir",
    "packed-refs",
    "shallow",
    "MERGE_HEAD",
    "ORIG_HEAD",
    "FETCH_HEAD",
    "info/exclude",
    "info/attributes",
    "info/grafts",
    "info/sparse-checkout",
    "objects/info/alternates",
    "objects/info/commit-graph",
    "logs/HEAD",
];

/// The folders of which every file is looked at: by the type that the folder lists, which needs no call per file.
const FOLDERS: [&str; 3] = ["refs", "objects", "reftable"];

/// The files with rules of git in the folders of a working tree.
const RULES: [&str; 2] = [".gitignore", ".gitattributes"];

/// The largest number of files of a folder that are looked at.
const MOST_FILES: usize = 20_000;

/// An error if a file of the repository of a folder is a pipe or a device.
pub(super) fn refuse(folder: &Path) -> Result<(), GitError> {
    let Some(found) = discover(folder) else { return Ok(()) };
    let own = found.git_dir();
    let common = small_text(&own.join("commondir")).map(|text| own.join(text.trim()));
    for dir in std::iter::once(own).chain(common.as_deref()) {
        let named = FILES.iter().map(|name| dir.join(name)).chain(included(dir));
        let listed =
            FOLDERS.iter().flat_map(|name| WalkDir::new(dir.join(name)).into_iter().take(MOST_FILES).flatten());
        let listed = listed.filter(|entry| !entry.file_type().is_file() && !entry.file_type().is_dir());
        if let Some(path) = named.chain(listed.map(walkdir::DirEntry::into_path)).find(|path| is_special(path)) {
            return Err(waited_for(&path));
        }
    }
    Ok(())
}

/// The error for a file that git would wait for.
pub(super) fn waited_for(path: &Path) -> GitError {
    GitError::Unreadable {
        cause: format!("{} is a pipe or a device", path.display()),
        hint: "git would wait for it: replace it by a file, or clone the repository again".to_owned(),
    }
}

/// The first pipe or device among files of git's rules: those that are named, and those above and below a folder.
pub(super) fn among_rules(folder: &Path, named: impl Iterator<Item = PathBuf>) -> Option<PathBuf> {
    let above = folder.ancestors().flat_map(|up| RULES.map(|name| up.join(name)));
    let below = WalkDir::new(folder).into_iter().flatten();
    let below = below.filter(|entry| RULES.iter().any(|name| entry.file_name() == *name));
    named.chain(above).chain(below.map(walkdir::DirEntry::into_path)).find(|path| is_special(path))
}

/// Whether something is there that is neither a file nor a folder. Git follows links here.
fn is_special(path: &Path) -> bool {
    path.metadata().is_ok_and(|found| !found.is_file() && !found.is_dir())
}

/// The files that the configuration includes.
fn included(dir: &Path) -> Vec<PathBuf> {
    let Some(text) = small_text(&dir.join("config")).filter(|text| text.to_ascii_lowercase().contains("[include"))
    else {
        return Vec::new();
    };
    let path = |line: &str| {
        let (key, value) = line.rsplit_once(']').map_or(line, |(_, rest)| rest).split_once('=')?;
        let value = value.trim().trim_matches('"');
        let home = value.strip_prefix("~/").and_then(|rest| Some(PathBuf::from(std::env::var_os("HOME")?).join(rest)));
        key.trim().eq_ignore_ascii_case("path").then(|| home.unwrap_or_else(|| dir.join(value)))
    };
    text.lines().filter_map(path).collect()
}
