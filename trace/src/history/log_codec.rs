//! The log of a history as bytes, for its cache file.
//!
//! Kinds are stored by word. Every index is compared with the length of the table that it points into, so that no
//! bytes decode to a log with an index out of range.

use std::borrow::Cow;
use std::sync::Arc;

use schema::Kind;
use serde::{Deserialize, Serialize};

use super::branches::{BranchLog, DEEPEST};
use super::log::{FileEvent, Log, RecordEvent, TableEvent};
use crate::git::cache_file::{CacheFile, Entries};
use crate::git::walk::{Listed, WalkedCommit};

/// The one entry of the file.
const ENTRY: &[u8] = b"log";

/// The log in a cache file.
pub(super) fn read(cache: &CacheFile) -> Option<Log> {
    decode(cache.read().get(ENTRY)?)
}

/// Replaces the log in a cache file.
pub(super) fn write(cache: &CacheFile, log: &Log) {
    if let Some(bytes) = encode(log) {
        cache.write(&Entries::default(), &[(ENTRY, bytes)]);
    }
}

/// A log without its branches, which follow it as separate logs: decoding is not recursive, so nested bytes do no harm.
#[derive(Serialize, Deserialize)]
struct StoredLog<'b> {
    /// For a branch: the index of the log that it is a branch of, and the commit of the merge there.
    branch_of: Option<(u32, u32)>,
    #[serde(borrow)]
    strings: Vec<&'b str>,
    /// The words of the kinds of the events.
    #[serde(borrow)]
    kinds: Vec<&'b str>,
    #[serde(borrow)]
    commits: Vec<StoredCommit<'b>>,
    /// Commit, path and blob.
    files: Vec<(u32, u32, Option<u32>)>,
    /// Commit, path, and the blobs before and after.
    tables: Vec<StoredTable>,
    events: Vec<StoredEvent>,
    /// Route and text, in four bytes each. There are ten times as many as events, and numbers of variable length took
    /// most of the decoding time.
    #[serde(borrow)]
    fields: Cow<'b, [u8]>,
    unread: Vec<(u32, u32)>,
    /// Paths.
    skipped: Vec<u32>,
    nested: Vec<(u32, u32)>,
    /// Merges, and the number of commits visited for each.
    visited: Vec<(u32, u32)>,
    #[serde(borrow)]
    tip: (&'b str, &'b str),
}

/// Commit, path, and the blobs before and after.
type StoredTable = (u32, u32, Option<u32>, Option<u32>);

/// Commit, path and id; then the index of the kind's word, and the range of the fields.
type StoredEvent = (u32, u32, u32, Option<(u8, u32, u32)>);

#[derive(Serialize, Deserialize)]
struct StoredCommit<'b> {
    id: &'b str,
    author_time: i64,
    committer_time: i64,
    zone: i32,
    tree: &'b str,
    prefix: &'b str,
    /// The number of what differs, and the bytes of the paths.
    listed: (usize, usize),
}

/// The bytes of a log; `None` if its branches are nested too deeply.
fn encode(log: &Log) -> Option<Vec<u8>> {
    let mut all = Vec::new();
    add(log, None, 0, &mut all)?;
    postcard::to_stdvec(&all).ok()
}

fn add<'b>(log: &'b Log, branch_of: Option<(u32, u32)>, depth: usize, all: &mut Vec<StoredLog<'b>>) -> Option<()> {
    if depth > DEEPEST {
        return None;
    }
    let own = u32::try_from(all.len()).ok()?;
    all.push(store(log, branch_of)?);
    log.branches.iter().try_for_each(|branch| add(&branch.log, Some((own, branch.merge)), depth + 1, all))
}

fn store(log: &Log, branch_of: Option<(u32, u32)>) -> Option<StoredLog<'_>> {
    let mut kinds: Vec<&str> = Vec::new();
    let mut index = |kind: Kind| {
        let word = kind.singular();
        let at = kinds.iter().position(|known| *known == word).unwrap_or_else(|| {
            kinds.push(word);
            kinds.len() - 1
        });
        u8::try_from(at).ok()
    };
    let mut events = Vec::with_capacity(log.events.len());
    for event in &log.events {
        let set = match event.set {
            Some((kind, begin, end)) => Some((index(kind)?, begin, end)),
            None => None,
        };
        events.push((event.commit, event.path, event.id, set));
    }
    let commits = log.commits.iter().map(|commit| StoredCommit {
        id: &commit.id,
        author_time: commit.author_time,
        committer_time: commit.committer_time,
        zone: commit.zone,
        tree: &commit.tree,
        prefix: &commit.prefix,
        listed: (commit.listed.entries, commit.listed.bytes),
    });
    Some(StoredLog {
        branch_of,
        strings: log.strings.iter().map(|text| &**text).collect(),
        kinds,
        commits: commits.collect(),
        files: log.files.iter().map(|event| (event.commit, event.path, event.blob)).collect(),
        tables: log.tables.iter().map(|event| (event.commit, event.path, event.old, event.new)).collect(),
        events,
        fields: log.fields.iter().flat_map(|(route, text)| [*route, *text]).flat_map(u32::to_le_bytes).collect(),
        unread: log.unread.clone(),
        skipped: log.skipped.clone(),
        nested: log.nested.clone(),
        visited: log.visited.clone(),
        tip: (&log.tip.0, &log.tip.1),
    })
}

