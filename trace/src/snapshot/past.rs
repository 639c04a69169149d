//! The commits that changed a data root, by first parents from a tip to the root of the history.
//!
//! Whole trees are never compared: only the object ids of the data root's subtree, and where they differ that subtree.

use foldhash::HashMap;
use schema::{Day, settings};

use super::place::{Content, EntryKind, Repository};
use super::{Snapshot, Source, plumbing};
use crate::Error;

/// A commit that changed the data root.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// The full name of the commit.
    pub commit: String,
    /// When the change was made, in seconds since 1970.
    pub author_time: i64,
    /// When it was committed.
    pub committer_time: i64,
    /// The time zone of the author, in minutes.
    pub zone: i32,
    /// The object id of the data root's tree; empty where the commit has none.
    pub tree: String,
    /// From the top to the data root: empty, or ending in `/`.
    pub prefix: String,
    /// The files that differ from the first parent, by their paths below the data root.
    pub changes: Vec<FileChange>,
    /// The other parents, of a merge.
    pub others: Vec<String>,
}

impl Step {
    /// No step of the walk: what is not committed, or the commit that it ended before.
    pub(crate) fn beyond(commit: String, prefix: String) -> Self {
        let (changes, others, tree) = (Vec::new(), Vec::new(), String::new());
        Self { commit, author_time: 0, committer_time: 0, zone: 0, tree, prefix, changes, others }
    }

    /// The day of the author, where the author was.
    pub fn day(&self) -> Day {
        let day = plumbing::day_of(self.author_time.saturating_add(i64::from(self.zone) * 60));
        day.or_else(|| plumbing::day_of(0)).unwrap_or_else(|| Day::from(jiff::civil::Date::ZERO))
    }
}

/// A file of a data root that a commit added, changed or removed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FileChange {
    /// The path below the data root.
    pub path: String,
    /// The content before, by its object id.
    pub old: Option<String>,
    /// The content after.
    pub new: Option<String>,
}

/// What was found on the way from the tip back.
#[derive(Debug, Default)]
pub struct Walk {
    /// The commits that changed the data root, the oldest first.
    pub steps: Vec<Step>,
    /// The commit known before at which the walk ended, and the prefix that the data root has there.
    pub met: Option<String>,
    /// Did it end where a shallow clone does?
    pub shallow: bool,
    /// The tip.
    pub tip: String,
    /// How many commits were passed on the way, as far as that is known.
    pub passed: usize,
}

/// The commits that are known, and the prefix of the data root in each.
pub(crate) type Known = HashMap<String, String>;

/// How far back a commit that is known is looked for before everything is read, where git lists them first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reach {
    /// Some 200 commits.
    Near,
    /// All of them.
    Far,
}

/// Where a walk stands: a commit, and the data root in it.
#[derive(Clone, Debug)]
pub(super) struct Place {
    pub(super) commit: String,
    pub(super) prefix: String,
}

/// Does this file change count? Plain files on either side; links and submodules hold no records.
pub(super) fn plain(mode: u32) -> bool {
    EntryKind::of_mode(mode) == Some(EntryKind::File)
}

/// The data root in a parent in which the settings file is not where the child has it: the only one there is,
/// and one that the child has no more, so that a second data root is not taken for the past of the first.
pub(super) fn renamed(parent: &[String], in_child: impl Fn(&str) -> bool) -> Option<String> {
    match parent {
        [only] if !in_child(only) => Some(only.clone()),
        _ => None,
    }
}

/// The settings file of a data root, from the top.
pub(super) fn marker(prefix: &str) -> String {
    format!("{prefix}{}", settings::FILE)
}

impl Snapshot {
    /// The repository that the snapshot was taken in, if in one.
    pub(super) fn repository(&self) -> Option<&Repository> {
        self.beside.repository.as_ref()
    }

    /// Is it in a repository?
    pub(crate) fn in_repository(&self) -> bool {
        self.repository().is_some()
    }

    /// The commit that the snapshot stands on: its own, else HEAD. None where there is no commit yet.
    pub(crate) fn tip(&self) -> Result<Option<String>, Error> {
        match (&self.source, self.repository()) {
            (Source::Revision { commit, .. }, _) => Ok(Some(commit.clone())),
            (_, Some(repository)) => repository.head(),
            (_, None) => Ok(None),
        }
    }

