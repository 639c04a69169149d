//! A new repository from given commits, the same on every machine.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use walkdir::WalkDir;

use super::link_out::refuse_link_out;
use super::process::Git;
use super::writing::begin_writing;
use crate::Error;

/// The branch of the commits.
const BRANCH: &str = "main";

/// The folder in which it is created.
const BESIDE: &str = ".tierod-new";

/// A commit to create.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewCommit {
    /// The time, in seconds since 1970.
    pub seconds: i64,
    /// The time zone, for example `+0100`.
    pub zone: String,
    /// The name of the author and committer.
    pub name: String,
    /// The e-mail address of the author and committer.
    pub email: String,
    /// The message.
    pub message: String,
    /// Every file of the commit, by its path.
    pub files: BTreeMap<String, Vec<u8>>,
}

/// Creates a repository of these commits, one after another, in a folder that is empty or does not exist yet.
///
/// The user's configuration, templates and hooks are not used, and no remote is added.
///
/// # Errors
/// The folder is not empty, is behind a link of another repository, or cannot be created; git cannot be started, or fails.
pub fn create_repository(folder: &Path, commits: &[NewCommit]) -> Result<(), Error> {
    refuse_link_out(folder)?;
    let failed = |error| Error::new(format!("cannot create {}", folder.display())).because(error);
    // Half of a repository is never where the whole one belongs: it is created beside, and moved.
    let beside = folder.join(BESIDE);
    let left = left_by_earlier_run(folder, commits)?;
    if left.iter().any(|path| path.ends_with(".git")) {
        // Everything was moved: only the folder beside was not removed yet.
        return fs::remove_dir(&beside).map_err(failed);
    }
    begin_writing();
    for path in left {
        if path.is_dir() { fs::remove_dir_all(&path) } else { fs::remove_file(&path) }.map_err(failed)?;
    }
    fs::create_dir_all(&beside).map_err(failed)?;
    fill(&beside, commits).inspect_err(|_| {
        // What stays is removed by the next run; an empty folder needs none.
        let _ = fs::remove_dir_all(&beside);
    })?;
    let mut names = fs::read_dir(&beside).and_then(Iterator::collect::<Result<Vec<_>, _>>).map_err(failed)?;
    // The folder of git comes last: without it there is no repository.
    names.sort_by_key(|entry| (entry.file_name() == ".git", entry.file_name()));
    for entry in names {
        fs::rename(entry.path(), folder.join(entry.file_name())).map_err(failed)?;
    }
    fs::remove_dir(&beside).map_err(failed)
}

fn fill(folder: &Path, commits: &[NewCommit]) -> Result<(), Error> {
    let branch = format!("--initial-branch={BRANCH}");
    Git::output_isolated(folder, &["init", "--quiet", "--template=", "--object-format=sha1", &branch], Vec::new())?;
    // From here on the repository is named, whatever is around it.
    let here = |args: &[&str], input| {
        Git::output_isolated(folder, &[&["--git-dir=.git", "--work-tree=."], args].concat(), input)
    };
    here(&["fast-import", "--quiet", "--done"], stream(commits))?;
    here(&["reset", "--quiet", "--hard"], Vec::new())?;
    Ok(())
}

/// What an earlier run that was ended half-way left in the folder: the folder beside, and what was moved out of it already.
///
/// # Errors
/// The folder has something else in it.
fn left_by_earlier_run(folder: &Path, commits: &[NewCommit]) -> Result<Vec<PathBuf>, Error> {
    let help = "give a folder that is empty or does not exist yet; nothing was written";
    if folder.symlink_metadata().is_err() {
        return Ok(Vec::new());
    }
    let entries = fs::read_dir(folder)
        .and_then(Iterator::collect::<Result<Vec<_>, _>>)
        .map_err(|error| Error::new(format!("{} is not a folder", folder.display())).because(error).help(help))?;
    let beside = folder.join(BESIDE);
    let interrupted = beside.symlink_metadata().is_ok_and(|found| found.is_dir());
    let complete = || {
        let missing = |path: &String| folder.join(path).symlink_metadata().is_err();
        let empty = fs::read_dir(&beside).is_ok_and(|mut entries| entries.next().is_none());
        empty && commits.last().is_some_and(|last| !last.files.keys().any(missing))
    };
    let is_left = |path: &Path| match path.file_name() {
        Some(name) if name == BESIDE => true,
        // The folder of git is moved last.
        Some(name) if name == ".git" => complete(),
        _ => commits.last().is_some_and(|last| is_content_of(folder, path, last)),
    };
    let left: Vec<PathBuf> = entries.iter().map(fs::DirEntry::path).collect();
    if left.iter().all(|path| interrupted && is_left(path)) {
        return Ok(left);
    }
    Err(Error::new(format!("{} is not empty", folder.display())).help(help))
}

/// Whether a path has nothing but files of a commit, with the same bytes.
fn is_content_of(folder: &Path, path: &Path, commit: &NewCommit) -> bool {
    WalkDir::new(path).into_iter().all(|entry| {
        let Ok(entry) = entry else { return false };
        let name = entry.path().strip_prefix(folder).ok().and_then(Path::to_str);
        let file = || commit.files.get(name?);
        entry.file_type().is_dir()
            || (entry.file_type().is_file()
                && file().is_some_and(|bytes| fs::read(entry.path()).is_ok_and(|found| found == *bytes)))
    })
}

/// The commits in the format of `git fast-import`: each with its changes.
fn stream(commits: &[NewCommit]) -> Vec<u8> {
    let nothing: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    let mut before = &nothing;
    let mut out = Vec::new();
    for commit in commits {
        let NewCommit { seconds, zone, name, email, message, files } = commit;
        let who = format!("{name} <{email}> {seconds} {zone}");
        text(&mut out, &format!("commit refs/heads/{BRANCH}\nauthor {who}\ncommitter {who}\n"));
        data(&mut out, format!("{message}\n").as_bytes());
        for path in before.keys().filter(|path| !files.contains_key(*path)) {
            text(&mut out, &format!("D {path}\n"));
        }
        for (path, content) in files.iter().filter(|(path, content)| before.get(*path) != Some(content)) {
            text(&mut out, &format!("M 100644 inline {path}\n"));
            data(&mut out, content);
        }
        before = files;
    }
    text(&mut out, "done\n");
    out
}

fn text(out: &mut Vec<u8>, text: &str) {
    out.extend_from_slice(text.as_bytes());
}

/// A block of bytes with its length before it.
fn data(out: &mut Vec<u8>, content: &[u8]) {
    text(out, &format!("data {}\n", content.len()));
    out.extend_from_slice(content);
    out.push(b'\n');
}
