//! Which repository the environment speaks of.
//!
//! In a hook git sets `GIT_INDEX_FILE`, and in linked worktrees `GIT_DIR`: `git commit -a` and
//! `git commit FILE` build the commit in another index than `.git/index`. These variables count for the
//! repository one stands in and for no other.

use std::path::{Path, PathBuf};

/// The variables that bind git to one repository (`git rev-parse --local-env-vars`, git 2.47).
const LOCAL: [&str; 16] = [
    "GIT_ALTERNATE_OBJECT_DIRECTORIES",
    "GIT_CONFIG",
    "GIT_CONFIG_PARAMETERS",
    "GIT_CONFIG_COUNT",
    "GIT_OBJECT_DIRECTORY",
    "GIT_DIR",
    "GIT_WORK_TREE",
    "GIT_IMPLICIT_WORK_TREE",
    "GIT_GRAFT_FILE",
    "GIT_INDEX_FILE",
    "GIT_NO_REPLACE_OBJECTS",
    "GIT_REPLACE_REF_BASE",
    "GIT_PREFIX",
    "GIT_SHALLOW_FILE",
    "GIT_COMMON_DIR",
    "GIT_QUARANTINE_PATH",
];

/// Names of all variables that bind git to one repository.
pub(super) fn local_names() -> &'static [&'static str] {
    &LOCAL
}

/// What the environment says of the repository of a folder.
#[derive(Clone, Debug, Default)]
pub(super) struct Locals {
    /// Do the variables speak of this repository?
    pub(super) apply: bool,
    /// The repository they name.
    pub(super) git_dir: Option<PathBuf>,
    /// The index they name.
    pub(super) index_file: Option<PathBuf>,
}

impl Locals {
    /// The environment's word on the repository of `folder`, for a command started in `cwd`.
    pub(super) fn of(folder: &Path, cwd: &Path) -> Self {
        let set = |name: &str| std::env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from);
        let absolute = |path: PathBuf| if path.is_absolute() { path } else { cwd.join(path) };
        let git_dir = set("GIT_DIR").map(absolute);
        let index_file = set("GIT_INDEX_FILE");
        if git_dir.is_none() && index_file.is_none() {
            return Self::default();
        }
        // Git starts a hook at the top of the work tree: the repository one stands in is the one meant.
        let here = nearest_git(cwd);
        if here.is_none() || here != nearest_git(folder) {
            return Self::default();
        }
        let top = here.as_deref().and_then(Path::parent).unwrap_or(cwd).to_owned();
        let index_file = index_file.map(|path| {
            // A relative one counts from the top of the work tree, which a hook may have left.
            if path.is_absolute() || cwd.join(&path).exists() { absolute(path) } else { top.join(path) }
        });
        Self { apply: true, git_dir, index_file }
    }
}

/// The `.git` (folder or file) that a folder belongs to.
fn nearest_git(folder: &Path) -> Option<PathBuf> {
    folder.ancestors().map(|up| up.join(".git")).find(|path| path.exists())
}
