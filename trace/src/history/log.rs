//! The changes of records by every commit, as they are read from git and stored in the cache: strings, commits and
//! events.
//!
//! An event sets the fields of a record in a file, or removes the record from the file. The histories of records over
//! all files are derived from the events in [`super::record_histories`].

use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _, HashSet};
use schema::Kind;
use schema::read::flat::FlatRecord;

use super::branches::{self, BranchLog, Fork};
use super::differences::{Differences, Version, differences, read_added};
use super::unchanged;
use super::versions::{BytesOfCommit, CurrentVersions, EntriesLeft, ReadableBlobs};
use crate::Error;
use crate::git::walk::{CommitSource, Known, Walk, WalkedCommit};
use crate::load::is_table_name;
use crate::snapshot::Nested;

/// The content of a blob: `None` if there is no blob, `Some(None)` if it cannot be read.
pub(super) type BlobContent = Option<Option<Arc<[u8]>>>;

/// A file that differs from its last version: path, the blob before, and the content, if it can be read.
type ChangedFile = (u32, Option<u32>, Option<Arc<[u8]>>);

/// The number of blobs that are in memory at once while a history is read.
pub(super) const AT_ONCE: usize = 64;

/// A change of a file by a commit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct FileEvent {
    pub(super) commit: u32,
    pub(super) path: u32,
    /// The blob; `None` if the file was removed.
    pub(super) blob: Option<u32>,
}

/// A change of a CSV table by a commit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct TableEvent {
    pub(super) commit: u32,
    pub(super) path: u32,
    /// The blob before.
    pub(super) old: Option<u32>,
    /// The blob; `None` if the table was removed, an empty name for what is not committed yet.
    pub(super) new: Option<u32>,
}

/// A change of a record in a file by a commit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct RecordEvent {
    pub(super) commit: u32,
    pub(super) path: u32,
    pub(super) id: u32,
    /// Its kind, and the range of its fields; `None` if it was removed from the file.
    pub(super) set: Option<(Kind, u32, u32)>,
}

/// The events of a chain of commits. Strings and commits are given by their indices.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Log {
    pub(super) strings: Vec<Arc<str>>,
    /// The commits, without their file changes, which are in [`Log::files`].
    pub(super) commits: Vec<WalkedCommit>,
    pub(super) files: Vec<FileEvent>,
    /// The changes of CSV tables, which may be evidence of numbers. Their content is read when it is needed.
    pub(super) tables: Vec<TableEvent>,
    pub(super) events: Vec<RecordEvent>,
    /// The route and the text of each field.
    pub(super) fields: Vec<(u32, u32)>,
    /// Versions of files that could not be read: the commit, and the path.
    pub(super) unread: Vec<(u32, u32)>,
    /// Files of the first commit whose records were not read, because no later commit changed the file. See
    /// [`super::unchanged`].
    pub(super) skipped: Vec<u32>,
    /// Folders that were another project root at some time: the first commit, and the folder.
    pub(super) nested: Vec<(u32, u32)>,
    /// The tip that it was read from, and the prefix of the project root there.
    pub(super) tip: (String, String),
    /// Whether it begins where a shallow clone ends.
    pub(super) shallow: bool,
    /// The branches of merges that changed a record whose order matters.
    pub(super) branches: Vec<BranchLog>,
    /// The merges whose branches were read, each with the number of commits that were visited for it.
    pub(super) visited: Vec<(u32, u32)>,
}

impl Log {
    /// The commits at which the log can be continued: its own and its tip, with the prefix of the project root in each.
    pub(super) fn known(&self) -> Known {
        let mut known = self.chain();
        if !self.tip.0.is_empty() {
            known.insert(self.tip.0.clone(), self.tip.1.clone());
        }
        known
    }

    fn chain(&self) -> Known {
        let commits = self.commits.iter().filter(|commit| !commit.id.is_empty());
        commits.map(|commit| (commit.id.clone(), commit.prefix.clone())).collect()
    }

