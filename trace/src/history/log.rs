//! What every commit did to every record, as it is read from git and kept in the cache: strings, commits and events.
//!
//! An event says that a file has a record with these fields from a commit on, or has it no more. What became of a
//! record over all files is told later, in [`super::record_histories`].

use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _, HashSet};
use schema::Kind;
use schema::read::flat::{self, Chunk, FlatRecord};
use schema::settings;

use super::branches::{self, Base, BranchLog};
use crate::Error;
use crate::git::walk::{CommitSource, Known, Walk, WalkedCommit};

/// How many blobs are held at once while a history is read.
const AT_ONCE: usize = 64;

/// What a commit did to a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct FileEvent {
    pub(super) commit: u32,
    pub(super) path: u32,
    /// The blob; none where the file is gone.
    pub(super) blob: Option<u32>,
}

/// What a commit did to a record in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct RecordEvent {
    pub(super) commit: u32,
    pub(super) path: u32,
    pub(super) id: u32,
    /// Its kind, and where its fields begin and end; none where the file has it no more.
    pub(super) set: Option<(Kind, u32, u32)>,
}

/// The whole log.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Log {
    pub(super) strings: Vec<Arc<str>>,
    /// The commits, without their file changes, which are in [`Log::files`].
    pub(super) commits: Vec<WalkedCommit>,
    pub(super) files: Vec<FileEvent>,
    pub(super) events: Vec<RecordEvent>,
    /// Routes and texts.
    pub(super) fields: Vec<(u32, u32)>,
    /// Versions of files that could not be read: the commit, and the path.
    pub(super) unread: Vec<(u32, u32)>,
    /// Folders that were another data root at some time, and since which commit.
    pub(super) nested: Vec<(u32, u32)>,
    /// The tip that it was read from, and the data root's prefix there.
    pub(super) tip: (String, String),
    pub(super) shallow: bool,
    /// What merges that touched a target or a result brought in.
    pub(super) branches: Vec<BranchLog>,
}

impl Log {
    /// The commits at which a chain can be gone on with, and the data root's prefix in each: its commits and its tip.
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

    /// The commits that a branch can go on from: the commits, and those of all branches.
    pub(super) fn all_commits(&self) -> Known {
        let mut all = self.chain();
        all.extend(self.branches.iter().flat_map(|branch| branch.log.all_commits()));
        all
    }

    /// Keeps what is known at a commit; everything at the tip. `false` where another data root came up inside this one
    /// after it: what is kept lacks what that folder held before.
    pub(super) fn keep_to(&mut self, commit: &str) -> bool {
        if self.tip.0 == commit {
            return true;
        }
        let kept = self.commits.iter().position(|known| known.id == commit).map_or(0, |at| at + 1);
        self.commits.truncate(kept);
        let kept = kept as u32;
        self.files.retain(|event| event.commit < kept);
        self.events.retain(|event| event.commit < kept);
        self.unread.retain(|(commit, _)| *commit < kept);
        self.branches.retain(|branch| branch.merge < kept);
        self.nested.iter().all(|(commit, _)| *commit < kept)
    }

    fn holds_nested(&self, path: &str) -> bool {
        self.nested.iter().any(|(_, folder)| path.starts_with(&*self.strings[*folder as usize]))
    }
}

/// Names strings by numbers.
pub(super) struct Names(HashMap<Arc<str>, u32>);

impl Names {
    fn of(log: &Log) -> Self {
        Self(log.strings.iter().enumerate().map(|(at, text)| (text.clone(), at as u32)).collect())
    }

    pub(super) fn name(&mut self, text: &str, log: &mut Log) -> u32 {
        if let Some(known) = self.0.get(text) {
            return *known;
        }
        let (number, text): (u32, Arc<str>) = (log.strings.len() as u32, text.into());
        log.strings.push(text.clone());
        self.0.insert(text, number);
        number
    }
}

/// The last version of a file that could be read.
pub(super) struct Version {
    pub(super) bytes: Arc<[u8]>,
    chunks: Option<Vec<Chunk>>,
}

