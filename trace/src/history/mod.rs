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
mod record_histories;
pub(crate) mod revisions;
pub mod story;
#[cfg(test)]
mod tests;
mod unchanged;

use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _};
use schema::quantity::same_number;
use schema::records::LimitStyle;
use schema::settings::HistorySetting;
use schema::{Day, Kind, Quantity};

use crate::Error;
use crate::git::Project;
use crate::git::cache_file::CacheFile;
use crate::git::walk::{CommitSource, Known, WalkedCommit, day_of};
use crate::load::Loaded;
use crate::snapshot::Source;
use crate::values::Limit;
use ancestry::{Ancestry, Branch};
use log::{Log, Reader};
use unchanged::Needed;

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
        self.id.as_deref().map_or("not committed", |id| id.get(..10).unwrap_or(id))
    }
}

/// A field of a record that was set, changed or removed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// The index of the commit in [`History::commits`].
    pub commit: usize,
    /// The keys below the record, joined by dots.
    pub route: Arc<str>,
    /// The text before; `None` if the field was set.
    pub before: Option<Arc<str>>,
    /// The text after; `None` if the field was removed.
    pub after: Option<Arc<str>>,
}

/// The history of a record. Commits are given by their index in [`History::commits`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordHistory {
    /// Its id, or the last one it had.
    pub id: Arc<str>,
    /// Its kind.
    pub kind: Kind,
    /// The ids it had before, the oldest first.
    pub older_ids: Vec<Arc<str>>,
    /// The commits that changed its id, each with the id before.
    pub renames: Vec<(usize, Arc<str>)>,
    /// The commits that moved it to another file, each with the file before and after.
    pub moves: Vec<(usize, Arc<str>, Arc<str>)>,
    /// The commit that added it.
    pub added: usize,
    /// The commit that removed it; `None` if it exists.
    pub removed: Option<usize>,
    /// The times that it was removed and added again: both commits.
    pub returns: Vec<(usize, usize)>,
    /// The changes of its fields, in the order of the commits. The commit that added it sets its first fields.
    pub changes: Vec<Change>,
}

impl RecordHistory {
    /// The changes of one field.
    pub fn changes_of<'r>(&'r self, route: &'r str) -> impl DoubleEndedIterator<Item = &'r Change> {
        self.changes.iter().filter(move |change| *change.route == *route)
    }

    /// The text of a field after a commit; `None` if the record was removed by then.
    pub fn value_at(&self, route: &str, commit: usize) -> Option<&str> {
        let is_absent = |(removed, returned): &(usize, usize)| (*removed..*returned).contains(&commit);
        if self.removed.is_some_and(|removed| removed <= commit) || self.returns.iter().any(is_absent) {
            return None;
        }
        self.last_value_at(route, commit)
    }

    /// The text of a field after a commit; for a record that was removed by then, its last text.
    pub fn last_value_at(&self, route: &str, commit: usize) -> Option<&str> {
        let so_far = self.changes.iter().take_while(|change| change.commit <= commit);
        so_far.filter(|change| *change.route == *route).last()?.after.as_deref()
    }

    /// The last commit that changed a field of it.
    pub fn last_change(&self) -> usize {
        self.changes.last().map_or(self.added, |change| change.commit)
    }
}

/// The limit of a target at some commit.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitText {
    /// As text in a sentence: `at most 205 kg`.
    pub text: String,
    /// The limit, in SI.
    pub limit: Limit,
    /// Its key.
    pub key: &'static str,
}

/// A change of a limit: the commit, the limit before, and the limit after.
pub type LimitChange = (usize, Option<LimitText>, Option<LimitText>);

/// The history of a project.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct History {
    /// The commits that changed it, the oldest first.
    pub commits: Vec<Commit>,
    /// Whether it begins where a shallow clone ends.
    pub shallow: bool,
    /// Versions of files that could not be read and were skipped: the commit, and the path.
    pub unreadable_versions: Vec<(usize, String)>,
    /// Whether records are skipped that have not changed since the first commit added them.
    skips_unchanged: bool,
    records: Vec<RecordHistory>,
    by_id: HashMap<Arc<str>, usize>,
    branches: Vec<Branch>,
    /// The last commit before the history checks start (`history: {since: DATE}`): they report nothing from it or from
    /// before it.
    base: Option<usize>,
    /// `None` if no branch was read.
    ancestry: Option<Ancestry>,
}

impl History {
    /// The histories of all records, in the order in which the records were added.
    pub fn records(&self) -> &[RecordHistory] {
        &self.records
    }

    /// The history of a record, by its id or one that it had before.
    pub fn record(&self, id: &str) -> Option<&RecordHistory> {
        self.by_id.get(id).map(|at| &self.records[*at])
    }

