//! The repository that the environment names, and the one that contains a folder.
//!
//! In a hook git sets `GIT_INDEX_FILE`, and in linked worktrees `GIT_DIR`: `git commit -a` and
//! `git commit FILE` build the commit in another index than `.git/index`. These variables apply only to the repository
//! that they name, also if the hook has changed to another folder since.

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::path::{Path, PathBuf};

use super::regular::small_text;

/// The variables with the paths of a repository, its files and its index.
const PATHS: [&str; 5] = ["GIT_DIR", "GIT_WORK_TREE", "GIT_INDEX_FILE", "GIT_PREFIX", "GIT_IMPLICIT_WORK_TREE"];

/// The variables that combine a repository from pieces that are not visible from its folder.
const PIECES: [&str; 4] =
    ["GIT_OBJECT_DIRECTORY", "GIT_ALTERNATE_OBJECT_DIRECTORIES", "GIT_COMMON_DIR", "GIT_QUARANTINE_PATH"];

/// The other variables that bind git to one repository (`git rev-parse --local-env-vars`, git 2.47).
const OTHERS: [&str; 7] = [
    "GIT_CONFIG",
    "GIT_CONFIG_PARAMETERS",
    "GIT_CONFIG_COUNT",
    "GIT_GRAFT_FILE",
    "GIT_NO_REPLACE_OBJECTS",
    "GIT_REPLACE_REF_BASE",
    "GIT_SHALLOW_FILE",
];

/// The start of the names of variables that `git merge` sets for its hooks, each with the id of a commit.
const MERGED: &str = "GITHEAD_";

/// The variables of git. They are read once, so that all data of a project is read with the same ones.
#[derive(Clone, Debug, Default)]
pub(super) struct Environment(BTreeMap<String, OsString>);

impl Environment {
    /// The variables as they are now.
    pub(super) fn read() -> Self {
        let named = std::env::vars_os().filter_map(|(name, value)| Some((name.into_string().ok()?, value)));
        Self(named.filter(|(name, _)| name.starts_with("GIT_") || name.starts_with(MERGED)).collect())
    }

    /// The commits that a merge brings in, in the hook that checks it: git names them only in variables then, because
    /// `MERGE_HEAD` is written after the hook.
    pub(super) fn merge_heads(&self) -> Vec<String> {
        let ids = self.0.keys().filter_map(|name| name.strip_prefix(MERGED)).map(str::to_owned);
        if self.0.contains_key("GIT_INDEX_FILE") { ids.collect() } else { Vec::new() }
    }

    /// The names of all variables of git that are set.
    pub(super) fn names(&self) -> impl Iterator<Item = &str> {
        self.0.keys().map(String::as_str).filter(|name| !name.starts_with(MERGED))
    }

    fn path(&self, name: &str) -> Option<PathBuf> {
        self.0.get(name).filter(|value| !value.is_empty()).map(PathBuf::from)
    }

    /// The folder of git that it names.
    pub(super) fn git_dir(&self) -> Option<PathBuf> {
        self.path("GIT_DIR")
    }

    /// Whether it binds git to one repository.
    pub(super) fn binds(&self) -> bool {
        PATHS.iter().chain(&PIECES).any(|name| self.0.contains_key(*name))
    }

    /// Whether git finds a repository in a folder or above it, readable or not.
    pub(super) fn names_repository(&self, folder: &Path, locals: &Locals) -> bool {
        let folder = match (locals, self.path("GIT_DIR")) {
            (Locals::Whole(cwd), Some(dir)) => return cwd.join(dir).join("HEAD").symlink_metadata().is_ok(),
            (Locals::Whole(cwd), None) => cwd,
            _ => folder,
        };
        let ceilings: Vec<PathBuf> =
            self.0.get("GIT_CEILING_DIRECTORIES").map(|list| std::env::split_paths(list).collect()).unwrap_or_default();
        let reached = |up: &&Path| *up == folder || !ceilings.iter().any(|ceiling| ceiling == *up);
        folder.ancestors().take_while(reached).any(|up| {
            let dot = up.join(".git");
            if !dot.is_file() {
                return is_git_dir(&dot) || is_git_dir(up);
            }
            // A file that is not a link is damage; a link to a missing folder is not a repository.
            let text = small_text(&dot).unwrap_or_default();
            text.strip_prefix("gitdir:").is_none_or(|target| up.join(target.trim()).join("HEAD").exists())
        })
    }
}

