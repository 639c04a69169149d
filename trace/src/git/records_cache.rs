//! The decoded records of earlier runs: a file with the same bytes is not decoded again.
//!
//! An entry is found by a hash of the bytes of the file, whatever an index or a tree calls them: so the working tree,
//! the index and all commits share it, and nothing that a repository claims about an object can give it other records.
//! A file with problems is not kept.

use std::sync::{Arc, Mutex, PoisonError};

use schema::encoded;
use sha2::{Digest as _, Sha256};

use super::cache_file::{CacheFile, Entries};
use crate::load::{Loaded, ParseCache};
use crate::snapshot::{File, Snapshot};

/// What may be kept in addition to twice the records of the state that is read, in bytes: the file is read as a whole.
const SPARE: usize = 1 << 20;

/// Of another state that shares nearly all files with one that is decoded, the rest is decoded without the cache: to read
/// the cache of all takes as long as to decode this part of all.
const LITTLE: usize = 64;

/// The key and the bytes of a file that the cache does not contain.
type Unknown = ([u8; 32], Arc<[u8]>);

/// Which of the entries that are not needed now are kept.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Others {
    /// As many as the needed ones take, and some more.
    Few,
    /// As many as the file may have: the needed ones are those of another state too.
    All,
}

/// A cache file that was read while the snapshot was taken.
pub(super) type Early = (CacheFile, Entries);

/// Decodes the files of a snapshot that neither `pool` nor the cache file contains, and adds them to both.
pub(super) fn decode(
    cache: &CacheFile,
    early: Option<Early>,
    snapshot: Snapshot,
    pool: &mut ParseCache,
    others: Others,
) -> Loaded {
    let (all, new) = pool.sizes(&snapshot.files);
    if new == 0 || (others == Others::All && new * LITTLE <= all) {
        return Loaded::from_pool(snapshot, pool);
    }
    let early = early.filter(|(early, _)| early.is(cache));
    let kept = early.map_or_else(|| cache.read(), |(_, kept)| kept);
    let unknown: Mutex<Vec<Unknown>> = Mutex::default();
    let known = |file: &File| {
        let bytes = file.content.as_ref().ok()?;
        let key: [u8; 32] = Sha256::digest(bytes).into();
        let records = kept.get(&key).and_then(encoded::decode);
        if records.is_none() {
            unknown.lock().unwrap_or_else(PoisonError::into_inner).push((key, Arc::clone(bytes)));
        }
        records
    };
    let loaded = Loaded::with_known(snapshot, pool, &known);
    let mut unknown = unknown.into_inner().unwrap_or_else(PoisonError::into_inner);
    if unknown.is_empty() {
        return loaded;
    }
    // The threads found them in any order.
    unknown.sort_unstable_by_key(|(key, _)| *key);
    let values = pool.encoded_files(unknown.iter().map(|(_, bytes)| bytes));
    let new = unknown.iter().zip(values).filter_map(|((key, _), value)| Some((&key[..], value?)));
    let new: Vec<(&[u8], Vec<u8>)> = new.collect();
    if !new.is_empty() {
        let needed = kept.size_read() + new.iter().map(|(_, value)| value.len()).sum::<usize>();
        let most = if others == Others::Few { 2 * needed + SPARE } else { usize::MAX };
        cache.write_at_most(most, &kept, &new);
    }
    loaded
}

#[cfg(test)]
mod tests {
    use schema::read;

    use super::*;

    const TEXT: &[u8] = b"parts: {hub: {in: suspension, count: 4}}";

    fn snapshot(texts: &[&[u8]]) -> Snapshot {
        let file =
            |(number, text): (usize, &&[u8])| File { path: format!("{number}.yaml"), content: Ok((*text).into()) };
        Snapshot::in_memory(texts.iter().enumerate().map(file).collect())
    }

    fn answer(loaded: &Loaded) -> String {
        format!("{:?} {:?} {:?}", loaded.entries, loaded.problems, loaded.doubles)
    }

    fn decoded(cache: &CacheFile, texts: &[&[u8]]) -> String {
        answer(&decode(cache, None, snapshot(texts), &mut ParseCache::default(), Others::Few))
    }

    fn key(text: &[u8]) -> [u8; 32] {
        Sha256::digest(text).into()
    }

    #[test]
    fn only_sound_files_are_kept() {
        let folder = tempfile::tempdir().unwrap();
        let cache = CacheFile::in_folder(folder.path());
        let texts: [&[u8]; 4] = [TEXT, b"parts: {hub: {inn: car}}", b"parts: {a", TEXT];
        let expected = answer(&Loaded::from_snapshot(snapshot(&texts)));
        for _ in 0..2 {
            assert_eq!(decoded(&cache, &texts), expected);
            let kept = cache.read();
            assert_eq!(texts.map(|text| kept.get(&key(text)).is_some()), [true, false, false, true]);
        }
    }