    /// The text of a field of a record after a commit; `None` if the record was removed by then.
    pub fn value_at(&self, id: &str, route: &str, commit: usize) -> Option<&str> {
        self.record(id)?.value_at(route, commit)
    }

    /// All ids, current and earlier ones.
    pub fn ids(&self) -> impl Iterator<Item = &str> {
        self.records.iter().flat_map(|record| record.older_ids.iter().chain([&record.id])).map(|id| &**id)
    }

    /// The commit that last set or changed the limit of an existing target; `None` if no commit did.
    ///
    /// A history for the checks skips records that have not changed since the first commit, unless they are needed.
    pub fn last_limit_change(&self, id: &str) -> Option<usize> {
        match self.record(id) {
            Some(record) => self.limit_changes_in(record).last().map(|(commit, ..)| *commit),
            None => self.skips_unchanged.then_some(0),
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
        let mut commits: Vec<usize> = changed.map(|change| change.commit).collect();
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
    pub fn last_commit_until(&self, day: Day) -> Option<usize> {
        self.commits.iter().rposition(|commit| commit.id.is_some() && commit.no_later_than <= day)
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
        let unread =
            log.unread.iter().map(|(commit, path)| (*commit as usize, log.strings[*path as usize].to_string()));
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
    Some(LimitText { text: schema::records::limit_text(key, &parts, LimitStyle::Words), limit, key })
}

/// The history of a project, as far as it is available.
#[derive(Clone, Debug)]
pub enum Past {
    /// The complete history.
    Known(Box<History>),
    /// The history of a shallow clone: without its beginning, so that what follows from it may be wrong.
    Shallow(Box<History>),
    /// No history, because the project is not in a git repository.
    OutsideOfGit,
    /// No history, and why.
    None(String),
    /// No history, because the settings switch it off.
    Off,
}

impl Past {
    /// The history, if it is complete.
    pub fn complete(&self) -> Option<&History> {
        match self {
            Self::Known(history) => Some(history),
            Self::Shallow(_) | Self::OutsideOfGit | Self::None(_) | Self::Off => None,
        }
    }

    /// The history, complete or not.
    pub fn available(&self) -> Option<&History> {
        match self {
            Self::Known(history) | Self::Shallow(history) => Some(history),
            Self::OutsideOfGit | Self::None(_) | Self::Off => None,
        }
    }

    /// The word in JSON.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Known(_) => "on",
            Self::Shallow(_) => "shallow",
            Self::OutsideOfGit | Self::None(_) | Self::Off => "off",
        }
    }

    /// Why the history checks are skipped, and how to enable them; `None` if they run or the settings switch them off.
    pub fn reason(&self) -> Option<String> {
        match self {
            Self::Known(_) | Self::Off => None,
            Self::Shallow(_) => Some("the clone is shallow: `git fetch --unshallow` fetches the rest".to_owned()),
            Self::OutsideOfGit => Some("the project is not in a git repository".to_owned()),
            Self::None(why) => Some(why.clone()),
        }
    }

    /// The history for the checks: [`Past::Off`] if the settings switch it off. What two states of a project share is
    /// read once, into `logs`. Records that no check can ask for are skipped, see [`History::last_limit_change`].
    pub fn for_checks(project: &Project, logs: &mut Logs, loaded: &Loaded, day: Day) -> Self {
        match loaded.settings().history {
            HistorySetting::On | HistorySetting::Since(_) => {
                Self::read(project, loaded, day, Some((logs, Needed::ByChecks(loaded))))
            }
            HistorySetting::Off => Self::Off,
        }
    }

    fn read(project: &Project, loaded: &Loaded, day: Day, logs: Option<(&mut Logs, Needed<'_>)>) -> Self {
        let source = project.commits(&loaded.snapshot);
        read(source, loaded, day, logs).unwrap_or_else(|error| Self::None(error.to_string()))
    }

    /// The history of all records, unless the settings switch it off.
    pub fn for_audit(project: &Project, loaded: &Loaded, day: Day) -> Self {
        match loaded.settings().history {
            HistorySetting::On | HistorySetting::Since(_) => Self::load(project, loaded, day),
            HistorySetting::Off => Self::Off,
        }
    }

    /// The history of the loaded records. The uncommitted state is the last commit, dated `day`.
    ///
    /// An error gives [`Past::None`] with its message: the other checks run without a history.
    pub fn load(project: &Project, loaded: &Loaded, day: Day) -> Self {
        Self::read(project, loaded, day, Some((&mut Logs::default(), Needed::All)))
    }

    /// The history of the loaded records, read without the cache.
    pub fn load_uncached(project: &Project, loaded: &Loaded, day: Day) -> Self {
        Self::read(project, loaded, day, None)
    }
}

/// The last log that was read, for another state of the same project.
#[derive(Clone, Default)]
pub struct Logs(Option<(LogKey, Log)>);

/// What a log depends on: the tip, the prefix of the project root, and the files that are ignored.
type LogKey = (String, String, Vec<String>);

impl Logs {
    fn log(&mut self, source: CommitSource<'_>, tip: &str, needed: Needed<'_>) -> Result<Option<Log>, Error> {
        let snapshot = source.snapshot;
        let key = (tip.to_owned(), snapshot.prefix.clone(), snapshot.settings.ignore.clone());
        let found = match self.0.take() {
            Some((known, log)) if known == key && needed.among(&log, snapshot).is_empty() => Some(log),
            Some((known, earlier)) if (&known.1, &known.2) == (&key.1, &key.2) => {
                read_log(source, tip, true, Some(earlier), needed)?
            }
            _ => read_log(source, tip, true, None, needed)?,
        };
        self.0 = found.clone().map(|log| (key, log));
        Ok(found)
    }
}

/// The log of the commits up to a tip. An earlier log, or the one in the cache, is continued if it can be; otherwise
/// all of it is read from git.
fn read_log(
    source: CommitSource<'_>,
    tip: &str,
    cached: bool,
    earlier: Option<Log>,
    needed: Needed<'_>,
) -> Result<Option<Log>, Error> {
    let cache = if cached { CacheFile::of_history(source) } else { None };
    let mut log = earlier.or_else(|| log_codec::read(cache.as_ref()?)).unwrap_or_default();
    let Some(mut walk) = source.walk(tip, &log.known())? else { return Ok(None) };
    let kept = walk.met.as_deref().is_some_and(|met| log.truncate_to(met));
    if !kept {
        log = Log::default();
        if walk.met.is_some() {
            let Some(complete) = source.walk(tip, &Known::default())? else { return Ok(None) };
            walk = complete;
        }
    }
    // Reading an older revision does not replace a cached log of newer commits.
    let is_older = walk.passed > 0;
    let mut news = !walk.commits.is_empty() || walk.met.is_none() || walk.passed > 20;
    let mut reader = Reader::new(log, source);
    let mut complete = reader.add(walk)?;
    if !complete {
        reader = Reader::new(Log::default(), source);
        if let Some(walk) = source.walk(tip, &Known::default())? {
            complete = reader.add(walk)?;
        }
    }
    let paths = needed.among(&reader.log, source.snapshot);
    news |= reader.read_skipped(&paths)? && !is_older;
    let mut log = reader.log;
    log.tip = (tip.to_owned(), source.snapshot.prefix.clone());
    // A shallow clone can be deepened, which changes no commit id.
    if let Some(cache) = cache.filter(|_| complete && news && !log.shallow) {
        log_codec::write(&cache, &log);
    }
    Ok(Some(log))
}

/// Reads the history; without `logs`, from git only.
fn read(
    source: CommitSource<'_>,
    loaded: &Loaded,
    day: Day,
    logs: Option<(&mut Logs, Needed<'_>)>,
) -> Result<Past, Error> {
    let snapshot = source.snapshot;
    if !source.in_repository() {
        return Ok(Past::OutsideOfGit);
    }
    // Before the first commit the history is empty, and complete.
    let Some(tip) = source.tip()? else { return Ok(Past::Known(Box::default())) };
    let log = match logs {
        Some((logs, needed)) => logs.log(source, &tip, needed)?,
        None => read_log(source, &tip, false, None, Needed::All)?,
    };
    let Some(mut log) = log else { return Ok(Past::Known(Box::default())) };
    let committed = matches!(snapshot.source, Source::Revision { .. });
    if !committed {
        let commit = WalkedCommit::beyond(String::new(), snapshot.prefix.clone());
        let mut reader = Reader::new(log, source);
        let differs = reader.add_snapshot(commit, &evidence::files(loaded))?;
        if differs {
            reader.add_heads(source.merge_heads()?)?;
        }
        log = reader.log;
        if !differs {
            log.commits.pop();
        }
    }
    let mut history = Box::new(History::from_log(&log, (!committed).then_some(day)));
    evidence::add_numbers(&mut history, &log, source);
    history.base = snapshot.settings.history.since().and_then(|since| history.last_commit_until(since));
    Ok(if history.shallow { Past::Shallow(history) } else { Past::Known(history) })
}

/// A history without git, for tests, from the date of each commit and the record file after it.
#[cfg(test)]
pub(crate) fn scripted(states: &[(&str, &str)]) -> History {
    let mut log = log::scripted(states);
    log.shallow = false;
    History::from_log(&log, None)
}
