//! The history of every record, from the commits that changed the data root.
//!
//! Records are followed by their ids over all files, so that a move is no change, and by `formerly` over a rename.
//! A record that was removed and came back has one record. Order is that of the commits, never that of their dates,
//! which clocks get wrong. A field is a route of keys below the record, joined by dots, as
//! [`schema::read::flat`] tells it.

mod ancestry;
mod branches;
mod cache;
#[cfg(test)]
mod check_tests;
pub mod commit_state;
mod log;
mod log_codec;
mod record_histories;
pub(crate) mod revisions;
pub mod story;
#[cfg(test)]
mod tests;

use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _};
use schema::quantity::same_number;
use schema::settings::Switch;
use schema::{Day, Kind, Quantity};

use crate::Error;
use crate::git::Project;
use crate::git::walk::{CommitSource, Known, WalkedCommit};
use crate::load::Loaded;
use crate::snapshot::Source;
use crate::values::Limit;
use ancestry::{Ancestry, Branch};
use log::{Log, Reader};

/// The keys of a target's limit.
pub const LIMITS: [&str; 3] = ["at-least", "at-most", "between"];

/// A commit that changed the data root; the last one may be what is not committed yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Commit {
    /// The full name; none for what is not committed yet.
    pub id: Option<String>,
    /// The day of the author, where the author was.
    pub day: Day,
    /// No commit was made after those that follow it: the earliest day among its own and theirs.
    pub no_later_than: Day,
    /// When it was made, in seconds since 1970.
    pub author_time: i64,
    /// When it was committed.
    pub committer_time: i64,
    /// The object id of the data root's tree.
    pub tree: String,
    /// From the top to the data root: empty, or ending in `/`.
    pub prefix: String,
}

impl Commit {
    /// The name as messages tell it.
    pub fn short(&self) -> &str {
        self.id.as_deref().map_or("not committed", |id| id.get(..10).unwrap_or(id))
    }
}

/// A field of a record that was set, changed or removed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// The commit in [`History::commits`].
    pub commit: usize,
    /// The keys below the record, joined by dots.
    pub route: Arc<str>,
    /// The text before; none where the field was set.
    pub before: Option<Arc<str>>,
    /// The text after; none where it was removed.
    pub after: Option<Arc<str>>,
}

/// The record of a record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordHistory {
    /// Its id, or the last one it had.
    pub id: Arc<str>,
    /// Its kind.
    pub kind: Kind,
    /// The ids it had before, the oldest first.
    pub older_ids: Vec<Arc<str>>,
    /// The commits in which it got another id, and the one it had.
    pub renames: Vec<(usize, Arc<str>)>,
    /// The commits in which it went to another file: from where, and where to.
    pub moves: Vec<(usize, Arc<str>, Arc<str>)>,
    /// The commit in which it came.
    pub added: usize,
    /// The commit in which it went, if it did.
    pub removed: Option<usize>,
    /// What was changed, in the order of the commits; its first fields are set in the commit in which it came.
    pub changes: Vec<Change>,
}

impl RecordHistory {
    /// The changes of one field.
    pub fn changes_of<'l>(&'l self, route: &'l str) -> impl DoubleEndedIterator<Item = &'l Change> {
        self.changes.iter().filter(move |change| *change.route == *route)
    }

    /// The text of a field after a commit.
    pub fn value_at(&self, route: &str, commit: usize) -> Option<&str> {
        if self.removed.is_some_and(|removed| removed <= commit) {
            return None;
        }
        self.last_value_at(route, commit)
    }

    /// The same, and for a record that is gone what it had at the end.
    pub fn last_value_at(&self, route: &str, commit: usize) -> Option<&str> {
        let so_far = self.changes.iter().take_while(|change| change.commit <= commit);
        so_far.filter(|change| *change.route == *route).last()?.after.as_deref()
    }