/// What the environment determines about the repository of a folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Locals {
    /// Nothing beyond what follows from its folder.
    Nothing,
    /// Its index is this file.
    Index(PathBuf),
    /// Its path, or the pieces that it has: only git can combine them, started in this folder.
    Whole(PathBuf),
    /// Nothing: the environment names another repository.
    Another,
}

/// A repository that was found in a folder or above it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Found {
    /// The folder that contains `.git`; the repository itself if it is bare.
    pub(super) top: PathBuf,
    /// The folder with its `HEAD`.
    pub(super) git_dir: PathBuf,
}

impl Locals {
    /// What the environment determines about the repository of `folder`, for a command started in `cwd`.
    pub(super) fn new(folder: &Path, cwd: &Path, environment: &Environment) -> Self {
        Self::read(folder, cwd, |name| environment.path(name))
    }

    fn read(folder: &Path, cwd: &Path, set: impl Fn(&str) -> Option<PathBuf>) -> Self {
        let (dir, work, index) = (set("GIT_DIR"), set("GIT_WORK_TREE"), set("GIT_INDEX_FILE"));
        let in_pieces = PIECES.iter().any(|name| set(name).is_some());
        if dir.is_none() && work.is_none() && index.is_none() && !in_pieces {
            return Self::Nothing;
        }
        let whole = Self::Whole(cwd.to_owned());
        let found = discover(folder);
        // A relative `GIT_DIR` or work tree is invalid after a hook has changed its folder: only the index can decide.
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
        // Git resolves a relative path from the top of the working tree, in whatever folder it is started.
        let index = found.top.join(index);
        let Some(holder) = index.parent().and_then(|parent| parent.canonicalize().ok()) else { return Self::Another };
        let named = dir.is_some() || holder == found.git_dir;
        let anywhere = !holder.join("HEAD").exists() && discover(cwd).as_ref() == Some(&found);
        if named || anywhere { Self::Index(index) } else { Self::Another }
    }

    /// The folder to start git in, for the repository of `folder`.
    pub(super) fn start_folder<'f>(&'f self, folder: &'f Path) -> &'f Path {
        if let Self::Whole(cwd) = self { cwd } else { folder }
    }

    /// The variables that git must not see, because they name another repository or repeat what its folder determines.
    pub(super) fn hidden(&self) -> impl Iterator<Item = &'static str> {
        let hidden: &[&[&'static str]] = match self {
            Self::Nothing | Self::Index(_) => &[&PATHS],
            Self::Whole(_) => &[],
            Self::Another => &[&PATHS, &PIECES, &OTHERS],
        };
        hidden.iter().flat_map(|names| names.iter().copied())
    }

    /// The index, if it is not the usual one.
    pub(super) fn index(&self) -> Option<&Path> {
        if let Self::Index(file) = self { Some(file) } else { None }
    }
}

/// Whether `GIT_DIR`, if it is set, names this repository.
fn names(dir: Option<&Path>, found: &Found) -> bool {
    dir.is_none_or(|dir| dir == found.git_dir)
}

/// The repository that a folder is in, as git finds it.
pub(super) fn discover(folder: &Path) -> Option<Found> {
    outside_of_bare(folder).ancestors().find_map(|up| {
        let dot = up.join(".git");
        let git_dir = if is_git_dir(&dot) {
            dot
        } else if dot.is_file() {
            // Linked worktrees and submodules: `gitdir: <path>`.
            let text = small_text(&dot)?;
            up.join(text.strip_prefix("gitdir:")?.trim())
        } else if is_git_dir(up) {
            up.to_owned()
        } else {
            return None;
        };
        Some(Found { top: up.to_owned(), git_dir: git_dir.canonicalize().unwrap_or(git_dir) })
    })
}

/// Whether the top of a working tree is where the `.git` of a folder was found: otherwise the configuration of the repository,
/// which a stranger may have written, leads to the tree. What the environment names is trusted.
pub(super) fn is_at_home(top: &Path, folder: &Path, locals: &Locals) -> bool {
    let real = |path: &Path| path.canonicalize().ok();
    matches!(locals, Locals::Whole(_)) || discover(folder).is_some_and(|found| real(&found.top) == real(top))
}

