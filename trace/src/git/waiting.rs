//! What makes git or libgit2 wait without an end: a pipe or a device among the files that they open, packed objects that are
//! made of each other in a circle, and objects that are cut off.
//!
//! All that git may open cannot be listed beforehand. So nothing is looked for until a command takes long.

use std::collections::VecDeque;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use foldhash::HashSet;
use walkdir::WalkDir;

use super::error::GitError;
use super::process::Git;
use super::{alternates, loose, packs, regular};
use crate::Error;

const DOT_GIT: &str = ".git";
/// The files with rules of git in the folders of a working tree.
const RULES: [&str; 2] = [".gitignore", ".gitattributes"];
/// The file with names of authors, at its top.
const MAILMAP: &str = ".mailmap";

/// The largest number of files that are looked at in a folder of git, and in a working tree.
const MOST_FILES: usize = 2_000_000;
/// The same for what is behind links.
const MOST_BEHIND_LINKS: usize = 500_000;

/// How many files name each other, at most: a configuration that includes another, objects that are in another folder.
const DEEPEST: usize = 8;

/// The bytes of all configuration files that are looked at; and what each counts at least.
const MOST_CONFIG: u64 = 2 << 20;
const SMALL_CONFIG: u64 = 8 << 10;

/// The variables that name folders and files of git.
const NAMED: [&str; 5] =
    ["GIT_DIR", "GIT_COMMON_DIR", "GIT_OBJECT_DIRECTORY", "GIT_ALTERNATE_OBJECT_DIRECTORIES", "GIT_INDEX_FILE"];

/// Why reading the repository of a folder may never end; `None` if no cause is found.
///
/// To be asked while a command takes long: it looks at many files.
pub fn never_ends(folder: &Path) -> Option<Error> {
    find(folder).map(Error::from)
}

/// The same as an error of git.
pub(super) fn find(folder: &Path) -> Option<GitError> {
    let folder = folder.canonicalize().ok()?;
    let mut folders = Folders::default();
    for up in folder.ancestors() {
        folders.add_dot_git(up);
    }
    let set = |name: &&str| std::env::var_os(name);
    for path in NAMED.iter().filter_map(set).flat_map(|list| std::env::split_paths(&list).collect::<Vec<_>>()) {
        folders.add(path);
    }
    if let Some(path) = folders.special {
        return Some(waited_for(&path));
    }
    if let Some(path) = folders.list.iter().find_map(|place| special_in(place)) {
        return Some(waited_for(&path));
    }
    let mut configured =
        folders.list.iter().flat_map(|place| ["config", "config.worktree"].map(|name| place.join(name)));
    let mut files = ConfigFiles { left: MOST_CONFIG, seen: HashSet::default() };
    let named = configured.find_map(|file| files.named_in(&file, top_of(&folder), DEEPEST));
    if let Some(path) = named.or_else(|| in_working_tree(&folder)) {
        return Some(waited_for(&path));
    }
    // Objects are in a folder of git, or are what alternates name.
    let objects = folders.list.iter().flat_map(|place| [place.join("objects"), place.clone()]);
    objects.into_iter().find_map(|objects| packs::circle(&objects.join("pack")).or_else(|| loose::cut(&objects)))
}

/// The folders of git that belong to a repository.
#[derive(Default)]
struct Folders {
    list: Vec<PathBuf>,
    known: HashSet<PathBuf>,
    /// A pipe or a device in place of one.
    special: Option<PathBuf>,
}

impl Folders {
    /// Adds what is called `.git` in a folder, and the folder itself if it is a repository.
    fn add_dot_git(&mut self, up: &Path) {
        let dot = up.join(".git");
        if up.join("HEAD").symlink_metadata().is_ok() && up.join("objects").exists() {
            self.add(up.to_owned());
        }
        match text_of(&dot) {
            Some(text) => self.add(up.join(text.trim().trim_start_matches("gitdir:").trim())),
            None => self.add(dot),
        }
    }

    /// Adds a folder, with those that it names.
    fn add(&mut self, place: PathBuf) {
        let mut left = VecDeque::from([(place, DEEPEST)]);
        while let Some((place, depth)) = left.pop_front() {
            if is_special(&place) {
                self.special = Some(place);
                return;
            }
            let Ok(place) = place.canonicalize() else { continue };
            if depth == 0 || !self.known.insert(place.clone()) {
                continue;
            }
            if let Some(common) = text_of(&place.join("commondir")) {
                left.push_back((place.join(common.trim()), depth - 1));
            }
            // A folder of git, or one of objects.
            let named = [place.join("objects"), place.clone()].map(|objects| alternates::named(&objects)).concat();
            left.extend(named.into_iter().map(|path| (path, depth - 1)));
            self.list.push(place);
        }
    }
}

/// The text of a small file, behind a link, too: git follows them here.
fn text_of(path: &Path) -> Option<String> {
    regular::small_linked(path).map(|bytes| String::from_utf8_lossy(&bytes).into_owned())
}

/// The error for a file that git waits for.
fn waited_for(path: &Path) -> GitError {
    GitError::Unreadable {
        cause: format!("{} is a pipe or a device", path.display()),
        hint: "git would wait for it: replace it by a file, or clone the repository again".to_owned(),
    }
}

/// Whether a pipe or a device is there. A socket cannot be opened, so that nothing waits for it; git has some of its own. Git follows
/// links here.
fn is_special(path: &Path) -> bool {
    path.metadata().is_ok_and(|found| !found.is_file() && !found.is_dir() && !is_socket(&found))
}

fn is_socket(found: &std::fs::Metadata) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileTypeExt as _;
        found.file_type().is_socket()
    }
    #[cfg(not(unix))]
    {
        let _ = found;
        false
    }
}

