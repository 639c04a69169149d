//! Logs kept under git's own folder, so that a history is read once and then only what is new.
//!
//! The name of a commit stands for all that came before it, so a log that holds a commit of the chain is right up to
//! there, whatever rebases and branch switches did since. A file is written under another name and renamed; nothing
//! is locked, and whatever is not exactly as it was written counts as absent. All of it can be deleted at any time.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use sha2::{Digest as _, Sha256};

use super::branches::{BranchLog, DEEPEST};
use super::log::{FileEvent, Log, Mark, RecordEvent};
use crate::git::walk::{CommitSource, Step};

/// Counts up with every change of what is kept or how it is read from git.
const FORMAT: u32 = 2;
/// The folder below git's.
const FOLDER: &str = "tierod";
/// A larger file is not read: it would be no cache of ours, or slower than git.
const LARGEST: u64 = 1 << 30;

/// A file of the cache.
pub(super) struct Cache {
    file: PathBuf,
    /// What the content depends on besides the commits.
    key: String,
}

impl Cache {
    /// The cache of a data root's log.
    pub(super) fn of(source: CommitSource<'_>) -> Option<Self> {
        let snapshot = source.snapshot;
        let key = format!("{FORMAT}\0{}\0{}", snapshot.prefix, snapshot.settings.ignore.join("\0"));
        Self::named(source, "history", key)
    }

    /// The cache of a data root's outlooks; they change with the tool.
    pub(super) fn of_outlooks(source: CommitSource<'_>) -> Option<Self> {
        let snapshot = source.snapshot;
        let key = format!("{FORMAT}\0{}\0{}", env!("CARGO_PKG_VERSION"), snapshot.prefix);
        Self::named(source, "outlook", key)
    }

    fn named(commits: CommitSource<'_>, what: &str, key: String) -> Option<Self> {
        let folder = commits.common_folder()?.join(FOLDER);
        let hash = hex(&Sha256::digest(format!("{FORMAT}\0{}", commits.snapshot.prefix)));
        Some(Self { file: folder.join(format!("{what}-{}", &hash[..16])), key })
    }

    /// What was kept, if it is whole and of this format.
    pub(super) fn read(&self) -> Option<Log> {
        log(&mut Source { bytes: &self.content()? })
    }

    /// Keeps a log; where that cannot be done nothing is kept.
    pub(super) fn write(&self, log: &Log) {
        let mut out = Vec::new();
        put_log(&mut out, log);
        self.put(&out);
    }

    /// The content of the file, if it is whole and of this key.
    pub(super) fn content(&self) -> Option<Vec<u8>> {
        let (mut bytes, start) = self.bytes()?;
        let mut source = Source { bytes: &bytes[start..] };
        let length = u64::from_le_bytes(source.take(8)?.try_into().ok()?);
        let sum = source.take(32)?;
        if source.bytes.len() as u64 != length || Sha256::digest(source.bytes).as_slice() != sum {
            return None;
        }
        let start = bytes.len() - source.bytes.len();
        Some(bytes.split_off(start))
    }

    /// What stands behind the key, for content with checksums of its own.
    pub(super) fn unchecked(&self) -> Option<Vec<u8>> {
        let (mut bytes, start) = self.bytes()?;
        Some(bytes.split_off(start))
    }

    /// Puts a content with checksums of its own in place of the file.
    pub(super) fn put_unchecked(&self, content: &[u8]) {
        let mut bytes = format!("{}\n", self.key).into_bytes();
        bytes.extend_from_slice(content);
        let _ = self.replace(&bytes);
    }

    /// The bytes of the file, and where they go on behind the key.
    fn bytes(&self) -> Option<(Vec<u8>, usize)> {
        let folder = self.file.parent()?;
        if !is_plain_folder(folder) {
            return None;
        }
        let size = fs::symlink_metadata(&self.file).ok().filter(fs::Metadata::is_file)?.len();
        if size > LARGEST {
            return None;
        }
        let bytes = fs::read(&self.file).ok()?;
        let head = self.key.len() + 1;
        let own = bytes.get(..head)?;
        (own[..self.key.len()] == *self.key.as_bytes() && own.ends_with(b"\n")).then_some((bytes, head))
    }

