//! The history of every record, from the commits that changed the project.
//!
//! - Records are identified by their ids in all files, so that a move to another file is no change, and by `formerly`
//!   after a rename. A record that was removed and added again has one history.
//! - The order is that of the commits, never that of their dates, because clocks can be wrong.
//! - A field is named by the keys below the record, joined by dots, as in [`schema::read::flat`].

mod ancestry;
mod branches;
#[cfg(test)]
mod check_tests;
pub mod choice;
pub mod commit_state;
mod differences;
mod evidence;
pub(crate) mod limit_changes;
mod log;
mod log_codec;
pub(crate) mod order;
mod past;
mod record_histories;
pub(crate) mod revisions;
pub(crate) mod state_budget;
pub mod story;
#[cfg(test)]
mod tests;
mod unchanged;
mod versions;

use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _};
use schema::quantity::same_number;
use schema::records::LimitStyle;
use schema::{Day, Kind, Quantity};

use crate::derived::Derived;
use crate::git::walk::day_of;
use crate::ids::CommitIndex;
use crate::snapshot::short_id;
use crate::values::Limit;
use ancestry::{Ancestry, Branch};
use log::Log;
use order::KnownDescendants;
pub use past::{Logs, Past};

/// The keys of a target's limit.
pub const LIMITS: [&str; 3] = ["at-least", "at-most", "between"];

/// A commit that changed the project. The last one of a history may be the state that is not committed yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Commit {
    /// The full id; `None` if it is not committed yet.
    pub id: Option<String>,
    /// The date of the author, in the author's time zone.
    pub day: Day,
    /// The earliest date of this commit and of all that follow it, because no commit is made after those that follow
    /// it.
    pub no_later_than: Day,
    /// When it was made, in seconds since 1970.
    pub author_time: i64,
    /// When it was committed, in seconds since 1970.
    pub committer_time: i64,
    /// The object id of the project's tree.
    pub tree: String,
    /// The path from the top of the repository to the project root: empty, or ending in `/`.
    pub prefix: String,
}

impl Commit {
    /// The date on which it appeared in this history: that of the committer (in UTC) if it was rewritten, for example by a
    /// rebase; otherwise that of the author.
    pub fn appeared(&self) -> Day {
        let rewritten = (self.author_time != self.committer_time).then(|| day_of(self.committer_time)).flatten();
        rewritten.unwrap_or(self.day)
    }

    /// The id as messages show it.
    pub fn short(&self) -> &str {
        self.id.as_deref().map_or("not committed", short_id)
    }
}

/// A field of a record that was set, changed or removed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// The commit.
    pub commit: CommitIndex,
    /// The keys below the record, joined by dots.
    pub route: Arc<str>,
    /// The text before; `None` if the field was set.
    pub before: Option<Arc<str>>,
    /// The text after; `None` if the field was removed.
    pub after: Option<Arc<str>>,
}

/// With so many changes of a record, those of each field are looked up by an index.
const MANY_CHANGES: usize = 64;

/// The history of a record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordHistory {
    /// Its id, or the last one it had.
    pub id: Arc<str>,
    /// Its kind.
    pub kind: Kind,
    /// The ids it had before, the oldest first.
    pub older_ids: Vec<Arc<str>>,
    /// The commits that changed its id, each with the id before.
    pub renames: Vec<(CommitIndex, Arc<str>)>,
    /// The commits that moved it to another file, each with the file before and after.
    pub moves: Vec<(CommitIndex, Arc<str>, Arc<str>)>,
    /// The commit that added it.
    pub added: CommitIndex,
    /// The commit that removed it; `None` if it exists.
    pub removed: Option<CommitIndex>,
    /// The times that it was removed and added again: both commits.
    pub returns: Vec<(CommitIndex, CommitIndex)>,
    /// The changes of its fields, in the order of the commits. The commit that added it sets its first fields.
    pub changes: Vec<Change>,
    /// Where the changes of each field are, of a record with many of them.
    by_route: ByRoute,
}

