//! Which repository the environment speaks of.
//!
//! In a hook git sets `GIT_INDEX_FILE`, and in linked worktrees `GIT_DIR`: `git commit -a` and
//! `git commit FILE` build the commit in another index than `.git/index`. These variables count for the
//! repository they speak of and for no other, wherever the hook has gone since.

use std::path::{Path, PathBuf};
use std::process::Command;

/// The variables that say where a repository, its files and its index are.
const PLACES: [&str; 5] = ["GIT_DIR", "GIT_WORK_TREE", "GIT_INDEX_FILE", "GIT_PREFIX", "GIT_IMPLICIT_WORK_TREE"];

/// The variables that put a repository together from pieces that cannot be seen from its folder.
const PIECES: [&str; 4] =
    ["GIT_OBJECT_DIRECTORY", "GIT_ALTERNATE_OBJECT_DIRECTORIES", "GIT_COMMON_DIR", "GIT_QUARANTINE_PATH"];

/// The others that bind git to one repository (`git rev-parse --local-env-vars`, git 2.47).
const OTHERS: [&str; 7] = [
    "GIT_CONFIG",
    "GIT_CONFIG_PARAMETERS",
    "GIT_CONFIG_COUNT",
    "GIT_GRAFT_FILE",
    "GIT_NO_REPLACE_OBJECTS",
    "GIT_REPLACE_REF_BASE",
    "GIT_SHALLOW_FILE",
];

/// What the environment says of the repository of a folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Locals {
    /// Nothing that its folder does not say too.
    Nothing,
    /// Its index is this file.
    Index(PathBuf),
    /// Where it is, or what it is made of: only git, started in this folder, puts it together.
    Whole(PathBuf),
    /// Nothing: the environment speaks of another repository.
    Another,
}

/// A repository as it is found from a folder upward.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Found {
    /// The folder that holds `.git`; the repository itself where it is bare.
    pub(super) top: PathBuf,
    /// The folder with its `HEAD`.
    git_dir: PathBuf,
}

impl Locals {
    /// The environment's word on the repository of `folder`, for a command started in `cwd`.
    pub(super) fn of(folder: &Path, cwd: &Path) -> Self {
        Self::read(folder, cwd, |name| std::env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from))
    }

    fn read(folder: &Path, cwd: &Path, set: impl Fn(&str) -> Option<PathBuf>) -> Self {
        let (dir, work, index) = (set("GIT_DIR"), set("GIT_WORK_TREE"), set("GIT_INDEX_FILE"));
        let in_pieces = PIECES.iter().any(|name| set(name).is_some());
        if dir.is_none() && work.is_none() && index.is_none() && !in_pieces {
            return Self::Nothing;
        }
        let whole = Self::Whole(cwd.to_owned());
        let found = discover(folder);
        // A relative `GIT_DIR` leads nowhere once a hook has left the top, and no relative work tree does then:
        // the index alone tells.
        let lost = dir.as_ref().is_some_and(|dir| !cwd.join(dir).exists());
        let dir = dir.and_then(|dir| cwd.join(dir).canonicalize().ok());
        let work = work.filter(|_| !lost).and_then(|work| cwd.join(work).canonicalize().ok());
        if let Some(work) = work {
            let here = folder.starts_with(&work);
            let nested = found.as_ref().is_some_and(|found| found.top != work && found.top.starts_with(&work));
            let plain = found.as_ref().is_some_and(|found| found.top == work && names(dir.as_deref(), found));
            match (here, nested, plain) {
                (true, false, false) => return whole,
                (true, false, true) => {}
                _ => return Self::Another,
            }
        }
        let Some(found) = found else {
            let bare = dir.is_some_and(|dir| !dir.ends_with(".git") && !dir.join("gitdir").exists());
            return if bare { whole } else { Self::Another };
        };
        if !names(dir.as_deref(), &found) {
            return Self::Another;
        }
        if in_pieces {
            return if dir.is_some() || discover(cwd).as_ref() == Some(&found) { whole } else { Self::Another };
        }
        let Some(index) = index else { return Self::Nothing };
        // Git takes a relative one from the top of the work tree, wherever it is started.
        let index = found.top.join(index);
        let Some(holder) = index.parent().and_then(|parent| parent.canonicalize().ok()) else { return Self::Another };
        let named = dir.is_some() || holder == found.git_dir;
        let anywhere = !holder.join("HEAD").exists() && discover(cwd).as_ref() == Some(&found);
        if named || anywhere { Self::Index(index) } else { Self::Another }
    }

    /// Git in the folder, or where the environment was made, with no word on other repositories.
    pub(super) fn git(&self, folder: &Path) -> Command {
        let mut command = Command::new("git");
        command.current_dir(if let Self::Whole(cwd) = self { cwd } else { folder });
        let gone: &[&[&str]] = match self {
            Self::Nothing | Self::Index(_) => &[&PLACES],
            Self::Whole(_) => &[],
            Self::Another => &[&PLACES, &PIECES, &OTHERS],
        };
        for name in gone.iter().copied().flatten() {
            command.env_remove(name);
        }
        if let Self::Index(file) = self {
            command.env("GIT_INDEX_FILE", file);
        }
        command
    }
}

