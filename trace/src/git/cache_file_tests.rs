//! Cache files that are damaged, cut, foreign, or written by several processes.

use std::fs;
use std::path::PathBuf;

use tempfile::TempDir;

use super::super::cache_folder::FOLDER;
use super::*;

const ROOM: usize = 10_000;

fn folder() -> TempDir {
    tempfile::tempdir().unwrap()
}

fn key() -> &'static Key {
    Key::of_user().unwrap()
}

fn cache(folder: &TempDir) -> CacheFile {
    CacheFile::new(folder.path(), key(), "test", &["car/", "*.bak"], ROOM)
}

impl CacheFile {
    fn path(&self) -> PathBuf {
        self.folder.path(&self.name).unwrap()
    }
}

/// Three entries, one without a value.
fn write_three(cache: &CacheFile) {
    cache.write(&Entries::default(), &[(b"one", vec![1; 20]), (b"two", vec![2; 30]), (b"three", Vec::new())]);
}

/// Asserts that every entry is as it was written or missing, and gives the number of those that are there.
#[track_caller]
fn count_whole(entries: &Entries, what: &str) -> usize {
    let written: [(&[u8], Vec<u8>); 3] = [(b"one", vec![1; 20]), (b"two", vec![2; 30]), (b"three", Vec::new())];
    let found = written.iter().filter_map(|(key, value)| Some((entries.get(key)?, value)));
    let found: Vec<_> = found.collect();
    assert!(found.iter().all(|(found, value)| found == value), "{what}");
    assert_eq!(entries.get(b"four"), None, "{what}");
    assert_eq!(entries.get(b""), None, "{what}");
    found.len()
}

#[test]
fn entries_are_read_as_they_were_written() {
    let folder = folder();
    let cache = cache(&folder);
    assert_eq!(count_whole(&cache.read(), "no file"), 0);
    write_three(&cache);
    assert_eq!(count_whole(&cache.read(), "written"), 3);
    let before = cache.read();
    cache.write(&before, &[(b"two", vec![9; 3]), (b"four", vec![4])]);
    let after = cache.read();
    assert_eq!(after.get(b"one"), Some(&[1; 20][..]));
    assert_eq!(after.get(b"two"), Some(&[9; 3][..]), "replaced");
    assert_eq!(after.get(b"four"), Some(&[4][..]));
    assert_eq!(after.all.len(), 4);
    let names: Vec<_> = fs::read_dir(folder.path().join(FOLDER)).unwrap().map(|entry| entry.unwrap().path()).collect();
    assert_eq!(names, std::slice::from_ref(&cache.path()), "no unfinished file is left");
}

/// What was written with the key of somebody else, under another name, or without a key.
#[test]
fn what_others_wrote_is_not_believed() {
    let folder = folder();
    let own = cache(&folder);
    write_three(&own);
    let whole = fs::read(own.path()).unwrap();
    let other = CacheFile { key: Key::of_test(8), ..cache(&folder) };
    assert_eq!(count_whole(&other.read(), "another key"), 0);
    write_three(&other);
    assert_eq!(count_whole(&other.read(), "its own key"), 3);
    assert_eq!(count_whole(&own.read(), "written by another"), 0);
    let renamed = CacheFile { name: "other".to_owned(), ..cache(&folder) };
    fs::write(renamed.path(), &whole).unwrap();
    assert_eq!(count_whole(&renamed.read(), "under another name"), 0);
    fs::write(own.path(), &whole).unwrap();
    assert_eq!(count_whole(&own.read(), "its own"), 3);
}

#[test]
fn damage_is_not_believed() {
    let folder = folder();
    let cache = cache(&folder);
    write_three(&cache);
    let whole = fs::read(cache.path()).unwrap();
    let mut counts = [0; 4];
    for at in 0..whole.len() {
        for bits in [0x01, 0x80, 0xff] {
            let mut damaged = whole.clone();
            damaged[at] ^= bits;
            fs::write(cache.path(), &damaged).unwrap();
            let what = format!("byte {at} changed by {bits:#x}");
            counts[count_whole(&cache.read(), &what)] += 1;
        }
        fs::write(cache.path(), &whole[..at]).unwrap();
        assert!(count_whole(&cache.read(), &format!("cut at {at}")) < 3);
    }
    // A damaged value loses its entry and no other; any other damage loses the file.
    assert_eq!(counts, [3 * (whole.len() - 50), 0, 3 * 50, 0]);
    fs::write(cache.path(), [&whole[..], b"more"].concat()).unwrap();
    assert_eq!(count_whole(&cache.read(), "with more behind it"), 3);
    // A damaged entry is written again.
    let mut damaged = whole;
    *damaged.last_mut().unwrap() ^= 1;
    fs::write(cache.path(), &damaged).unwrap();
    let before = cache.read();
    assert_eq!(before.get(b"two"), None);
    cache.write(&before, &[(b"two", vec![2; 30])]);
    assert_eq!(count_whole(&cache.read(), "written again"), 3);
}