/// The log of these bytes; `None` if they are not exactly what [`encode`] writes.
fn decode(bytes: &[u8]) -> Option<Log> {
    let (stored, rest): (Vec<StoredLog<'_>>, &[u8]) = postcard::take_from_bytes(bytes).ok()?;
    if !rest.is_empty() || stored.is_empty() {
        return None;
    }
    let parents: Vec<Option<(u32, u32)>> = stored.iter().map(|log| log.branch_of).collect();
    let mut logs: Vec<Log> = stored.into_iter().map(restore).collect::<Option<_>>()?;
    let mut depths = Vec::with_capacity(parents.len());
    for (own, branch_of) in parents.iter().enumerate() {
        depths.push(match branch_of {
            None if own == 0 => 0,
            // A branch comes after the log that it belongs to.
            Some((parent, _)) if (*parent as usize) < own && depths[*parent as usize] < DEEPEST => {
                depths[*parent as usize] + 1
            }
            _ => return None,
        });
    }
    // From the last one, so that a branch is complete when it is added to its log.
    for (parent, merge) in parents.into_iter().skip(1).rev().flatten() {
        let mut log = logs.pop()?;
        log.branches.reverse();
        let parent = logs.get_mut(parent as usize).filter(|log| (merge as usize) < log.commits.len())?;
        parent.branches.push(BranchLog { merge, log });
    }
    let mut log = logs.pop()?;
    log.branches.reverse();
    Some(log)
}

/// A log without its branches.
fn restore(stored: StoredLog<'_>) -> Option<Log> {
    let is_string = |string: u32| (string as usize) < stored.strings.len();
    let is_commit = |commit: u32| (commit as usize) < stored.commits.len();
    let kinds: Vec<Kind> = stored.kinds.iter().map(|word| Kind::from_singular(word)).collect::<Option<_>>()?;
    let (pairs, rest) = stored.fields.as_chunks::<8>();
    let number = |bytes: [u8; 4]| u32::from_le_bytes(bytes);
    let pair = |&[a, b, c, d, e, f, g, h]: &[u8; 8]| (number([a, b, c, d]), number([e, f, g, h]));
    let fields: Vec<(u32, u32)> = pairs.iter().map(pair).collect();
    if !rest.is_empty() {
        return None;
    }
    let mut events = Vec::with_capacity(stored.events.len());
    for (commit, path, id, set) in stored.events {
        let set = match set {
            Some((kind, begin, end)) if begin <= end && end as usize <= fields.len() => {
                Some((*kinds.get(usize::from(kind))?, begin, end))
            }
            Some(_) => return None,
            None => None,
        };
        if !(is_commit(commit) && is_string(path) && is_string(id)) {
            return None;
        }
        events.push(RecordEvent { commit, path, id, set });
    }
    let is_file = |&(commit, path, blob): &(u32, u32, Option<u32>)| {
        is_commit(commit) && is_string(path) && blob.is_none_or(is_string)
    };
    let is_table = |&(commit, path, old, new): &StoredTable| is_file(&(commit, path, old)) && new.is_none_or(is_string);
    let of_commit = |&(commit, string): &(u32, u32)| is_commit(commit) && is_string(string);
    let in_range = stored.files.iter().all(is_file)
        && stored.tables.iter().all(is_table)
        && fields.iter().all(|(route, text)| is_string(*route) && is_string(*text))
        && stored.skipped.iter().all(|path| is_string(*path))
        && stored.unread.iter().chain(&stored.nested).all(of_commit)
        && stored.visited.iter().all(|(merge, _)| is_commit(*merge));
    let commit = |commit: StoredCommit<'_>| WalkedCommit {
        id: commit.id.to_owned(),
        author_time: commit.author_time,
        committer_time: commit.committer_time,
        zone: commit.zone,
        tree: commit.tree.to_owned(),
        prefix: commit.prefix.to_owned(),
        changes: Vec::new(),
        others: Vec::new(),
        listed: Listed { entries: commit.listed.0, bytes: commit.listed.1 },
    };
    let table = |(commit, path, old, new): StoredTable| TableEvent { commit, path, old, new };
    in_range.then(|| Log {
        strings: stored.strings.into_iter().map(Arc::from).collect(),
        commits: stored.commits.into_iter().map(commit).collect(),
        files: stored.files.into_iter().map(|(commit, path, blob)| FileEvent { commit, path, blob }).collect(),
        tables: stored.tables.into_iter().map(table).collect(),
        events,
        fields,
        unread: stored.unread,
        skipped: stored.skipped,
        nested: stored.nested,
        visited: stored.visited,
        tip: (stored.tip.0.to_owned(), stored.tip.1.to_owned()),
        shallow: false,
        branches: Vec::new(),
    })
}

