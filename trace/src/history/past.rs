//! Reading the history of a project, as far as it is available.

use std::sync::Arc;

use schema::Day;
use schema::settings::HistorySetting;

use super::log::{Log, Reader};
use super::unchanged::Needed;
use super::{History, evidence, log_codec};
use crate::Error;
use crate::git::cache_file::CacheFile;
use crate::git::count_commit;
use crate::git::walk::{CommitSource, Known, WalkedCommit};
use crate::git::{GitError, Project};
use crate::load::Loaded;
use crate::snapshot::Source;

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
        read(source, loaded, day, logs).unwrap_or_else(|error| Self::None(why(&error)))
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

/// Why there is no history. What git and libgit2 print is not repeated: it may differ from run to run, as of a damaged object.
fn why(error: &Error) -> String {
    match error.git.as_deref() {
        Some(GitError::Refused { .. } | GitError::Library { .. } | GitError::UnexpectedOutput { .. }) => {
            "git cannot read the history: `git fsck` shows what is damaged".to_owned()
        }
        _ => error.to_string(),
    }
}

/// The last log that was read, for another state of the same project.
#[derive(Clone, Default)]
pub struct Logs(Option<(LogKey, Arc<Log>)>);

/// What a log depends on: the tip, the prefix of the project root, and the files that are ignored.
type LogKey = (String, String, Vec<String>);

impl Logs {
    fn log(&mut self, source: CommitSource<'_>, tip: &str, needed: Needed<'_>) -> Result<Option<Arc<Log>>, Error> {
        let snapshot = source.snapshot;
        let key = (tip.to_owned(), snapshot.prefix.clone(), snapshot.settings.ignore.clone());
        let found = match self.0.take() {
            Some((known, log)) if known == key && needed.among(&log, snapshot).is_empty() => Some(log),
            Some((known, earlier)) if (&known.1, &known.2) == (&key.1, &key.2) => {
                read_log(source, tip, true, Some(Arc::unwrap_or_clone(earlier)), needed)?.map(Arc::new)
            }
            _ => read_log(source, tip, true, None, needed)?.map(Arc::new),
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
    let from_cache = || {
        let log = log_codec::read(cache.as_ref()?)?;
        // The same time is allowed as for reading them.
        log.for_each_commit(&mut count_commit);
        Some(log)
    };
    let mut log = earlier.or_else(from_cache).unwrap_or_default();
    let Some(mut walk) = source.walk(tip, &log.known())? else { return Ok(None) };
    let kept = walk.met.as_deref().is_some_and(|met| log.truncate_to(met));
    if !kept {
        log = Log::default();
        if walk.met.is_some() {
            let Some(complete) = source.walk(tip, &Known::default())? else { return Ok(None) };
            walk = complete;
        }
    }
    source.check_listed(tip, log.commits.iter().chain(&walk.commits).map(|commit| commit.listed))?;
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
        None => read_log(source, &tip, false, None, Needed::All)?.map(Arc::new),
    };
    let Some(mut log) = log else { return Ok(Past::Known(Box::default())) };
    let committed = matches!(snapshot.source, Source::Revision { .. });
    if !committed {
        let commit = WalkedCommit::beyond(String::new(), snapshot.prefix.clone());
        let mut reader = Reader::new(Arc::unwrap_or_clone(log), source);
        let differs = reader.add_snapshot(commit, &evidence::files(loaded))?;
        if differs {
            reader.add_heads(source.merge_heads()?)?;
        }
        let mut extended = reader.log;
        if !differs {
            extended.commits.pop();
        }
        log = Arc::new(extended);
    }
    let mut history = Box::new(History::from_log(&log, (!committed).then_some(day)));
    evidence::add_numbers(&mut history, &log, source);
    history.base = snapshot.settings.history.since().and_then(|since| history.last_commit_until(since));
    Ok(if history.shallow { Past::Shallow(history) } else { Past::Known(history) })
}
