//! Which commit descends from which, including the merged branches. From this follows whether a limit or a result was
//! committed first, and in which commit.

use std::sync::Arc;

use foldhash::HashMap;
use petgraph::algo::toposort;
use petgraph::graph::DiGraph;
use schema::{Day, Kind};

use super::branches::BranchLog;
use super::{Change, Commit, CommitIndex, History, LimitChange, RecordHistory, same_limit};

/// A branch that was merged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Branch {
    /// The commit of the merge.
    merge: CommitIndex,
    /// The branch; its first commit is the one that the branch descends from.
    pub(super) history: History,
}

impl Branch {
    pub(super) fn from_log(branch: &BranchLog) -> Self {
        Self { merge: CommitIndex::new(branch.merge as usize), history: History::from_chain(&branch.log, None) }
    }
}

/// Sets the times of the first commit of every branch, which is a commit of another chain.
pub(super) fn date_forks(history: &mut History) {
    fn collect(history: &History, is_branch: bool, all: &mut HashMap<String, Commit>) {
        for commit in history.commits.iter().skip(usize::from(is_branch)) {
            all.extend(commit.id.clone().map(|id| (id, commit.clone())));
        }
        history.branches.iter().for_each(|branch| collect(&branch.history, true, all));
    }
    fn apply(history: &mut History, all: &HashMap<String, Commit>) {
        for branch in &mut history.branches {
            let fork = branch.history.commits.first_mut();
            if let Some((known, fork)) = fork.and_then(|fork| Some((all.get(fork.id.as_ref()?)?, fork))) {
                fork.clone_from(known);
            }
            apply(&mut branch.history, all);
        }
    }
    let mut all = HashMap::default();
    collect(history, false, &mut all);
    apply(history, &all);
}

/// The parents of the commits of a history and of its branches.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Ancestry {
    indices: HashMap<String, usize>,
    parents: Vec<Vec<usize>>,
    children: Vec<Vec<usize>>,
    author_times: Vec<i64>,
    /// The earliest date of each commit and of all that descend from it.
    no_later_than: Vec<Option<Day>>,
    /// The commits that added a result, on any branch, by its id there.
    with_result: HashMap<Arc<str>, Vec<usize>>,
}

impl Ancestry {
    pub(super) fn new(history: &History) -> Self {
        let mut all = Self::default();
        all.add(history, false);
        // Children come before their parents, so that each date reaches all ancestors.
        let mut graph = DiGraph::<(), ()>::new();
        let nodes: Vec<_> = all.parents.iter().map(|_| graph.add_node(())).collect();
        for (child, parents) in all.parents.iter().enumerate() {
            for parent in parents {
                graph.add_edge(nodes[child], nodes[*parent], ());
            }
        }
        all.children = vec![Vec::new(); all.parents.len()];
        for (child, parents) in all.parents.iter().enumerate() {
            for parent in parents {
                all.children[*parent].push(child);
            }
        }
        // The date of the uncommitted state may come from the settings, so it is no bound for the commits.
        let uncommitted = all.indices.get("").copied();
        for node in toposort(&graph, None).unwrap_or_default() {
            if Some(node.index()) == uncommitted {
                continue;
            }
            let day = all.no_later_than[node.index()];
            for parent in &all.parents[node.index()] {
                let own = all.no_later_than[*parent];
                all.no_later_than[*parent] = own.into_iter().chain(day).min();
            }
        }
        all
    }

    fn index(&mut self, commit: &Commit) -> usize {
        let key = commit.id.as_deref().unwrap_or("");
        if let Some(known) = self.indices.get(key) {
            return *known;
        }
        self.indices.insert(key.to_owned(), self.parents.len());
        self.parents.push(Vec::new());
        self.author_times.push(commit.author_time);
        self.no_later_than.push(None);
        self.parents.len() - 1
    }

    /// Adds a chain of commits with its branches, and returns the last one.
    fn add(&mut self, history: &History, is_branch: bool) -> Option<usize> {
        let mut last: Option<usize> = None;
        let mut indices = Vec::new();
        for (at, commit) in history.commits.iter().enumerate() {
            let is_fork = is_branch && at == 0;
            // A branch without a common ancestor.
            if is_fork && commit.id.is_none() {
                indices.push(None);
                continue;
            }
            let index = self.index(commit);
            if !is_fork {
                self.author_times[index] = commit.author_time;
                self.no_later_than[index] = Some(commit.no_later_than);
                self.parents[index].extend(last);
            }
            indices.push(Some(index));
            last = Some(index);
        }
        for branch in &history.branches {
            let tip = self.add(&branch.history, true);
            if let Some(merge) = indices[branch.merge] {
                self.parents[merge].extend(tip);
            }
        }
        for record in history.records().iter().filter(|record| record.kind == Kind::Result) {
            for id in ids(record) {
                self.with_result.entry(id.clone()).or_default().extend(indices[record.added]);
            }
        }
        last
    }

