//! A file is written beside its place and renamed, so that at any moment the old one or the new one is there, whole.

use std::collections::hash_map::RandomState;
use std::ffi::{OsStr, OsString};
use std::fs::{self, File, Metadata, OpenOptions, Permissions};
use std::hash::BuildHasher as _;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// The end of the names of files that are not renamed yet.
pub(super) const ENDING: &str = ".tierod-new";

/// A file that is complete, but not in its place yet. It is removed if it does not get there.
#[derive(Debug)]
pub struct Beside {
    path: PathBuf,
    target: PathBuf,
}

/// A [`Beside`] that has no bytes yet.
#[derive(Debug)]
pub struct Unfilled {
    file: File,
    beside: Beside,
}

/// What may be done with a new file.
#[derive(Clone, Debug)]
pub enum Rights {
    /// As the system gives it to a new file.
    Usual,
    /// It may be run.
    Program,
    /// As another file has it.
    Same(Permissions),
}

impl Beside {
    /// Creates it in the folder of `target`, with a hidden name that no other process uses.
    ///
    /// # Errors
    /// `target` has no name; a folder that cannot be written to.
    pub fn create(target: &Path) -> io::Result<Unfilled> {
        let name = target.file_name().ok_or(io::ErrorKind::InvalidInput)?.to_string_lossy();
        let number = RandomState::new().hash_one((&name, std::process::id()));
        Self::open(target, format!(".{name}.{number:016x}{ENDING}").as_ref(), &mut OpenOptions::new())
    }

    /// Creates it with the name of `target` and `.tierod-new`. What an earlier run left there is removed.
    ///
    /// # Errors
    /// As of [`Beside::create`]; a folder of this name.
    pub fn create_again(target: &Path) -> io::Result<Unfilled> {
        let mut name = OsString::from(target.file_name().ok_or(io::ErrorKind::InvalidInput)?);
        name.push(ENDING);
        let left = target.with_file_name(&name);
        if left.symlink_metadata().is_ok() {
            fs::remove_file(left)?;
        }
        Self::open(target, &name, &mut OpenOptions::new())
    }

    /// Creates it with a name of its own, which is not used yet.
    pub(super) fn create_as(target: &Path, name: impl AsRef<OsStr>) -> io::Result<Unfilled> {
        Self::open(target, name.as_ref(), &mut OpenOptions::new())
    }

    /// Creates it as one that only the user may read and write.
    pub(super) fn create_private(target: &Path, name: impl AsRef<OsStr>) -> io::Result<Unfilled> {
        let mut options = OpenOptions::new();
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        Self::open(target, name.as_ref(), &mut options)
    }

    fn open(target: &Path, name: &OsStr, options: &mut OpenOptions) -> io::Result<Unfilled> {
        let path = target.with_file_name(name);
        // What has the name, also a link, is neither followed nor written into.
        let file = options.write(true).create_new(true).open(&path)?;
        Ok(Unfilled { file, beside: Self { path, target: target.to_owned() } })
    }

    /// Puts it in place of what is there.
    ///
    /// # Errors
    /// What the system refuses.
    pub fn replace(&self) -> io::Result<()> {
        fs::rename(&self.path, &self.target)
    }

    /// Puts it in place if nothing is there.
    ///
    /// # Errors
    /// `AlreadyExists`, if something is there; what the system refuses.
    pub fn add(&self) -> io::Result<()> {
        // Unlike a rename, a link does not replace a file that someone else has just made.
        match fs::hard_link(&self.path, &self.target) {
            Ok(()) => {
                let _ = fs::remove_file(&self.path);
                Ok(())
            }
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Err(error),
            Err(_) if self.target.symlink_metadata().is_ok() => Err(io::ErrorKind::AlreadyExists.into()),
            // Not every file system has links.
            Err(_) => self.replace(),
        }
    }
}

impl Drop for Beside {
    fn drop(&mut self) {
        let _ = fs::remove_file(&self.path);
    }
}

impl Unfilled {
    /// Gives it the owner of another file, where that is allowed.
    #[must_use]
    pub(super) fn owned_as(self, other: &Metadata) -> Self {
        #[cfg(unix)]
        {
            use std::os::unix::fs::{MetadataExt, fchown};
            let is_same = self.file.metadata().is_ok_and(|own| (own.uid(), own.gid()) == (other.uid(), other.gid()));
            if !is_same {
                // Who may not give a file away keeps it.
                let _ = fchown(&self.file, Some(other.uid()), Some(other.gid()));
            }
        }
        #[cfg(not(unix))]
        let _ = other;
        self
    }

    /// Writes all bytes, to the disk.
    ///
    /// # Errors
    /// What the system refuses; then it is removed.
    pub fn fill(mut self, bytes: &[u8], rights: Rights) -> io::Result<Beside> {
        self.file.write_all(bytes)?;
        let permissions = match rights {
            Rights::Usual => None,
            #[cfg(unix)]
            Rights::Program => Some(std::os::unix::fs::PermissionsExt::from_mode(0o755)),
            #[cfg(not(unix))]
            Rights::Program => None,
            Rights::Same(permissions) => Some(permissions),
        };
        if let Some(permissions) = permissions {
            self.file.set_permissions(permissions)?;
        }
        self.file.sync_all()?;
        Ok(self.beside)
    }

    /// Writes all bytes, without waiting for the disk: for what is made again if it is lost.
    pub(super) fn fill_without_sync(mut self, bytes: &[u8]) -> io::Result<Beside> {
        self.file.write_all(bytes)?;
        Ok(self.beside)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> =
            fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn what_does_not_get_into_its_place_is_removed() {
        let folder = tempfile::tempdir().unwrap();
        let target = folder.path().join("a.yaml");
        drop(Beside::create(&target).unwrap());
        drop(Beside::create(&target).unwrap().fill(b"a", Rights::Usual).unwrap());
        assert_eq!(names(folder.path()), [""; 0]);
        Beside::create(&target).unwrap().fill(b"a", Rights::Usual).unwrap().add().unwrap();
        let other = Beside::create(&target).unwrap().fill(b"b", Rights::Usual).unwrap();
        assert_eq!(other.add().unwrap_err().kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read(&target).unwrap(), b"a");
        other.replace().unwrap();
        drop(other);
        assert_eq!((fs::read(&target).unwrap(), names(folder.path())), (b"b".to_vec(), vec!["a.yaml".to_owned()]));
    }

    #[cfg(unix)]
    #[test]
    fn a_name_that_is_taken_is_not_written_into() {
        use std::os::unix::fs::{PermissionsExt, symlink};
        let folder = tempfile::tempdir().unwrap();
        let (target, other) = (folder.path().join("hook"), folder.path().join("other"));
        fs::write(&other, "theirs").unwrap();
        symlink(&other, folder.path().join("own.new")).unwrap();
        assert!(Beside::create_as(&target, "own.new").is_err());
        assert!(Beside::create_private(&target, "own.new").is_err());
        // The link itself is removed, not what it leads to.
        symlink(&other, folder.path().join("hook.tierod-new")).unwrap();
        Beside::create_again(&target).unwrap().fill(b"ours", Rights::Program).unwrap().replace().unwrap();
        assert_eq!((fs::read(&other).unwrap(), fs::read(&target).unwrap()), (b"theirs".to_vec(), b"ours".to_vec()));
        assert_eq!(target.metadata().unwrap().permissions().mode() & 0o777, 0o755);
        let private = Beside::create_private(&target, "x.new").unwrap().fill_without_sync(b"x").unwrap();
        assert_eq!(private.path.metadata().unwrap().permissions().mode() & 0o777, 0o600);
    }
}
