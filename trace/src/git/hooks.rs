//! The folder that git runs hooks from.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use super::config_size;
use super::environment::{Environment, Locals};
use super::error::GitError;
use super::plumbing::Plumbing;
use super::process::Longest;

/// What leads to a folder of hooks outside of the repository, where other repositories may use it, too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeadsOut {
    /// The configuration of the user or of the system.
    User,
    /// The configuration of the repository itself, which a stranger may have written.
    Repository,
    /// No configuration, but a link or a file of git.
    Link,
}

/// The folder that git runs the hooks of a repository from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hooks {
    /// The folder, following `core.hooksPath` and linked working trees.
    pub folder: PathBuf,
    /// The top of the working tree.
    pub top: PathBuf,
    /// What leads to it if it is outside of the repository.
    pub outside: Option<LeadsOut>,
    /// Whether it is in the working tree and not ignored, so that its files are committed.
    pub tracked: bool,
    /// Whether git starts no hook, because `core.hooksPath` is empty.
    pub off: bool,
}

impl Hooks {
    /// The hooks of the repository that contains a folder.
    ///
    /// # Errors
    /// No repository, or a bare one.
    pub fn of(folder: &Path, cwd: &Path) -> Result<Self, crate::Error> {
        let environment = Environment::read();
        let locals = Locals::new(folder, cwd, &environment);
        config_size::check(folder, &locals, &environment)?;
        let git = Plumbing::new(folder, &locals);
        let top = match git.top(&environment)? {
            Some((top, false)) => top,
            Some((_, true)) => return Err(GitError::NoHooks.into()),
            None => return Err(GitError::NoRepository { hint: "run `git init` first" }.into()),
        };
        let folder = resolved(&git.hooks(&top)?);
        let common = git.git.text(&["rev-parse", "--path-format=absolute", "--git-common-dir"]).ok();
        // The hooks of a `.git` that is a folder are in it: another shared folder is that of other repositories.
        let own = top.join(".git");
        let is_own = |common: &PathBuf| environment.binds() || !is_folder(&own) || *common == resolved(&own);
        let common = common.map(|common| resolved(Path::new(&common))).filter(is_own);
        let in_git = common.is_some_and(|common| folder.starts_with(common));
        let in_tree = !in_git && folder.starts_with(resolved(&top));
        let tracked = in_tree && git.is_committed(&folder);
        let off = git.git.configured_path("core.hooksPath").is_some_and(|path| path.as_os_str().is_empty());
        let outside = (!in_git && !in_tree).then(|| match git.git.scope("core.hooksPath").as_deref() {
            Some("local" | "worktree") => LeadsOut::Repository,
            Some(_) => LeadsOut::User,
            None => LeadsOut::Link,
        });
        Ok(Self { folder, top, outside, tracked, off })
    }
}

fn is_folder(path: &Path) -> bool {
    path.symlink_metadata().is_ok_and(|found| found.is_dir())
}

/// The path without symbolic links, as far as it exists.
fn resolved(path: &Path) -> PathBuf {
    let Some((there, full)) = path.ancestors().find_map(|up| Some((up, up.canonicalize().ok()?))) else {
        return path.to_owned();
    };
    path.strip_prefix(there)
        .map_or(full.clone(), |rest| if rest.as_os_str().is_empty() { full.clone() } else { full.join(rest) })
}

impl Plumbing {
    /// Whether git tracks files of a folder, or would with the next `git add .`.
    fn is_committed(&self, folder: &Path) -> bool {
        let run = |args: &[&str], path: &Path| {
            let args: Vec<&OsStr> = args.iter().map(OsStr::new).chain([path.as_os_str()]).collect();
            self.git.output(&args, Longest::OF_PATTERNS)
        };
        let tracked = run(&["--literal-pathspecs", "ls-files", "--"], folder).is_ok_and(|list| !list.stdout.is_empty());
        // The exit code is 1 if a path is not ignored. A file, because the folder itself may not be there yet.
        tracked || run(&["check-ignore", "--quiet", "--no-index", "--"], &folder.join("pre-commit")).is_err()
    }
}