/// Does `GIT_DIR`, where it is set, name this repository?
fn names(dir: Option<&Path>, found: &Found) -> bool {
    dir.is_none_or(|dir| dir == found.git_dir)
}

/// Does the environment bind git to any one repository?
pub(super) fn binds() -> bool {
    PLACES.iter().chain(&PIECES).any(|name| std::env::var_os(name).is_some())
}

/// The repository that a folder is in, as git finds it.
pub(super) fn discover(folder: &Path) -> Option<Found> {
    folder.ancestors().find_map(|up| {
        let dot = up.join(".git");
        let git_dir = if is_git_dir(&dot) {
            dot
        } else if dot.is_file() {
            // Linked worktrees and submodules: `gitdir: <path>`.
            let text = std::fs::read_to_string(&dot).ok()?;
            up.join(text.strip_prefix("gitdir:")?.trim())
        } else if is_git_dir(up) {
            up.to_owned()
        } else {
            return None;
        };
        Some(Found { top: up.to_owned(), git_dir: git_dir.canonicalize().unwrap_or(git_dir) })
    })
}

fn is_git_dir(folder: &Path) -> bool {
    folder.join("HEAD").symlink_metadata().is_ok() && folder.join("objects").is_dir() && folder.join("refs").exists()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two repositories beside each other, as bare as discovery needs them.
    fn two() -> PathBuf {
        let place = std::env::temp_dir().join(format!("tierod-locate-{}", std::process::id()));
        for path in ["a/.git/objects", "a/.git/refs", "a/sub", "b/.git/objects", "b/.git/refs", "none"] {
            std::fs::create_dir_all(place.join(path)).unwrap();
        }
        for path in ["a/.git/HEAD", "b/.git/HEAD"] {
            std::fs::write(place.join(path), "ref: refs/heads/main\n").unwrap();
        }
        place.canonicalize().unwrap()
    }

    #[test]
    fn variables_count_for_the_repository_they_speak_of() {
        let place = two();
        let at = |path: &str| place.join(path);
        type Row<'a> = (&'a [(&'a str, &'a str)], &'a str, &'a str, Locals);
        let own = || Locals::Index(at("a/.git/index.lock"));
        let lock = at("a/.git/index.lock");
        let lock = lock.to_str().unwrap();
        let temporary = at("none/index");
        let temporary = temporary.to_str().unwrap();
        // What is set; where the command was started; the folder asked for; what it comes to.
        let table: &[Row<'_>] = &[
            (&[], "a", "a", Locals::Nothing),
            (&[("GIT_INDEX_FILE", ".git/index.lock")], "a", "a/sub", own()),
            (&[("GIT_INDEX_FILE", ".git/index.lock")], "a/sub", "a", own()),
            (&[("GIT_INDEX_FILE", lock)], "a", "a", own()),
            (&[("GIT_INDEX_FILE", lock)], "b", "a", own()),
            (&[("GIT_INDEX_FILE", lock)], "b", "b", Locals::Another),
            (&[("GIT_INDEX_FILE", lock)], "a", "none", Locals::Another),
            (&[("GIT_INDEX_FILE", lock), ("GIT_DIR", ".git")], "a/sub", "a", own()),
            (&[("GIT_INDEX_FILE", lock), ("GIT_DIR", ".git")], "a", "b", Locals::Another),
            (&[("GIT_INDEX_FILE", temporary)], "a", "a/sub", Locals::Index(at("none/index"))),
            (&[("GIT_INDEX_FILE", temporary)], "a", "b", Locals::Another),
            (&[("GIT_DIR", ".git"), ("GIT_WORK_TREE", ".")], "a", "a/sub", Locals::Nothing),
            (&[("GIT_DIR", ".git"), ("GIT_WORK_TREE", "."), ("GIT_INDEX_FILE", lock)], "a/sub", "a", own()),
            (&[("GIT_DIR", "../b/.git"), ("GIT_WORK_TREE", ".")], "a", "a", Locals::Whole(at("a"))),
            (&[("GIT_DIR", "../b/.git"), ("GIT_WORK_TREE", ".")], "none", "none", Locals::Whole(at("none"))),
            (&[("GIT_DIR", "b/.git"), ("GIT_WORK_TREE", ".")], ".", "a", Locals::Another),
            (&[("GIT_OBJECT_DIRECTORY", "/x"), ("GIT_DIR", ".git")], "a", "a", Locals::Whole(at("a"))),
            (&[("GIT_OBJECT_DIRECTORY", "/x"), ("GIT_DIR", ".git")], "a", "b", Locals::Another),
        ];
        for (set, cwd, folder, expected) in table {
            let find = |name: &str| set.iter().find(|(key, _)| *key == name).map(|(_, value)| PathBuf::from(value));
            let cwd_full = at(cwd).canonicalize().unwrap();
            assert_eq!(Locals::read(&at(folder), &cwd_full, find), *expected, "{set:?} in {cwd} for {folder}");
        }
        std::fs::remove_dir_all(&place).unwrap();
    }
}
