//! Cache files in git's common folder: entries of a key and a value, so that what was calculated once is only read.
//!
//! - A file begins with a text: the format, the hash over the sources of the build that wrote it, and what else the
//!   values depend on. A file with another beginning counts as absent, so the numbers of another build are not used.
//! - The keys of entries are ids of git objects, or other names of what a value was calculated from.
//! - A list of the entries follows, with a checksum, and then the values, each with a checksum. A damaged list makes the
//!   file count as absent, a damaged value only its entry.
//! - Checksums have the key of the user (see `key.rs`): what somebody else wrote counts as damaged. That of the list also
//!   covers the name of the file and its beginning.
//! - If two processes write at once, the file of the later one is kept, complete.
//! - A file has a largest size. The entries that were not read or written for the longest time are dropped first.
//!
//! All of it can be deleted at any time.

use std::ops::Range;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use foldhash::{HashMap, HashSet};
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::cache_folder::CacheFolder;
use super::key::Key;
use super::walk::CommitSource;
use crate::hex::hex;

/// The layout of the files; what the values contain is covered by the hash over the sources.
const FORMAT: u32 = 4;
/// The hash over the sources of this build that decide numbers.
const SOURCES: &str = env!("TIEROD_SOURCES_HASH");
/// A larger history is read from git again, in some seconds.
const MOST_OF_HISTORY: usize = 256 << 20;
const MOST_OF_STATES: usize = 32 << 20;
/// A finding takes 8 bytes.
const MOST_OF_FINDINGS: usize = 16 << 20;
/// Some hundred reports of a large project.
const MOST_OF_REPORTS: usize = 4 << 20;
/// The records of a hundred thousand parts take half of it.
const MOST_OF_RECORDS: usize = 64 << 20;
/// Some ten thousand runs, and some dozens of stress fields.
const MOST_OF_MODELS: usize = 16 << 20;
/// What an entry takes in the list, in addition to its key: the lengths and the checksum.
const OF_ENTRY: usize = 48;

/// A cache file: its name, what it must begin with, and its largest size.
pub(crate) struct CacheFile {
    folder: CacheFolder,
    name: String,
    head: Vec<u8>,
    most: usize,
    key: Key,
}

impl CacheFile {
    /// The cache of the history of a project root: one entry, the log.
    pub(crate) fn of_history(commits: CommitSource<'_>) -> Option<Self> {
        let snapshot = commits.snapshot;
        let ignore = snapshot.settings.ignore.iter().map(String::as_str);
        let depends_on: Vec<&str> = [&*snapshot.prefix].into_iter().chain(ignore).collect();
        Self::in_repository(commits, "history", &depends_on, MOST_OF_HISTORY)
    }

    /// The cache of the evaluated states of a project root, by the object id of its tree.
    pub(crate) fn of_states(commits: CommitSource<'_>) -> Option<Self> {
        Self::in_repository(commits, "states", &[&commits.snapshot.prefix], MOST_OF_STATES)
    }

    /// The cache of the findings of a project root, by commit and date.
    pub(crate) fn of_findings(commits: CommitSource<'_>) -> Option<Self> {
        Self::in_repository(commits, "findings", &[], MOST_OF_FINDINGS)
    }

    /// The cache of the decoded records of a project root, by the content of their files.
    pub(super) fn of_records(commits: CommitSource<'_>) -> Option<Self> {
        Self::of_records_below(&commits.common_folder()?, &commits.snapshot.prefix)
    }

    /// The same for git's common folder and the prefix of the project root.
    pub(super) fn of_records_below(common_folder: &Path, prefix: &str) -> Option<Self> {
        Self::of_prefix(common_folder, prefix, "records", &[], MOST_OF_RECORDS)
    }

    /// The cache of the reports of commits, by commit and date.
    pub(super) fn of_reports(commits: CommitSource<'_>) -> Option<Self> {
        Self::in_repository(commits, "reports", &[&commits.snapshot.prefix], MOST_OF_REPORTS)
    }

    /// The cache of the outputs of models, by their inputs.
    pub(super) fn of_models(commits: CommitSource<'_>) -> Option<Self> {
        Self::in_repository(commits, "models", &[], MOST_OF_MODELS)
    }

