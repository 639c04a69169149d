//! What merges bring in. The history goes by first parents, so that a merge is one step and what a branch held came
//! when it was merged; but which of a limit and a result was written first, and what a result said at first, is told
//! by the branch.
//!
//! Only merges that touch a target or a result are looked into: nothing asks that of anything else.

use foldhash::HashSet;
use schema::{Day, Kind};

use super::log::{Log, Reader, RecordEvent, kind};
use super::{Change, Commit, History, Life, LimitMove, same_limit};
use crate::Error;
use crate::snapshot::past::{Known, Walk};

/// How many merges may lie in one another.
pub(super) const DEEPEST: usize = 8;

/// A branch that a merge brought in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct SideLog {
    /// The step of the merge.
    pub(super) merge: u32,
    /// The step that the branch goes on from, where it is one of those that the merge goes on from.
    pub(super) fork: Option<u32>,
    /// The commits by first parents from the merge's other parent, as far as no other step or side has them.
    pub(super) log: Log,
}

/// The step of a merge, and its other parents.
type Merge = (u32, Vec<String>);

/// The merges of a walk whose first step gets this number.
pub(super) fn merges(walk: &Walk, first: usize) -> Vec<Merge> {
    let steps = (first as u32..).zip(&walk.steps);
    steps.filter(|(_, step)| !step.others.is_empty()).map(|(number, step)| (number, step.others.clone())).collect()
}

impl Log {
    pub(super) fn add_sides(&self, known: &mut Known) {
        for side in &self.sides {
            side.log.add_steps(known);
            side.log.add_sides(known);
        }
    }
}

impl Reader<'_> {
    /// Reads what merges brought in.
    pub(super) fn add_sides(&mut self, all: Vec<Merge>, known: &mut Known, depth: usize) -> Result<(), Error> {
        let asked: HashSet<u32> = self.log.events.iter().filter(|event| is_asked(event)).map(|e| e.step).collect();
        for (merge, others) in all {
            if !asked.contains(&merge) || depth >= DEEPEST {
                continue;
            }
            let prefix = self.log.steps[merge as usize].step.prefix.clone();
            for other in others {
                let Some(walk) = self.snapshot.walk_side(&other, &prefix, known)? else { continue };
                let merges = merges(&walk, 0);
                let mut side = Reader::new(Log::default(), self.snapshot);
                for (_, folder) in &self.log.nested {
                    let folder = side.names.name(&self.log.strings[*folder as usize], &mut side.log);
                    side.log.nested.push((0, folder));
                }
                let fork = walk.met.as_ref();
                let fork = fork.and_then(|met| self.log.steps.iter().position(|mark| mark.step.commit == *met));
                if !side.add_steps(walk)? || side.log.steps.is_empty() {
                    continue;
                }
                side.log.add_steps(known);
                side.add_sides(merges, known, depth + 1)?;
                self.log.sides.push(SideLog { merge, fork: fork.map(|at| at as u32), log: side.log });
            }
        }
        Ok(())
    }
}

fn is_asked(event: &RecordEvent) -> bool {
    event.set.is_some_and(|(number, ..)| matches!(kind(number), Kind::Target | Kind::Result))
}

/// What a merge brought in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Side {
    /// The step of the merge.
    merge: usize,
    /// The step that the branch goes on from, as far as that is known.
    fork: Option<usize>,
    /// The branch since then.
    history: History,
}

impl Side {
    pub(super) fn of(side: &SideLog) -> Self {
        Self {
            merge: side.merge as usize,
            fork: side.fork.map(|at| at as usize),
            history: History::of(&side.log, None),
        }
    }
}

impl History {
    /// Did a limit get where it moved after a result of this id and date was written down? What came in one commit
    /// with its result was written down together, and nobody can tell which was first. What a merge brought came when
    /// it was written on its branch; where neither goes on from the other, the dates decide.
    pub(crate) fn came_after(&self, target: &str, moved: &LimitMove, result: &str, date: Day) -> bool {
        let Some(born) = self.life(result).map(|life| life.born) else { return false };
        let (step, _, _) = *moved;
        let dated_later = |day: Day| day.min(self.steps[step].no_later_than) > date;
        match self.inside(target, moved) {
            Some((side, inner)) if born == step => side.history.came_after(target, &inner, result, date),
            Some((side, inner)) => {
                side.fork.is_some_and(|fork| born <= fork)
                    || dated_later(side.history.written(target, &inner).no_later_than)
            }
            None => born < step || (born > step && dated_later(self.steps[step].no_later_than)),
        }
    }

    /// The commit in which a limit was written as it came: where a merge brought it, the one on its branch.
    pub(crate) fn written(&self, target: &str, moved: &LimitMove) -> &Commit {
        match self.inside(target, moved) {
            Some((side, inner)) => side.history.written(target, &inner),
            None => &self.steps[moved.0],
        }
    }

    /// The branch from which a step brought a record, and its life there.
    pub(crate) fn branch(&self, id: &str, step: usize) -> Option<(&Self, &Life)> {
        let mut sides = self.sides.iter().filter(|side| side.merge == step);
        sides.find_map(|side| Some((&side.history, side.history.life(id)?)))
    }

    /// The commit on a branch that wrote what a merge brought, as far as branches are read; none for other commits.
    pub fn on_branch(&self, id: &str, change: &Change) -> Option<&Commit> {
        let (branch, life) = self.branch(id, change.step)?;
        let written = life.changes_of(&change.route).rfind(|inner| inner.after == change.after)?;
        Some(branch.on_branch(&life.id, written).unwrap_or(&branch.steps[written.step]))
    }

    /// The same move on the branch that a merge brought it from.
    fn inside(&self, target: &str, (step, _, after): &LimitMove) -> Option<(&Side, LimitMove)> {
        let after = after.as_ref()?;
        self.sides.iter().filter(|side| side.merge == *step).find_map(|side| {
            let last = side.history.limit_moves(target).pop()?;
            let there = last.2.as_ref().is_some_and(|there| same_limit(&there.limit, &after.limit));
            there.then_some((side, last))
        })
    }
}
