//! The folder of the cache files: in git's own folder, never in a working tree.
//!
//! A file is written under another name and renamed, so that a reader sees the old or the new one; there is no lock. If
//! nothing can be written there, there is no cache.

use std::fs;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use super::beside::Beside;

/// The folder below git's.
pub(super) const FOLDER: &str = "tierod";

/// The folder of the cache files.
#[derive(PartialEq, Eq)]
pub(super) struct CacheFolder(PathBuf);

impl CacheFolder {
    /// The folder below the one that all working trees of a repository share.
    pub(super) fn in_git_folder(common: &Path) -> Self {
        Self(common.join(FOLDER))
    }

    /// The bytes of a file that begins with `head`; `None` if there is no plain file of this name that does, or if it is
    /// larger than `largest`.
    pub(super) fn read(&self, name: &str, head: &[u8], largest: u64) -> Option<Vec<u8>> {
        let path = self.path(name)?;
        if !is_plain_folder(&self.0) {
            return None;
        }
        let size = fs::symlink_metadata(&path).ok().filter(fs::Metadata::is_file)?.len();
        if size > largest {
            return None;
        }
        let mut file = fs::File::open(&path).ok()?;
        let mut bytes = vec![0; head.len()];
        file.read_exact(&mut bytes).ok()?;
        if bytes != head {
            return None;
        }
        bytes.reserve_exact(usize::try_from(size).ok()?.saturating_sub(bytes.len()));
        // It may have grown in the meantime.
        file.take(largest).read_to_end(&mut bytes).ok()?;
        Some(bytes)
    }

    /// The size of a file; none if there is no plain file of this name.
    pub(super) fn size(&self, name: &str) -> u64 {
        let found = self.path(name).and_then(|path| fs::symlink_metadata(path).ok());
        found.filter(fs::Metadata::is_file).map_or(0, |found| found.len())
    }

    /// Replaces the content of a file. A failure is ignored, because a cache changes no result.
    pub(super) fn replace(&self, name: &str, bytes: &[u8]) {
        if let Some(path) = self.path(name) {
            let _ = self.write(&path, bytes);
        }
    }

    /// The path of a name that is one step: no folder, no hidden file.
    pub(super) fn path(&self, name: &str) -> Option<PathBuf> {
        let plain = !name.is_empty() && name.bytes().all(|b| b.is_ascii_alphanumeric() || b"-_".contains(&b));
        plain.then(|| self.0.join(name))
    }

    fn write(&self, file: &Path, bytes: &[u8]) -> std::io::Result<()> {
        if !self.0.exists() {
            fs::create_dir(&self.0)?;
        }
        if !is_plain_folder(&self.0) {
            return Ok(());
        }
        remove_abandoned(&self.0);
        let name = file.file_name().unwrap_or_default().to_string_lossy();
        let own = format!("{name}.{}-{}.new", std::process::id(), nonce());
        Beside::create_as(file, own)?.fill_without_sync(bytes)?.replace()
    }
}

/// Whether this is a folder and not a link, which could lead out of git's.
fn is_plain_folder(folder: &Path) -> bool {
    fs::symlink_metadata(folder).is_ok_and(|found| found.is_dir())
}

/// Removes the unfinished files of processes that were killed.
fn remove_abandoned(folder: &Path) {
    const OLD: std::time::Duration = std::time::Duration::from_secs(3600);
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let unfinished = entry.path().extension().is_some_and(|end| end == "new");
        let age = entry.metadata().and_then(|data| data.modified()).ok().and_then(|time| time.elapsed().ok());
        if unfinished && age.is_some_and(|age| age > OLD) {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Differs between the threads of a process too.
fn nonce() -> String {
    use std::sync::atomic::{AtomicU32, Ordering};
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let time = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
    format!("{}-{}", time.map_or(0, |time| time.subsec_nanos()), COUNT.fetch_add(1, Ordering::Relaxed))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_replaced_whole_and_read_by_plain_names_only() {
        let common = tempfile::tempdir().unwrap();
        let cache = CacheFolder::in_git_folder(common.path());
        assert_eq!(cache.read("log", b"", 100), None);
        cache.replace("log", b"one");
        cache.replace("log", b"two");
        assert_eq!(cache.read("log", b"tw", 3).as_deref(), Some(&b"two"[..]));
        assert_eq!(cache.read("log", b"to", 3), None, "with another beginning");
        assert_eq!(cache.read("log", b"tw", 2), None, "too large");
        for name in ["", "..", "../log", "a/b", ".log", "log.new"] {
            cache.replace(name, b"x");
            assert_eq!(cache.read(name, b"", 100), None, "{name}");
        }
        assert_eq!(fs::read_dir(common.path().join(FOLDER)).unwrap().count(), 1, "nothing else is left");
        #[cfg(unix)]
        {
            // A link could lead to any file.
            fs::write(common.path().join("other"), b"x").unwrap();
            std::os::unix::fs::symlink(common.path().join("other"), common.path().join(FOLDER).join("link")).unwrap();
            assert_eq!(cache.read("link", b"", 100), None);
        }
    }
}