    /// Puts a content in place of the file.
    pub(super) fn put(&self, content: &[u8]) {
        let mut bytes = Vec::with_capacity(content.len() + self.key.len() + 64);
        bytes.extend_from_slice(self.key.as_bytes());
        bytes.push(b'\n');
        bytes.extend_from_slice(&(content.len() as u64).to_le_bytes());
        bytes.extend_from_slice(&Sha256::digest(content));
        bytes.extend_from_slice(content);
        // Without a cache the answer is the same, only later.
        let _ = self.replace(&bytes);
    }

    fn replace(&self, bytes: &[u8]) -> std::io::Result<()> {
        let Some(folder) = self.file.parent() else { return Ok(()) };
        if !folder.exists() {
            fs::create_dir(folder)?;
        }
        if !is_plain_folder(folder) {
            return Ok(());
        }
        sweep(folder);
        let own = self.file.with_extension(format!("{}-{}.new", std::process::id(), nonce()));
        let written =
            fs::OpenOptions::new().write(true).create_new(true).open(&own).and_then(|mut file| file.write_all(bytes));
        let done = written.and_then(|()| fs::rename(&own, &self.file));
        if done.is_err() {
            let _ = fs::remove_file(&own);
        }
        done
    }
}

/// A folder and no link, which could lead out of git's.
fn is_plain_folder(folder: &Path) -> bool {
    fs::symlink_metadata(folder).is_ok_and(|found| found.is_dir())
}

/// Removes what writers that were killed have left behind.
fn sweep(folder: &Path) {
    const OLD: std::time::Duration = std::time::Duration::from_secs(3600);
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let left = entry.path().extension().is_some_and(|end| end == "new");
        let age = entry.metadata().and_then(|data| data.modified()).ok().and_then(|time| time.elapsed().ok());
        if left && age.is_some_and(|age| age > OLD) {
            let _ = fs::remove_file(entry.path());
        }
    }
}

fn nonce() -> u32 {
    std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).map_or(0, |time| time.subsec_nanos())
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Bytes that are taken from the front; nothing is taken beyond the end.
pub(super) struct Source<'b> {
    pub(super) bytes: &'b [u8],
}

impl<'b> Source<'b> {
    pub(super) fn take(&mut self, length: usize) -> Option<&'b [u8]> {
        let (head, rest) = self.bytes.split_at_checked(length)?;
        self.bytes = rest;
        Some(head)
    }

    pub(super) fn number(&mut self) -> Option<u32> {
        Some(u32::from_le_bytes(self.take(4)?.try_into().ok()?))
    }

    pub(super) fn long(&mut self) -> Option<i64> {
        Some(i64::from_le_bytes(self.take(8)?.try_into().ok()?))
    }

    pub(super) fn text(&mut self) -> Option<&'b str> {
        let length = self.number()?;
        std::str::from_utf8(self.take(length as usize)?).ok()
    }

    /// A list of things that take no less than `least` bytes each.
    pub(super) fn list<T>(&mut self, least: usize, mut one: impl FnMut(&mut Self) -> Option<T>) -> Option<Vec<T>> {
        let count = self.number()? as usize;
        if count.saturating_mul(least) > self.bytes.len() {
            return None;
        }
        (0..count).map(|_| one(self)).collect()
    }
}

pub(super) fn put_number(out: &mut Vec<u8>, number: u32) {
    out.extend_from_slice(&number.to_le_bytes());
}

pub(super) fn put_text(out: &mut Vec<u8>, text: &str) {
    put_number(out, text.len() as u32);
    out.extend_from_slice(text.as_bytes());
}

const NONE: u32 = u32::MAX;

fn put_log(out: &mut Vec<u8>, log: &Log) {
    put_number(out, log.strings.len() as u32);
    log.strings.iter().for_each(|text| put_text(out, text));
    put_number(out, log.steps.len() as u32);
    for Mark { step } in &log.steps {
        put_text(out, &step.commit);
        out.extend_from_slice(&step.author_time.to_le_bytes());
        out.extend_from_slice(&step.committer_time.to_le_bytes());
        out.extend_from_slice(&step.zone.to_le_bytes());
        put_text(out, &step.tree);
        put_text(out, &step.prefix);
    }
    let mut list = |all: &mut dyn ExactSizeIterator<Item = Vec<u32>>| {
        put_number(out, all.len() as u32);
        all.for_each(|numbers| numbers.into_iter().for_each(|number| put_number(out, number)));
    };
    list(&mut log.files.iter().map(|event| vec![event.step, event.path, event.blob.unwrap_or(NONE)]));
    list(&mut log.events.iter().map(|event| {
        let (kind, begin, end) = event.set.map_or((NONE, 0, 0), |(kind, begin, end)| (u32::from(kind), begin, end));
        vec![event.step, event.path, event.id, kind, begin, end]
    }));
    for pairs in [&log.fields, &log.unread, &log.nested] {
        list(&mut pairs.iter().map(|(a, b)| vec![*a, *b]));
    }
    put_text(out, &log.tip.0);
    put_text(out, &log.tip.1);
    put_number(out, log.branches.len() as u32);
    for branch in &log.branches {
        put_number(out, branch.merge);
        put_log(out, &branch.log);
    }
}

