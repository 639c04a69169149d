//! The repository of a folder, read by libgit2 where it can and by git itself where it cannot.

use std::path::{Path, PathBuf};

use foldhash::HashSet;

use super::locate::Locals;
use super::past::{Known, Place, Reach, Walk};
use super::{git, plumbing};
use crate::Error;

/// One entry of the index or of a tree.
#[derive(Clone, Debug)]
pub(super) struct Entry {
    /// The path from the repository's top.
    pub(super) path: String,
    /// The object id in hexadecimal.
    pub(super) id: String,
    /// What it is.
    pub(super) kind: EntryKind,
    /// Left out of the work tree by a sparse checkout?
    pub(super) skip_worktree: bool,
    /// The size where the index knows it; 0 where it does not.
    pub(super) size: u32,
}

/// The index.
#[derive(Clone, Debug, Default)]
pub(super) struct Index {
    /// The entries at stage 0, less those only meant to be added.
    pub(super) entries: Vec<Entry>,
    /// The paths that a merge left unmerged.
    pub(super) unmerged: Vec<String>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum EntryKind {
    File,
    Symlink,
    Submodule,
}

impl EntryKind {
    /// From the mode of an index or tree entry; none for a folder.
    pub(super) fn of_mode(mode: u32) -> Option<Self> {
        match mode & 0o170_000 {
            0o100_000 => Some(Self::File),
            0o120_000 => Some(Self::Symlink),
            0o160_000 => Some(Self::Submodule),
            _ => None,
        }
    }
}

impl Entry {
    /// An entry without content: neither records nor evidence.
    pub(super) fn is_empty(&self) -> bool {
        // The ids of the empty blob under SHA-1 and SHA-256.
        self.id == "e69de29bb2d1d6434b8b29ae775ad8c2e48c5391"
            || self.id == "473a0f4c3be8a93681a267e3b1e9a7dcda1185436fe141f7749120a303721813"
    }
}

/// A commit's name and time.
pub(super) struct Commit {
    pub(super) id: String,
    pub(super) day: schema::Day,
}

/// The content of an object, or why it cannot be had.
pub type Content = Result<std::sync::Arc<[u8]>, schema::read::Problem>;

/// A repository behind one of its two readers.
pub(super) struct Repository {
    reader: Reader,
    /// The top of the work tree; the repository itself where it is bare.
    pub(super) top: PathBuf,
    pub(super) bare: bool,
    /// Where the repository was looked for, and where the command was started.
    found_from: (PathBuf, PathBuf),
}

enum Reader {
    Library(git::Library),
    Plumbing(plumbing::Git),
}

impl Repository {
    /// The repository that holds a folder; none where there is none.
    pub(super) fn of(folder: &Path, cwd: &Path) -> Result<Option<Self>, Error> {
        let locals = Locals::of(folder, cwd);
        match git::Library::open(folder, &locals) {
            Ok(Some(library)) => {
                let (top, bare) = library.top();
                let found_from = (folder.to_owned(), cwd.to_owned());
                Ok(Some(Self { reader: Reader::Library(library), top, bare, found_from }))
            }
            Ok(None) => Ok(None),
            Err(git::Failure(cause)) => Self::by_plumbing(folder, cwd, &locals, &cause),
        }
    }

    /// The same repository once more.
    pub(super) fn again(&self) -> Result<Self, Error> {
        let (folder, cwd) = &self.found_from;
        Self::of(folder, cwd)?.ok_or_else(|| Error::new("the repository is gone"))
    }

    fn by_plumbing(folder: &Path, cwd: &Path, locals: &Locals, cause: &str) -> Result<Option<Self>, Error> {
        let git = plumbing::Git::new(folder, locals);
        match git.top() {
            Ok(Some((top, bare))) => {
                let found_from = (folder.to_owned(), cwd.to_owned());
                Ok(Some(Self { reader: Reader::Plumbing(git), top, bare, found_from }))
            }
            Ok(None) => Ok(None),
            Err(error) if error.message.contains("dubious ownership") => Err(owner_error(folder, &error.message)),
            Err(error) => {
                let help = error.help.clone().unwrap_or_else(|| "run `git status` there, and mend what it says".into());
                Err(Error::new("the repository cannot be read").because(format!("{cause}; {error}")).help(help))
            }
        }
    }

    /// Does one thing with libgit2, and with git where libgit2 cannot.
    fn with<T>(
        &self,
        library: impl FnOnce(&git::Library) -> Result<T, git::Failure>,
        plumbing: impl FnOnce(&plumbing::Git) -> Result<T, Error>,
    ) -> Result<T, Error> {
        match &self.reader {
            Reader::Library(reader) => match library(reader) {
                Ok(done) => Ok(done),
                Err(git::Failure(_)) => plumbing(&reader.plumbing()),
            },
            Reader::Plumbing(git) => plumbing(git),
        }
    }

    /// The index.
    pub(super) fn index(&self) -> Result<Index, Error> {
        self.with(git::Library::index, plumbing::Git::index)
    }