    /// The commits that a branch can descend from: its own, and those of all branches.
    pub(super) fn all_commits(&self) -> Known {
        let mut all = self.chain();
        all.extend(self.branches.iter().flat_map(|branch| branch.log.all_commits()));
        all
    }

    /// Calls this with the id of each commit, also of the branches.
    pub(super) fn for_each_commit(&self, each: &mut impl FnMut(&str)) {
        self.commits.iter().filter(|commit| !commit.id.is_empty()).for_each(|commit| each(&commit.id));
        self.branches.iter().for_each(|branch| branch.log.for_each_commit(each));
    }

    /// Drops everything after a commit; nothing if it is the tip.
    ///
    /// `false` if a folder became another project root after that commit, because then its earlier records are missing.
    pub(super) fn truncate_to(&mut self, commit: &str) -> bool {
        if self.tip.0 == commit {
            return true;
        }
        let kept = self.commits.iter().position(|known| known.id == commit).map_or(0, |at| at + 1);
        self.commits.truncate(kept);
        let kept = kept as u32;
        self.files.retain(|event| event.commit < kept);
        self.tables.retain(|event| event.commit < kept);
        self.events.retain(|event| event.commit < kept);
        self.unread.retain(|(commit, _)| *commit < kept);
        self.branches.retain(|branch| branch.merge < kept);
        self.visited.retain(|(merge, _)| *merge < kept);
        self.nested.iter().all(|(commit, _)| *commit < kept)
    }
}

/// The indices of the strings of a log.
pub(super) struct StringIndices(HashMap<Arc<str>, u32>);

impl StringIndices {
    fn new(log: &Log) -> Self {
        Self(log.strings.iter().enumerate().map(|(at, text)| (text.clone(), at as u32)).collect())
    }

    /// The index of a string, which is added to the log if it is new.
    pub(super) fn index(&mut self, text: &str, log: &mut Log) -> u32 {
        if let Some(known) = self.0.get(text) {
            return *known;
        }
        let (index, text): (u32, Arc<str>) = (log.strings.len() as u32, text.into());
        log.strings.push(text.clone());
        self.0.insert(text, index);
        index
    }
}

/// Adds commits to a log.
pub(super) struct Reader<'s> {
    pub(super) log: Log,
    pub(super) strings: StringIndices,
    pub(super) source: CommitSource<'s>,
    current: CurrentVersions,
    /// How much more may be read.
    pub(super) left: EntriesLeft,
    /// The blobs of those that are not in memory.
    readable: ReadableBlobs,
    /// The fork, if the log is that of a branch.
    pub(super) fork: Option<Fork>,
}

impl<'s> Reader<'s> {
    /// Continues a log, which can be empty.
    pub(super) fn new(log: Log, source: CommitSource<'s>) -> Self {
        let (strings, left) = (StringIndices::new(&log), EntriesLeft::of_chain(&log));
        let (current, readable) = (CurrentVersions::default(), ReadableBlobs::default());
        Self { log, strings, source, current, left, readable, fork: None }
    }

    /// Adds the commits of a walk with the branches of its merges.
    ///
    /// `false` if a folder of the project became another project root: its records do not belong to this one, so the
    /// log must be read again.
    pub(super) fn add(&mut self, walk: Walk) -> Result<bool, Error> {
        let merges = branches::merges(&walk, self.log.commits.len());
        let complete = self.add_commits(walk)?;
        if complete && !merges.is_empty() {
            self.add_all_branches(merges)?;
        }
        Ok(complete)
    }

    /// Adds the branches of an unfinished merge, which is the last commit.
    pub(super) fn add_heads(&mut self, others: Vec<String>) -> Result<(), Error> {
        self.add_all_branches(vec![(self.log.commits.len() as u32 - 1, others)])
    }

