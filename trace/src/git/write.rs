//! Writing edited files of a project: each is written beside and renamed, so that at any moment it is the old one or the
//! new one, whole. Several files: first all are written beside, then all are renamed; if one cannot be renamed, those
//! before it are restored.
//!
//! A file is written only if it is what was read: a regular file with the same bytes, without links on the way.

use std::collections::hash_map::RandomState;
use std::fs::{self, File, Metadata, OpenOptions};
use std::hash::BuildHasher as _;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, SystemTime};

use foldhash::HashMap;

use super::regular::{self, NotRead};
use super::worktree::is_real;
use super::writing::begin_writing;
use crate::Error;
use crate::snapshot::inside;

/// A file with new bytes.
#[derive(Clone, Debug)]
pub struct NewFile {
    /// The path relative to the project root, with `/`.
    pub path: String,
    /// The bytes that were read; `None` if there was no file.
    pub before: Option<Arc<[u8]>>,
    /// The new bytes.
    pub after: Arc<[u8]>,
}

/// The end of the names of files that are not renamed yet.
const ENDING: &str = ".tierod-new";
/// A file that is left from a run that was killed is removed when it is this old.
const ABANDONED: Duration = Duration::from_secs(3600);

/// Writes files of the project root.
///
/// # Errors
/// A path that leads out of the project; a link, or something else that is not a regular file; a file that is read-only,
/// or has changed since it was read; what the system refuses. Then all files are as they were, or the error names those
/// that are not.
pub(super) fn write(root: &Path, files: &[NewFile]) -> Result<(), Error> {
    begin_writing();
    let mut beside = Vec::new();
    let mut folders = Vec::new();
    for file in files {
        match prepare(root, file, &mut folders) {
            Ok(prepared) => beside.push(prepared),
            Err(error) => {
                discard(&beside, &folders);
                return Err(error);
            }
        }
    }
    // Between reading and this moment, an editor may have saved one of them.
    for new in &beside {
        if let Err(error) = new.is_unchanged() {
            discard(&beside, &folders);
            return Err(error);
        }
    }
    for (done, new) in beside.iter().enumerate() {
        if let Err(error) = new.put_in_place() {
            let kept: Vec<&str> = beside[..done].iter().rev().filter_map(|new| new.restore().err()).collect();
            discard(&beside[done..], &folders);
            return Err(if kept.is_empty() {
                error
            } else {
                error.help(format!("these files were changed and could not be restored: {}", kept.join(", ")))
            });
        }
    }
    for new in &beside {
        new.sync_folder();
        new.remove_abandoned();
    }
    Ok(())
}

/// Removes what was written beside, and the folders that were made for it.
fn discard(beside: &[Beside<'_>], folders: &[PathBuf]) {
    for new in beside {
        // What cannot be removed now is removed by a later run.
        let _ = fs::remove_file(&new.new);
    }
    for folder in folders.iter().rev() {
        let _ = fs::remove_dir(folder);
    }
}

fn failed(path: &str, error: &io::Error) -> Error {
    let help = match error.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded | io::ErrorKind::FileTooLarge => {
            "free some space; no file was changed"
        }
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
            "allow writing in its folder; no file was changed"
        }
        _ => "no file was changed",
    };
    Error::new(format!("cannot write {path}")).because(error).help(help)
}

fn refused(path: &str, cause: &str, help: &str) -> Error {
    Error::new(format!("cannot write {path}")).because(cause).help(format!("{help}; no file was changed"))
}

/// A file that is written beside the one that it replaces.
struct Beside<'f> {
    file: &'f NewFile,
    target: PathBuf,
    new: PathBuf,
}

/// Checks a file, and writes its new bytes beside it.
fn prepare<'f>(root: &Path, file: &'f NewFile, folders: &mut Vec<PathBuf>) -> Result<Beside<'f>, Error> {
    let path = inside(&file.path).filter(|path| *path == file.path);
    let Some(path) = path else {
        return Err(refused(&file.path, "it is not a path in the project", "use another one"));
    };
    let target = root.join(&path);
    let folder = Path::new(&path).parent().unwrap_or(Path::new(""));
    let is_real = |folder: &Path| is_real(root, folder, &mut HashMap::default());
    let on_link = || refused(&path, "a link is on its path", "edit the file at its own place");
    // No folder is made behind a link either.
    let there = folder.ancestors().find(|folder| root.join(folder).symlink_metadata().is_ok());
    if !there.is_none_or(is_real) {
        return Err(on_link());
    }
    create_folders(root, folder, &path, folders)?;
    if !is_real(folder) {
        return Err(on_link());
    }
    let new = beside(&target);
    let prepared = Beside { file, target, new };
    let found = prepared.is_unchanged()?;
    if let Some(found) = &found {
        if found.permissions().readonly() {
            return Err(refused(&path, "it is read-only", "make it writable"));
        }
        if links(found) > 1 {
            let help = "copy it, so that the edit does not separate it from its other names";
            return Err(refused(&path, "it has several names (hard links)", help));
        }
    }
    if let Err(error) = prepared.write_beside(found.as_ref()) {
        let _ = fs::remove_file(&prepared.new);
        return Err(failed(&path, &error));
    }
    Ok(prepared)
}

/// Creates the folders of a new file.
fn create_folders(root: &Path, folder: &Path, path: &str, made: &mut Vec<PathBuf>) -> Result<(), Error> {
    let mut missing: Vec<&Path> = folder.ancestors().take_while(|folder| !folder.as_os_str().is_empty()).collect();
    missing.retain(|folder| root.join(folder).symlink_metadata().is_err());
    for folder in missing.into_iter().rev() {
        let folder = root.join(folder);
        fs::create_dir(&folder).map_err(|error| failed(path, &error))?;
        made.push(folder);
    }
    Ok(())
}

