//! Whether a change was made before or after a record was written: from ancestry, and where that is unknown from dates.

use std::sync::{Arc, Mutex, PoisonError};

use foldhash::HashMap;
use schema::Day;

use super::ancestry::Ancestry;
use super::{Change, Commit, CommitIndex, History, LimitChange, RecordHistory};
use crate::derived::Derived;

/// How a change relates to a record that was written at some commits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Order {
    /// The change was made before, as far as it is known.
    Before,
    /// Both came in one commit, for example in a squash or an import.
    Together,
    /// The change descends from the record, but was rewritten (rebased) and is older by its own date.
    Contradicted,
    /// The change descends from the record.
    Descends,
    /// Neither descends from the other, or the record descends from the change, but the change is later than the date of
    /// the record.
    DatedLater,
}

/// How a change of a limit relates to a result.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum LimitOrder {
    /// The limit was first.
    Before,
    /// The limit was changed after there was a result.
    After,
    /// The order is not known: both came in one commit, the limit appears with its target, or the dates contradict the
    /// order of the commits.
    Unknown,
}

/// A commit of the history or of a merged branch, with its position in the ancestry.
#[derive(Clone, Copy, Debug)]
pub(crate) struct PlacedCommit<'h> {
    /// The commit.
    pub(crate) commit: &'h Commit,
    node: usize,
}

/// The commits that descend from those at which a record was written.
pub(crate) struct Descendants<'h> {
    history: &'h History,
    /// The nodes of the commits at which it was written.
    written: Vec<usize>,
    /// Whether each node descends from one of them; `None` without branches, where the order of the commits decides.
    descends: Option<Arc<Vec<bool>>>,
    /// The earliest time of the authors of those commits.
    author_time: i64,
}

impl Descendants<'_> {
    /// How a change relates to the record, which can have a date of its own.
    pub(crate) fn order(&self, change: PlacedCommit<'_>, date: Option<Day>) -> Order {
        let descends = match &self.descends {
            Some(all) => all.get(change.node).copied().unwrap_or(false),
            None => self.written.iter().any(|written| *written < change.node),
        };
        let Commit { author_time, committer_time, .. } = *change.commit;
        if descends {
            // A rebase keeps the time of the author and sets that of the committer. If both are wrong, the clock is.
            let is_older = author_time < self.author_time && author_time != committer_time;
            return match date {
                _ if !is_older => Order::Descends,
                Some(date) if change.commit.day > date => Order::DatedLater,
                _ => Order::Contradicted,
            };
        }
        if self.written.contains(&change.node) {
            return Order::Together;
        }
        let day = self.history.no_later_than(change);
        if date.is_some_and(|date| day.is_some_and(|day| day > date)) { Order::DatedLater } else { Order::Before }
    }
}

/// The number of bytes of descendants that are kept, because many questions are about the same commits.
const MOST_KEPT: usize = 32 << 20;

/// Whether each node descends from some nodes, by these.
type DescendantsByNodes = HashMap<Vec<usize>, Arc<Vec<bool>>>;

/// Which nodes descend from those that were asked for last.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct KnownDescendants(Derived<Mutex<DescendantsByNodes>>);

impl KnownDescendants {
    /// Whether each node descends from one of these.
    fn of(&self, ancestry: &Ancestry, written: &[usize]) -> Arc<Vec<bool>> {
        let mut known = self.0.get_or_init(Mutex::default).lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(found) = known.get(written) {
            return Arc::clone(found);
        }
        let found = Arc::new(ancestry.descendants(written));
        if known.len() >= MOST_KEPT / found.len().max(256) {
            known.clear();
        }
        known.insert(written.to_vec(), Arc::clone(&found));
        found
    }
}

impl History {
    /// Whether a commit is the base or one before it, which the checks do not report.
    pub(crate) fn is_up_to_base(&self, commit: CommitIndex) -> bool {
        self.base.is_some_and(|base| commit <= base)
    }