#[cfg(test)]
mod tests {
    use super::super::History;
    use super::super::log::scripted;
    use super::*;

    /// A log with branches, one of them nested.
    fn with_branches() -> Log {
        let mut log = scripted(&[("2027-01-01", "parts: {a: {count: 1}}"), ("2027-01-02", "parts: {b: {count: 1}}")]);
        log.tip = ("abc".to_owned(), "car/".to_owned());
        log.skipped = vec![0];
        log.visited = vec![(1, 7)];
        let mut first = scripted(&[("2027-01-03", "targets: {t: {at-most: 1 s}}")]);
        let mut inner = scripted(&[("2027-01-04", "results: {r: {of: t, value: 1 s}}")]);
        inner.files =
            vec![FileEvent { commit: 0, path: 0, blob: Some(1) }, FileEvent { commit: 0, path: 0, blob: None }];
        inner.tables = vec![TableEvent { commit: 0, path: 0, old: Some(1), new: Some(0) }];
        first.branches = vec![BranchLog { merge: 0, log: inner }];
        let second = scripted(&[("2027-01-05", "systems: {s: {in: car}}")]);
        log.branches = vec![BranchLog { merge: 0, log: first }, BranchLog { merge: 1, log: second }];
        log
    }

    #[test]
    fn a_log_is_read_as_it_was_written() {
        let log = with_branches();
        let bytes = encode(&log).unwrap();
        assert_eq!(decode(&bytes), Some(log));
        for length in 0..bytes.len() {
            assert_eq!(decode(&bytes[..length]), None, "{length}");
        }
        assert_eq!(decode(&[&bytes[..], &[0]].concat()), None);
        // No panic and no endless work, even if a checksum held.
        for at in 0..bytes.len() {
            for bits in [0x01, 0x81, 0xff] {
                let mut damaged = bytes.clone();
                damaged[at] ^= bits;
                if let Some(log) = decode(&damaged) {
                    History::from_log(&log, None);
                }
            }
        }
    }

    /// If the order of the kinds in the code changes, stored logs keep their meaning.
    #[test]
    fn kinds_are_stored_by_word() {
        for kind in Kind::ALL.iter().copied() {
            let log = scripted(&[("2027-01-01", &format!("{}: {{a: {{notes: x}}}}", kind.plural()))]);
            assert_eq!(log.events[0].set.map(|(kind, ..)| kind), Some(kind));
            let bytes = encode(&log).unwrap();
            let word = kind.singular().as_bytes();
            let at = bytes.windows(word.len()).position(|part| part == word);
            let at = at.unwrap_or_else(|| panic!("{kind:?} is not among the bytes"));
            // The only kind of the log has the index 0, whatever its place in `Kind::ALL` is.
            let stored: Vec<StoredLog<'_>> = postcard::from_bytes(&bytes).unwrap();
            assert_eq!(stored[0].events[0].3.map(|(kind, ..)| kind), Some(0));
            assert_eq!(decode(&bytes), Some(log));
            let mut unknown = bytes;
            unknown[at] = b'_';
            assert_eq!(decode(&unknown), None, "an unknown word is not guessed");
        }
    }

    /// Every index is tried with a value out of the range of its table.
    #[test]
    fn indices_are_compared_with_their_tables() {
        let log = with_branches();
        let refused = |change: fn(&mut StoredLog<'_>)| {
            let mut all = Vec::new();
            add(&log, None, 0, &mut all).unwrap();
            all.iter_mut().skip(2).take(1).for_each(change);
            decode(&postcard::to_stdvec(&all).unwrap()).is_none()
        };
        assert!(!refused(|_| {}));
        let changes: &[fn(&mut StoredLog<'_>)] = &[
            |log| log.branch_of = None,
            |log| log.branch_of = Some((2, 0)),
            |log| log.branch_of = Some((7, 0)),
            |log| log.branch_of = Some((1, 1)),
            |log| log.kinds.clear(),
            |log| log.files[0].0 = 1,
            |log| log.files[0].1 = 999,
            |log| log.files[0].2 = Some(999),
            |log| log.tables[0].0 = 1,
            |log| log.tables[0].1 = 999,
            |log| log.tables[0].2 = Some(999),
            |log| log.tables[0].3 = Some(999),
            |log| log.events[0].0 = 1,
            |log| log.events[0].1 = 999,
            |log| log.events[0].2 = 999,
            |log| log.events[0].3 = Some((1, 0, 0)),
            |log| log.events[0].3 = Some((0, 1, 0)),
            |log| log.events[0].3 = Some((0, 0, 999)),
            |log| log.fields.to_mut()[1] = 9,
            |log| log.fields.to_mut()[5] = 9,
            |log| log.fields.to_mut().push(0),
            |log| log.fields.to_mut().clear(),
            |log| log.unread.push((1, 0)),
            |log| log.unread.push((0, 999)),
            |log| log.skipped.push(999),
            |log| log.nested.push((1, 0)),
            |log| log.nested.push((0, 999)),
        ];
        for (number, change) in changes.iter().enumerate() {
            assert!(refused(*change), "change {number}");
        }
    }
}
