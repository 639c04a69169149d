//! The one file that knows libgit2.

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use git2::{ErrorCode, ObjectType, Odb, Oid, RepositoryOpenFlags, TreeWalkMode, TreeWalkResult};
use schema::read::{LARGEST_FILE, Problem};
use walkdir::WalkDir;

use super::locate::{self, Locals};
use super::place::{Commit, Content, Entry, EntryKind, Index};
use super::{plumbing, text_of};

/// Why libgit2 could not do it: a shape that it does not know, another owner, or damage. Git is asked next.
pub(super) struct Failure(pub(super) String);

impl From<git2::Error> for Failure {
    fn from(error: git2::Error) -> Self {
        Self(error.message().to_owned())
    }
}

/// A repository opened by libgit2.
pub(super) struct Library {
    repository: git2::Repository,
    folder: PathBuf,
    locals: Locals,
}

/// The stage in an index entry's flags: 0 unless a merge left it unmerged.
const STAGE: u16 = 0x3000;
/// Set by `git add --intent-to-add` in an index entry's extended flags.
const INTENT_TO_ADD: u16 = 1 << 13;
/// Set by a sparse checkout in an index entry's extended flags.
const SKIP_WORKTREE: u16 = 1 << 14;

impl Library {
    /// Opens the repository that holds a folder; `None` where there is none.
    pub(super) fn open(folder: &Path, locals: &Locals) -> Result<Option<Self>, Failure> {
        // Objects are checked by git when they are written; here their name is trusted.
        git2::opts::strict_hash_verification(false);
        let flags = match locals {
            // Not only the repository: where the user's configuration is.
            Locals::Nothing if !locate::binds() => RepositoryOpenFlags::CROSS_FS | RepositoryOpenFlags::FROM_ENV,
            Locals::Whole(_) => return Err(Failure("the environment puts the repository together".to_owned())),
            _ => RepositoryOpenFlags::CROSS_FS,
        };
        match git2::Repository::open_ext(folder, flags, std::iter::empty::<&Path>()) {
            Ok(repository) => Ok(Some(Self { repository, folder: folder.to_owned(), locals: locals.clone() })),
            Err(error) if error.code() == ErrorCode::NotFound && !has_git(folder) => Ok(None),
            Err(error) => Err(error.into()),
        }
    }

    /// The same repository behind git's own commands.
    pub(super) fn plumbing(&self) -> plumbing::Git {
        plumbing::Git::new(&self.folder, &self.locals)
    }

    /// The top of the work tree, or the repository itself and `true` where it is bare.
    pub(super) fn top(&self) -> (PathBuf, bool) {
        let path = |path: &Path| path.canonicalize().unwrap_or_else(|_| path.to_owned());
        match self.repository.workdir() {
            Some(top) => (path(top), false),
            None => (path(self.repository.path()), true),
        }
    }

    /// The index.
    pub(super) fn index(&self) -> Result<Index, Failure> {
        let index = match &self.locals {
            Locals::Index(file) => git2::Index::open(file)?,
            _ => self.repository.index()?,
        };
        let mut unmerged = Vec::new();
        let mut entries = Vec::with_capacity(index.len());
        for entry in index.iter() {
            let path = String::from_utf8_lossy(&entry.path).into_owned();
            if entry.flags & STAGE != 0 {
                unmerged.push(path);
                continue;
            }
            let Some(kind) = EntryKind::of_mode(entry.mode) else {
                return Err(Failure("an index entry of an unknown mode".to_owned()));
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

    /// A revision's commit and the files of its tree.
    pub(super) fn tree(&self, revision: &str) -> Result<(Commit, Vec<Entry>), Failure> {
        let commit = self.repository.revparse_single(revision)?.peel_to_commit()?;
        let time = commit.time();
        let seconds = time.seconds() + i64::from(time.offset_minutes()) * 60;
        let day = plumbing::day_of(seconds).ok_or_else(|| Failure("a commit without a date".to_owned()))?;
        let mut entries = Vec::new();
        commit.tree()?.walk(TreeWalkMode::PreOrder, |folder, entry| {
            let mode = u32::try_from(entry.filemode()).unwrap_or(0);
            if let Some(kind) = EntryKind::of_mode(mode) {
                let name = String::from_utf8_lossy(entry.name_bytes());
                let path = format!("{folder}{name}");
                entries.push(Entry { path, id: entry.id().to_string(), kind, skip_worktree: false, size: 0 });
            }
            TreeWalkResult::Ok
        })?;
        Ok((Commit { id: commit.id().to_string(), day }, entries))
    }

    /// Is there no commit yet on the branch that is checked out?
    pub(super) fn unborn(&self) -> Result<bool, Failure> {
        match self.repository.head() {
            Ok(_) => Ok(false),
            Err(error) if error.code() == ErrorCode::UnbornBranch => Ok(true),
            Err(error) => Err(error.into()),
        }
    }

    /// The contents of entries, in their order.
    pub(super) fn contents(&self, entries: &[&Entry]) -> Result<Vec<Content>, Failure> {
        let odb = self.repository.odb()?;
        entries.iter().map(|entry| content(&odb, entry)).collect()
    }

    /// The files below a folder that are not tracked and that libgit2 does not ignore, from the top; none where the
    /// folder itself is ignored.
    pub(super) fn untracked(&self, folder: &Path, top: &Path) -> Option<HashSet<String>> {
        let below = |path: &Path| path.strip_prefix(top).map(Path::to_owned).unwrap_or_default();
        let ignored = |path: &Path| self.repository.is_path_ignored(path).unwrap_or(false);
        if folder != top && ignored(&below(folder)) {
            return None;
        }
        let walk = WalkDir::new(folder).min_depth(1).into_iter();
        // The name of `.git` is not ignored, but never tracked.
        let kept = walk.filter_entry(|step| step.file_name() != ".git" && !ignored(&below(step.path())));
        let files = kept.filter_map(Result::ok).filter(|step| !step.file_type().is_dir());
        Some(files.map(|step| text_of(&below(step.path()))).collect())
    }
}

fn content(odb: &Odb<'_>, entry: &Entry) -> Result<Content, Failure> {
    let id = Oid::from_str(&entry.id)?;
    // The size in the index is that of the work tree's file: near enough to tell small from large.
    if entry.size == 0 || u64::from(entry.size) > LARGEST_FILE / 2 {
        let (size, _) = odb.read_header(id)?;
        if size as u64 > LARGEST_FILE {
            return Ok(Err(Problem::too_large(size as u64)));
        }
    }
    let object = odb.read(id)?;
    if object.kind() != ObjectType::Blob {
        return Err(Failure(format!("{} is no file", entry.id)));
    }
    Ok(Ok(object.data().into()))
}

/// Is there a `.git` above the folder, so that somebody thinks this is a repository?
fn has_git(folder: &Path) -> bool {
    folder.ancestors().any(|up| up.join(".git").exists())
}
