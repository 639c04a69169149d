//! The records that differ between two versions of a file. Only the chunks of the file that differ are read.

use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _, HashSet};
use schema::Kind;
use schema::read::flat::{self, Chunk, FlatRecord};

use crate::parallel::{cores, in_parallel};

/// A version of a file.
pub(super) struct Version {
    pub(super) bytes: Arc<[u8]>,
    /// `None` if the file cannot be cut into chunks.
    chunks: Option<Vec<Chunk>>,
}

impl Version {
    /// The version with these bytes.
    pub(super) fn new(bytes: Arc<[u8]>) -> Self {
        let chunks = flat::chunks(&bytes);
        Self { bytes, chunks }
    }

    /// The number of bytes that it needs in memory.
    pub(super) fn size(&self) -> usize {
        self.bytes.len() + self.chunks.as_ref().map_or(0, |chunks| size_of_val(&chunks[..]))
    }
}

/// The records that differ between two versions of a file.
pub(super) struct Differences {
    /// The records that are new or changed.
    pub(super) set: Vec<FlatRecord>,
    /// The ids that were removed.
    pub(super) removed: Vec<String>,
}

/// Compares two versions of a file; `None` if the new one cannot be read.
pub(super) fn differences(old: Option<&Version>, new: Option<&Version>) -> Option<Differences> {
    let chunks = |version: Option<&Version>| match version {
        None => Some(Vec::new()),
        Some(version) => version.chunks.clone(),
    };
    if let (Some(before), Some(after)) = (chunks(old), chunks(new))
        && let Some(found) = by_chunks(old, &before, new, &after)
    {
        return Some(found);
    }
    let records = |version: Option<&Version>| match version {
        None => Some(Vec::new()),
        Some(version) => flat::records(&version.bytes),
    };
    let after = records(new)?;
    Some(compare(records(old).unwrap_or_default(), after))
}

/// From this number of bytes on, reading files takes much longer than starting a thread.
const BYTES_FOR_THREADS: usize = 64 << 10;

/// Reads files that were added, with all their records, on several threads if there is much to read.
pub(super) fn read_added(files: &[Option<Arc<[u8]>>]) -> Vec<Option<(Version, Option<Differences>)>> {
    let bytes: usize = files.iter().flatten().map(|bytes| bytes.len()).sum();
    let threads = if bytes < BYTES_FOR_THREADS { 1 } else { cores() };
    in_parallel(files, threads, |bytes| {
        let version = Version::new(Arc::clone(bytes.as_ref()?));
        let found = differences(None, Some(&version));
        Some((version, found))
    })
}

/// Compares the chunks; `None` if one of those that differ cannot be read alone.
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
    // The chunks between can be in another order.
    let mut unmatched: HashMap<(&[u8], &[u8]), Vec<&Chunk>> = HashMap::new();
    for chunk in b {
        unmatched.entry(chunk.bytes(old)).or_default().push(chunk);
    }
    let mut added = Vec::new();
    for chunk in a {
        if unmatched.get_mut(&chunk.bytes(new)).and_then(Vec::pop).is_none() {
            added.extend(flat::chunk(new, chunk)?);
        }
    }
    let mut removed = Vec::new();
    for chunk in b {
        if unmatched.get_mut(&chunk.bytes(old)).and_then(Vec::pop).is_none() {
            continue;
        }
        match chunk.id(old) {
            // Only the id is compared, because the record differs in any case.
            Some(id) => removed.push(FlatRecord { kind: Kind::Goal, id: id.to_owned(), fields: Vec::new() }),
            None => removed.extend(flat::chunk(old, chunk)?),
        }
    }
    let mut found = compare(removed, added);
    // An id that appears twice in the file may still be in it.
    if !found.removed.is_empty() {
        let mut removed: HashSet<String> = std::mem::take(&mut found.removed).into_iter().collect();
        let kept: Vec<FlatRecord> = after.iter().filter_map(|chunk| mentions(new, chunk, &removed)).flatten().collect();
        found.set.extend(kept.into_iter().filter(|record| removed.remove(&record.id)));
        found.removed = removed.into_iter().collect();
        found.removed.sort_unstable();
    }
    Some(found)
}

/// The records of a chunk, if it may contain one of these ids.
fn mentions(file: &[u8], chunk: &Chunk, ids: &HashSet<String>) -> Option<Vec<FlatRecord>> {
    let (head, body) = chunk.bytes(file);
    let text = body.trim_ascii_start();
    // An id has no colon in it.
    let id = || std::str::from_utf8(text.get(..text.iter().position(|byte| *byte == b':')?)?).ok();
    (head.is_empty() || id().is_some_and(|id| ids.contains(id))).then(|| flat::chunk(file, chunk)).flatten()
}

/// The records that are new or changed, and the ids that were removed. Of several records with one id the first is
/// used.
fn compare(before: Vec<FlatRecord>, after: Vec<FlatRecord>) -> Differences {
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
    let mut removed: Vec<String> = old.into_keys().filter(|id| !seen.contains(id)).collect();
    removed.sort_unstable();
    Differences { set, removed }
}
