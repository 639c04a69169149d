//! The primitive operations on a repository. Both libgit2 and git's own commands implement them; everything else is
//! written once, on top of them.

use std::path::{Path, PathBuf};

use foldhash::HashSet;
use schema::Day;
use schema::read::Problem;

use super::error::GitError;
use crate::snapshot::Content;

/// One entry of the index or of a tree.
#[derive(Clone, Debug)]
pub(super) struct Entry {
    /// The path from the repository's top.
    pub(super) path: String,
    /// The object id in hexadecimal.
    pub(super) id: String,
    /// Its kind.
    pub(super) kind: EntryKind,
    /// Whether a sparse checkout leaves it out of the working tree.
    pub(super) skip_worktree: bool,
    /// The size if the index contains it; otherwise 0.
    pub(super) size: u32,
}

impl Entry {
    /// A file of which only the object is known.
    pub(super) fn of_object(id: &str) -> Self {
        let (path, id) = (String::new(), id.to_owned());
        Self { path, id, kind: EntryKind::File, skip_worktree: false, size: 0 }
    }

    /// Whether it has no content: neither records nor evidence.
    pub(super) fn is_empty(&self) -> bool {
        // The ids of the empty blob under SHA-1 and SHA-256.
        self.id == "e69de29bb2d1d6434b8b29ae775ad8c2e48c5391"
            || self.id == "473a0f4c3be8a93681a267e3b1e9a7dcda1185436fe141f7749120a303721813"
    }
}

/// The index.
#[derive(Clone, Debug, Default)]
pub(super) struct Index {
    /// The entries at stage 0, except those only meant to be added.
    pub(super) entries: Vec<Entry>,
    /// The paths that a merge left unmerged.
    pub(super) unmerged: Vec<String>,
}

/// The kind of an entry of the index or of a tree; folders are not listed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum EntryKind {
    File,
    Symlink,
    Submodule,
}

impl EntryKind {
    /// From the mode of an index or tree entry; `None` for a folder.
    pub(super) fn from_mode(mode: u32) -> Option<Self> {
        match mode & 0o170_000 {
            0o100_000 => Some(Self::File),
            0o120_000 => Some(Self::Symlink),
            0o160_000 => Some(Self::Submodule),
            _ => None,
        }
    }
}

/// The name of a commit, and its day in the time zone of the committer.
pub(super) struct NamedCommit {
    pub(super) id: String,
    pub(super) day: Day,
}

/// The kind of an object.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ObjectKind {
    Commit,
    Tree,
    Tag,
    Other,
}

/// An object as git stores it.
pub(super) struct Object {
    pub(super) kind: ObjectKind,
    pub(super) bytes: Vec<u8>,
}

/// The operations on a repository.
pub(super) trait Access {
    /// The id of the object of a reference, by its full or short name, or by its id or the beginning of it; `None` if this
    /// reader does not know it. The object is not read.
    fn named(&self, name: &str) -> Result<Option<String>, GitError>;

    /// The commit of a revision.
    fn resolve(&self, revision: &str) -> Result<NamedCommit, GitError>;

    /// The index.
    fn index(&self) -> Result<Index, GitError>;

    /// The commit of HEAD; `None` before the first commit.
    fn head(&self) -> Result<Option<String>, GitError>;

    /// Whether the branch that is checked out has no commit yet.
    fn is_unborn(&self) -> Result<bool, GitError>;

    /// A commit, a tree or a tag as it is stored: without replacements and grafts. One that is too large is not read.
    fn object(&self, id: &str) -> Result<Object, GitError>;

    /// The contents of files, in their order; large ones are not read, and none after `most` bytes in all.
    fn contents(&self, entries: &[&Entry], most: u64) -> Result<Vec<Content>, GitError>;

    /// The content of one blob with a limit of its own.
    fn large_content(&self, id: &str, most: u64) -> Result<Content, GitError>;

    /// The files below a folder that are not tracked and not ignored, from the top; `None` if the folder itself is
    /// ignored.
    fn untracked(&self, folder: &Path, top: &Path) -> Result<Option<HashSet<String>>, GitError>;

    /// The folder that all working trees share; `None` if the environment puts the repository together.
    fn common_folder(&self) -> Option<PathBuf>;

    /// A file in git's folder of this working tree, or in the shared one if it belongs there.
    fn own_file(&self, name: &str) -> Result<PathBuf, GitError>;
}

/// The largest tree that is read, in bytes: some hundred thousand files in one folder.
const LARGEST_TREE: u64 = 32 << 20;
/// The largest commit or tag, with its message.
const LARGEST_COMMIT: u64 = 4 << 20;

/// The largest object of this kind that is read, in bytes.
pub(super) fn largest(kind: ObjectKind) -> u64 {
    match kind {
        ObjectKind::Tree => LARGEST_TREE,
        ObjectKind::Commit | ObjectKind::Tag | ObjectKind::Other => LARGEST_COMMIT,
    }
}

/// The largest number of bytes of all record files of a state. The same content may be there under many names, and counts
/// each time.
pub(super) const MOST_CONTENT: u64 = 64 << 20;

/// The same of all tables that records name, and of all templates.
pub(super) const MOST_TABLES: u64 = 256 << 20;

/// A content if its size is left of what may be read in all.
pub(super) fn within(left: &mut u64, content: Content) -> Content {
    let size = content.as_ref().map_or(0, |bytes| bytes.len() as u64);
    match left.checked_sub(size) {
        Some(rest) => *left = rest,
        None => {
            *left = 0;
            return Err(too_much());
        }
    }
    content
}

/// The problem of a file that is not read any more.
pub(super) fn too_much() -> Problem {
    let message = format!(
        "the record files are more than {} MiB together, or the tables more than {} MiB, and this one is not read",
        MOST_CONTENT >> 20,
        MOST_TABLES >> 20
    );
    Problem::cannot_open(
        &message,
        "list what is not a record file under `ignore:` in tierod.yaml, or use smaller tables",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn contents_are_taken_up_to_a_limit() {
        let mut left = 10;
        let mut taken = |size: usize| within(&mut left, Ok(vec![b' '; size].into())).is_ok();
        assert!(taken(4) && taken(6), "ten bytes");
        assert!(!taken(1) && taken(0));
        let mut left = 10;
        assert!(within(&mut left, Ok(vec![b' '; 11].into())).is_err());
        assert!(within(&mut left, Ok(vec![b' '; 1].into())).is_err(), "none after one that was too much");
    }
}