/// The configuration files that are looked at, each once.
struct ConfigFiles {
    /// How many bytes they may still have together.
    left: u64,
    seen: HashSet<PathBuf>,
}

impl ConfigFiles {
    /// The first pipe or device that a configuration file names, or one that it includes.
    fn named_in(&mut self, file: &Path, top: &Path, depth: usize) -> Option<PathBuf> {
        const NAMES: &str = r"^(include\.path|includeif\..*\.path|core\.(excludesfile|attributesfile)|mailmap\.file)$";
        let size = file.metadata().ok().filter(std::fs::Metadata::is_file)?.len();
        if depth == 0 || !self.seen.insert(file.canonicalize().ok()?) {
            return None;
        }
        // A small one needs a command of git, too.
        self.left = self.left.checked_sub(size.max(SMALL_CONFIG))?;
        let args = ["config", "--file", file.to_str()?, "--no-includes", "-z", "--get-regexp", NAMES];
        let listed = Git::output_isolated(Path::new("/"), &args, Vec::new()).ok()?;
        let listed = String::from_utf8_lossy(&listed.stdout).into_owned();
        // `key`, a line break, and the value.
        listed.split('\0').filter_map(|entry| entry.split_once('\n')).find_map(|(key, value)| {
            let include = key.starts_with("include");
            let path = match value.strip_prefix("~/") {
                Some(rest) => PathBuf::from(std::env::var_os("HOME")?).join(rest),
                None if include => file.parent()?.join(value),
                None => top.join(value),
            };
            if is_special(&path) { Some(path) } else { include.then(|| self.named_in(&path, top, depth - 1)).flatten() }
        })
    }
}

/// The first pipe or device in a folder of git. What is in the folder itself comes first, whatever its links lead to, and each
/// folder behind links is looked at once.
fn special_in(place: &Path) -> Option<PathBuf> {
    let mut open = VecDeque::from([place.to_owned()]);
    let (mut links, mut seen) = (VecDeque::new(), HashSet::default());
    let mut left = MOST_FILES;
    loop {
        while let Some(folder) = open.pop_front() {
            if !identity(&folder).is_some_and(|folder| seen.insert(folder)) {
                continue;
            }
            for entry in std::fs::read_dir(&folder).into_iter().flatten().flatten() {
                left = left.checked_sub(1)?;
                match entry.file_type() {
                    Ok(kind) if kind.is_dir() => open.push_back(entry.path()),
                    Ok(kind) if kind.is_symlink() => links.push_back(entry.path()),
                    Ok(kind) if kind.is_file() => {}
                    _ if is_special(&entry.path()) => return Some(entry.path()),
                    _ => {}
                }
            }
        }
        left = left.min(MOST_BEHIND_LINKS);
        let link = links.pop_front()?;
        if is_special(&link) {
            return Some(link);
        }
        if link.is_dir() {
            open.push_back(link);
        }
    }
}

/// What a folder is, by whatever name.
#[cfg(unix)]
fn identity(folder: &Path) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt as _;
    folder.metadata().ok().map(|found| (found.dev(), found.ino()))
}

/// What a folder is, by whatever name.
#[cfg(not(unix))]
fn identity(folder: &Path) -> Option<PathBuf> {
    folder.canonicalize().ok()
}

/// The top of the working tree of a folder.
fn top_of(folder: &Path) -> &Path {
    folder.ancestors().find(|up| up.join(DOT_GIT).symlink_metadata().is_ok()).unwrap_or(folder)
}

/// The first pipe or device that git opens in a working tree: among the files with its rules above and below a folder, and in the
/// repositories that are nested in it.
fn in_working_tree(folder: &Path) -> Option<PathBuf> {
    let is_rules = |name: &OsStr| RULES.iter().any(|rules| name == *rules);
    let top = top_of(folder);
    let mut above = folder.ancestors().flat_map(|up| RULES.map(|name| up.join(name))).chain([top.join(MAILMAP)]);
    if let Some(found) = above.find(|path| is_special(path)) {
        return Some(found);
    }
    let mut nested = Folders::default();
    for entry in WalkDir::new(top).min_depth(1).into_iter().take(MOST_FILES).flatten() {
        let path = entry.path();
        if entry.file_name() == DOT_GIT && entry.depth() > 1 && !entry.file_type().is_dir() {
            // A file or a link that leads to a repository.
            nested.add_dot_git(path.parent()?);
        }
        if entry.file_type().is_dir() || entry.file_type().is_file() {
            continue;
        }
        let of_git = || is_rules(entry.file_name()) || path.iter().any(|step| step == DOT_GIT);
        if of_git() && is_special(path) {
            return Some(entry.into_path());
        }
    }
    nested.special.or_else(|| nested.list.iter().find_map(|place| special_in(place)))
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;

    /// Each needs a command of git, and a repository that somebody committed may include as many as it likes.
    #[test]
    fn configuration_files_have_a_limit() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        std::fs::write(at("large"), vec![b'\n'; 3 << 20]).unwrap();
        let mut text = "[include]\npath = large\n".to_owned();
        for number in 0..300 {
            text += &format!("path = {number}\npath = {number}\n");
            std::fs::write(at(&number.to_string()), "[a]\nb = c\n").unwrap();
        }
        assert!(std::process::Command::new("mkfifo").arg(at("pipe")).status().unwrap().success());
        std::fs::write(at("config"), text + "path = pipe\n").unwrap();
        let mut files = ConfigFiles { left: MOST_CONFIG, seen: HashSet::default() };
        assert_eq!(files.named_in(&at("config"), folder.path(), DEEPEST), Some(at("pipe")));
        assert!(files.left < SMALL_CONFIG && files.seen.len() == 302, "{} {}", files.left, files.seen.len());
    }
}