    /// Adds the commits of a walk, without branches; `false` as in [`Reader::add`].
    pub(super) fn add_commits(&mut self, walk: Walk) -> Result<bool, Error> {
        let is_continued = self.fork.is_none() && !self.log.commits.is_empty();
        let may_skip = self.fork.is_none() && self.log.commits.is_empty();
        let may_skip = may_skip && walk.commits.first().is_some_and(|first| first.others.is_empty());
        let first = self.log.commits.len() as u32;
        let strings = &self.log.strings;
        let mut nested = Nested::of(self.log.nested.iter().map(|(_, folder)| &*strings[*folder as usize]));
        for (at, commit) in walk.commits.iter().enumerate() {
            for change in &commit.changes {
                if let (Some(folder), true) = (Nested::folder(&change.path), change.new.is_some())
                    && !nested.have(folder)
                {
                    nested.add(folder);
                    let folder = self.strings.index(folder, &mut self.log);
                    self.log.nested.push((first + at as u32, folder));
                    if is_continued {
                        return Ok(false);
                    }
                }
            }
        }
        let is_record = self.source.snapshot.is_record();
        let mut work: Vec<(u32, u32, Option<u32>, Option<u32>)> = Vec::new();
        for mut commit in walk.commits {
            let index = self.log.commits.len() as u32;
            commit.others.clear();
            for change in std::mem::take(&mut commit.changes) {
                let (is_record, is_table) = (is_record(&change.path), is_table_name(&change.path));
                if !(is_record || is_table) || nested.have(&change.path) {
                    continue;
                }
                let path = self.strings.index(&change.path, &mut self.log);
                let mut blob = |id: Option<String>| id.map(|id| self.strings.index(&id, &mut self.log));
                let (old, new) = (blob(change.old), blob(change.new));
                if is_table {
                    self.log.tables.push(TableEvent { commit: index, path, old, new });
                }
                if !is_record {
                    continue;
                }
                work.push((index, path, old, new));
            }
            self.log.commits.push(commit);
        }
        if may_skip {
            self.log.skipped = unchanged::of_first_commit(&work);
        } else {
            self.read_skipped(&work.iter().map(|(_, path, ..)| *path).collect())?;
        }
        let skipped: HashSet<u32> =
            if may_skip { self.log.skipped.iter().copied().collect() } else { HashSet::default() };
        for &(commit, path, _, blob) in work.iter().filter(|(_, path, ..)| skipped.contains(path)) {
            self.log.files.push(FileEvent { commit, path, blob });
        }
        work.retain(|(_, path, ..)| !skipped.contains(path));
        let (mut rest, mut at_once) = (&work[..], AT_ONCE);
        let mut bytes = BytesOfCommit::default();
        while !rest.is_empty() {
            let mut contents = self.contents(rest.iter().take(at_once).map(|(.., new)| *new))?;
            let (batch, later) = rest.split_at(contents.len());
            // Large files are not read again and again because there are too many at once.
            (rest, at_once) = (later, AT_ONCE.min(2 * batch.len()));
            for ((commit, ..), content) in batch.iter().zip(&mut contents) {
                if let Some(read) = content {
                    *read = read.take().filter(|read| bytes.take(*commit, read.len()));
                }
            }
            // An added file differs from nothing, whatever happened before: several threads can read such files.
            let is_added = batch.iter().map(|(_, _, old, _)| old.is_none());
            let added: Vec<Option<Arc<[u8]>>> = contents
                .iter()
                .zip(is_added)
                .map(|(content, added)| content.clone().flatten().filter(|_| added))
                .collect();
            let added = read_added(&added);
            for ((&(commit, path, old, new), content), added) in batch.iter().zip(contents).zip(added) {
                self.prepare(path, old)?;
                self.log.files.push(FileEvent { commit, path, blob: new });
                match added.filter(|_| !self.current.contains(path)) {
                    Some((version, found)) => self.change_version(commit, path, None, Some(version), found),
                    None => self.change_file(commit, path, content),
                }
            }
        }
        self.log.tip.0 = walk.tip;
        self.log.shallow |= walk.shallow;
        Ok(true)
    }