/// The indices of the changes of each field, once they are asked for.
type ByRoute = Derived<HashMap<Arc<str>, Vec<usize>>>;

impl RecordHistory {
    /// The changes of one field.
    pub fn changes_of<'r>(&'r self, route: &'r str) -> impl DoubleEndedIterator<Item = &'r Change> {
        let is_indexed = self.changes.len() >= MANY_CHANGES;
        let indexed = if is_indexed { self.by_route().get(route).map_or(&[][..], Vec::as_slice) } else { &[] };
        let all = if is_indexed { &[] } else { &self.changes[..] };
        let searched = all.iter().filter(move |change| *change.route == *route);
        indexed.iter().map(|at| &self.changes[*at]).chain(searched)
    }

    /// The text of a field after a commit; `None` if the record was removed by then.
    pub fn value_at(&self, route: &str, commit: CommitIndex) -> Option<&str> {
        let is_absent = |(removed, returned): &(CommitIndex, CommitIndex)| (*removed..*returned).contains(&commit);
        if self.removed.is_some_and(|removed| removed <= commit) || self.returns.iter().any(is_absent) {
            return None;
        }
        self.last_value_at(route, commit)
    }

    /// The text of a field after a commit; for a record that was removed by then, its last text.
    pub fn last_value_at(&self, route: &str, commit: CommitIndex) -> Option<&str> {
        let so_far = |change: &Change| change.commit <= commit;
        if self.changes.len() < MANY_CHANGES {
            let known = &self.changes[..self.changes.partition_point(so_far)];
            return known.iter().rfind(|change| *change.route == *route)?.after.as_deref();
        }
        let own = self.by_route().get(route)?;
        let last = own.partition_point(|at| so_far(&self.changes[*at])).checked_sub(1)?;
        self.changes[own[last]].after.as_deref()
    }

    fn by_route(&self) -> &HashMap<Arc<str>, Vec<usize>> {
        self.by_route.get_or_init(|| {
            let mut all: HashMap<Arc<str>, Vec<usize>> = HashMap::new();
            for (at, change) in self.changes.iter().enumerate() {
                all.entry(Arc::clone(&change.route)).or_default().push(at);
            }
            all
        })
    }

    /// The changes by one commit.
    pub fn changes_by(&self, commit: CommitIndex) -> &[Change] {
        let from = self.changes.partition_point(|change| change.commit < commit);
        let to = self.changes.partition_point(|change| change.commit <= commit);
        &self.changes[from..to]
    }

    /// The last commit that changed a field of it.
    pub fn last_change(&self) -> CommitIndex {
        self.changes.last().map_or(self.added, |change| change.commit)
    }
}

/// The limit of a target at some commit.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitText {
    /// As it was written.
    pub words: LimitWords,
    /// The limit, in SI.
    pub limit: Limit,
}

/// A limit as it was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LimitWords {
    /// Its key.
    pub key: &'static str,
    /// The quantity, or both of `between`.
    pub quantities: Vec<String>,
}

impl LimitWords {
    /// As text in a sentence: `at most 205 kg`.
    pub fn text(&self) -> String {
        let quantities: Vec<&str> = self.quantities.iter().map(String::as_str).collect();
        schema::records::limit_text(self.key, &quantities, LimitStyle::Words)
    }
}

/// A change of a limit: the commit, the limit before, and the limit after.
pub type LimitChange = (CommitIndex, Option<LimitText>, Option<LimitText>);