fn log(source: &mut Source<'_>) -> Option<Log> {
    let whole = log_in(source, 0)?;
    source.bytes.is_empty().then_some(whole)
}

fn log_in(source: &mut Source<'_>, depth: usize) -> Option<Log> {
    let strings: Vec<Arc<str>> = source.list(4, |source| source.text().map(Arc::from))?;
    let steps = source.list(32, |source| {
        let commit = source.text()?.to_owned();
        let (author_time, committer_time) = (source.long()?, source.long()?);
        let zone = source.number()? as i32;
        let (tree, prefix) = (source.text()?.to_owned(), source.text()?.to_owned());
        let (changes, others) = (Vec::new(), Vec::new());
        Some(Mark { step: Step { commit, author_time, committer_time, zone, tree, prefix, changes, others } })
    })?;
    let text = |number: u32| ((number as usize) < strings.len()).then_some(number);
    let of = |step: u32| ((step as usize) < steps.len()).then_some(step);
    let files = source.list(12, |source| {
        let (step, path, blob) = (of(source.number()?)?, text(source.number()?)?, source.number()?);
        Some(FileEvent { step, path, blob: if blob == NONE { None } else { Some(text(blob)?) } })
    })?;
    let events = source.list(24, |source| {
        let (step, path, id) = (of(source.number()?)?, text(source.number()?)?, text(source.number()?)?);
        let (kind, begin, end) = (source.number()?, source.number()?, source.number()?);
        let set = if kind == NONE { None } else { Some((u8::try_from(kind).ok()?, begin, end)) };
        Some(RecordEvent { step, path, id, set })
    })?;
    let mut pairs = |first: &dyn Fn(u32) -> Option<u32>| {
        source.list(8, |source| Some((first(source.number()?)?, text(source.number()?)?)))
    };
    let (fields, unread, nested) = (pairs(&text)?, pairs(&of)?, pairs(&of)?);
    let tip = (source.text()?.to_owned(), source.text()?.to_owned());
    let branches = source.list(44, |source| {
        let merge = of(source.number()?)?;
        let log = if depth < DEEPEST { log_in(source, depth + 1)? } else { return None };
        Some(BranchLog { merge, log })
    })?;
    let inside =
        |event: &RecordEvent| event.set.is_none_or(|(_, begin, end)| begin <= end && end as usize <= fields.len());
    events.iter().all(inside).then_some(Log {
        strings,
        steps,
        files,
        events,
        fields,
        unread,
        nested,
        tip,
        shallow: false,
        branches,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_log_is_read_as_it_was_written() {
        let mut log = super::super::log::scripted(&[
            ("2027-01-01", "parts: {a: {count: 1}}"),
            ("2027-01-02", "parts: {b: {count: 1}}"),
        ]);
        log.tip = ("abc".to_owned(), "car/".to_owned());
        let branch = super::super::log::scripted(&[("2027-01-03", "targets: {t: {at-most: 1 s}}")]);
        log.branches = vec![BranchLog { merge: 1, log: branch.clone() }, BranchLog { merge: 1, log: branch }];
        let mut bytes = Vec::new();
        put_log(&mut bytes, &log);
        assert_eq!(super::log(&mut Source { bytes: &bytes }), Some(log));
        for length in 0..bytes.len() {
            assert_eq!(super::log(&mut Source { bytes: &bytes[..length] }), None, "{length}");
        }
        // No bytes lead it astray, even if a checksum held.
        for at in 0..bytes.len() {
            let mut damaged = bytes.clone();
            damaged[at] ^= 0x81;
            if let Some(log) = super::log(&mut Source { bytes: &damaged }) {
                super::super::lives::lives(&log);
            }
        }
    }
}