#[test]
fn files_of_others_are_not_believed() {
    let folder = folder();
    let own = cache(&folder);
    let others = [
        CacheFile::of_build("another build", folder.path(), key(), "test", &["car/", "*.bak"], ROOM),
        CacheFile::new(folder.path(), key(), "test", &["car/"], ROOM),
        CacheFile::new(folder.path(), key(), "test", &["car/", "*.bak", ""], ROOM),
        CacheFile::new(folder.path(), key(), "test", &["car/*.bak"], ROOM),
        CacheFile::new(folder.path(), key(), "test", &["", "car/", "*.bak"], ROOM),
    ];
    for other in others {
        write_three(&other);
        assert_eq!(count_whole(&other.read(), "its own"), 3);
        assert_eq!(count_whole(&own.read(), "of another"), 0);
    }
    let sources = env!("TIEROD_SOURCES_HASH");
    write_three(&own);
    let head = String::from_utf8_lossy(&fs::read(own.path()).unwrap()[..own.head.len()]).into_owned();
    assert!(sources.len() == 64 && head.contains(sources), "the hash is there in full: {head}");
    for foreign in [&b""[..], b"\n", b"not a cache", &[0xff; 1000], head.as_bytes()] {
        fs::write(own.path(), foreign).unwrap();
        assert_eq!(count_whole(&own.read(), "foreign"), 0);
    }
    // A list with a right checksum that is no list, is too long, or has lengths beyond the file.
    let listed = |sum: &[u8], length: u32| {
        postcard::to_stdvec(&[Listed { key: b"one", length, sum }, Listed { key: b"two", length, sum }]).unwrap()
    };
    let sum = key().checksum(&[b""]);
    for list in [vec![0xff; 20], vec![0; 3], listed(&sum, u32::MAX), listed(&sum[..31], 0), listed(&[], 0)] {
        let length = (list.len() as u32).to_le_bytes();
        fs::write(own.path(), [head.as_bytes(), &length, &own.sum_of_list(&list), &list].concat()).unwrap();
        assert_eq!(count_whole(&own.read(), "with another list"), 0);
    }
    fs::write(own.path(), [head.as_bytes(), &[0xff; 80]].concat()).unwrap();
    assert_eq!(count_whole(&own.read(), "with a list beyond the end"), 0);
}

#[test]
fn the_entries_that_were_not_used_for_the_longest_time_are_dropped() {
    let folder = folder();
    let cache = cache(&folder);
    let value = vec![7; 1_000];
    let keys: Vec<String> = (0..20).map(|number| format!("key-{number:02}")).collect();
    for key in &keys {
        let before = cache.read();
        before.get(b"key-00");
        cache.write(&before, &[(key.as_bytes(), value.clone())]);
        assert!(fs::metadata(cache.path()).unwrap().len() <= cache.largest_file() as u64);
    }
    let after = cache.read();
    let kept: Vec<&str> = keys.iter().map(String::as_str).filter(|key| after.get(key.as_bytes()).is_some()).collect();
    let expected: Vec<&str> =
        keys.iter().map(String::as_str).filter(|key| *key == "key-00" || *key > "key-11").collect();
    assert_eq!(kept, expected, "the one that is read each time, and the last ones");
    // What has no room at all is not kept, and loses no other.
    cache.write(&after, &[(b"large", vec![0; ROOM])]);
    assert_eq!(cache.read().get(b"large"), None);
    assert_eq!(cache.read().all.len(), after.all.len());
}

