//! Reading a repository by libgit2. This is the only file that uses it.

use std::cell::OnceCell;
use std::path::{Path, PathBuf};
use std::sync::{Once, mpsc};
use std::time::{Duration, Instant};

use foldhash::HashSet;
use git2::{ErrorCode, ObjectType, Odb, Oid, RepositoryOpenFlags};
use schema::read::{LARGEST_FILE, Problem};
use walkdir::WalkDir;

use super::access::{Access, Entry, EntryKind, Index, NamedCommit, Object, ObjectKind, largest, within};
use super::alternates;
use super::checked_out::CheckedOut;
use super::environment::{Environment, Locals, outside_of_bare};
use super::error::GitError;
use super::loose_blobs::LooseBlobs;
use super::packs;
use super::walk::day_of;
use crate::parallel::{both, cores};
use crate::snapshot::{Content, text_of};

/// A repository opened by libgit2.
pub(super) struct Library {
    repository: git2::Repository,
    locals: Locals,
}

/// The number of digits of an id.
const ID_LENGTH: usize = 40;
/// The stage in an index entry's flags: 0 unless a merge left it unmerged.
const STAGE: u16 = 0x3000;
/// The file with the commits at which a shallow clone ends.
pub(super) const SHALLOW: &str = "shallow";
/// Set by `git add --intent-to-add` in an index entry's extended flags.
const INTENT_TO_ADD: u16 = 1 << 13;
/// Set by a sparse checkout in an index entry's extended flags.
const SKIP_WORKTREE: u16 = 1 << 14;

impl Library {
    /// Opens the repository that holds a folder; `None` if there is none.
    pub(super) fn open(folder: &Path, locals: &Locals, environment: &Environment) -> Result<Option<Self>, GitError> {
        trust_object_names();
        let flags = match locals {
            // The environment also names the user's configuration.
            Locals::Nothing if !environment.binds() => RepositoryOpenFlags::CROSS_FS | RepositoryOpenFlags::FROM_ENV,
            Locals::Whole(_) => {
                return Err(GitError::Unsupported { feature: "a repository from environment variables" });
            }
            _ => RepositoryOpenFlags::CROSS_FS,
        };
        let folder = outside_of_bare(folder);
        match git2::Repository::open_ext(folder, flags, std::iter::empty::<&Path>()) {
            Ok(repository) => {
                let objects = alternates::all(&repository.commondir().join("objects"));
                if let Some(damaged) = objects.iter().find_map(|objects| packs::leads_out(&objects.join("pack"))) {
                    return Err(damaged);
                }
                // `GIT_NAMESPACE` would hide its branches.
                repository.remove_namespace()?;
                Ok(Some(Self { repository, locals: locals.clone() }))
            }
            Err(error) if error.code() == ErrorCode::NotFound && !has_git(folder) => Ok(None),
            Err(error) => Err(error.into()),
        }
    }

    /// The top of the working tree, or the repository itself and `true` if it is bare.
    pub(super) fn top(&self) -> (PathBuf, bool) {
        let path = |path: &Path| path.canonicalize().unwrap_or_else(|_| path.to_owned());
        match self.repository.workdir() {
            Some(top) => (path(top), false),
            None => (path(self.repository.path()), true),
        }
    }
}

impl Access for Library {
    fn index(&self) -> Result<Index, GitError> {
        let file = match &self.locals {
            Locals::Index(file) => file.clone(),
            _ => self.repository.path().join("index"),
        };
        on_deep_stack(&file, || entries_of(&git2::Index::open(&file)?))
    }

    fn named(&self, name: &str) -> Result<Option<String>, GitError> {
        const SHORTEST: usize = 4;
        let is_hex = name.len() >= SHORTEST && name.bytes().all(|b| b.is_ascii_hexdigit());
        let odb = self.repository.odb()?;
        if is_hex && name.len() == ID_LENGTH {
            return Ok(Some(name.to_ascii_lowercase()));
        }
        if let Ok(found) = self.repository.resolve_reference_from_short_name(name) {
            return Ok(found.resolve()?.target().map(|id| id.to_string()));
        }
        if is_hex && name.len() < ID_LENGTH {
            // Of several objects git takes the only commit.
            return Ok(odb.exists_prefix(Oid::from_str(name)?, name.len()).ok().map(|id| id.to_string()));
        }
        Ok(None)
    }

    fn resolve(&self, revision: &str) -> Result<NamedCommit, GitError> {
        let commit = self.repository.revparse_single(revision)?.peel_to_commit()?;
        let time = commit.time();
        let seconds = time.seconds() + i64::from(time.offset_minutes()) * 60;
        let id = commit.id().to_string();
        match day_of(seconds) {
            Some(day) => Ok(NamedCommit { id, day }),
            None => Err(GitError::DamagedObject { object: id }),
        }
    }

