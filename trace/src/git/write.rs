//! Writing edited files of a project: first all are written beside their places, then all are renamed; if one cannot be
//! renamed, those before it are restored.
//!
//! A file is written only if it is what was read: a regular file with the same bytes, without links on the way.

use std::ffi::OsStr;
use std::fs::{self, File, Metadata};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, SystemTime};

use foldhash::{HashMap, HashSet};

use super::beside::{Beside, ENDING, Rights};
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
    let mut all = Vec::new();
    let mut folders = Vec::new();
    for file in files {
        match prepare(root, file, &mut folders) {
            Ok(prepared) => all.push(prepared),
            Err(error) => {
                discard(all, &folders);
                return Err(error);
            }
        }
    }
    // Between reading and this moment, an editor may have saved one of them.
    for new in &all {
        if let Err(error) = is_unchanged(new.file, &new.target) {
            discard(all, &folders);
            return Err(error);
        }
    }
    for (done, new) in all.iter().enumerate() {
        if let Err(error) = new.put_in_place() {
            let kept: Vec<&str> = all[..done].iter().rev().filter_map(|new| new.restore().err()).collect();
            discard(all, &folders);
            return Err(if kept.is_empty() {
                error
            } else {
                error.help(format!("these files were changed and could not be restored: {}", kept.join(", ")))
            });
        }
    }
    let mut folders: HashMap<&Path, HashSet<&OsStr>> = HashMap::default();
    for new in &all {
        if let (Some(folder), Some(name)) = (new.target.parent(), new.target.file_name()) {
            folders.entry(folder).or_default().insert(name);
        }
    }
    for (folder, names) in folders {
        sync_folder(folder);
        remove_abandoned(folder, &names);
    }
    Ok(())
}

/// Removes what was written beside, and the folders that were made for it.
fn discard(all: Vec<Prepared<'_>>, folders: &[PathBuf]) {
    // What cannot be removed now is removed by a later run.
    drop(all);
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
struct Prepared<'f> {
    file: &'f NewFile,
    target: PathBuf,
    new: Beside,
}

/// Checks a file, and writes its new bytes beside it.
fn prepare<'f>(root: &Path, file: &'f NewFile, folders: &mut Vec<PathBuf>) -> Result<Prepared<'f>, Error> {
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
    let found = is_unchanged(file, &target)?;
    if let Some(found) = &found {
        if found.permissions().readonly() {
            return Err(refused(&path, "it is read-only", "make it writable"));
        }
        if links(found) > 1 {
            let help = "copy it, so that the edit does not separate it from its other names";
            return Err(refused(&path, "it has several names (hard links)", help));
        }
    }
    let new = write_beside(&target, &file.after, found.as_ref()).map_err(|error| failed(&path, &error))?;
    Ok(Prepared { file, target, new })
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

#[cfg(unix)]
fn links(found: &Metadata) -> u64 {
    std::os::unix::fs::MetadataExt::nlink(found)
}

#[cfg(not(unix))]
fn links(_found: &Metadata) -> u64 {
    1
}

/// Whether the file is still what was read: its metadata, `None` if there is none.
fn is_unchanged(file: &NewFile, target: &Path) -> Result<Option<Metadata>, Error> {
    let path = &file.path;
    let most = schema::read::LARGEST_FILE.max(file.before.as_ref().map_or(0, |bytes| bytes.len() as u64));
    let changed = || refused(path, "it was changed meanwhile", "run the command again");
    match (&file.before, regular::read(target, most)) {
        (Some(before), Ok(now)) if **before == *now => {
            target.symlink_metadata().map(Some).map_err(|error| failed(path, &error))
        }
        (None, Err(NotRead::Failed(error))) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        (_, Err(NotRead::Link)) => Err(refused(path, "it is a link", "edit the file that it leads to")),
        (_, Err(NotRead::NotRegular)) => Err(refused(path, "it is not a regular file", "use another path")),
        (Some(_), Err(NotRead::Failed(error))) if error.kind() != io::ErrorKind::NotFound => Err(failed(path, &error)),
        _ => Err(changed()),
    }
}

/// Writes new bytes beside a file, with the owner and the permissions of the old one.
fn write_beside(target: &Path, bytes: &[u8], old: Option<&Metadata>) -> io::Result<Beside> {
    let empty = Beside::create(target)?;
    match old {
        Some(old) => empty.owned_as(old).fill(bytes, Rights::Same(old.permissions())),
        None => empty.fill(bytes, Rights::Usual),
    }
}

impl<'f> Prepared<'f> {
    /// Renames the new file to the old one.
    fn put_in_place(&self) -> Result<(), Error> {
        let path = &self.file.path;
        is_unchanged(self.file, &self.target)?;
        if self.file.before.is_none() {
            return self.new.add().map_err(|error| match error.kind() {
                io::ErrorKind::AlreadyExists => refused(path, "it was created meanwhile", "run the command again"),
                _ => failed(path, &error),
            });
        }
        self.new.replace().map_err(|error| failed(path, &error))
    }

    /// Puts the old bytes back; the path if that is not possible.
    fn restore(&self) -> Result<(), &'f str> {
        let path = self.file.path.as_str();
        // Only if it has not been changed since.
        let own = regular::read(&self.target, u64::MAX).is_ok_and(|now| *now == *self.file.after);
        match &self.file.before {
            _ if !own => Err(path),
            None => fs::remove_file(&self.target).map_err(|_| path),
            Some(before) => {
                let now = self.target.symlink_metadata().map_err(|_| path)?;
                let back = write_beside(&self.target, before, Some(&now));
                back.and_then(|back| back.replace()).map_err(|_| path)
            }
        }
    }
}

/// Writes the new entries of a folder to the disk, where that is possible.
fn sync_folder(folder: &Path) {
    if let Ok(folder) = File::open(folder) {
        let _ = folder.sync_all();
    }
}

/// Removes what a run that was killed has left beside these files of a folder long ago.
fn remove_abandoned(folder: &Path, names: &HashSet<&OsStr>) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        // `.`, the name of the file, `.`, and 16 digits.
        let is_own = entry.file_name().to_str().is_some_and(|name| {
            let parts = name.strip_suffix(ENDING).and_then(|name| name.strip_prefix('.')?.rsplit_once('.'));
            parts.is_some_and(|(name, number)| {
                let is_number = number.len() == 16 && number.bytes().all(|b| b.is_ascii_hexdigit());
                is_number && names.contains(OsStr::new(name))
            })
        });
        let age = |found: Metadata| SystemTime::now().duration_since(found.modified().ok()?).ok();
        if is_own && entry.metadata().ok().and_then(age).is_some_and(|age| age > ABANDONED) {
            let _ = fs::remove_file(entry.path());
        }
    }
}

#[cfg(test)]
#[cfg(unix)]
#[path = "write_tests.rs"]
mod tests;