#[test]
fn a_file_that_is_too_large_is_not_read() {
    let folder = folder();
    let cache = cache(&folder);
    write_three(&cache);
    let file = fs::OpenOptions::new().write(true).open(cache.path()).unwrap();
    file.set_len(cache.largest_file() as u64).unwrap();
    assert_eq!(count_whole(&cache.read(), "of the largest size"), 3);
    file.set_len(cache.largest_file() as u64 + 1).unwrap();
    assert_eq!(count_whole(&cache.read(), "larger"), 0);
}

#[test]
fn something_else_in_its_place() {
    let folder = folder();
    let cache = cache(&folder);
    // No common folder: nothing can be written.
    let nowhere = CacheFile::new(&folder.path().join("missing"), key(), "test", &[], ROOM);
    write_three(&nowhere);
    assert_eq!(count_whole(&nowhere.read(), "nowhere"), 0);
    assert!(!folder.path().join("missing").exists());
    // A folder in place of the file.
    fs::create_dir_all(cache.path()).unwrap();
    write_three(&cache);
    assert_eq!(count_whole(&cache.read(), "a folder"), 0);
    assert_eq!(fs::read_dir(folder.path().join(FOLDER)).unwrap().count(), 1, "no unfinished file is left");
    // A file in place of its folder.
    fs::remove_dir_all(folder.path().join(FOLDER)).unwrap();
    fs::write(folder.path().join(FOLDER), "a file").unwrap();
    write_three(&cache);
    assert_eq!(count_whole(&cache.read(), "a file in place of the folder"), 0);
    assert_eq!(fs::read_to_string(folder.path().join(FOLDER)).unwrap(), "a file");
}

#[cfg(unix)]
#[test]
fn a_link_in_its_place() {
    use std::os::unix::fs::symlink;
    let (folder, elsewhere) = (folder(), folder());
    let (cache, other) = (cache(&folder), cache(&elsewhere));
    write_three(&other);
    let written = fs::read(other.path()).unwrap();
    fs::create_dir(folder.path().join(FOLDER)).unwrap();
    symlink(other.path(), cache.path()).unwrap();
    assert_eq!(count_whole(&cache.read(), "a link to a cache file"), 0);
    cache.write(&Entries::default(), &[(b"one", vec![1; 20])]);
    assert_eq!(fs::read(other.path()).unwrap(), written, "nothing is written through a link");
    assert_eq!(count_whole(&cache.read(), "a file in place of the link"), 1);
    fs::remove_dir_all(folder.path().join(FOLDER)).unwrap();
    symlink(elsewhere.path().join(FOLDER), folder.path().join(FOLDER)).unwrap();
    assert_eq!(count_whole(&cache.read(), "a link in place of the folder"), 0);
    cache.write(&Entries::default(), &[(b"one", vec![5; 20])]);
    assert_eq!(fs::read(other.path()).unwrap(), written, "nothing is written through a link");
}

/// Each read finds a complete file, of one of the writers.
#[test]
fn several_write_at_once() {
    let folder = folder();
    let writers: Vec<Vec<u8>> = (0..4_u8).map(|number| vec![number; 5_000]).collect();
    std::thread::scope(|scope| {
        for value in &writers {
            scope.spawn(|| {
                let cache = cache(&folder);
                for _ in 0..50 {
                    let before = cache.read();
                    if let Some(found) = before.get(b"shared") {
                        assert!(writers.iter().any(|value| value == found));
                    }
                    cache.write(&before, &[(b"shared", value.clone()), (&value[..1], value[..100].to_vec())]);
                }
            });
        }
    });
    let last = cache(&folder).read();
    assert!(writers.iter().any(|value| Some(&value[..]) == last.get(b"shared")));
    for value in &writers {
        assert!(last.get(&value[..1]).is_none_or(|found| *found == value[..100]));
    }
}

/// A process that was killed leaves an unfinished file, which goes after an hour.
#[test]
fn unfinished_files_are_removed() {
    let folder = folder();
    let cache = cache(&folder);
    write_three(&cache);
    let (old, fresh) = (cache.path().with_extension("1-2.new"), cache.path().with_extension("3-4.new"));
    for file in [&old, &fresh] {
        fs::write(file, "unfinished").unwrap();
    }
    let hours_ago = std::time::SystemTime::now() - std::time::Duration::from_secs(7200);
    fs::OpenOptions::new().write(true).open(&old).unwrap().set_modified(hours_ago).unwrap();
    write_three(&cache);
    assert!(!old.exists() && fresh.exists());
}