impl Version {
    fn new(bytes: Arc<[u8]>) -> Self {
        let chunks = flat::chunks(&bytes);
        Self { bytes, chunks }
    }
}

/// Adds commits to a log.
pub(super) struct Reader<'s> {
    pub(super) log: Log,
    pub(super) names: Names,
    pub(super) source: CommitSource<'s>,
    current: HashMap<u32, Version>,
    /// For a branch: what it found where it forked.
    pub(super) base: Option<Base>,
}

impl<'s> Reader<'s> {
    /// Goes on with a log: empty, or what was known.
    pub(super) fn new(log: Log, source: CommitSource<'s>) -> Self {
        Self { names: Names::of(&log), log, source, current: HashMap::new(), base: None }
    }

    /// Adds what a walk found, with what its merges brought in. `false` where another data root came up inside this
    /// one: its records were never ours, and the log is to be read anew.
    pub(super) fn add(&mut self, walk: Walk) -> Result<bool, Error> {
        let merges = branches::merges(&walk, self.log.commits.len());
        let whole = self.add_steps(walk)?;
        if whole && !merges.is_empty() {
            let mut known = self.log.all_commits();
            self.add_branches(merges, &mut known, 0)?;
        }
        Ok(whole)
    }

    /// Adds what a merge that is not committed yet brings in: the last commit.
    pub(super) fn add_heads(&mut self, others: Vec<String>) -> Result<(), Error> {
        let mut known = self.log.all_commits();
        self.add_branches(vec![(self.log.commits.len() as u32 - 1, others)], &mut known, 0)
    }

    /// Adds the commits of a walk.
    pub(super) fn add_steps(&mut self, walk: Walk) -> Result<bool, Error> {
        let begun = self.base.is_none() && !self.log.commits.is_empty();
        let base = self.log.commits.len() as u32;
        for (at, commit) in walk.commits.iter().enumerate() {
            for change in &commit.changes {
                let folder = change.path.strip_suffix(settings::FILE).filter(|folder| folder.ends_with('/'));
                if let (Some(folder), true) = (folder, change.new.is_some())
                    && !self.log.holds_nested(folder)
                {
                    let name = self.names.name(folder, &mut self.log);
                    self.log.nested.push((base + at as u32, name));
                    if begun {
                        return Ok(false);
                    }
                }
            }
        }
        let is_record = self.source.snapshot.is_record();
        let mut work: Vec<(u32, u32, Option<u32>, Option<u32>)> = Vec::new();
        for mut commit in walk.commits {
            let number = self.log.commits.len() as u32;
            commit.others.clear();
            for change in std::mem::take(&mut commit.changes) {
                if !is_record(&change.path) || self.log.holds_nested(&change.path) {
                    continue;
                }
                let path = self.names.name(&change.path, &mut self.log);
                let mut name = |id: Option<String>| id.map(|id| self.names.name(&id, &mut self.log));
                let (old, new) = (name(change.old), name(change.new));
                work.push((number, path, old, new));
            }
            self.log.commits.push(commit);
        }
        for some in work.chunks(AT_ONCE) {
            let ids: Vec<Arc<str>> =
                some.iter().filter_map(|(.., new)| Some(self.log.strings[(*new)? as usize].clone())).collect();
            let ids: Vec<&str> = ids.iter().map(|id| &**id).collect();
            let mut contents = self.source.blobs(&ids)?.into_iter();
            for &(commit, path, old, new) in some {
                let content = if new.is_some() { contents.next() } else { None };
                self.prepare(path, old)?;
                self.log.files.push(FileEvent { commit, path, blob: new });
                self.change(commit, path, content.map(|content| content.ok()));
            }
        }
        self.log.tip.0 = walk.tip;
        self.log.shallow |= walk.shallow;
        Ok(true)
    }

    /// The files as the last commit has them: path and blob.
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

