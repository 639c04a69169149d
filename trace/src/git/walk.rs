//! The commits that changed a project, by first parents from a tip to the root of the history.
//!
//! Complete trees are never compared: only the object ids of the project's subtree, and that subtree if they differ.

use foldhash::{HashMap, HashSet};
use schema::{Day, settings};

use super::error::GitError;
pub(crate) use super::objects::Listed;
use super::objects::{Circle, Most, Trail};
use super::repository::{Repository, ShallowEnd};
use crate::Error;
use crate::snapshot::{Content, Snapshot, Source};

/// A commit that changed the project.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct WalkedCommit {
    /// The full id of the commit.
    pub(crate) id: String,
    /// The time of the change, in seconds since 1970.
    pub(crate) author_time: i64,
    /// The time of the commit, in seconds since 1970.
    pub(crate) committer_time: i64,
    /// The time zone of the author, in minutes.
    pub(crate) zone: i32,
    /// The object id of the project's tree; empty if the commit has none.
    pub(crate) tree: String,
    /// From the top to the project root: empty, or ending in `/`.
    pub(crate) prefix: String,
    /// The files that differ from the first parent, by their paths below the project root.
    pub(crate) changes: Vec<FileChange>,
    /// The other parents, of a merge: at most [`MOST_OTHERS`].
    pub(crate) others: Vec<String>,
    /// How much differs from the first parent, also in files that are not read.
    pub(crate) listed: Listed,
}

impl WalkedCommit {
    /// A state outside of a walk: uncommitted changes, or the commit before which a walk ended.
    pub(crate) fn beyond(id: String, prefix: String) -> Self {
        let (changes, others, tree) = (Vec::new(), Vec::new(), String::new());
        let listed = Listed::default();
        Self { id, author_time: 0, committer_time: 0, zone: 0, tree, prefix, changes, others, listed }
    }

    /// The day of the author, in the author's time zone.
    pub(crate) fn day(&self) -> Day {
        let day = day_of(self.author_time.saturating_add(i64::from(self.zone) * 60));
        day.or_else(|| day_of(0)).unwrap_or_else(|| Day::from(jiff::civil::Date::ZERO))
    }
}

/// A file of a project that a commit added, changed or removed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct FileChange {
    /// The path below the project root.
    pub(crate) path: String,
    /// The content before, by its object id.
    pub(crate) old: Option<String>,
    /// The content after.
    pub(crate) new: Option<String>,
}

/// The commits that were found from the tip back.
#[derive(Debug, Default)]
pub(crate) struct Walk {
    /// The commits that changed the project, the oldest first.
    pub commits: Vec<WalkedCommit>,
    /// The known commit at which the walk ended.
    pub met: Option<String>,
    /// Whether it ended at the end of a shallow clone.
    pub shallow: bool,
    /// The tip.
    pub tip: String,
    /// The number of visited commits.
    pub passed: usize,
}

/// The commits that are known, and the prefix of the project in each.
pub(crate) type Known = HashMap<String, String>;

/// The number of different parents of a merge, besides the first one, whose branches may be read.
const MOST_OTHERS: usize = 100;

/// The first of these ids, each once.
fn first_different<'i>(ids: impl IntoIterator<Item = &'i String>) -> Vec<String> {
    let mut seen = HashSet::default();
    ids.into_iter().filter(|id| seen.insert(*id)).take(MOST_OTHERS).cloned().collect()
}

/// The day of a time in seconds since 1970.
pub(crate) fn day_of(seconds: i64) -> Option<Day> {
    let time = jiff::Timestamp::from_second(seconds).ok()?;
    Some(jiff::tz::Offset::UTC.to_datetime(time).date().into())
}

/// The project root in a parent commit if the project was renamed: the only root there, and one that the child no longer
/// has, so that a second project is not mistaken for an earlier state of the first.
pub(super) fn renamed(parent: &[String], in_child: impl Fn(&str) -> bool) -> Option<String> {
    match parent {
        [only] if !in_child(only) => Some(only.clone()),
        _ => None,
    }
}

