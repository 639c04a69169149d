//! The folder that git runs hooks from.

use std::ffi::OsStr;
use std::path::{Component, Path, PathBuf};

use super::config_size;
use super::environment::{Environment, Locals, discover, is_at_home};
use super::error::GitError;
use super::plumbing::Plumbing;
use super::process::Longest;
use super::regular::{self, NotRead};
use super::repository::owns;

/// What leads to a folder of hooks outside of the repository, where other repositories may use it, too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeadsOut {
    /// The configuration of the user or of the system.
    User,
    /// The configuration of the repository itself, which a stranger may have written.
    Repository,
    /// Neither, but a link, a file of git, or a working tree that is elsewhere.
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

/// The largest hook that is read.
const LARGEST_HOOK: u64 = 1 << 20;

/// Reads a hook, also behind a link, as git runs it.
///
/// # Errors
/// It is missing, not a regular file, too large, or cannot be read without waiting.
pub fn read_hook(path: &Path) -> std::io::Result<Vec<u8>> {
    regular::read(&path.canonicalize()?, LARGEST_HOOK).map_err(|error| match error {
        NotRead::Link | NotRead::NotRegular => std::io::Error::other("it is not a regular file"),
        NotRead::TooLarge(_) => std::io::Error::other("it has more than 1 MiB"),
        NotRead::Failed(error) => error,
    })
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
        let named = git.hooks(&top)?;
        let (home, is_home) = (discover(folder).map(|found| found.top), is_at_home(&top, folder, &locals));
        let folder = resolved(&named);
        let common = git.git.text(&["rev-parse", "--path-format=absolute", "--git-common-dir"]).ok();
        // Another shared folder is that of other repositories.
        let is_own = |common: &PathBuf| environment.binds() || home.is_some_and(|home| owns(&home, common));
        let common = common.map(|common| resolved(Path::new(&common))).filter(is_own);
        // As it is written, without looking for links.
        let written = without_dots(&named);
        let looks_inside =
            written.starts_with(&top) || common.as_ref().is_some_and(|common| written.starts_with(common));
        let in_git = common.is_some_and(|common| folder.starts_with(common));
        let in_tree = !in_git && is_home && folder.starts_with(resolved(&top));
        let tracked = in_tree && git.is_committed(&folder);
        let off = git.git.configured_path("core.hooksPath").is_some_and(|path| path.as_os_str().is_empty());
        let outside = (!in_git && !in_tree).then(|| match git.git.scope("core.hooksPath").as_deref() {
            Some("local" | "worktree") => LeadsOut::Repository,
            // The user names a folder in each working tree, and this one has a link in its place.
            Some(_) if !looks_inside => LeadsOut::User,
            Some(_) => LeadsOut::Link,
            None => LeadsOut::Link,
        });
        Ok(Self { folder, top, outside, tracked, off })
    }
}

/// The path without `.` and `..`, as it is written.
fn without_dots(path: &Path) -> PathBuf {
    let mut out = PathBuf::new();
    for step in path.components() {
        match step {
            Component::ParentDir => {
                out.pop();
            }
            Component::CurDir => {}
            Component::Normal(_) | Component::RootDir | Component::Prefix(_) => out.push(step),
        }
    }
    out
}

/// The path without symbolic links as far as it exists, and without `..` also where it does not.
fn resolved(path: &Path) -> PathBuf {
    let Some((there, full)) = path.ancestors().find_map(|up| Some((up, up.canonicalize().ok()?))) else {
        return without_dots(path);
    };
    let rest = path.strip_prefix(there).unwrap_or(Path::new(""));
    if rest.as_os_str().is_empty() {
        return full;
    }
    // What leads back from a folder that is not there may lead to a link.
    let whole = without_dots(&full.join(rest));
    if whole.starts_with(&full) { whole } else { resolved(&whole) }
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