    /// The contents of the first of these blobs, as many as may be in memory at once: `None` where there is none,
    /// `Some(None)` for one that cannot be read.
    pub(super) fn contents(&self, blobs: impl Iterator<Item = Option<u32>> + Clone) -> Result<Vec<BlobContent>, Error> {
        let ids: Vec<&str> = blobs.clone().flatten().map(|blob| &*self.log.strings[blob as usize]).collect();
        let mut contents = self.source.first_blobs(&ids)?.into_iter();
        let content = |blob: Option<u32>| match blob {
            Some(_) => contents.next().map(|content| Some(content.ok())),
            None => Some(None),
        };
        Ok(blobs.map_while(content).collect())
    }

    /// The files after the last commit: path and blob.
    pub(super) fn files(&self) -> HashMap<u32, u32> {
        let mut files = HashMap::new();
        for event in &self.log.files {
            match event.blob {
                Some(blob) => drop(files.insert(event.path, blob)),
                None => drop(files.remove(&event.path)),
            }
        }
        files
    }

    /// Adds the files of the snapshot as a further commit. Returns whether its records, or the tables that its records read
    /// numbers from (`evidence`), differ from those of the last one.
    pub(super) fn add_snapshot(&mut self, commit: WalkedCommit, evidence: &[String]) -> Result<bool, Error> {
        let mut before = self.files();
        let index = self.log.commits.len() as u32;
        let snapshot = self.source.snapshot;
        let mut changed: Vec<ChangedFile> = Vec::new();
        for file in snapshot.files.iter().skip(1) {
            let path = self.strings.index(&file.path, &mut self.log);
            let old = before.remove(&path);
            let content = file.content.as_ref().ok();
            if let (Some(old), Some(bytes)) = (old, content)
                && snapshot.is_object(bytes, &self.log.strings[old as usize])
            {
                continue;
            }
            changed.push((path, old, content.cloned()));
        }
        let mut removed: Vec<(u32, u32)> = before.into_iter().collect();
        removed.sort_unstable();
        let all = changed.iter().map(|(path, ..)| *path).chain(removed.iter().map(|(path, _)| *path));
        self.read_skipped(&all.collect())?;
        let events_before = (self.log.events.len(), self.log.unread.len());
        for (path, old, content) in changed {
            self.prepare(path, old)?;
            self.change_file(index, path, Some(content));
        }
        for (path, blob) in removed {
            self.prepare(path, Some(blob))?;
            self.change_file(index, path, None);
        }
        let mut differs = (self.log.events.len(), self.log.unread.len()) != events_before;
        differs |= self.add_tables(index, evidence)?;
        self.log.commits.push(commit);
        Ok(differs)
    }

    /// Adds the tables of the snapshot that differ from their last version. Returns whether there are any.
    fn add_tables(&mut self, commit: u32, evidence: &[String]) -> Result<bool, Error> {
        let (snapshot, before) = (self.source.snapshot, self.log.tables.len());
        let last: HashMap<u32, Option<u32>> = self.log.tables.iter().map(|event| (event.path, event.new)).collect();
        for name in evidence {
            let path = self.strings.index(name, &mut self.log);
            let old = last.get(&path).copied().flatten();
            let content = snapshot.read(name).and_then(|content| content.as_ref().ok());
            let is_same = match (old, content) {
                (Some(old), Some(bytes)) => {
                    let id = self.log.strings[old as usize].clone();
                    // A checkout may have other line ends than the blob.
                    let lines = |bytes: &[u8]| bytes.iter().copied().filter(|byte| *byte != b'\r').collect::<Vec<u8>>();
                    snapshot.is_object(bytes, &id)
                        || matches!(self.source.blobs(&[&id])?.pop(), Some(Ok(old)) if lines(&old) == lines(bytes))
                }
                (old, content) => old.is_none() && content.is_none(),
            };
            if !is_same {
                let new = content.map(|_| self.strings.index("", &mut self.log));
                self.log.tables.push(TableEvent { commit, path, old, new });
            }
        }
        Ok(self.log.tables.len() > before)
    }

    /// For a log in which versions of earlier commits are read only now.
    pub(super) fn forget_readable(&mut self) {
        self.readable = ReadableBlobs::default();
    }