    /// The last commit in which anything in it changed.
    pub fn last_change(&self) -> usize {
        self.changes.last().map_or(self.added, |change| change.commit)
    }
}

/// The limit of a target as it stood.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitText {
    /// For a sentence: `at most 205 kg`.
    pub text: String,
    /// The limit, in SI.
    pub limit: Limit,
    /// The key it stands under.
    pub key: &'static str,
}

/// A limit that was set or moved: the commit, the limit before and after.
pub type LimitChange = (usize, Option<LimitText>, Option<LimitText>);

/// The history of a data root.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct History {
    /// The commits that changed it, the oldest first.
    pub commits: Vec<Commit>,
    /// Does it begin where a shallow clone was cut?
    pub shallow: bool,
    /// Versions of files that could not be read and were passed over: the commit, and the path.
    pub unreadable_versions: Vec<(usize, String)>,
    records: Vec<RecordHistory>,
    by_id: HashMap<Arc<str>, usize>,
    branches: Vec<Branch>,
    /// None where no branch was read.
    ancestry: Option<Ancestry>,
}

impl History {
    /// All records, in the order in which they began.
    pub fn records(&self) -> &[RecordHistory] {
        &self.records
    }

    /// The record of a record, by its id or one that it had before.
    pub fn record(&self, id: &str) -> Option<&RecordHistory> {
        self.by_id.get(id).map(|at| &self.records[*at])
    }

    /// The text of a field of a record after a commit.
    pub fn value_at(&self, id: &str, route: &str, commit: usize) -> Option<&str> {
        self.record(id)?.value_at(route, commit)
    }

    /// All ids that are or were.
    pub fn ids(&self) -> impl Iterator<Item = &str> {
        self.records.iter().flat_map(|record| record.older_ids.iter().chain([&record.id])).map(|id| &**id)
    }

    /// The commits in which the limit of a target was set or moved; one that is only written otherwise did not move.
    pub fn limit_changes(&self, id: &str) -> Vec<LimitChange> {
        self.record(id).map_or_else(Vec::new, |record| self.limit_changes_in(record))
    }

    fn limit_changes_in(&self, record: &RecordHistory) -> Vec<LimitChange> {
        let mut moves: Vec<LimitChange> = Vec::new();
        let mut last: Option<LimitText> = None;
        let changed = record.changes.iter().filter(|change| LIMITS.contains(&&*change.route));
        let mut commits: Vec<usize> = changed.map(|change| change.commit).collect();
        commits.dedup();
        for commit in commits {
            let now = LIMITS.iter().find_map(|key| limit_text(key, record.last_value_at(key, commit)?));
            let unmoved = match (&now, &last) {
                (Some(now), Some(last)) => same_limit(&now.limit, &last.limit),
                (now, last) => now.is_none() && last.is_none(),
            };
            if !unmoved {
                moves.push((commit, last, now.clone()));
            }
            last = now;
        }
        moves
    }

    /// The last commit that was made no later than a day.
    pub fn last_commit_until(&self, day: Day) -> Option<usize> {
        self.commits.iter().rposition(|commit| commit.id.is_some() && commit.no_later_than <= day)
    }

    fn of(log: &Log, uncommitted: Option<Day>) -> Self {
        let mut history = Self::of_chain(log, uncommitted);
        if !history.branches.is_empty() {
            ancestry::date_forks(&mut history);
            history.ancestry = Some(Ancestry::of(&history));
        }
        history
    }

    /// The commits of one chain; how those of its branches go on from one another is not asked yet.
    fn of_chain(log: &Log, uncommitted: Option<Day>) -> Self {
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
        // The day of what is not committed may be one of the settings, and says nothing about the commits.
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
            records: record_histories::record_histories(log),
            by_id: HashMap::new(),
            branches: log.branches.iter().map(Branch::of).collect(),
            ancestry: None,
        };
        for (at, record) in history.records.iter().enumerate() {
            for id in &record.older_ids {
                history.by_id.entry(id.clone()).or_insert(at);
            }
        }
        // An id that is in use again is the one that has it.
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

/// Are two limits the same but for rounding?
pub(crate) fn same_limit(a: &Limit, b: &Limit) -> bool {
    let end = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => same_number(a, b),
        (a, b) => a == b,
    };
    end(a.at_least, b.at_least) && end(a.at_most, b.at_most)
}