    /// Adds the files of the snapshot as one more commit where they differ from the last one; tells whether they do.
    pub(super) fn add_snapshot(&mut self, commit: WalkedCommit) -> Result<bool, Error> {
        let mut before = self.files();
        let number = self.log.commits.len() as u32;
        let told = (self.log.events.len(), self.log.unread.len());
        let snapshot = self.source.snapshot;
        for file in snapshot.files.iter().skip(1) {
            let path = self.names.name(&file.path, &mut self.log);
            let old = before.remove(&path);
            let content = file.content.as_ref().ok();
            if let (Some(old), Some(bytes)) = (old, content)
                && snapshot.is_object(bytes, &self.log.strings[old as usize])
            {
                continue;
            }
            self.prepare(path, old)?;
            self.change(number, path, Some(content.cloned()));
        }
        let mut gone: Vec<(u32, u32)> = before.into_iter().collect();
        gone.sort_unstable();
        for (path, blob) in gone {
            self.prepare(path, Some(blob))?;
            self.change(number, path, None);
        }
        let differs = (self.log.events.len(), self.log.unread.len()) != told;
        self.log.commits.push(commit);
        Ok(differs)
    }

    /// Sees that the last good version of a file is at hand.
    fn prepare(&mut self, path: u32, old: Option<u32>) -> Result<(), Error> {
        if old.is_none() || self.current.contains_key(&path) {
            return Ok(());
        }
        let unread = |commit: u32| self.log.unread.contains(&(commit, path));
        let own = self.log.files.iter().rev().filter(|event| event.path == path);
        let good = own.filter(|event| !unread(event.commit)).find_map(|event| event.blob).or(old);
        let Some(good) = good else { return Ok(()) };
        let id = self.log.strings[good as usize].clone();
        if let Some(Ok(bytes)) = self.source.blobs(&[&id])?.pop() {
            self.current.insert(path, Version::new(bytes));
        }
        Ok(())
    }

    /// A record has these fields.
    pub(super) fn set(&mut self, commit: u32, path: u32, record: &FlatRecord) -> RecordEvent {
        let id = self.names.name(&record.id, &mut self.log);
        let begin = self.log.fields.len() as u32;
        for (route, text) in &record.fields {
            let field = (self.names.name(route, &mut self.log), self.names.name(text, &mut self.log));
            self.log.fields.push(field);
        }
        RecordEvent { commit, path, id, set: Some((record.kind, begin, self.log.fields.len() as u32)) }
    }

    /// A file has another content now (`None`: it is gone; `Some(None)`: it cannot be had).
    fn change(&mut self, commit: u32, path: u32, content: Option<Option<Arc<[u8]>>>) {
        let old = self.current.remove(&path);
        let new = match content {
            None => None,
            Some(Some(bytes)) => Some(Version::new(bytes)),
            Some(None) => {
                self.log.unread.push((commit, path));
                self.current.extend(old.map(|old| (path, old)));
                return;
            }
        };
        let Some(differs) = differences(old.as_ref(), new.as_ref()) else {
            self.log.unread.push((commit, path));
            self.current.extend(old.map(|old| (path, old)));
            return;
        };
        if let Some(base) = self.base.take() {
            self.base = Some(self.stood(base, commit, path, old.as_ref(), &differs));
        }
        for id in differs.gone {
            let id = self.names.name(&id, &mut self.log);
            self.log.events.push(RecordEvent { commit, path, id, set: None });
        }
        for record in &differs.set {
            let event = self.set(commit, path, record);
            self.log.events.push(event);
        }
        self.current.extend(new.map(|new| (path, new)));
    }
}

/// What two versions of a file differ in.
pub(super) struct Differences {
    pub(super) set: Vec<FlatRecord>,
    pub(super) gone: Vec<String>,
}

/// Compares two versions of a file, reading only the pieces that differ; `None` where the later cannot be read.
fn differences(old: Option<&Version>, new: Option<&Version>) -> Option<Differences> {
    let chunks = |version: Option<&Version>| match version {
        None => Some(Vec::new()),
        Some(version) => version.chunks.clone(),
    };
    if let (Some(before), Some(after)) = (chunks(old), chunks(new))
        && let Some(found) = by_chunks(old, &before, new, &after)
    {
        return Some(found);
    }
    let whole = |version: Option<&Version>| match version {
        None => Some(Vec::new()),
        Some(version) => flat::records(&version.bytes),
    };
    let after = whole(new)?;
    Some(settle(whole(old).unwrap_or_default(), after))
}

