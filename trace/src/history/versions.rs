//! The versions of files that are in memory while a history is read, and how much of all versions is read.

use foldhash::{HashMap, HashSet};

use super::differences::{Differences, Version};
use super::log::{Log, RecordEvent};

/// The number of bytes of versions that are kept to compare the next ones with; the others are read again.
const MOST_KEPT: usize = 64 << 20;

/// The number of bytes of the versions of a commit after the first one that are read: as much as a state may have. The
/// others count as unread. Which files of the first commit are read, and when, depends on what is asked.
const MOST_OF_COMMIT: usize = 64 << 20;

/// The number of records and fields that the commits after the first one may set or remove. Versions with more of them
/// count as unread.
const MOST_ENTRIES: usize = 6_000_000;

/// The same of all branches of merges together.
const MOST_OF_BRANCHES: usize = 2_000_000;

/// The last readable version of each file, by the index of its path.
#[derive(Default)]
pub(super) struct CurrentVersions {
    all: HashMap<u32, Version>,
    bytes: usize,
}

impl CurrentVersions {
    /// Whether the version of a file is in memory.
    pub(super) fn contains(&self, path: u32) -> bool {
        self.all.contains_key(&path)
    }

    /// Takes the version of a file.
    pub(super) fn take(&mut self, path: u32) -> Option<Version> {
        let version = self.all.remove(&path)?;
        self.bytes -= version.size();
        Some(version)
    }

    /// Keeps the version of a file, if there is one. All others are dropped if they are too large together.
    pub(super) fn keep(&mut self, path: u32, version: Option<Version>) {
        self.take(path);
        let Some(version) = version else { return };
        if self.bytes + version.size() > MOST_KEPT {
            *self = Self::default();
        }
        self.bytes += version.size();
        self.all.insert(path, version);
    }
}

/// The last blob of each file that could be read.
#[derive(Default)]
pub(super) struct ReadableBlobs {
    pub(super) last: HashMap<u32, u32>,
    unread: HashSet<(u32, u32)>,
    /// The files with a version that counts as unread.
    files_unread: HashSet<u32>,
    /// How many file events and unread versions of the log are in it.
    complete_to: (usize, usize),
}

impl ReadableBlobs {
    /// The last readable version of a file whose version before a change is `old`. A version that counts as unread may well
    /// be readable, but has no events: the next one is compared with nothing.
    pub(super) fn before(&self, path: u32, old: Option<u32>) -> Option<u32> {
        let old = old.filter(|_| !self.files_unread.contains(&path));
        self.last.get(&path).copied().or(old)
    }

    /// Adds what the log has more. Whether a version could be read is known as soon as the next one is asked for.
    pub(super) fn complete(&mut self, log: &Log) {
        let (files, unread) = self.complete_to;
        self.unread.extend(&log.unread[unread..]);
        self.files_unread.extend(log.unread[unread..].iter().map(|(_, path)| *path));
        for event in &log.files[files..] {
            if let Some(blob) = event.blob.filter(|_| !self.unread.contains(&(event.commit, event.path))) {
                self.last.insert(event.path, blob);
            }
        }
        self.complete_to = (log.files.len(), log.unread.len());
    }
}

/// The bytes of the versions of a commit that are read so far.
#[derive(Default)]
pub(super) struct BytesOfCommit {
    commit: u32,
    bytes: usize,
}

impl BytesOfCommit {
    /// Takes a version of so many bytes; `false` if they are too many.
    pub(super) fn take(&mut self, commit: u32, bytes: usize) -> bool {
        if commit == 0 {
            return true;
        }
        let before = if self.commit == commit { self.bytes } else { 0 };
        let is_within = before + bytes <= MOST_OF_COMMIT;
        *self = Self { commit, bytes: if is_within { before + bytes } else { before } };
        is_within
    }
}

/// How many records and fields may still be set or removed, of a chain or of all branches together.
#[derive(Clone, Copy)]
pub(super) struct EntriesLeft(usize);

impl EntriesLeft {
    /// Those of the main chain. What is in the log already counts, so that the same versions are read with and without a
    /// cache. The first commit, whose files may be read later, does not count.
    pub(super) fn of_chain(log: &Log) -> Self {
        let events = log.events.iter().filter(|event| event.commit > 0);
        Self(MOST_ENTRIES.saturating_sub(events.map(entries_of).sum()))
    }

    /// Those of the branches of the main chain.
    pub(super) fn of_branches(log: &Log) -> Self {
        fn entries(log: &Log) -> usize {
            let below = log
                .branches
                .iter()
                .map(|branch| branch.log.events.iter().map(entries_of).sum::<usize>() + entries(&branch.log));
            below.sum()
        }
        Self(MOST_OF_BRANCHES.saturating_sub(entries(log)))
    }

    /// Takes a record with so many fields; `false` if there are too many.
    pub(super) fn take_record(&mut self, fields: usize) -> bool {
        self.take(1 + fields)
    }

    /// Takes all differences between two versions, or nothing and `false`.
    pub(super) fn take_differences(&mut self, found: &Differences) -> bool {
        let set: usize = found.set.iter().map(|record| 1 + record.fields.len()).sum();
        self.take(set + found.removed.len())
    }

    fn take(&mut self, entries: usize) -> bool {
        let left = self.0.checked_sub(entries);
        self.0 = left.unwrap_or(self.0);
        left.is_some()
    }
}

/// The numbers of records and fields of an event.
fn entries_of(event: &RecordEvent) -> usize {
    1 + event.set.map_or(0, |(_, begin, end)| (end - begin) as usize)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_versions_of_a_later_commit_have_a_limit() {
        let mut bytes = BytesOfCommit::default();
        assert!(
            bytes.take(0, MOST_OF_COMMIT) && bytes.take(0, MOST_OF_COMMIT),
            "the first one is read as it is needed"
        );
        assert!(bytes.take(1, MOST_OF_COMMIT - 5) && !bytes.take(1, 6) && bytes.take(1, 5), "a smaller one has room");
        assert!(bytes.take(2, MOST_OF_COMMIT));
    }

    #[test]
    fn a_version_without_events_is_compared_with_nothing() {
        let file = |commit: u32, blob: u32| super::super::log::FileEvent { commit, path: 0, blob: Some(blob) };
        let (mut log, mut readable) = (Log::default(), ReadableBlobs::default());
        assert_eq!(readable.before(0, Some(7)), Some(7), "before the commits of this log");
        log.files.push(file(1, 7));
        log.unread.push((1, 0));
        readable.complete(&log);
        assert_eq!(readable.before(0, Some(7)), None);
        log.files.push(file(2, 8));
        readable.complete(&log);
        assert_eq!(readable.before(0, Some(8)), Some(8));
        log.files.push(file(3, 9));
        log.unread.push((3, 0));
        readable.complete(&log);
        assert_eq!(readable.before(0, Some(9)), Some(8), "the last one with events");
    }
}