    fn in_repository(commits: CommitSource<'_>, name: &str, depends_on: &[&str], most: usize) -> Option<Self> {
        Self::of_prefix(&commits.common_folder()?, &commits.snapshot.prefix, name, depends_on, most)
    }

    fn of_prefix(common_folder: &Path, prefix: &str, name: &str, depends_on: &[&str], most: usize) -> Option<Self> {
        let of_root = hex(&Sha256::digest(prefix));
        let name = format!("{name}-{}", &of_root[..16]);
        Some(Self::new(common_folder, Key::of_user()?, &name, depends_on, most))
    }

    /// Whether another one is the same file, and begins the same.
    pub(super) fn is(&self, other: &Self) -> bool {
        self.name == other.name && self.head == other.head && self.folder == other.folder
    }

    /// Its size; none if there is no such file.
    pub(super) fn size(&self) -> u64 {
        self.folder.size(&self.name)
    }

    /// A cache file of this name in git's common folder.
    ///
    /// `depends_on` is what the values depend on, in addition to the sources of this build and the keys of the entries;
    /// `most` is the largest size of all entries, in bytes.
    fn new(common_folder: &Path, key: &Key, name: &str, depends_on: &[&str], most: usize) -> Self {
        Self::of_build(SOURCES, common_folder, key, name, depends_on, most)
    }

    /// A cache of records below this folder.
    #[cfg(test)]
    pub(super) fn in_folder(common_folder: &Path) -> Self {
        Self::new(common_folder, Key::of_user().unwrap(), "records", &[], MOST_OF_RECORDS)
    }

    fn of_build(sources: &str, common_folder: &Path, key: &Key, name: &str, depends_on: &[&str], most: usize) -> Self {
        // With the length of each, so that no two lists give the same text.
        let depends_on: String = depends_on.iter().map(|part| format!("{}:{part} ", part.len())).collect();
        let head = format!("tierod cache {FORMAT}\nsources {sources}\n{depends_on}\n").into_bytes();
        Self { folder: CacheFolder::in_git_folder(common_folder), name: name.to_owned(), head, most, key: key.clone() }
    }

    /// The entries of the file; none if it is missing, damaged, too large, or written by another build.
    pub(crate) fn read(&self) -> Entries {
        let bytes = self.folder.read(&self.name, &self.head, self.largest_file() as u64);
        bytes.and_then(|bytes| Entries::parse(bytes, self)).unwrap_or_default()
    }

    /// The checksum of the list.
    fn sum_of_list(&self, list: &[u8]) -> [u8; 32] {
        self.key.checksum(&[self.name.as_bytes(), b"\n", &self.head, list])
    }

    fn largest_file(&self) -> usize {
        self.head.len() + ListHead::BYTES + OF_ENTRY + self.most
    }

    /// Replaces the file: the new entries, then those of `before` that were read, then the others, as many as fit.
    ///
    /// An entry of `before` gives way to a new one with its key. If the file cannot be written there is no cache, and
    /// the answers are the same.
    pub(crate) fn write(&self, before: &Entries, new: &[(&[u8], Vec<u8>)]) {
        self.write_at_most(self.most, before, new);
    }