/// The settings file of a project, from the top.
pub(super) fn marker(prefix: &str) -> String {
    format!("{prefix}{}", settings::FILE)
}

/// The commits behind a snapshot, from which the history is read.
#[derive(Clone, Copy)]
pub(crate) struct CommitSource<'p> {
    /// The state of the project.
    pub(crate) snapshot: &'p Snapshot,
    /// The repository that it was taken from; `None` if it is not in one.
    pub(super) repository: Option<&'p Repository>,
}

impl<'p> CommitSource<'p> {
    /// A snapshot without a repository, for tests.
    #[cfg(test)]
    pub(crate) fn without_repository(snapshot: &'p Snapshot) -> Self {
        Self { snapshot, repository: None }
    }

    /// Whether the snapshot was taken from a repository.
    pub(crate) fn in_repository(&self) -> bool {
        self.repository.is_some()
    }

    /// The commit that the snapshot is based on: its own, otherwise HEAD. `None` if there is no commit yet.
    pub(crate) fn tip(&self) -> Result<Option<String>, Error> {
        match (&self.snapshot.source, self.repository) {
            (Source::Revision { commit, .. }, _) => Ok(Some(commit.clone())),
            (_, Some(repository)) => Ok(repository.head()?),
            (_, None) => Ok(None),
        }
    }

    /// The commits that changed the project, from the tip back to the first, or to a known one.
    ///
    /// `None` if the tip does not have the project.
    pub(crate) fn walk(&self, tip: &str, known: &Known) -> Result<Option<Walk>, Error> {
        let Some(repository) = self.repository else { return Ok(None) };
        let prefix = &self.snapshot.prefix;
        let prefix = if repository.holds(&repository.commit(tip)?.tree, &marker(prefix))? {
            prefix.clone()
        } else {
            // Renamed, and not committed yet.
            let exists = |root: &str| self.snapshot.folder.is_some() && repository.top.join(marker(root)).is_file();
            match renamed(&repository.roots(tip)?, exists) {
                Some(prefix) => prefix,
                None => return Ok(None),
            }
        };
        // Where the limit is reached depends on what is known.
        let walk = repository.walk(tip, prefix, known).map_err(|error| match error {
            GitError::TooManyFiles { .. } => GitError::TooManyFiles { tree: tip.to_owned() },
            other => other,
        });
        Ok(Some(walk?))
    }

    /// Checks how much differs at all commits up to a tip, whether they were read now or before.
    pub(crate) fn check_listed(&self, tip: &str, all: impl IntoIterator<Item = Listed>) -> Result<(), Error> {
        if Most::of_walk().has_room_for(all) {
            return Ok(());
        }
        Err(GitError::TooManyFiles { tree: tip.to_owned() }.into())
    }

    /// The same from a commit that came in with a merge, given the merge (empty if it is not committed yet) and the
    /// project's prefix there.
    pub(crate) fn walk_branch(
        &self,
        tip: &str,
        merge: &str,
        prefix: &str,
        known: &Known,
    ) -> Result<Option<Walk>, Error> {
        let Some(repository) = self.repository else { return Ok(None) };
        if known.get(tip).is_some_and(|known| known == prefix) {
            return Ok(Some(Walk { tip: tip.to_owned(), met: Some(tip.to_owned()), ..Walk::default() }));
        }
        let mut prefix = prefix.to_owned();
        if !repository.holds(&repository.commit(tip)?.tree, &marker(&prefix))? {
            // Renamed after the branch forked.
            let in_merge = |root: &str| repository.holds(&repository.commit(merge)?.tree, &marker(root));
            let exists = |root: &str| merge.is_empty() || in_merge(root).unwrap_or(true);
            match renamed(&repository.roots(tip)?, exists) {
                Some(before) => prefix = before,
                None => return Ok(None),
            }
        }
        Ok(Some(repository.walk(tip, prefix, known)?))
    }

    /// The commits that come in with a merge that is not committed yet.
    pub(crate) fn merge_heads(&self) -> Result<Vec<String>, Error> {
        self.repository.map_or(Ok(Vec::new()), |repository| Ok(first_different(&repository.merge_heads()?)))
    }

