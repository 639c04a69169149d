//! The branches that came in with merges.
//!
//! The history follows first parents, so that a merge is one commit and the changes of a branch count from the merge
//! on. Two things are read from the branch itself: whether a result or a change of what it is about was committed first,
//! and the first text of a result. So only merges that change a record of these kinds are read. [`super::ancestry`] and
//! [`super::order`] evaluate the branches.

use foldhash::{HashMap, HashSet};
use schema::Kind;
use schema::read::flat;

use super::differences::{Differences, Version};
use super::log::{Log, Reader, RecordEvent};
use super::versions::EntriesLeft;
use crate::Error;
use crate::git::walk::{Known, Walk, WalkedCommit};

/// The largest depth of branches that were merged into branches.
pub(super) const DEEPEST: usize = 8;

/// The number of commits that are visited in all branches, after which no further branch is read: a long branch may be
/// merged again and again.
const MOST_VISITED: u32 = 200_000;

/// A branch that came in with a merge.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct BranchLog {
    /// The commit of the merge.
    pub(super) merge: u32,
    /// The commits by first parents from the merge's other parent that are in no other chain.
    ///
    /// The first one is not its own: it is the commit that the branch descends from, with the needed records that
    /// the branch changes as they were there.
    pub(super) log: Log,
}

/// The needed records that a branch changes, as they were where it forked.
#[derive(Default)]
pub(super) struct Fork {
    /// The commit that changed each record first.
    changed: HashMap<u32, u32>,
    events: Vec<RecordEvent>,
}

/// What may still be read of all branches.
struct Limits {
    /// The number of commits that are visited so far.
    visited: u32,
    entries: EntriesLeft,
}

/// The commit of a merge, and its other parents.
type Merge = (u32, Vec<String>);

/// The merges of a walk whose first commit has this index.
pub(super) fn merges(walk: &Walk, first: usize) -> Vec<Merge> {
    let commits = (first as u32..).zip(&walk.commits);
    commits
        .filter(|(_, commit)| !commit.others.is_empty())
        .map(|(index, commit)| (index, commit.others.clone()))
        .collect()
}

impl Reader<'_> {
    /// Reads the branches of merges of the main chain. What was visited for earlier merges counts, also if it was read
    /// from a cache, so that the same branches are read.
    pub(super) fn add_all_branches(&mut self, all: Vec<Merge>) -> Result<(), Error> {
        let mut known = self.log.all_commits();
        let visited = self.log.visited.iter().fold(0_u32, |sum, (_, visited)| sum.saturating_add(*visited));
        let mut limits = Limits { visited, entries: EntriesLeft::of_branches(&self.log) };
        self.add_branches(all, &mut known, 0, &mut limits)
    }

    fn add_branches(
        &mut self,
        all: Vec<Merge>,
        known: &mut Known,
        depth: usize,
        limits: &mut Limits,
    ) -> Result<(), Error> {
        let needed: HashSet<u32> = self.log.events.iter().filter(|event| is_needed(event)).map(|e| e.commit).collect();
        for (merge, others) in all {
            if !needed.contains(&merge) || depth >= DEEPEST {
                continue;
            }
            let before = limits.visited;
            // Where branches without a commit of their own fork: it is enough to know this once.
            let mut forks: HashSet<String> = HashSet::default();
            for other in others {
                if limits.visited > MOST_VISITED {
                    break;
                }
                let Some(log) = self.read_branch(merge, &other, known, depth, limits)? else { continue };
                self.log.shallow |= log.shallow;
                let is_new = match &log.commits[..] {
                    [fork] => forks.insert(fork.id.clone()),
                    _ => true,
                };
                if is_new {
                    self.log.branches.push(BranchLog { merge, log });
                }
            }
            if depth == 0 && limits.visited > before {
                self.log.visited.push((merge, limits.visited - before));
            }
        }
        Ok(())
    }

    fn read_branch(
        &self,
        merge: u32,
        other: &str,
        known: &mut Known,
        depth: usize,
        limits: &mut Limits,
    ) -> Result<Option<Log>, Error> {
        let child = &self.log.commits[merge as usize];
        let walk = self.source.walk_branch(other, &child.id, &child.prefix, known)?;
        // A parent that is known already counts, too.
        let passed = walk.as_ref().map_or(1, |walk| walk.passed.max(1));
        limits.visited = limits.visited.saturating_add(u32::try_from(passed).unwrap_or(u32::MAX));
        let Some(walk) = walk else { return Ok(None) };
        if walk.met.is_none() && walk.commits.is_empty() {
            return Ok(None);
        }
        let mut branch = Reader::new(Log::default(), self.source);
        for (_, folder) in &self.log.nested {
            let folder = branch.strings.index(&self.log.strings[*folder as usize], &mut branch.log);
            branch.log.nested.push((0, folder));
        }
        let met = walk.met.clone().unwrap_or_default();
        let prefix = known.get(&met).cloned().unwrap_or_default();
        branch.log.commits.push(WalkedCommit::beyond(met, prefix));
        branch.fork = Some(Fork::default());
        let merges = merges(&walk, 1);
        branch.left = limits.entries;
        branch.add_commits(walk)?;
        limits.entries = branch.left;
        let fork = branch.fork.take().unwrap_or_default();
        branch.log.events.splice(0..0, fork.events);
        known.extend(branch.log.all_commits());
        branch.add_branches(merges, known, depth + 1, limits)?;
        Ok(Some(branch.log))
    }

    /// Adds to the fork the needed records that this commit is the first to change, as they were before.
    pub(super) fn add_to_fork(
        &mut self,
        mut fork: Fork,
        commit: u32,
        path: u32,
        old: Option<&Version>,
        now: &Differences,
    ) -> Fork {
        let set = now.set.iter().filter(|record| is_needed_of(record.kind)).map(|record| &record.id);
        let mut first = HashSet::default();
        for id in set.chain(&now.removed) {
            let name = self.strings.index(id, &mut self.log);
            // A record that moves to another file is changed in both.
            if *fork.changed.entry(name).or_insert(commit) == commit {
                first.insert(id.as_str());
            }
        }
        let Some(old) = old.filter(|_| !first.is_empty()) else { return fork };
        for record in flat::records(&old.bytes).unwrap_or_default() {
            if is_needed_of(record.kind)
                && first.remove(record.id.as_str())
                && self.left.take_record(record.fields.len())
            {
                let event = self.set_event(0, path, &record);
                fork.events.push(event);
            }
        }
        fork
    }
}

/// Whether the order of the changes of such records matters to a check.
fn is_needed_of(kind: Kind) -> bool {
    match kind {
        Kind::Target | Kind::Result | Kind::Part | Kind::Requirement | Kind::Analysis | Kind::Decision => true,
        Kind::Goal | Kind::Event | Kind::System | Kind::Revision | Kind::Waiver => false,
    }
}

fn is_needed(event: &RecordEvent) -> bool {
    event.set.is_some_and(|(kind, ..)| is_needed_of(kind))
}