    /// The same with a largest size of its own for all entries, in bytes.
    pub(super) fn write_at_most(&self, most: usize, before: &Entries, new: &[(&[u8], Vec<u8>)]) {
        let most = most.min(self.most);
        let keys: HashSet<&[u8]> = new.iter().map(|(key, _)| *key).collect();
        let sums: Vec<[u8; 32]> = new.iter().map(|(_, value)| self.key.checksum(&[value])).collect();
        let new = new.iter().zip(&sums).map(|((key, value), sum)| (*key, value.as_slice(), sum.as_slice()));
        let old = |read: bool| {
            let all = before.all.iter().filter(move |entry| entry.was_read.load(Ordering::Relaxed) == read);
            let all = all.map(|entry| (&*entry.key, &before.bytes[entry.value.clone()], entry.sum.as_slice()));
            all.filter(|(key, ..)| !keys.contains(key))
        };
        let (mut list, mut values, mut size) = (Vec::new(), Vec::new(), 0);
        for (key, value, sum) in new.chain(old(true)).chain(old(false)) {
            let Ok(length) = u32::try_from(value.len()) else { continue };
            let own = key.len() + value.len() + OF_ENTRY;
            if own > most - size {
                continue;
            }
            size += own;
            list.push(Listed { key, length, sum });
            values.push(value);
        }
        let Ok(list) = postcard::to_stdvec(&list) else { return };
        let Ok(length) = u32::try_from(list.len()) else { return };
        let mut bytes = Vec::with_capacity(self.largest_file().min(self.head.len() + ListHead::BYTES + size));
        bytes.extend_from_slice(&self.head);
        bytes.extend_from_slice(&length.to_le_bytes());
        bytes.extend_from_slice(&self.sum_of_list(&list));
        bytes.extend_from_slice(&list);
        values.iter().for_each(|value| bytes.extend_from_slice(value));
        self.folder.replace(&self.name, &bytes);
    }
}

/// An entry in the list of a file.
#[derive(Serialize, Deserialize)]
struct Listed<'b> {
    #[serde(borrow)]
    key: &'b [u8],
    /// The length of its value.
    length: u32,
    /// The checksum of its value.
    #[serde(borrow)]
    sum: &'b [u8],
}

/// What is before the list: its length and its checksum.
struct ListHead;

impl ListHead {
    const BYTES: usize = 4 + 32;
}

/// The entries of a file that was read. Values are compared with their checksums when they are asked for.
#[derive(Default)]
pub(crate) struct Entries {
    bytes: Vec<u8>,
    all: Vec<Entry>,
    by_key: HashMap<Arc<[u8]>, usize>,
    /// `None` if there is no entry.
    key: Option<Key>,
}

struct Entry {
    key: Arc<[u8]>,
    /// Where its value is in the bytes of the file.
    value: Range<usize>,
    /// The checksum of its value.
    sum: [u8; 32],
    was_read: AtomicBool,
}

impl Entries {
    fn parse(bytes: Vec<u8>, file: &CacheFile) -> Option<Self> {
        let head = file.head.len();
        let length = u32::from_le_bytes(bytes.get(head..head + 4)?.try_into().ok()?);
        let begin = head + ListHead::BYTES;
        let end = begin.checked_add(usize::try_from(length).ok()?)?;
        let list = bytes.get(begin..end)?;
        if file.sum_of_list(list)[..] != bytes[head + 4..begin] {
            return None;
        }
        let (list, rest): (Vec<Listed<'_>>, &[u8]) = postcard::take_from_bytes(list).ok()?;
        if !rest.is_empty() {
            return None;
        }
        let (mut all, mut by_key, mut at) = (Vec::with_capacity(list.len()), HashMap::default(), end);
        for Listed { key, length, sum } in list {
            let value = at..at.checked_add(usize::try_from(length).ok()?)?;
            at = value.end;
            // Of a file that was cut, what is left is used.
            if at > bytes.len() {
                break;
            }
            let (key, sum): (Arc<[u8]>, [u8; 32]) = (key.into(), sum.try_into().ok()?);
            by_key.entry(key.clone()).or_insert(all.len());
            all.push(Entry { key, value, sum, was_read: AtomicBool::new(false) });
        }
        Some(Self { all, by_key, bytes, key: Some(file.key.clone()) })
    }

    /// The size of the values that were read.
    pub(super) fn size_read(&self) -> usize {
        let read = self.all.iter().filter(|entry| entry.was_read.load(Ordering::Relaxed));
        read.map(|entry| entry.value.len()).sum()
    }

    /// The value of a key; `None` if there is none, or if it is damaged.
    pub(crate) fn get(&self, key: &[u8]) -> Option<&[u8]> {
        let entry = &self.all[*self.by_key.get(key)?];
        let value = &self.bytes[entry.value.clone()];
        let whole = self.key.as_ref()?.checksum(&[value]) == entry.sum;
        entry.was_read.fetch_or(whole, Ordering::Relaxed);
        whole.then_some(value)
    }
}

#[cfg(test)]
#[path = "cache_file_tests.rs"]
mod tests;