    /// The commits that changed the data root, from the tip back to the first, or to one that `known` says is known.
    ///
    /// `None` where the tip does not hold the data root.
    pub(crate) fn walk(&self, tip: &str, known: &Known) -> Result<Option<Walk>, Error> {
        let Some(repository) = self.repository() else { return Ok(None) };
        let prefix = if repository.has(tip, &marker(&self.prefix))? {
            self.prefix.clone()
        } else {
            // Renamed, and not committed yet.
            let roots = repository.roots(tip)?;
            let there = |root: &str| self.folder.is_some() && repository.top.join(marker(root)).is_file();
            match renamed(&roots, there) {
                Some(prefix) => prefix,
                None => return Ok(None),
            }
        };
        repository.walk(&Place { commit: tip.to_owned(), prefix }, known, Reach::Near).map(Some)
    }

    /// The same, from a commit that a merge brought in, given the merge (empty where it is not committed yet) and the
    /// data root's prefix there.
    pub(crate) fn walk_branch(
        &self,
        tip: &str,
        merge: &str,
        prefix: &str,
        known: &Known,
    ) -> Result<Option<Walk>, Error> {
        let Some(repository) = self.repository() else { return Ok(None) };
        let mut prefix = prefix.to_owned();
        if !repository.has(tip, &marker(&prefix))? {
            // Renamed since the branch forked.
            let there = |root: &str| merge.is_empty() || repository.has(merge, &marker(root)).unwrap_or(true);
            match renamed(&repository.roots(tip)?, there) {
                Some(before) => prefix = before,
                None => return Ok(None),
            }
        }
        repository.walk(&Place { commit: tip.to_owned(), prefix }, known, Reach::Far).map(Some)
    }

    /// The commits that a merge which is not committed yet brings in.
    pub(crate) fn merge_heads(&self) -> Result<Vec<String>, Error> {
        self.repository().map_or(Ok(Vec::new()), Repository::merge_heads)
    }

    /// The contents of blobs, in their order.
    pub(crate) fn blobs(&self, ids: &[&str]) -> Result<Vec<Content>, Error> {
        match self.repository() {
            Some(repository) => repository.blobs(ids),
            None => Err(Error::new("there is no repository")),
        }
    }

    /// Are these bytes of the snapshot those of an object?
    pub(crate) fn is_object(&self, bytes: &[u8], id: &str) -> bool {
        match self.blob(id) {
            Some(content) => content.as_ref().is_ok_and(|content| **content == *bytes),
            // What was read from objects and is none of them is another one.
            None => self.source == Source::Worktree && blob_id(bytes, id.len()) == id,
        }
    }

    /// The data root as a commit of its history has it; what another state of it has read already is shared with it.
    pub(crate) fn at(&self, commit: &str, prefix: &str, other: Option<&Self>) -> Result<Self, Error> {
        let repository = self.repository().ok_or_else(|| Error::new("there is no repository"))?;
        super::entries::at(repository.again()?, commit, prefix, other)
    }

    /// Is this path a record file of the data root?
    pub(crate) fn is_record(&self) -> impl Fn(&str) -> bool {
        let filter = super::Filter::new(&self.settings, &mut Vec::new());
        move |path: &str| filter.is_record(path)
    }

    /// The folder that all work trees of the repository share, where it is plainly one of git's: nothing in the
    /// environment puts the repository together.
    pub(crate) fn common_folder(&self) -> Option<std::path::PathBuf> {
        let folder = self.repository()?.common_folder()?;
        (folder.join("HEAD").exists() && folder.join("objects").is_dir()).then_some(folder)
    }
}

/// The object id that git gives these bytes, by the hash whose names have so many digits.
fn blob_id(bytes: &[u8], digits: usize) -> String {
    let head = format!("blob {}\0", bytes.len());
    if digits == 64 {
        hex::<sha2::Sha256>(&[head.as_bytes(), bytes])
    } else {
        hex::<sha1::Sha1>(&[head.as_bytes(), bytes])
    }
}

fn hex<D: sha2::Digest>(parts: &[&[u8]]) -> String {
    let mut hash = D::new();
    parts.iter().for_each(|part| hash.update(part));
    hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What `git hash-object` says of an empty file (both hashes), and of the example in the book Pro Git, chapter 10.2.
    #[test]
    fn objects_are_named_as_git_names_them() {
        assert_eq!(blob_id(b"", 40), "e69de29bb2d1d6434b8b29ae775ad8c2e48c5391");
        assert_eq!(blob_id(b"test content\n", 40), "d670460b4b4aece5915caf5c68d12f560a9fe3e4");
        assert_eq!(blob_id(b"", 64), "473a0f4c3be8a93681a267e3b1e9a7dcda1185436fe141f7749120a303721813");
    }
}