    /// The node of a commit.
    pub(super) fn node(&self, commit: &Commit) -> Option<usize> {
        self.indices.get(commit.id.as_deref().unwrap_or("")).copied()
    }

    /// The earliest date of a commit and of all that descend from it.
    pub(super) fn no_later_than(&self, node: usize) -> Option<Day> {
        self.no_later_than.get(node).copied().flatten()
    }

    /// When a commit was made, by its author.
    pub(super) fn author_time(&self, node: usize) -> Option<i64> {
        self.author_times.get(node).copied()
    }

    /// The commits that added a result, on any branch.
    pub(super) fn commits_with_result(&self, result: &RecordHistory) -> Vec<usize> {
        ids(result).filter_map(|id| self.with_result.get(id)).flatten().copied().collect()
    }

    /// Whether each commit descends from one of these.
    pub(super) fn descendants(&self, any: &[usize]) -> Vec<bool> {
        let mut found = vec![false; self.parents.len()];
        let mut waiting = any.to_vec();
        while let Some(next) = waiting.pop() {
            for child in &self.children[next] {
                if !std::mem::replace(&mut found[*child], true) {
                    waiting.push(*child);
                }
            }
        }
        found
    }
}

/// All ids of a record, the newest first.
fn ids(record: &RecordHistory) -> impl Iterator<Item = &Arc<str>> {
    std::iter::once(&record.id).chain(record.older_ids.iter().rev())
}

impl History {
    /// The commit that changed a limit; if it came in with a merge, the one on the merged branch.
    pub(crate) fn commit_of_limit(&self, target: &RecordHistory, changed: &LimitChange) -> &Commit {
        let (commit, before, after) = changed;
        let on_branch = self.branches_of(target, *commit).into_iter().find_map(|(branch, record)| {
            let last = branch.limit_changes_in(record).pop()?;
            // A limit that appears with the merge can be older than the branch.
            if last.0 == CommitIndex::FIRST && (before.is_some() || branch.commits[0].id.is_none()) {
                return None;
            }
            let same = last.2.as_ref().zip(after.as_ref()).is_some_and(|(a, b)| same_limit(&a.limit, &b.limit));
            same.then(|| branch.commit_of_limit(record, &last))
        });
        on_branch.unwrap_or(&self.commits[*commit])
    }

    /// The commit that added a record; if it came in with a merge, the one on the merged branch.
    pub(crate) fn commit_of_addition(&self, record: &RecordHistory) -> &Commit {
        let on_branch =
            self.branches_of(record, record.added).into_iter().find(|(_, inner)| inner.added > CommitIndex::FIRST);
        on_branch.map_or(&self.commits[record.added], |(branch, inner)| branch.commit_of_addition(inner))
    }

    /// The commit that removed a record; if it came in with a merge, the one on the merged branch.
    pub(super) fn commit_of_removal(&self, record: &RecordHistory, removed: CommitIndex) -> &Commit {
        let on_branch = self.branches_of(record, removed).into_iter();
        let mut found = on_branch
            .filter_map(|(branch, inner)| Some((branch, inner, inner.removed.filter(|at| *at > CommitIndex::FIRST)?)));
        found.next().map_or(&self.commits[removed], |(branch, inner, at)| branch.commit_of_removal(inner, at))
    }

    /// The commit on a merged branch that made a change; `None` if it came in with no merge, or with an unread branch.
    pub fn branch_commit(&self, record: &RecordHistory, change: &Change) -> Option<&Commit> {
        let (branch, inner) = self.branch_of_change(record, change)?;
        let last = inner.changes_of(&change.route).next_back().filter(|last| last.after == change.after)?;
        Some(branch.branch_commit(inner, last).unwrap_or(&branch.commits[last.commit]))
    }

    /// The merged branch that a change of a field came from, with the history of the record there.
    ///
    /// It is a branch that ends with the text of the merge; if there is none, one that changed the field.
    pub(crate) fn branch_of_change(&self, record: &RecordHistory, change: &Change) -> Option<(&Self, &RecordHistory)> {
        let last = |inner: &RecordHistory| {
            inner.changes_of(&change.route).next_back().filter(|last| last.commit > CommitIndex::FIRST).cloned()
        };
        let mut all = self.branches_of(record, change.commit);
        all.retain(|(_, inner)| last(inner).is_some());
        let same = all.iter().position(|(_, inner)| last(inner).is_some_and(|last| last.after == change.after));
        all.get(same.unwrap_or(0)).copied()
    }

    /// The branches that a commit merged and that changed a record, with its history there.
    fn branches_of(&self, record: &RecordHistory, commit: CommitIndex) -> Vec<(&Self, &RecordHistory)> {
        // They have the order of their merges.
        let from = self.branches.partition_point(|branch| branch.merge < commit);
        let branches = self.branches[from..].iter().take_while(|branch| branch.merge == commit);
        branches
            .filter_map(|branch| Some((&branch.history, ids(record).find_map(|id| branch.history.record(id))?)))
            .collect()
    }
}