    fn head(&self) -> Result<Option<String>, GitError> {
        match self.repository.head() {
            // The commit itself may be large.
            Ok(head) => match head.target() {
                Some(id) => Ok(Some(id.to_string())),
                None => Ok(Some(head.peel_to_commit()?.id().to_string())),
            },
            Err(error) if matches!(error.code(), ErrorCode::UnbornBranch | ErrorCode::NotFound) => Ok(None),
            Err(error) => Err(error.into()),
        }
    }

    fn is_unborn(&self) -> Result<bool, GitError> {
        match self.repository.head() {
            Ok(_) => Ok(false),
            Err(error) if error.code() == ErrorCode::UnbornBranch => Ok(true),
            Err(error) => Err(error.into()),
        }
    }

    fn object(&self, id: &str) -> Result<Object, GitError> {
        let odb = self.repository.odb()?;
        let name = Oid::from_str(id)?;
        let kind = |kind: ObjectType| match kind {
            ObjectType::Commit => ObjectKind::Commit,
            ObjectType::Tree => ObjectKind::Tree,
            ObjectType::Tag => ObjectKind::Tag,
            _ => ObjectKind::Other,
        };
        let (size, found) = odb.read_header(name)?;
        if size as u64 > largest(kind(found)) {
            return Err(GitError::LargeObject { object: id.to_owned() });
        }
        let object = odb.read(name)?;
        let kind = kind(object.kind());
        Ok(Object { kind, bytes: object.data().to_vec() })
    }

    fn large_content(&self, id: &str, most: u64) -> Result<Content, GitError> {
        let odb = self.repository.odb()?;
        let oid = Oid::from_str(id)?;
        let (size, kind) = odb.read_header(oid)?;
        if kind != ObjectType::Blob {
            return Err(GitError::MissingObject { object: id.to_owned() });
        }
        if size as u64 > most {
            return Ok(Err(Problem::above_limit(size as u64, most)));
        }
        Ok(Ok(odb.read(oid)?.data().into()))
    }

    fn contents(&self, entries: &[&Entry], most: u64) -> Result<Vec<Content>, GitError> {
        let objects = self.repository.commondir().join("objects");
        let top = self.repository.workdir();
        let own = |entries: &[&Entry]| read_all(&objects, top, || self.repository.odb(), entries, most);
        if entries.len() < FILES_FOR_THREADS || cores() < 2 {
            return own(entries);
        }
        // Reading is mostly decompression. Another thread opens the repository again, if it needs it, because libgit2 does not
        // share it.
        let (first, second) = entries.split_at(entries.len() / 2);
        let path = self.repository.path();
        let (other, own_half) = both(
            || {
                let opened = OnceCell::new();
                let odb = || {
                    let repository = git2::Repository::open(path)?;
                    opened.get_or_init(|| repository).odb()
                };
                read_all(&objects, top, odb, second, most)
            },
            || own(first),
        );
        let mut contents = own_half?;
        // What the environment adds to the repository is known to the first one only.
        contents.extend(other.or_else(|_| own(second))?);
        Ok(contents)
    }

    fn untracked(&self, folder: &Path, top: &Path) -> Result<Option<HashSet<String>>, GitError> {
        let (git_dir, folder, top) = (self.repository.path().to_owned(), folder.to_owned(), top.to_owned());
        let (done, listed) = mpsc::channel();
        // A thread that is not waited for, because libgit2 cannot be interrupted: it may try a pattern in very many ways. Between two
        // files it ends itself.
        let until = Instant::now() + LONGEST_LIST;
        std::thread::spawn(move || done.send(untracked(&git_dir, &folder, &top, until)));
        listed.recv_timeout(LONGEST_LIST).map_err(|_| GitError::SlowPatterns)?
    }

    fn common_folder(&self) -> Option<PathBuf> {
        let plain = matches!(self.locals, Locals::Nothing | Locals::Index(_) | Locals::Another);
        plain.then(|| self.repository.commondir().to_owned())
    }

    fn own_file(&self, name: &str) -> Result<PathBuf, GitError> {
        // Of the files that are read here, only the list of a shallow clone belongs to all working trees.
        let folder = if name == SHALLOW { self.repository.commondir() } else { self.repository.path() };
        Ok(folder.join(name))
    }
}

/// The entries of an index.
fn entries_of(index: &git2::Index) -> Result<Index, GitError> {
    let mut unmerged = Vec::new();
    let mut entries = Vec::with_capacity(index.len());
    for entry in index.iter() {
        let path = String::from_utf8_lossy(&entry.path).into_owned();
        if entry.flags & STAGE != 0 {
            unmerged.push(path);
            continue;
        }
        let Some(kind) = EntryKind::from_mode(entry.mode) else {
            return Err(GitError::Unsupported { feature: "this mode of an index entry" });
        };
        if entry.flags_extended & INTENT_TO_ADD != 0 {
            continue;
        }
        entries.push(Entry {
            path,
            id: entry.id.to_string(),
            kind,
            skip_worktree: entry.flags_extended & SKIP_WORKTREE != 0,
            size: entry.file_size,
        });
    }
    Ok(Index { entries, unmerged })
}

