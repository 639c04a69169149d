//! Reading files of the working tree and of git's folder: regular files only, whole, and up to a limit.
//!
//! A link is not followed, and a pipe or a device is not waited for: what a project names can be written by a stranger.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The largest small file of git's folder.
const MOST_SMALL: u64 = 1 << 20;

/// Why a file is not read.
#[derive(Debug)]
pub(super) enum NotRead {
    /// It is a symbolic link.
    Link,
    /// It is a folder, a pipe, a device or a socket.
    NotRegular,
    /// It has this many bytes, or more.
    TooLarge(u64),
    /// The system refused.
    Failed(io::Error),
}

/// Reads a regular file of at most `most` bytes.
///
/// # Errors
/// [`NotRead`]. What was opened is asked again, so that a file that is replaced at that moment is not read.
pub(super) fn read(path: &Path, most: u64) -> Result<Vec<u8>, NotRead> {
    read_opened(open_up_to(path, most)?, most)
}

/// The same for a file that its folder lists as a regular one.
///
/// # Errors
/// Those of [`read`]: what was opened is asked, and on Unix opening follows no link and waits for nothing.
pub(super) fn read_listed(path: &Path, most: u64) -> Result<Vec<u8>, NotRead> {
    read_opened(if cfg!(unix) { open_found(path, most) } else { open_up_to(path, most) }?, most)
}

fn read_opened((mut file, size): (File, u64), most: u64) -> Result<Vec<u8>, NotRead> {
    let mut bytes = vec![0; usize::try_from(size).unwrap_or(0) + 1];
    // One more byte is asked for, so that mostly one call reads a file and finds its end.
    let first = file.read(&mut bytes).map_err(NotRead::Failed)?;
    let is_whole = first < bytes.len() && first as u64 == size;
    bytes.truncate(first);
    if !is_whole {
        // A file may grow while it is read; no more than the limit is read.
        let left = most.saturating_add(1).saturating_sub(first as u64);
        file.take(left).read_to_end(&mut bytes).map_err(NotRead::Failed)?;
    }
    if bytes.len() as u64 > most { Err(NotRead::TooLarge(bytes.len() as u64)) } else { Ok(bytes) }
}

/// The same into shared memory, for files that are too large to be copied; of a file that grows meanwhile only the beginning.
///
/// # Errors
/// Those of [`read`]; also if the file becomes shorter.
pub(super) fn read_shared(path: &Path, most: u64) -> Result<Arc<[u8]>, NotRead> {
    let (mut file, size) = open_up_to(path, most)?;
    let size = usize::try_from(size).map_err(|_| NotRead::TooLarge(size))?;
    let mut bytes: Arc<[u8]> = std::iter::repeat_n(0, size).collect();
    if let Some(bytes) = Arc::get_mut(&mut bytes) {
        file.read_exact(bytes).map_err(NotRead::Failed)?;
    }
    Ok(bytes)
}

/// Opens a regular file of at most `most` bytes, and its size.
pub(super) fn open_up_to(path: &Path, most: u64) -> Result<(File, u64), NotRead> {
    let found = path.symlink_metadata().map_err(NotRead::Failed)?;
    if found.is_symlink() {
        return Err(NotRead::Link);
    }
    if !found.is_file() {
        return Err(NotRead::NotRegular);
    }
    open_found(path, most)
}

/// Opens it, and asks what was opened.
fn open_found(path: &Path, most: u64) -> Result<(File, u64), NotRead> {
    let file = open(path)?;
    let found = file.metadata().map_err(NotRead::Failed)?;
    if !found.is_file() {
        return Err(NotRead::NotRegular);
    }
    if found.len() > most {
        return Err(NotRead::TooLarge(found.len()));
    }
    Ok((file, found.len()))
}

/// A small text file of git's folder; `None` if there is none that can be read.
pub(super) fn small_text(path: &Path) -> Option<String> {
    read(path, MOST_SMALL).ok().map(|bytes| String::from_utf8_lossy(&bytes).into_owned())
}

/// The bytes of a small file of git's folder, behind a link, too: git follows them there.
pub(super) fn small_linked(path: &Path) -> Option<Vec<u8>> {
    read(&path.canonicalize().ok()?, MOST_SMALL).ok()
}

/// A path as the files of git have it.
pub(super) fn path_of(bytes: &[u8]) -> PathBuf {
    #[cfg(unix)]
    {
        use std::os::unix::ffi::OsStrExt as _;
        std::ffi::OsStr::from_bytes(bytes).into()
    }
    #[cfg(not(unix))]
    String::from_utf8_lossy(bytes).into_owned().into()
}

#[cfg(unix)]
fn open(path: &Path) -> Result<File, NotRead> {
    use rustix::fs::{Mode, OFlags};
    let flags = OFlags::RDONLY | OFlags::NOFOLLOW | OFlags::NONBLOCK | OFlags::CLOEXEC;
    match rustix::fs::open(path, flags, Mode::empty()) {
        Ok(file) => Ok(File::from(file)),
        Err(rustix::io::Errno::LOOP) => Err(NotRead::Link),
        Err(error) => Err(NotRead::Failed(error.into())),
    }
}

#[cfg(not(unix))]
fn open(path: &Path) -> Result<File, NotRead> {
    File::open(path).map_err(NotRead::Failed)
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;

    #[test]
    fn only_regular_files_are_read() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        std::fs::write(at("file"), "four").unwrap();
        std::os::unix::fs::symlink(at("file"), at("link")).unwrap();
        std::os::unix::fs::symlink(at("nothing"), at("broken")).unwrap();
        assert!(std::process::Command::new("mkfifo").arg(at("pipe")).status().unwrap().success());
        std::fs::create_dir(at("folder")).unwrap();
        // The second one does not ask what is there before it opens it.
        for read in [read, read_listed] {
            assert_eq!(read(&at("file"), 4).unwrap(), b"four");
            assert!(matches!(read(&at("file"), 3), Err(NotRead::TooLarge(4))));
            assert!(matches!(read(&at("link"), 4), Err(NotRead::Link)));
            assert!(matches!(read(&at("broken"), 4), Err(NotRead::Link)));
            assert!(matches!(read(&at("pipe"), 4), Err(NotRead::NotRegular)), "and it is not waited for");
            assert!(matches!(read(&at("folder"), 4), Err(NotRead::NotRegular)));
            assert!(matches!(read(&at("nothing"), 4), Err(NotRead::Failed(_))));
        }
    }
}