    /// A commit of the history.
    pub(crate) fn place(&self, commit: CommitIndex) -> PlacedCommit<'_> {
        self.place_of(commit, &self.commits[commit])
    }

    /// The commit that made a change; if it came in with a merge, the one on the merged branch.
    pub(crate) fn place_of_change<'h>(&'h self, record: &'h RecordHistory, change: &Change) -> PlacedCommit<'h> {
        self.place_of(change.commit, self.branch_commit(record, change).unwrap_or(&self.commits[change.commit]))
    }

    /// The commit that added a record; if it came in with a merge, the one on the merged branch.
    pub(crate) fn place_of_addition<'h>(&'h self, record: &'h RecordHistory) -> PlacedCommit<'h> {
        self.place_of(record.added, self.commit_of_addition(record))
    }

    /// The commit that changed a limit; if it came in with a merge, the one on the merged branch.
    pub(crate) fn place_of_limit<'h>(&'h self, target: &'h RecordHistory, changed: &LimitChange) -> PlacedCommit<'h> {
        self.place_of(changed.0, self.commit_of_limit(target, changed))
    }

    /// The commit that removed a record; if it came in with a merge, the one on the merged branch.
    pub(crate) fn place_of_removal<'h>(&'h self, record: &'h RecordHistory, removed: CommitIndex) -> PlacedCommit<'h> {
        self.place_of(removed, self.commit_of_removal(record, removed))
    }

    /// A commit of the history, or of a branch that it merged.
    fn place_of<'h>(&'h self, at: CommitIndex, commit: &'h Commit) -> PlacedCommit<'h> {
        let node = self.ancestry.as_ref().and_then(|ancestry| ancestry.node(commit));
        PlacedCommit { commit, node: node.unwrap_or(at.index()) }
    }

    /// The earliest date of a commit and of all that descend from it.
    pub(crate) fn no_later_than(&self, place: PlacedCommit<'_>) -> Option<Day> {
        match &self.ancestry {
            Some(ancestry) => ancestry.no_later_than(place.node),
            None => Some(place.commit.no_later_than),
        }
    }

    /// The commits that descend from these.
    pub(crate) fn descendants(&self, written: &[PlacedCommit<'_>]) -> Descendants<'_> {
        let times = written.iter().map(|place| place.commit.author_time);
        self.descendants_of(written.iter().map(|place| place.node).collect(), times.min())
    }

    /// The commits that descend from those that added a result, on any branch.
    fn descendants_of_result(&self, result: &RecordHistory) -> Descendants<'_> {
        match &self.ancestry {
            Some(ancestry) => {
                let written = ancestry.commits_with_result(result);
                let times = written.iter().filter_map(|node| ancestry.author_time(*node));
                let earliest = times.min();
                self.descendants_of(written, earliest)
            }
            None => self.descendants(&[self.place(result.added)]),
        }
    }

    fn descendants_of(&self, written: Vec<usize>, author_time: Option<i64>) -> Descendants<'_> {
        let descends = self.ancestry.as_ref().map(|ancestry| self.known_descendants.of(ancestry, &written));
        Descendants { history: self, written, descends, author_time: author_time.unwrap_or(i64::MIN) }
    }

    /// Whether a limit was changed before or after there was a result of this date.
    ///
    /// - After, if the commit of the limit descends from one that has the result of this target.
    /// - Unknown, if both came in one commit, or if the limit was rebased onto the result.
    /// - Otherwise the dates decide, because a result can be committed late. A limit that appears with its target may
    ///   have been written before: then the order is unknown.
    pub(crate) fn limit_order(
        &self,
        target: &RecordHistory,
        changed: &LimitChange,
        result: &RecordHistory,
        date: Day,
    ) -> LimitOrder {
        let (at, before, _) = changed;
        let limit = self.place_of_limit(target, changed);
        let later = match self.moved_to(target, result) {
            Some(moved) => self.descendants(&[self.place_of_change(result, moved)]),
            None => self.descendants_of_result(result),
        };
        let is_change = before.is_some();
        match later.order(limit, Some(date)) {
            Order::Before => LimitOrder::Before,
            Order::Contradicted => LimitOrder::Unknown,
            // A target that is added on the day of its result is no reason for a question.
            Order::Together if date < limit.commit.day || (is_change && date == limit.commit.day) => {
                LimitOrder::Unknown
            }
            Order::Together => LimitOrder::Before,
            Order::DatedLater if !is_change && self.appears_with(target, *at, limit.commit.day) => LimitOrder::Unknown,
            Order::Descends | Order::DatedLater => LimitOrder::After,
        }
    }

    /// Whether a limit that was set in a commit came with its target, or on the day of its target.
    fn appears_with(&self, target: &RecordHistory, commit: CommitIndex, day: Day) -> bool {
        target.added == commit || self.commit_of_addition(target).day == day
    }

    /// The last change that made a result one of this target, if it was one of another record before.
    fn moved_to<'h>(&self, target: &RecordHistory, result: &'h RecordHistory) -> Option<&'h Change> {
        let is_own = |id: &str| *target.id == *id || target.older_ids.iter().any(|older| **older == *id);
        let is_other = |change: &&Change| change.before.as_deref().is_some_and(|before| !is_own(before));
        result.changes_of("of").filter(|change| change.commit > result.added).rfind(is_other)
    }
}
