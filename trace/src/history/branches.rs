//! What merges bring in. The history goes by first parents, so that a merge is one commit and what a branch held came
//! when it was merged; but which of a limit and a result was written first, and what a result said at first, is told
//! by the branch.
//!
//! Only merges that touch a target or a result are looked into: nothing asks that of anything else. What is asked of
//! the branches is in [`super::ancestry`].

use foldhash::{HashMap, HashSet};
use schema::Kind;
use schema::read::flat;

use super::log::{Differences, Log, Reader, RecordEvent, Version};
use crate::Error;
use crate::git::walk::{Known, Walk, WalkedCommit};

/// How many merges may lie in one another.
pub(super) const DEEPEST: usize = 8;

/// A branch that a merge brought in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct BranchLog {
    /// The commit of the merge.
    pub(super) merge: u32,
    /// The commits by first parents from the merge's other parent, as far as no other commit or branch has them. Its first
    /// commit is no commit of its own: the one it goes on from, with what stood there of the targets and results
    /// that the branch touched.
    pub(super) log: Log,
}

/// What a branch found where it forked, as far as it touched it.
#[derive(Default)]
pub(super) struct Base {
    /// The commit in which a record was touched first.
    touched: HashMap<u32, u32>,
    events: Vec<RecordEvent>,
}

/// The commit of a merge, and its other parents.
type Merge = (u32, Vec<String>);

/// The merges of a walk whose first commit gets this number.
pub(super) fn merges(walk: &Walk, first: usize) -> Vec<Merge> {
    let commits = (first as u32..).zip(&walk.commits);
    commits
        .filter(|(_, commit)| !commit.others.is_empty())
        .map(|(number, commit)| (number, commit.others.clone()))
        .collect()
}

impl Reader<'_> {
    /// Reads what merges brought in.
    pub(super) fn add_branches(&mut self, all: Vec<Merge>, known: &mut Known, depth: usize) -> Result<(), Error> {
        let asked: HashSet<u32> = self.log.events.iter().filter(|event| is_asked(event)).map(|e| e.commit).collect();
        for (merge, others) in all {
            if !asked.contains(&merge) || depth >= DEEPEST {
                continue;
            }
            for other in others {
                if let Some(log) = self.branch(merge, &other, known, depth)? {
                    self.log.shallow |= log.shallow;
                    self.log.branches.push(BranchLog { merge, log });
                }
            }
        }
        Ok(())
    }

    fn branch(&self, merge: u32, other: &str, known: &mut Known, depth: usize) -> Result<Option<Log>, Error> {
        let child = &self.log.commits[merge as usize];
        let Some(walk) = self.source.walk_branch(other, &child.id, &child.prefix, known)? else {
            return Ok(None);
        };
        if walk.met.is_none() && walk.commits.is_empty() {
            return Ok(None);
        }
        let mut branch = Reader::new(Log::default(), self.source);
        for (_, folder) in &self.log.nested {
            let folder = branch.names.name(&self.log.strings[*folder as usize], &mut branch.log);
            branch.log.nested.push((0, folder));
        }
        let met = walk.met.clone().unwrap_or_default();
        let prefix = known.get(&met).cloned().unwrap_or_default();
        branch.log.commits.push(WalkedCommit::beyond(met, prefix));
        branch.base = Some(Base::default());
        let merges = merges(&walk, 1);
        branch.add_steps(walk)?;
        let base = branch.base.take().unwrap_or_default();
        branch.log.events.splice(0..0, base.events);
        known.extend(branch.log.all_commits());
        branch.add_branches(merges, known, depth + 1)?;
        Ok(Some(branch.log))
    }

    /// Adds what stood at the fork of the targets and results that a commit touches first.
    pub(super) fn stood(
        &mut self,
        mut base: Base,
        commit: u32,
        path: u32,
        old: Option<&Version>,
        now: &Differences,
    ) -> Base {
        let set = now.set.iter().filter(|record| is_asked_of(record.kind)).map(|record| &record.id);
        let mut first = HashSet::default();
        for id in set.chain(&now.gone) {
            let name = self.names.name(id, &mut self.log);
            // A record that goes to another file is touched in both.
            if *base.touched.entry(name).or_insert(commit) == commit {
                first.insert(id.as_str());
            }
        }
        let Some(old) = old.filter(|_| !first.is_empty()) else { return base };
        for record in flat::records(&old.bytes).unwrap_or_default() {
            if is_asked_of(record.kind) && first.remove(record.id.as_str()) {
                let event = self.set(0, path, &record);
                base.events.push(event);
            }
        }
        base
    }
}

fn is_asked_of(kind: Kind) -> bool {
    matches!(kind, Kind::Target | Kind::Result)
}

fn is_asked(event: &RecordEvent) -> bool {
    event.set.is_some_and(|(kind, ..)| is_asked_of(kind))
}