    /// Reads the last readable version of a file, unless it is in memory.
    fn prepare(&mut self, path: u32, old: Option<u32>) -> Result<(), Error> {
        if old.is_none() || self.current.contains(path) {
            return Ok(());
        }
        self.readable.complete(&self.log);
        let Some(readable) = self.readable.before(path, old) else { return Ok(()) };
        let id = self.log.strings[readable as usize].clone();
        if let Some(Ok(bytes)) = self.source.blobs(&[&id])?.pop() {
            self.current.keep(path, Some(Version::new(bytes)));
        }
        Ok(())
    }

    /// The event that sets the fields of a record.
    pub(super) fn set_event(&mut self, commit: u32, path: u32, record: &FlatRecord) -> RecordEvent {
        let id = self.strings.index(&record.id, &mut self.log);
        let begin = self.log.fields.len() as u32;
        for (route, text) in &record.fields {
            let field = (self.strings.index(route, &mut self.log), self.strings.index(text, &mut self.log));
            self.log.fields.push(field);
        }
        RecordEvent { commit, path, id, set: Some((record.kind, begin, self.log.fields.len() as u32)) }
    }

    /// Adds the events of a file with a new content: `None` if it was removed, `Some(None)` if it cannot be read.
    fn change_file(&mut self, commit: u32, path: u32, content: Option<Option<Arc<[u8]>>>) {
        let old = self.current.take(path);
        let new = match content {
            None => None,
            Some(Some(bytes)) => Some(Version::new(bytes)),
            Some(None) => {
                self.log.unread.push((commit, path));
                self.current.keep(path, old);
                return;
            }
        };
        let found = differences(old.as_ref(), new.as_ref());
        self.change_version(commit, path, old, new, found);
    }

    /// Adds the events of a file whose versions were compared; `found` is `None` if the new one cannot be read.
    /// With more differences than may be read it counts as unread.
    fn change_version(
        &mut self,
        commit: u32,
        path: u32,
        old: Option<Version>,
        new: Option<Version>,
        found: Option<Differences>,
    ) {
        let is_first = commit == 0 && self.fork.is_none();
        let Some(differs) = found.filter(|found| is_first || self.left.take_differences(found)) else {
            self.log.unread.push((commit, path));
            self.current.keep(path, old);
            return;
        };
        if let Some(fork) = self.fork.take() {
            self.fork = Some(self.add_to_fork(fork, commit, path, old.as_ref(), &differs));
        }
        for id in differs.removed {
            let id = self.strings.index(&id, &mut self.log);
            self.log.events.push(RecordEvent { commit, path, id, set: None });
        }
        for record in &differs.set {
            let event = self.set_event(commit, path, record);
            self.log.events.push(event);
        }
        self.current.keep(path, new);
    }
}

/// A log without git, for tests, from the date of each commit and the only record file after it.
#[cfg(test)]
pub(super) fn scripted(states: &[(&str, &str)]) -> Log {
    let snapshot = crate::snapshot::Snapshot::in_memory(Vec::new());
    let mut reader = Reader::new(Log::default(), CommitSource::without_repository(&snapshot));
    let path = reader.strings.index("a.yaml", &mut reader.log);
    for (at, (day, records)) in states.iter().enumerate() {
        let date = schema::Day::parse(day).unwrap().date().at(0, 0, 0, 0);
        let time = jiff::tz::Offset::UTC.to_timestamp(date).unwrap().as_second();
        let commit = WalkedCommit {
            id: format!("{:040x}", at + 1),
            author_time: time,
            committer_time: time,
            zone: 0,
            tree: format!("{:040x}", at + 1),
            prefix: String::new(),
            changes: Vec::new(),
            others: Vec::new(),
            listed: crate::git::walk::Listed { entries: 1, bytes: 6 },
        };
        reader.log.commits.push(commit);
        reader.change_file(at as u32, path, Some(Some(records.as_bytes().into())));
    }
    reader.log
}
