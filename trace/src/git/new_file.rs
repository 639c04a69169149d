//! Writing a file that was asked for by its path.

use std::fs;
use std::io;
use std::path::Path;

use super::beside::{Beside, Rights};
use super::link_out::refuse_link_out;
use super::regular;
use super::writing::begin_writing;
use crate::Error;

/// Whether [`write_file`] would refuse the name, before the content is made. What is there is returned.
///
/// # Errors
/// A file that is there without `replace`; anything else than a regular file; a link in a repository that leads out of it.
pub fn may_be_written(path: &Path, replace: bool) -> Result<Option<fs::Metadata>, Error> {
    refuse_link_out(path)?;
    match path.symlink_metadata().ok() {
        Some(found) if !found.is_file() => {
            let error = Error::new(format!("{} is not a regular file", path.display()));
            Err(error.help("give another name; nothing was written"))
        }
        Some(_) if !replace => Err(exists(path)),
        found => Ok(found),
    }
}

/// Writes a new file; with `replace`, a regular file that is there is replaced.
///
/// # Errors
/// A file that is there without `replace`; anything else than a regular file; a folder that cannot be written to. Nothing
/// was written then.
pub fn write_file(path: &Path, bytes: &[u8], replace: bool) -> Result<(), Error> {
    let shown = path.display();
    let found = may_be_written(path, replace)?;
    let failed = |error| Error::new(format!("cannot write {shown}")).because(error);
    begin_writing();
    let empty = Beside::create(path).map_err(|error| {
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
        let help = match folder.filter(|folder| !folder.is_dir()) {
            Some(folder) => format!("make the folder `{}` first, or name another", folder.display()),
            None => "name a folder in which you may write".to_owned(),
        };
        failed(error).help(help)
    })?;
    let rights = found.map_or(Rights::Usual, |found| Rights::Same(found.permissions()));
    let beside = empty.fill(bytes, rights).map_err(failed)?;
    if replace {
        beside.replace().map_err(failed)
    } else {
        // The name may have been taken meanwhile.
        let why =
            |error: io::Error| if error.kind() == io::ErrorKind::AlreadyExists { exists(path) } else { failed(error) };
        beside.add().map_err(why)
    }
}

/// The largest file that is looked at to see whether this tool wrote it.
const LARGEST_OWN: u64 = 256 << 20;

/// Writes a file, or replaces one that begins with `mark`: that is one which this tool wrote before. A file that has these
/// bytes already keeps its date. Whether it was written.
///
/// # Errors
/// Another file of that name, also a link; a folder that cannot be written to. Nothing was written then.
pub fn write_own_file(path: &Path, bytes: &[u8], mark: &[u8]) -> Result<bool, Error> {
    let replace = match path.symlink_metadata() {
        Ok(found) if found.is_file() => {
            let before = regular::read(path, LARGEST_OWN).unwrap_or_default();
            if before == bytes {
                return Ok(false);
            }
            if !before.starts_with(mark) {
                let error = Error::new(format!("{} already exists, and is not a page of tierod", path.display()));
                return Err(error.help("give another name; nothing was written"));
            }
            true
        }
        _ => false,
    };
    write_file(path, bytes, replace).map(|()| true)
}

fn exists(path: &Path) -> Error {
    let error = Error::new(format!("{} already exists", path.display()));
    error.help("add `--replace` to replace it, or give another name; nothing was written")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_replaced_only_if_asked() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("car.xlsx");
        write_file(&path, b"one", false).unwrap();
        let error = write_file(&path, b"two", false).unwrap_err();
        assert!(error.help.unwrap().contains("--replace"));
        assert_eq!(fs::read(&path).unwrap(), b"one");
        write_file(&path, b"two", true).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"two");
        // Nothing else is left in the folder.
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn only_an_own_file_is_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("page.html");
        assert!(write_own_file(&path, b"own one", b"own").unwrap());
        assert!(!write_own_file(&path, b"own one", b"own").unwrap());
        assert!(write_own_file(&path, b"own two", b"own").unwrap());
        fs::write(&path, "of the user").unwrap();
        assert!(write_own_file(&path, b"own two", b"own").is_err());
        assert_eq!(fs::read(&path).unwrap(), b"of the user");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_and_a_folder_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        let (aim, link) = (folder.path().join("aim"), folder.path().join("link.xlsx"));
        fs::write(&aim, "keep").unwrap();
        std::os::unix::fs::symlink(&aim, &link).unwrap();
        assert!(write_file(&link, b"x", true).is_err());
        assert!(write_file(folder.path(), b"x", true).is_err());
        assert_eq!(fs::read(&aim).unwrap(), b"keep");
        assert!(write_file(&folder.path().join("missing/car.xlsx"), b"x", false).is_err());
    }
}
