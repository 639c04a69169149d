//! Whether a project in the working tree may have changed, by the metadata of its files: for a command that waits for the
//! next change. No file is opened.

use std::collections::{BTreeSet, VecDeque};
use std::fs::DirEntry;
use std::hash::{DefaultHasher, Hash as _, Hasher as _};
use std::path::{Path, PathBuf};

use crate::load::{Loaded, files_named};
use crate::snapshot::{Source, TEMPLATES, inside};

/// How many folders without a record are looked into: new ones, and those that git ignores.
const MOST_OTHERS: usize = 1_000;

/// How often records are read, at most, until they have the same files as the time before.
const MOST_READS: usize = 3;

/// The files that an answer was made from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Watched {
    /// Record files, what they name, and what git writes with a commit.
    files: Vec<PathBuf>,
    /// Their folders, in which new record files may appear.
    folders: BTreeSet<PathBuf>,
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

    /// Reads records, and takes the state of their files before that: a file that is saved meanwhile changes the state. `known`
    /// are the files of the last time; if the records have other files, they are read again.
    ///
    /// # Errors
    /// Those of `load`.
    pub fn read_with<E>(
        known: Option<&Self>,
        mut load: impl FnMut() -> Result<Loaded, E>,
    ) -> Result<(Loaded, Option<(Self, u64)>), E> {
        let mut known = known.cloned();
        let mut reads = 1;
        loop {
            let before = known.as_ref().map(Self::state);
            let loaded = load()?;
            let found = Self::of(&loaded);
            // The state of other files is never equal to that of these: with it they are read again at the next look.
            if found == known || reads == MOST_READS {
                return Ok((loaded, found.zip(before)));
            }
            (known, reads) = (found, reads + 1);
        }
    }

    /// A number that is another one if a file was saved, added or removed, or a commit was made.
    pub fn state(&self) -> u64 {
        let mut hasher = DefaultHasher::new();
        for path in &self.files {
            let found = path.symlink_metadata().ok();
            (path, found.map(|found| (found.len(), found.modified().ok()))).hash(&mut hasher);
        }
        let mut others = VecDeque::new();
        for folder in &self.folders {
            others.extend(hash_entries(folder, &mut hasher).into_iter().filter(|found| !self.folders.contains(found)));
        }
        for _ in 0..MOST_OTHERS {
            let Some(folder) = others.pop_front() else { break };
            others.extend(hash_entries(&folder, &mut hasher));
        }
        hasher.finish()
    }
}

/// The folders of a path, up to the project root itself, which is an empty name.
fn above(path: &str) -> impl Iterator<Item = &str> {
    Path::new(path).ancestors().skip(1).filter_map(Path::to_str)
}

/// Hashes what may be a record file or a template in a folder, and returns the folders in it. No link is followed.
fn hash_entries(folder: &Path, hasher: &mut DefaultHasher) -> Vec<PathBuf> {
    let is_real = folder.symlink_metadata().is_ok_and(|found| found.is_dir());
    let entries = is_real.then(|| std::fs::read_dir(folder).ok()).flatten();
    let mut entries: Vec<DirEntry> = entries.into_iter().flatten().flatten().filter(is_shown).collect();
    entries.sort_unstable_by_key(DirEntry::file_name);
    folder.hash(hasher);
    let mut folders = Vec::new();
    for entry in entries {
        let name = entry.file_name();
        let ending = Path::new(&name).extension().and_then(|ending| ending.to_str());
        if entry.file_type().is_ok_and(|found| found.is_dir()) {
            name.hash(hasher);
            folders.push(entry.path());
        } else if matches!(ending, Some("yaml" | "yml" | "md")) {
            // A link, a pipe or a file that cannot be read may be replaced with one that can.
            let found = entry.metadata().ok();
            (name, found.map(|found| (found.file_type(), found.len(), found.modified().ok()))).hash(hasher);
        }
    }
    folders
}

fn is_shown(entry: &DirEntry) -> bool {
    entry.file_name().as_encoded_bytes().first() != Some(&b'.')
}

#[cfg(all(test, unix))]
mod tests {
    use super::super::Project;
    use super::*;
    use crate::snapshot::{Request, State};

    #[test]
    fn new_folders_and_what_replaces_a_pipe_are_seen() {
        let root = tempfile::tempdir().unwrap();
        let at = |path: &str| root.path().join(path);
        std::fs::create_dir(at("known")).unwrap();
        assert!(std::process::Command::new("mkfifo").arg(at("known/pipe.yaml")).status().unwrap().success());
        std::os::unix::fs::symlink(root.path(), at("known/around")).unwrap();
        let watched = Watched { files: Vec::new(), folders: [root.path().to_owned(), at("known")].into() };
        let mut states = vec![watched.state()];
        let mut next = |what: &str| {
            let state = watched.state();
            assert_eq!(state, watched.state(), "{what}");
            assert!(!states.contains(&state), "{what}");
            states.push(state);
        };
        std::fs::create_dir_all(at("new/deep")).unwrap();
        next("a folder");
        std::fs::write(at("new/deep/record.yaml"), "").unwrap();
        next("a file in a new folder");
        std::fs::write(at("new/deep/record.yaml"), "parts: {}").unwrap();
        next("another content");
        std::fs::remove_file(at("known/pipe.yaml")).unwrap();
        std::fs::write(at("known/pipe.yaml"), "").unwrap();
        next("a file in place of a pipe");
    }

    #[test]
    fn a_file_that_is_saved_while_it_is_read_has_changed() {
        let root = tempfile::tempdir().unwrap();
        let save = |name: &str, text: &str| std::fs::write(root.path().join(name), text).unwrap();
        save("tierod.yaml", "season: 2027\n");
        save("parts.yaml", "");
        let cwd = root.path().to_owned();
        let request = Request { cwd, path: None, state: State::Worktree };
        let load = || Project::open(&request).load().unwrap();
        let mut sizes = 1..;
        // The size differs each time, so that the clock of the file system decides nothing.
        let mut save_after = || {
            let loaded = load();
            save("parts.yaml", &"#".repeat(sizes.next().unwrap()));
            Ok::<_, ()>(loaded)
        };
        let (_, first) = Watched::read_with(None, &mut save_after).unwrap();
        let (watched, state) = first.unwrap();
        assert_ne!(watched.state(), state, "the first time");
        let (_, next) = Watched::read_with(Some(&watched), &mut save_after).unwrap();
        let (watched, state) = next.unwrap();
        assert_ne!(watched.state(), state, "the same files");
        let (_, last) = Watched::read_with(Some(&watched), || Ok::<_, ()>(load())).unwrap();
        let (watched, state) = last.unwrap();
        assert_eq!(watched.state(), state, "at rest");
    }

    #[test]
    fn folders_end_at_the_root() {
        assert_eq!(above("a/b/c.yaml").collect::<Vec<_>>(), ["a/b", "a", ""]);
        assert_eq!(above("c.yaml").collect::<Vec<_>>(), [""]);
    }
}