/// A free name in the folder of a file, which no other process uses.
fn beside(target: &Path) -> PathBuf {
    let name = target.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let number = RandomState::new().hash_one((&name, std::process::id()));
    target.with_file_name(format!(".{name}.{number:016x}{ENDING}"))
}

#[cfg(unix)]
fn links(found: &Metadata) -> u64 {
    std::os::unix::fs::MetadataExt::nlink(found)
}

#[cfg(not(unix))]
fn links(_found: &Metadata) -> u64 {
    1
}

impl Beside<'_> {
    /// Whether the file is still what was read: its metadata, `None` if there is none.
    fn is_unchanged(&self) -> Result<Option<Metadata>, Error> {
        let path = &self.file.path;
        let most = schema::read::LARGEST_FILE.max(self.file.before.as_ref().map_or(0, |bytes| bytes.len() as u64));
        let changed = || refused(path, "it was changed meanwhile", "run the command again");
        match (&self.file.before, regular::read(&self.target, most)) {
            (Some(before), Ok(now)) if **before == *now => {
                self.target.symlink_metadata().map(Some).map_err(|error| failed(path, &error))
            }
            (None, Err(NotRead::Failed(error))) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            (_, Err(NotRead::Link)) => Err(refused(path, "it is a link", "edit the file that it leads to")),
            (_, Err(NotRead::NotRegular)) => Err(refused(path, "it is not a regular file", "use another path")),
            (Some(_), Err(NotRead::Failed(error))) if error.kind() != io::ErrorKind::NotFound => {
                Err(failed(path, &error))
            }
            _ => Err(changed()),
        }
    }

    /// Writes the new bytes, with the permissions of the old file, to the disk.
    fn write_beside(&self, old: Option<&Metadata>) -> io::Result<()> {
        let mut new = OpenOptions::new().write(true).create_new(true).open(&self.new)?;
        new.write_all(&self.file.after)?;
        if let Some(old) = old {
            keep_owner(&new, old);
            new.set_permissions(old.permissions())?;
        }
        new.sync_all()
    }

    /// Renames the new file to the old one.
    fn put_in_place(&self) -> Result<(), Error> {
        let path = &self.file.path;
        self.is_unchanged()?;
        if self.file.before.is_none() {
            // Unlike a rename, a link does not replace a file that someone else has just made.
            match fs::hard_link(&self.new, &self.target) {
                Ok(()) => {
                    let _ = fs::remove_file(&self.new);
                    return Ok(());
                }
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                    return Err(refused(path, "it was created meanwhile", "run the command again"));
                }
                // Not every file system has links.
                Err(_) => {}
            }
        }
        fs::rename(&self.new, &self.target).map_err(|error| failed(path, &error))
    }

    /// Puts the old bytes back; the path if that is not possible.
    fn restore(&self) -> Result<(), &str> {
        let path = self.file.path.as_str();
        // Only if it has not been changed since.
        let own = regular::read(&self.target, u64::MAX).is_ok_and(|now| *now == *self.file.after);
        match &self.file.before {
            _ if !own => Err(path),
            None => fs::remove_file(&self.target).map_err(|_| path),
            Some(before) => {
                let old = NewFile { path: path.to_owned(), before: None, after: Arc::clone(before) };
                let back = Beside { file: &old, target: self.target.clone(), new: beside(&self.target) };
                let permissions = self.target.symlink_metadata().map_err(|_| path)?;
                let written = back.write_beside(Some(&permissions)).and_then(|()| fs::rename(&back.new, &back.target));
                written.map_err(|_| {
                    let _ = fs::remove_file(&back.new);
                    path
                })
            }
        }
    }

    /// Writes the folder's new entry to the disk, where that is possible.
    fn sync_folder(&self) {
        if let Some(Ok(folder)) = self.target.parent().map(File::open) {
            let _ = folder.sync_all();
        }
    }

    /// Removes what a run that was killed has left beside the file long ago.
    fn remove_abandoned(&self) {
        let (Some(folder), Some(name)) = (self.target.parent(), self.target.file_name()) else { return };
        let start = format!(".{}.", name.to_string_lossy());
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let is_own = entry.file_name().to_str().is_some_and(|name| {
                let number = name.strip_prefix(&start).and_then(|rest| rest.strip_suffix(ENDING));
                number.is_some_and(|number| number.len() == 16 && number.bytes().all(|b| b.is_ascii_hexdigit()))
            });
            let age = |found: Metadata| SystemTime::now().duration_since(found.modified().ok()?).ok();
            if is_own && entry.metadata().ok().and_then(age).is_some_and(|age| age > ABANDONED) {
                let _ = fs::remove_file(entry.path());
            }
        }
    }
}

/// Gives the new file the owner of the old one, where that is allowed.
#[cfg(unix)]
fn keep_owner(new: &File, old: &Metadata) {
    use std::os::unix::fs::{MetadataExt, fchown};
    let is_same = new.metadata().is_ok_and(|found| (found.uid(), found.gid()) == (old.uid(), old.gid()));
    if !is_same {
        // Who may not give a file away keeps it.
        let _ = fchown(new, Some(old.uid()), Some(old.gid()));
    }
}

#[cfg(not(unix))]
fn keep_owner(_new: &File, _old: &Metadata) {}

#[cfg(test)]
#[cfg(unix)]
#[path = "write_tests.rs"]
mod tests;