    /// The contents of blobs, in their order.
    pub(crate) fn blobs(&self, ids: &[&str]) -> Result<Vec<Content>, Error> {
        match self.repository {
            Some(repository) => Ok(repository.blobs(ids)?),
            None => Err(GitError::NoRepository { hint: "run `git init` and commit the records" }.into()),
        }
    }

    /// The contents of the first of these blobs, in their order: at least one, and not many more bytes than a large file.
    pub(crate) fn first_blobs(&self, ids: &[&str]) -> Result<Vec<Content>, Error> {
        match self.repository {
            Some(repository) => Ok(repository.first_blobs(ids)?),
            None => self.blobs(ids),
        }
    }

    /// The folder that all working trees of the repository share, unless the environment puts the repository together.
    pub(crate) fn common_folder(&self) -> Option<std::path::PathBuf> {
        self.repository?.common_folder()
    }
}

impl Repository {
    /// The commits that changed a project, from the tip back to the first, or to one that is known with its prefix.
    fn walk(&self, tip: &str, mut prefix: String, known: &Known) -> Result<Walk, GitError> {
        let mut walk = Walk { tip: tip.to_owned(), ..Walk::default() };
        let mut most = Most::of_walk();
        let mut circle = Circle::default();
        let mut id = tip.to_owned();
        let mut commit = self.commit(&id)?;
        let mut trail = self.trail(&commit.tree, &prefix, &Trail::default())?;
        loop {
            if known.get(&id) == Some(&prefix) {
                walk.met = Some(id);
                break;
            }
            circle.next(&id)?;
            walk.passed += 1;
            let mut parent = None;
            if let Some(first) = commit.parents.first() {
                match self.shallow_end()? {
                    ShallowEnd::At(ends) if ends.contains(&id) => walk.shallow = true,
                    ShallowEnd::Unknown => match self.commit(first) {
                        Ok(before) => parent = Some((first.clone(), before)),
                        Err(_) => walk.shallow = true,
                    },
                    ShallowEnd::None | ShallowEnd::At(_) => parent = Some((first.clone(), self.commit(first)?)),
                }
            }
            let mut parent_trail = None;
            let mut parent_prefix = prefix.clone();
            if let Some((parent_id, before)) = &parent {
                let mut there = self.trail(&before.tree, &prefix, &trail)?;
                if there.folder() != trail.folder() && !self.is_root(there.folder())? && self.is_root(trail.folder())? {
                    let in_child = |root: &str| self.holds(&commit.tree, &marker(root)).unwrap_or(true);
                    if let Some(earlier) = renamed(&self.roots(parent_id)?, in_child) {
                        there = self.trail(&before.tree, &earlier, &Trail::default())?;
                        parent_prefix = earlier;
                    }
                }
                parent_trail = Some(there);
            }
            let (own, parent_own) = (trail.folder(), parent_trail.as_ref().and_then(Trail::folder));
            if own != parent_own {
                let (mut changes, listed_before) = (Vec::new(), most);
                self.differences(parent_own, own, "", &mut most, &mut changes)?;
                // The parents of a commit at the end of a shallow clone are missing.
                let others = if walk.shallow { &[] } else { commit.parents.get(1..).unwrap_or_default() };
                walk.commits.push(WalkedCommit {
                    id: id.clone(),
                    author_time: commit.author_time,
                    committer_time: commit.committer_time,
                    zone: commit.zone,
                    tree: own.unwrap_or_default().to_owned(),
                    prefix: prefix.clone(),
                    changes,
                    others: first_different(others),
                    listed: most.taken_since(listed_before),
                });
            }
            let (Some((parent_id, before)), Some(there)) = (parent, parent_trail) else { break };
            (id, commit, trail, prefix) = (parent_id, before, there, parent_prefix);
        }
        walk.commits.reverse();
        Ok(walk)
    }

    /// Whether a tree is that of a project root: whether it has a settings file.
    fn is_root(&self, tree: Option<&str>) -> Result<bool, GitError> {
        tree.map_or(Ok(false), |tree| self.holds(tree, settings::FILE))
    }
}
