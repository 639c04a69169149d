//! Whether a project in the working tree may have changed, by the metadata of its files: for a command that waits for the
//! next change. No file is opened.

use std::collections::BTreeSet;
use std::hash::{DefaultHasher, Hash as _, Hasher as _};
use std::path::{Path, PathBuf};

use crate::load::{Loaded, files_named};
use crate::snapshot::{Source, TEMPLATES, inside};

/// The files that an answer was made from.
#[derive(Debug)]
pub struct Watched {
    /// Record files, what they name, and what git writes with a commit.
    files: Vec<PathBuf>,
    /// Their folders, in which new record files may appear.
    folders: Vec<PathBuf>,
}

impl Watched {
    /// The files of the working tree behind loaded records; `None` if they were read from elsewhere.
    pub fn of(loaded: &Loaded) -> Option<Self> {
        let snapshot = &loaded.snapshot;
        let root = snapshot.folder.as_deref().filter(|_| matches!(snapshot.source, Source::Worktree))?;
        let mut paths: BTreeSet<String> = snapshot.files.iter().map(|file| file.path.clone()).collect();
        paths.extend(loaded.records().flat_map(|(_, record)| files_named(record)).filter_map(inside));
        let folders: BTreeSet<&str> = paths.iter().flat_map(|path| above(path)).chain([TEMPLATES]).collect();
        let folders = folders.into_iter().map(|folder| root.join(folder)).collect();
        let mut files: Vec<PathBuf> = paths.iter().map(|path| root.join(path)).collect();
        // A commit changes which one is the last.
        let git = root.ancestors().map(|up| up.join(".git")).find(|git| git.is_dir());
        files.extend(git.iter().flat_map(|git| ["HEAD", "logs/HEAD", "packed-refs"].map(|name| git.join(name))));
        Some(Self { files, folders })
    }

    /// A number that is another one if a file was saved, added or removed, or a commit was made.
    pub fn state(&self) -> u64 {
        let mut hasher = DefaultHasher::new();
        for path in &self.files {
            let found = path.symlink_metadata().ok();
            (path, found.map(|found| (found.len(), found.modified().ok()))).hash(&mut hasher);
        }
        for folder in &self.folders {
            let is_real = folder.symlink_metadata().is_ok_and(|found| found.is_dir());
            let entries = is_real.then(|| std::fs::read_dir(folder).ok()).flatten();
            let mut names: Vec<_> = entries
                .into_iter()
                .flatten()
                .flatten()
                .filter(may_have_records)
                .map(|entry| entry.file_name())
                .collect();
            names.sort_unstable();
            (folder, names).hash(&mut hasher);
        }
        hasher.finish()
    }
}

/// The folders of a path, up to the project root itself, which is an empty name.
fn above(path: &str) -> impl Iterator<Item = &str> {
    Path::new(path).ancestors().skip(1).filter_map(Path::to_str)
}

/// Whether an entry of a folder is a record file, a template, or a folder that may have some.
fn may_have_records(entry: &std::fs::DirEntry) -> bool {
    let name = entry.file_name();
    let ending = Path::new(&name).extension().and_then(|ending| ending.to_str());
    let is_hidden = name.as_encoded_bytes().first() == Some(&b'.');
    let is_folder = || entry.file_type().is_ok_and(|found| found.is_dir());
    !is_hidden && (matches!(ending, Some("yaml" | "yml" | "md")) || is_folder())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folders_end_at_the_root() {
        assert_eq!(above("a/b/c.yaml").collect::<Vec<_>>(), ["a/b", "a", ""]);
        assert_eq!(above("c.yaml").collect::<Vec<_>>(), [""]);
    }
}