    /// The commit of a revision and the entries of its tree.
    pub(super) fn tree(&self, revision: &str) -> Result<(Commit, Vec<Entry>), Error> {
        self.with(|library| library.tree(revision), |git| git.tree(revision))
    }

    /// Is there no commit yet on the branch that is checked out?
    pub(super) fn unborn(&self) -> Result<bool, Error> {
        self.with(git::Library::unborn, plumbing::Git::unborn)
    }

    /// The contents of entries, in their order.
    pub(super) fn contents(&self, entries: &[&Entry]) -> Result<Vec<Content>, Error> {
        self.with(|library| library.contents(entries), |git| git.contents(entries))
    }

    /// The commit that HEAD names; none before the first.
    pub(super) fn head(&self) -> Result<Option<String>, Error> {
        self.with(git::Library::head, plumbing::Git::head)
    }

    /// Does a commit hold a file of this path?
    pub(super) fn has(&self, commit: &str, path: &str) -> Result<bool, Error> {
        self.with(|library| library.has(commit, path), |git| git.has(commit, path))
    }

    /// The data roots of a commit.
    pub(super) fn roots(&self, commit: &str) -> Result<Vec<String>, Error> {
        self.with(|library| library.roots(commit), |git| git.roots(commit))
    }

    /// The commits that changed a data root, back to the first or to one that is known (with its prefix).
    pub(super) fn walk(&self, from: &Place, known: &Known, reach: Reach) -> Result<Walk, Error> {
        self.with(|library| library.walk(from, known), |git| git.walk(from, known, reach))
    }

    /// The commits that a merge which is not committed yet brings in.
    pub(super) fn merge_heads(&self) -> Result<Vec<String>, Error> {
        let path = self.with(|library| Ok(library.own_file("MERGE_HEAD")), |git| git.own_file("MERGE_HEAD"))?;
        let list = std::fs::read_to_string(path).unwrap_or_default();
        Ok(list.lines().map(|line| line.trim().to_owned()).filter(|line| !line.is_empty()).collect())
    }

    /// The contents of blobs, in their order.
    pub(super) fn blobs(&self, ids: &[&str]) -> Result<Vec<Content>, Error> {
        let entry = |id: &&str| Entry {
            path: String::new(),
            id: (*id).to_owned(),
            kind: EntryKind::File,
            skip_worktree: false,
            size: 0,
        };
        let entries: Vec<Entry> = ids.iter().map(entry).collect();
        self.contents(&entries.iter().collect::<Vec<_>>())
    }

    /// The folder that all work trees share; none where the environment puts the repository together.
    pub(super) fn common_folder(&self) -> Option<PathBuf> {
        match &self.reader {
            Reader::Library(library) => library.common_folder(),
            Reader::Plumbing(git) => git.common_folder(),
        }
    }

    /// The files below a folder that are not tracked and that git does not ignore, from the top; none where the
    /// folder itself is ignored.
    ///
    /// Asked of git even where libgit2 reads the rest: libgit2 (1.9) passes over `!keep.yaml` in a folder when the rule
    /// it lifts stands further up, and knows no rules from `git -c`. It answers only where there is no git.
    pub(super) fn untracked(&self, folder: &Path) -> Result<Option<HashSet<String>>, Error> {
        let answer = match &self.reader {
            Reader::Library(library) => match library.plumbing().untracked(folder, &self.top) {
                Err(error) if error.message == plumbing::NO_GIT => Ok(library.untracked(folder, &self.top)),
                answer => answer,
            },
            Reader::Plumbing(git) => git.untracked(folder, &self.top),
        };
        answer.map_err(|error| {
            let help = error.help.clone().unwrap_or_else(|| "run `git status` there, and mend what it says".into());
            Error::new("git cannot list the files of the work tree").because(error).help(help)
        })
    }
}

/// Git's refusal of a repository that belongs to somebody else: `... in repository at '<path>'`, and more lines.
fn owner_error(folder: &Path, said: &str) -> Error {
    let first = said.lines().next().unwrap_or(said);
    let named = first.split_once('\'').and_then(|(_, rest)| rest.strip_suffix('\''));
    let folder = named.map_or_else(|| folder.display().to_string(), str::to_owned).replace('\'', r"'\''");
    Error::new("the repository belongs to another user, and git does not read it")
        .because(first)
        .help(format!("if you trust it: git config --global --add safe.directory '{folder}'"))
}

/// The folder that git runs hooks from, as `core.hooksPath` and linked worktrees have it, and the top of the work tree.
///
/// # Errors
/// No repository, or a bare one.
pub fn hooks_folder(folder: &Path, cwd: &Path) -> Result<(PathBuf, PathBuf), Error> {
    let git = plumbing::Git::new(folder, &Locals::of(folder, cwd));
    match git.top()? {
        Some((top, false)) => Ok((git.hooks(&top)?, top)),
        Some((_, true)) => {
            Err(Error::new("a bare repository has no commits made in it, so it needs no pre-commit hook"))
        }
        None => Err(Error::new("this folder is in no git repository").help("run `git init` first")),
    }
}