/// A limit as a text under its key says it; none where it cannot be read.
fn limit_text(key: &'static str, text: &str) -> Option<LimitText> {
    let si = |text: &str| Quantity::parse(text).ok().map(|quantity| quantity.si());
    let (text, limit) = match key {
        "between" => {
            let (low, high) = text.split_once(", ")?;
            (format!("{low} to {high}"), Limit { at_least: Some(si(low)?), at_most: Some(si(high)?) })
        }
        "at-least" => (format!("at least {text}"), Limit { at_least: Some(si(text)?), at_most: None }),
        _ => (format!("at most {text}"), Limit { at_least: None, at_most: Some(si(text)?) }),
    };
    Some(LimitText { text, limit, key })
}

/// What there is of a history.
#[derive(Clone, Debug)]
pub enum Past {
    /// All of it.
    Known(Box<History>),
    /// The clone is shallow: the beginning is missing, and what is there may mislead.
    Shallow(Box<History>),
    /// None, and why.
    None(String),
    /// The settings leave it out.
    Off,
}

impl Past {
    /// The history, where all of it is there.
    pub fn complete(&self) -> Option<&History> {
        match self {
            Self::Known(history) => Some(history),
            Self::Shallow(_) | Self::None(_) | Self::Off => None,
        }
    }

    /// The history as far as it is there.
    pub fn available(&self) -> Option<&History> {
        match self {
            Self::Known(history) | Self::Shallow(history) => Some(history),
            Self::None(_) | Self::Off => None,
        }
    }

    /// The word in JSON.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Known(_) => "on",
            Self::Shallow(_) => "shallow",
            Self::None(_) | Self::Off => "off",
        }
    }

    /// Why the checks of the history are off, and what brings them back.
    pub fn reason(&self) -> Option<String> {
        match self {
            Self::Known(_) | Self::Off => None,
            Self::Shallow(_) => Some("the clone is shallow: `git fetch --unshallow` brings the rest".to_owned()),
            Self::None(why) => Some(why.clone()),
        }
    }

    /// The history for the checks: none where the settings leave it out.
    pub fn for_checks(project: &Project, loaded: &Loaded, day: Day) -> Self {
        Self::for_checks_with(project, &mut Logs::default(), loaded, day)
    }

    /// The same; what two states of a data root share is read once.
    pub fn for_checks_with(project: &Project, logs: &mut Logs, loaded: &Loaded, day: Day) -> Self {
        match loaded.settings().history {
            Switch::On => Self::read(project, loaded, day, Some(logs)),
            Switch::Off => Self::Off,
        }
    }

    fn read(project: &Project, loaded: &Loaded, day: Day, logs: Option<&mut Logs>) -> Self {
        let source = project.commits(&loaded.snapshot);
        read(source, day, logs).unwrap_or_else(|error| Self::None(error.to_string()))
    }

    /// The history of the records that were loaded. What is not committed is the last commit, dated `day`.
    ///
    /// Never an error: a check goes on without a history, and says so.
    pub fn load(project: &Project, loaded: &Loaded, day: Day) -> Self {
        Self::read(project, loaded, day, Some(&mut Logs::default()))
    }

    /// The same, without the cache.
    pub fn load_uncached(project: &Project, loaded: &Loaded, day: Day) -> Self {
        Self::read(project, loaded, day, None)
    }
}

/// The last log that was read, for another state of the same data root.
#[derive(Default)]
pub struct Logs(Option<(LogKey, Log)>);