fn by_chunks(old: Option<&Version>, before: &[Chunk], new: Option<&Version>, after: &[Chunk]) -> Option<Differences> {
    let (old, new) = (old.map_or(&[][..], |v| &v.bytes), new.map_or(&[][..], |v| &v.bytes));
    let same = |a: &Chunk, b: &Chunk| a.bytes(old) == b.bytes(new);
    let head = before.iter().zip(after).take_while(|(a, b)| same(a, b)).count();
    let (mut b, mut a) = (&before[head..], &after[head..]);
    while let (Some((last_b, rest_b)), Some((last_a, rest_a))) = (b.split_last(), a.split_last()) {
        if !same(last_b, last_a) {
            break;
        }
        (b, a) = (rest_b, rest_a);
    }
    // What stands between may be in another order.
    let mut left: HashMap<(&[u8], &[u8]), Vec<&Chunk>> = HashMap::new();
    for chunk in b {
        left.entry(chunk.bytes(old)).or_default().push(chunk);
    }
    let mut added = Vec::new();
    for chunk in a {
        if left.get_mut(&chunk.bytes(new)).and_then(Vec::pop).is_none() {
            added.extend(flat::chunk(new, chunk)?);
        }
    }
    let mut removed = Vec::new();
    for chunk in b {
        if left.get_mut(&chunk.bytes(old)).and_then(Vec::pop).is_none() {
            continue;
        }
        match chunk.id(old) {
            // What it said was told when it was new; that it is gone, or another, is all that counts.
            Some(id) => removed.push(FlatRecord { kind: Kind::Goal, id: id.to_owned(), fields: Vec::new() }),
            None => removed.extend(flat::chunk(old, chunk)?),
        }
    }
    let mut found = settle(removed, added);
    // An id given twice in the file is there still.
    if !found.gone.is_empty() {
        let kept: Vec<FlatRecord> =
            after.iter().filter_map(|chunk| mentions(new, chunk, &found.gone)).flatten().collect();
        for record in kept {
            if let Some(at) = found.gone.iter().position(|id| *id == record.id) {
                found.gone.swap_remove(at);
                found.set.push(record);
            }
        }
        found.gone.sort_unstable();
    }
    Some(found)
}

/// The records of a chunk, if it may hold one of these ids.
fn mentions(file: &[u8], chunk: &Chunk, ids: &[String]) -> Option<Vec<FlatRecord>> {
    let (head, body) = chunk.bytes(file);
    let text = body.trim_ascii_start();
    let begins = |id: &String| text.starts_with(id.as_bytes()) && text.get(id.len()) == Some(&b':');
    (head.is_empty() || ids.iter().any(begins)).then(|| flat::chunk(file, chunk)).flatten()
}

/// The records that are new or other than they were, and the ids that are gone; the first of an id counts.
fn settle(before: Vec<FlatRecord>, after: Vec<FlatRecord>) -> Differences {
    let mut old: HashMap<String, FlatRecord> = HashMap::new();
    for record in before {
        old.entry(record.id.clone()).or_insert(record);
    }
    let mut seen = HashSet::default();
    let mut set = Vec::new();
    for record in after {
        if seen.insert(record.id.clone()) && old.get(&record.id) != Some(&record) {
            set.push(record);
        }
    }
    let mut gone: Vec<String> = old.into_keys().filter(|id| !seen.contains(id)).collect();
    gone.sort_unstable();
    Differences { set, gone }
}

/// A log of one file over some days.
#[cfg(test)]
pub(super) fn scripted(states: &[(&str, &str)]) -> Log {
    let snapshot = crate::snapshot::Snapshot::in_memory(Vec::new());
    let mut reader = Reader::new(Log::default(), CommitSource::without_repository(&snapshot));
    let path = reader.names.name("a.yaml", &mut reader.log);
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
        };
        reader.log.commits.push(commit);
        reader.change(at as u32, path, Some(Some(records.as_bytes().into())));
    }
    reader.log
}
