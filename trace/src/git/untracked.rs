//! The files that are not tracked and that git does not ignore, by git's own commands.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use foldhash::HashSet;
use walkdir::WalkDir;

use super::error::GitError;
use super::process::{Git, Longest, refused};
use crate::parallel::both;
use crate::snapshot::text_of;

/// The exit code of `git check-ignore` for a path that is not ignored.
const NOT_IGNORED: i32 = 1;

/// The files below a folder that are not tracked and not ignored, from the top; `None` if the folder itself is ignored.
///
/// Both questions are asked at the same time, because starting git takes longer than its answer.
pub(super) fn list(git: &Git, folder: &Path, top: &Path) -> Result<Option<HashSet<String>>, GitError> {
    listed(git, folder, top).map_err(|error| match error {
        GitError::TooLong => GitError::SlowPatterns,
        error => error,
    })
}

fn listed(git: &Git, folder: &Path, top: &Path) -> Result<Option<HashSet<String>>, GitError> {
    let args = ["--literal-pathspecs", "ls-files", "-z", "-o", "--exclude-standard", "--full-name", "--"];
    let args = [&args.map(OsStr::new)[..], &[folder.as_os_str()]].concat();
    let (ignored, output) = both(|| is_ignored(git, folder, top), || git.output(&args, Longest::OF_PATTERNS));
    if ignored? {
        return Ok(None);
    }
    let output = output?;
    let paths = output.stdout.split(|b| *b == 0).filter(|path| !path.is_empty());
    let mut paths: HashSet<String> = paths.map(|path| String::from_utf8_lossy(path).into_owned()).collect();
    if !output.stderr.is_empty() {
        paths.extend(closed_folders(git, folder, top)?);
    }
    Ok(Some(paths))
}

fn is_ignored(git: &Git, folder: &Path, top: &Path) -> Result<bool, GitError> {
    if folder == top {
        return Ok(false);
    }
    let args = ["check-ignore", "--no-index", "-q", "--"].map(OsStr::new);
    match git.output(&[&args[..], &[folder.as_os_str()]].concat(), Longest::OF_PATTERNS) {
        Ok(_) => Ok(true),
        Err(GitError::Refused { code: Some(NOT_IGNORED), .. }) => Ok(false),
        Err(error) => Err(error),
    }
}

/// The folders below an untracked one that cannot be opened, and that git does not ignore. Git itself omits their
/// files from its lists, with a warning.
fn closed_folders(git: &Git, folder: &Path, top: &Path) -> Result<Vec<String>, GitError> {
    let args =
        ["--literal-pathspecs", "ls-files", "-z", "-o", "--exclude-standard", "--directory", "--full-name", "--"];
    let args = [&args.map(OsStr::new)[..], &[folder.as_os_str()]].concat();
    let out = git.output(&args, Longest::OF_PATTERNS)?;
    let paths = out.stdout.split(|b| *b == 0).map(String::from_utf8_lossy);
    let mut closed: Vec<PathBuf> = Vec::new();
    for path in paths.filter(|path| path.ends_with('/')) {
        let errors = WalkDir::new(top.join(&*path)).into_iter().filter_map(Result::err);
        closed.extend(errors.filter_map(|error| error.path().map(Path::to_owned)));
    }
    if closed.is_empty() {
        return Ok(Vec::new());
    }
    // Paths are relative to the folder that git runs in, or absolute.
    let list: Vec<u8> = closed.iter().flat_map(|path| [path.as_os_str().as_encoded_bytes(), b"\0"].concat()).collect();
    let output = git.run_with_input(&["check-ignore", "--no-index", "-z", "--stdin"], list, Longest::OF_PATTERNS)?;
    if !matches!(output.status.code(), Some(0 | NOT_IGNORED)) {
        return Err(refused(&output));
    }
    let ignored: HashSet<&[u8]> = output.stdout.split(|b| *b == 0).collect();
    closed.retain(|path| !ignored.contains(path.as_os_str().as_encoded_bytes()));
    Ok(closed.iter().map(|path| text_of(path.strip_prefix(top).unwrap_or(path))).collect())
}