/// What a log depends on: the tip, the data root's prefix, and the files that are passed over.
type LogKey = (String, String, Vec<String>);

impl Logs {
    fn log(&mut self, source: CommitSource<'_>, tip: &str) -> Result<Option<Log>, Error> {
        let snapshot = source.snapshot;
        let key = (tip.to_owned(), snapshot.prefix.clone(), snapshot.settings.ignore.clone());
        let found = match self.0.take() {
            Some((known, log)) if known == key => Some(log),
            Some((known, begun)) if (&known.1, &known.2) == (&key.1, &key.2) => log(source, tip, true, Some(begun))?,
            _ => log(source, tip, true, None)?,
        };
        self.0 = found.clone().map(|log| (key, log));
        Ok(found)
    }
}

/// The log of the commits up to a tip: from one that has begun or the cache as far as they know them, else from git.
fn log(source: CommitSource<'_>, tip: &str, cached: bool, begun: Option<Log>) -> Result<Option<Log>, Error> {
    let cache = if cached { cache::CacheFile::of_history(source) } else { None };
    let mut log = begun.or_else(|| log_codec::read(cache.as_ref()?)).unwrap_or_default();
    let Some(mut walk) = source.walk(tip, &log.known())? else { return Ok(None) };
    let kept = walk.met.as_deref().is_some_and(|met| log.keep_to(met));
    if !kept {
        log = Log::default();
        if walk.met.is_some() {
            let Some(whole) = source.walk(tip, &Known::default())? else { return Ok(None) };
            walk = whole;
        }
    }
    // A look at an older revision makes no one forget the newer ones.
    let news = !walk.commits.is_empty() || walk.met.is_none() || walk.passed > 20;
    let mut reader = Reader::new(log, source);
    let mut whole = reader.add(walk)?;
    if !whole {
        reader = Reader::new(Log::default(), source);
        if let Some(walk) = source.walk(tip, &Known::default())? {
            whole = reader.add(walk)?;
        }
    }
    let mut log = reader.log;
    log.tip = (tip.to_owned(), source.snapshot.prefix.clone());
    // A shallow clone may be deepened, which no name of a commit tells.
    if let Some(cache) = cache.filter(|_| whole && news && !log.shallow) {
        log_codec::write(&cache, &log);
    }
    Ok(Some(log))
}

/// Reads the history; from git alone without `logs`.
fn read(source: CommitSource<'_>, day: Day, logs: Option<&mut Logs>) -> Result<Past, Error> {
    let snapshot = source.snapshot;
    if !source.in_repository() {
        return Ok(Past::None("the project is not in a git repository".to_owned()));
    }
    // Before the first commit there is no history, and none is missing.
    let Some(tip) = source.tip()? else { return Ok(Past::Known(Box::default())) };
    let log = match logs {
        Some(logs) => logs.log(source, &tip)?,
        None => log(source, &tip, false, None)?,
    };
    let Some(mut log) = log else { return Ok(Past::Known(Box::default())) };
    let committed = matches!(snapshot.source, Source::Revision { .. });
    if !committed {
        let commit = WalkedCommit::beyond(String::new(), snapshot.prefix.clone());
        let mut reader = Reader::new(log, source);
        let differs = reader.add_snapshot(commit)?;
        if differs {
            reader.add_heads(source.merge_heads()?)?;
        }
        log = reader.log;
        if !differs {
            log.commits.pop();
        }
    }
    let history = Box::new(History::of(&log, (!committed).then_some(day)));
    Ok(if history.shallow { Past::Shallow(history) } else { Past::Known(history) })
}

/// A history that is told rather than read from git, for tests: the day of each commit, and the record file after it.
#[cfg(test)]
pub(crate) fn scripted(states: &[(&str, &str)]) -> History {
    let mut log = log::scripted(states);
    log.shallow = false;
    History::of(&log, None)
}