/// The history of a project.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct History {
    /// The commits that changed it, the oldest first.
    pub commits: Vec<Commit>,
    /// Whether it begins where a shallow clone ends.
    pub shallow: bool,
    /// Versions of files that could not be read and were skipped: the commit, and the path.
    pub unreadable_versions: Vec<(CommitIndex, String)>,
    /// Whether records are skipped that have not changed since the first commit added them.
    skips_unchanged: bool,
    records: Vec<RecordHistory>,
    by_id: HashMap<Arc<str>, usize>,
    branches: Vec<Branch>,
    /// The last commit before the history checks start (`history: {since: DATE}`): they report nothing from it or from
    /// before it.
    base: Option<CommitIndex>,
    /// `None` if no branch was read.
    ancestry: Option<Ancestry>,
    /// The first commit in which a record was a share of each budget, by the id of the budget there.
    first_shares: Derived<HashMap<Arc<str>, CommitIndex>>,
    known_descendants: KnownDescendants,
}

impl History {
    /// A commit; `None` if the index is [`Self::after_all`].
    pub fn commit(&self, commit: CommitIndex) -> Option<&Commit> {
        self.commits.get(commit.index())
    }

    /// All commits, in their order.
    pub fn indices(&self) -> impl DoubleEndedIterator<Item = CommitIndex> + ExactSizeIterator + Clone {
        CommitIndex::all(self.commits.len())
    }

    /// The index that a commit after all others would have: what is valid then is valid now.
    pub fn after_all(&self) -> CommitIndex {
        CommitIndex::new(self.commits.len())
    }

    /// The histories of all records, in the order in which the records were added.
    pub fn records(&self) -> &[RecordHistory] {
        &self.records
    }

    /// The history of a record, by its id or one that it had before.
    pub fn record(&self, id: &str) -> Option<&RecordHistory> {
        self.by_id.get(id).map(|at| &self.records[*at])
    }

    /// The text of a field of a record after a commit; `None` if the record was removed by then.
    pub fn value_at(&self, id: &str, route: &str, commit: CommitIndex) -> Option<&str> {
        self.record(id)?.value_at(route, commit)
    }

    /// All ids, current and earlier ones.
    pub fn ids(&self) -> impl Iterator<Item = &str> {
        self.records.iter().flat_map(|record| record.older_ids.iter().chain([&record.id])).map(|id| &**id)
    }

    /// The commit that last set or changed the limit of an existing target; `None` if no commit did.
    ///
    /// A history for the checks skips records that have not changed since the first commit, unless they are needed.
    pub fn last_limit_change(&self, id: &str) -> Option<CommitIndex> {
        match self.record(id) {
            Some(record) => self.limit_changes_in(record).last().map(|(commit, ..)| *commit),
            None => self.skips_unchanged.then_some(CommitIndex::FIRST),
        }
    }

    /// The changes of the limit of a target, from the first limit on. The same limit in another unit is no change.
    pub fn limit_changes(&self, id: &str) -> Vec<LimitChange> {
        self.record(id).map_or_else(Vec::new, |record| self.limit_changes_in(record))
    }

    fn limit_changes_in(&self, record: &RecordHistory) -> Vec<LimitChange> {
        let mut changes: Vec<LimitChange> = Vec::new();
        let mut last: Option<LimitText> = None;
        let changed = record.changes.iter().filter(|change| LIMITS.contains(&&*change.route));
        let mut commits: Vec<CommitIndex> = changed.map(|change| change.commit).collect();
        commits.dedup();
        for commit in commits {
            let now = LIMITS.iter().find_map(|key| limit_text(key, record.last_value_at(key, commit)?));
            let unchanged = match (&now, &last) {
                (Some(now), Some(last)) => same_limit(&now.limit, &last.limit),
                (now, last) => now.is_none() && last.is_none(),
            };
            if !unchanged {
                changes.push((commit, last, now.clone()));
            }
            last = now;
        }
        changes
    }

    /// The last commit that was made on a date or before it.
    pub fn last_commit_until(&self, day: Day) -> Option<CommitIndex> {
        let is_until = |commit: &Commit| commit.id.is_some() && commit.no_later_than <= day;
        self.commits.iter().rposition(is_until).map(CommitIndex::new)
    }