/// Reads an index on a stack that is deep enough for its size: libgit2 reads the tree of folders in it by recursion, and a
/// folder takes seven bytes.
fn on_deep_stack<T: Send>(file: &Path, read: impl FnOnce() -> Result<T, GitError> + Send) -> Result<T, GitError> {
    const SMALL: u64 = 64 << 10;
    const FOR_EACH_BYTE: u64 = 64;
    let size = file.metadata().map_or(0, |found| found.len());
    if size <= SMALL {
        return read();
    }
    // Only what is used of it takes memory.
    let stack = usize::try_from((8 << 20) + size.saturating_mul(FOR_EACH_BYTE)).unwrap_or(usize::MAX);
    std::thread::scope(|scope| {
        let thread = std::thread::Builder::new().stack_size(stack).spawn_scoped(scope, read);
        let ended = thread.map(std::thread::ScopedJoinHandle::join);
        let none = || GitError::Unsupported { feature: "an index of this size" };
        ended.map_err(|_| none())?.map_err(|_| none())?
    })
}

/// How long the list of untracked files may take.
const LONGEST_LIST: Duration = Duration::from_secs(10);

/// The files below a folder that are not tracked and not ignored, from the top; `None` if the folder itself is ignored.
fn untracked(git_dir: &Path, folder: &Path, top: &Path, until: Instant) -> Result<Option<HashSet<String>>, GitError> {
    let repository = git2::Repository::open(git_dir)?;
    let below = |path: &Path| path.strip_prefix(top).map(Path::to_owned).unwrap_or_default();
    let ignored = |path: &Path| repository.is_path_ignored(path).unwrap_or(false);
    if folder != top && ignored(&below(folder)) {
        return Ok(None);
    }
    let walk = WalkDir::new(folder).min_depth(1).into_iter();
    // `.git` is not ignored, but never tracked.
    let kept = walk.filter_entry(|step| step.file_name() != ".git" && !ignored(&below(step.path())));
    let mut files = HashSet::default();
    for step in kept.filter_map(Result::ok) {
        if Instant::now() > until {
            return Err(GitError::SlowPatterns);
        }
        if !step.file_type().is_dir() {
            files.insert(text_of(&below(step.path())));
        }
    }
    Ok(Some(files))
}

/// Lets libgit2 read an object without hashing it again: git checks objects when it writes them, and hashing takes as
/// long as reading.
///
/// This is the only option of libgit2 that applies to the whole process. It is set once, before the first repository is
/// opened, always to the same value, and nothing else in the tool uses libgit2; so no thread sees it change.
fn trust_object_names() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| git2::opts::strict_hash_verification(false));
}

/// From this number of files on, reading them takes much longer than starting a thread.
const FILES_FOR_THREADS: usize = 200;

/// The contents of entries; what neither the working tree nor a loose blob below `objects` has is read by libgit2, which is
/// opened when it is needed.
fn read_all<'r>(
    objects: &Path,
    top: Option<&Path>,
    open: impl Fn() -> Result<Odb<'r>, git2::Error>,
    entries: &[&Entry],
    most: u64,
) -> Result<Vec<Content>, GitError> {
    let mut checked_out = top.map(|top| CheckedOut::new(top.to_owned()));
    let mut loose = LooseBlobs::new(objects.to_owned());
    let mut odb: Option<Odb<'r>> = None;
    let mut left = most;
    let mut read = |entry: &Entry| {
        if let Some(bytes) = checked_out.as_mut().and_then(|files| files.content(entry)) {
            return Ok(Ok(bytes.into()));
        }
        if let Some(bytes) = loose.content(&entry.id, entry.size as usize) {
            return Ok(Ok(bytes.into()));
        }
        let known = odb.take().map_or_else(&open, Ok)?;
        content(odb.insert(known), entry)
    };
    entries.iter().map(|entry| Ok(within(&mut left, read(entry)?))).collect()
}

fn content(odb: &Odb<'_>, entry: &Entry) -> Result<Content, GitError> {
    let id = Oid::from_str(&entry.id)?;
    // The size in the index is what its writer claims.
    let (size, _) = odb.read_header(id)?;
    if size as u64 > LARGEST_FILE {
        return Ok(Err(Problem::too_large(size as u64)));
    }
    let object = odb.read(id)?;
    if object.kind() != ObjectType::Blob {
        return Err(GitError::MissingObject { object: entry.id.clone() });
    }
    Ok(Ok(object.data().into()))
}

/// Whether there is a `.git` in the folder or above it: what libgit2 does not find may still be a repository for git.
fn has_git(folder: &Path) -> bool {
    folder.ancestors().any(|up| up.join(".git").exists())
}