    /// Other records in place of the kept ones are used only if the checksum is theirs: it is what protects an answer.
    #[test]
    fn changed_records_with_a_wrong_checksum_are_ignored() {
        let folder = tempfile::tempdir().unwrap();
        let cache = CacheFile::in_folder(folder.path());
        let expected = answer(&Loaded::from_snapshot(snapshot(&[TEXT])));
        let other = read::records(b"parts: {nut: {in: suspension, count: 4}}");
        let other = encoded::encode(&other).unwrap();
        cache.write(&Entries::default(), &[(&key(TEXT), other.clone())]);
        assert!(decoded(&cache, &[TEXT]).contains("nut"), "with its checksum");
        // Without one: the same bytes in place of those that were written.
        std::fs::remove_dir_all(folder.path()).unwrap();
        std::fs::create_dir(folder.path()).unwrap();
        assert_eq!(decoded(&cache, &[TEXT]), expected);
        let path = std::fs::read_dir(folder.path().join("tierod")).unwrap().next().unwrap().unwrap().path();
        let mut bytes = std::fs::read(&path).unwrap();
        let value = bytes.len() - other.len();
        assert_ne!(bytes[value..], other[..]);
        bytes[value..].copy_from_slice(&other);
        std::fs::write(&path, &bytes).unwrap();
        assert_eq!(decoded(&cache, &[TEXT]), expected);
        assert_ne!(std::fs::read(&path).unwrap(), bytes, "written again");
        // A value with a right checksum that is not one of records.
        cache.write(&Entries::default(), &[(&key(TEXT), vec![0xff; 40])]);
        assert_eq!(decoded(&cache, &[TEXT]), expected);
    }

    #[test]
    fn nothing_is_written_if_nothing_is_new() {
        let folder = tempfile::tempdir().unwrap();
        let cache = CacheFile::in_folder(folder.path());
        let other: &[u8] = b"parts: {nut: {in: suspension}}";
        decoded(&cache, &[TEXT, other]);
        let file = folder.path().join("tierod");
        let path = std::fs::read_dir(&file).unwrap().next().unwrap().unwrap().path();
        std::fs::File::options().write(true).open(&path).unwrap().set_modified(std::time::UNIX_EPOCH).unwrap();
        decoded(&cache, &[other]);
        decoded(&cache, &[other, b"parts: {a"]);
        assert_eq!(path.metadata().unwrap().modified().unwrap(), std::time::UNIX_EPOCH);
    }

    /// A team that edits one file many times does not read all its earlier versions each time.
    #[test]
    fn earlier_versions_do_not_add_up() {
        let folder = tempfile::tempdir().unwrap();
        let cache = CacheFile::in_folder(folder.path());
        let version = |number: usize, size: usize| {
            let part =
                |part: usize| format!("  p{part}: {{in: suspension, count: 4, title: Version {number} of it}}\n");
            format!("parts:\n{}", (0..size).map(part).collect::<String>())
        };
        for number in 0..30 {
            decoded(&cache, &[version(number, 1_000).as_bytes(), TEXT]);
        }
        let kept = cache.read();
        let count = (0..30).filter(|number| kept.get(&key(version(*number, 1_000).as_bytes())).is_some()).count();
        assert!((2..25).contains(&count), "{count}");
        // The base of a comparison shares most files with what is compared: those count as needed.
        let mut pool = ParseCache::default();
        decode(&cache, None, snapshot(&[version(29, 1_000).as_bytes(), TEXT]), &mut pool, Others::Few);
        decode(&cache, None, snapshot(&[version(30, 10).as_bytes(), TEXT]), &mut pool, Others::All);
        let kept = cache.read();
        assert!(kept.get(&key(TEXT)).is_some() && kept.get(&key(version(29, 1_000).as_bytes())).is_some());
    }

    /// The base of a comparison mostly differs in a file or two: the cache of all files is not read for them.
    #[test]
    fn a_little_more_is_decoded_without_the_cache() {
        let folder = tempfile::tempdir().unwrap();
        let cache = CacheFile::in_folder(folder.path());
        let part = |number: usize| format!("  p{number}: {{in: suspension, count: 4}}\n");
        let large = format!("parts:\n{}", (0..1_000).map(part).collect::<String>());
        for (count, is_kept) in [(1, false), (500, true)] {
            let other = format!("parts:\n{}", (2_000..2_000 + count).map(part).collect::<String>());
            let mut pool = ParseCache::default();
            decode(&cache, None, snapshot(&[large.as_bytes()]), &mut pool, Others::Few);
            let both: [&[u8]; 2] = [large.as_bytes(), other.as_bytes()];
            let loaded = decode(&cache, None, snapshot(&both), &mut pool, Others::All);
            assert_eq!(answer(&loaded), answer(&Loaded::from_snapshot(snapshot(&both))));
            assert_eq!(cache.read().get(&key(other.as_bytes())).is_some(), is_kept, "{count}");
            // What is asked for itself is always kept.
            decode(&cache, None, snapshot(&both), &mut ParseCache::default(), Others::Few);
            assert!(cache.read().get(&key(other.as_bytes())).is_some(), "{count}");
        }
    }
}