/// A folder above one that only looks like a repository: `HEAD`, `objects` and `refs` may be files that somebody committed. It
/// counts as one only outside of every working tree.
pub(super) fn outside_of_bare(folder: &Path) -> &Path {
    let holder = folder.ancestors().find(|up| up.join(".git").symlink_metadata().is_ok());
    let Some(holder) = holder else { return folder };
    let looks_bare = folder.ancestors().take_while(|up| *up != holder).any(is_git_dir);
    if looks_bare { holder } else { folder }
}

/// The bare repository that holds a folder, if it is outside of every working tree.
pub(super) fn bare_repository(folder: &Path) -> Option<PathBuf> {
    if folder.ancestors().any(|up| up.join(".git").symlink_metadata().is_ok()) {
        return None;
    }
    folder.ancestors().find(|up| is_git_dir(up)).map(Path::to_owned)
}

fn is_git_dir(folder: &Path) -> bool {
    folder.join("HEAD").symlink_metadata().is_ok() && folder.join("objects").is_dir() && folder.join("refs").exists()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two repositories next to each other, with only what discovery looks for.
    fn two_repositories() -> PathBuf {
        let folder = std::env::temp_dir().join(format!("tierod-locate-{}", std::process::id()));
        for path in ["a/.git/objects", "a/.git/refs", "a/sub", "b/.git/objects", "b/.git/refs", "none"] {
            std::fs::create_dir_all(folder.join(path)).unwrap();
        }
        for path in ["a/.git/HEAD", "b/.git/HEAD"] {
            std::fs::write(folder.join(path), "ref: refs/heads/main\n").unwrap();
        }
        folder.canonicalize().unwrap()
    }

    #[test]
    fn variables_count_for_the_repository_they_name() {
        let folder = two_repositories();
        let at = |path: &str| folder.join(path);
        type Row<'a> = (&'a [(&'a str, &'a str)], &'a str, &'a str, Locals);
        let own = || Locals::Index(at("a/.git/index.lock"));
        let lock = at("a/.git/index.lock");
        let lock = lock.to_str().unwrap();
        let temporary = at("none/index");
        let temporary = temporary.to_str().unwrap();
        // The variables; the folder that the command was started in; the folder in question; the expected result.
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
        std::fs::remove_dir_all(&folder).unwrap();
    }

    #[test]
    fn a_repository_is_named_by_its_folder_or_by_a_variable() {
        let folder = tempfile::tempdir().unwrap();
        let at = |path: &str| folder.path().join(path);
        for path in ["a/.git/objects", "a/.git/refs", "a/sub/deep", "gone", "damaged", "none/.git"] {
            std::fs::create_dir_all(at(path)).unwrap();
        }
        std::fs::write(at("a/.git/HEAD"), "ref: refs/heads/main\n").unwrap();
        std::fs::write(at("gone/.git"), "gitdir: ../b/.git/worktrees/gone\n").unwrap();
        std::fs::write(at("damaged/.git"), "no link\n").unwrap();
        let named = |path: &str, locals: &Locals, set: &[(&str, PathBuf)]| {
            let set = set.iter().map(|(name, value)| ((*name).to_owned(), value.clone().into_os_string())).collect();
            Environment(set).names_repository(&at(path), locals)
        };
        for (path, expected) in [("a/sub/deep", true), ("a", true), ("gone", false), ("damaged", true), ("none", false)]
        {
            assert_eq!(named(path, &Locals::Nothing, &[]), expected, "{path}");
        }
        let ceiling = [("GIT_CEILING_DIRECTORIES", at("a"))];
        assert!(!named("a/sub/deep", &Locals::Nothing, &ceiling), "git does not go up to a ceiling");
        assert!(named("a", &Locals::Nothing, &ceiling), "but reads the folder that it is started in");
        let whole = Locals::Whole(at("none"));
        assert!(named("none", &whole, &[("GIT_DIR", at("a/.git"))]));
        assert!(!named("a", &whole, &[("GIT_DIR", at("none/.git"))]));
    }
}