    fn from_log(log: &Log, uncommitted: Option<Day>) -> Self {
        let mut history = Self::from_chain(log, uncommitted);
        if !history.branches.is_empty() {
            ancestry::date_forks(&mut history);
            history.ancestry = Some(Ancestry::new(&history));
        }
        history
    }

    /// The commits of one chain with its branches, without the ancestry between them.
    fn from_chain(log: &Log, uncommitted: Option<Day>) -> Self {
        let mut commits: Vec<Commit> = log
            .commits
            .iter()
            .map(|commit| {
                let (commit, day) = (&commit, commit.day());
                Commit {
                    id: (!commit.id.is_empty()).then(|| commit.id.clone()),
                    day,
                    no_later_than: day,
                    author_time: commit.author_time,
                    committer_time: commit.committer_time,
                    tree: commit.tree.clone(),
                    prefix: commit.prefix.clone(),
                }
            })
            .collect();
        if let (Some(day), Some(last)) = (uncommitted, commits.last_mut().filter(|last| last.id.is_none())) {
            (last.day, last.no_later_than) = (day, day);
        }
        // The date of the uncommitted state may come from the settings, so it is no bound for the commits.
        let mut least: Option<Day> = None;
        for commit in commits.iter_mut().rev().filter(|commit| commit.id.is_some()) {
            commit.no_later_than = least.map_or(commit.day, |least| least.min(commit.day));
            least = Some(commit.no_later_than);
        }
        let unread = log
            .unread
            .iter()
            .map(|(commit, path)| (CommitIndex::new(*commit as usize), log.strings[*path as usize].to_string()));
        let mut history = Self {
            commits,
            shallow: log.shallow,
            unreadable_versions: unread.collect(),
            skips_unchanged: !log.skipped.is_empty(),
            records: record_histories::record_histories(log),
            by_id: HashMap::new(),
            branches: log.branches.iter().map(Branch::from_log).collect(),
            base: None,
            ancestry: None,
            first_shares: Derived::default(),
            known_descendants: KnownDescendants::default(),
        };
        for (at, record) in history.records.iter().enumerate() {
            for id in &record.older_ids {
                history.by_id.entry(id.clone()).or_insert(at);
            }
        }
        // An id that is in use again belongs to the record that has it now.
        for (at, record) in history.records.iter().enumerate() {
            history.by_id.insert(record.id.clone(), at);
        }
        history
    }
}

/// The ends of a limit, in SI.
pub(crate) fn ends(limit: &Limit) -> impl Iterator<Item = f64> {
    [limit.at_least, limit.at_most].into_iter().flatten()
}

/// Whether two limits are the same except for rounding.
pub(crate) fn same_limit(a: &Limit, b: &Limit) -> bool {
    let end = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => same_number(a, b),
        (a, b) => a == b,
    };
    end(a.at_least, b.at_least) && end(a.at_most, b.at_most)
}

/// The limit of a key and its text; `None` if the text cannot be read.
fn limit_text(key: &'static str, text: &str) -> Option<LimitText> {
    let si = |text: &str| Quantity::parse(text).ok().map(|quantity| quantity.si());
    let parts: Vec<&str> = if key == "between" { text.split(", ").collect() } else { vec![text] };
    let limit = match (key, &parts[..]) {
        ("between", [low, high]) => Limit { at_least: Some(si(low)?), at_most: Some(si(high)?) },
        ("at-least", [least]) => Limit { at_least: Some(si(least)?), at_most: None },
        ("at-most", [most]) => Limit { at_least: None, at_most: Some(si(most)?) },
        _ => return None,
    };
    let quantities = parts.into_iter().map(str::to_owned).collect();
    Some(LimitText { words: LimitWords { key, quantities }, limit })
}

/// A history without git, for tests, from the date of each commit and the record file after it.
#[cfg(test)]
pub(crate) fn scripted(states: &[(&str, &str)]) -> History {
    let mut log = log::scripted(states);
    log.shallow = false;
    History::from_log(&log, None)
}
