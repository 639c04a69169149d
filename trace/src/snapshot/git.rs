//! The one file that knows libgit2.

use std::cmp::Ordering;
use std::path::{Path, PathBuf};

use foldhash::HashSet;
use git2::{ErrorCode, ObjectType, Odb, Oid, RepositoryOpenFlags, Tree, TreeEntry, TreeWalkMode, TreeWalkResult};
use schema::read::{LARGEST_FILE, Problem};
use walkdir::WalkDir;

use super::locate::{self, Locals};
use super::past::{FileChange, Known, Place, Step, Walk, marker, plain, renamed};
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

impl Library {
    /// The commit that HEAD names; none before the first.
    pub(super) fn head(&self) -> Result<Option<String>, Failure> {
        match self.repository.head() {
            Ok(head) => Ok(Some(head.peel_to_commit()?.id().to_string())),
            Err(error) if matches!(error.code(), ErrorCode::UnbornBranch | ErrorCode::NotFound) => Ok(None),
            Err(error) => Err(error.into()),
        }
    }

    /// The folder that all work trees share; none where the environment puts the repository together.
    pub(super) fn common_folder(&self) -> Option<PathBuf> {
        let plain = matches!(self.locals, Locals::Nothing | Locals::Index(_) | Locals::Another);
        plain.then(|| self.repository.commondir().to_owned())
    }

    fn tree_of(&self, commit: &str) -> Result<Tree<'_>, Failure> {
        Ok(self.repository.find_commit(Oid::from_str(commit)?)?.tree()?)
    }

    /// Does a commit hold a file of this path?
    pub(super) fn has(&self, commit: &str, path: &str) -> Result<bool, Failure> {
        holds(&self.tree_of(commit)?, path)
    }

    /// The data roots of a commit.
    pub(super) fn roots(&self, commit: &str) -> Result<Vec<String>, Failure> {
        roots(&self.tree_of(commit)?)
    }

    /// The commits that changed a data root, back to the first or to one that is known (with its prefix).
    pub(super) fn walk(&self, from: &Place, known: &Known) -> Result<Walk, Failure> {
        let mut walk = Walk { tip: from.commit.clone(), ..Walk::default() };
        let mut prefix = from.prefix.clone();
        let mut commit = self.repository.find_commit(Oid::from_str(&from.commit)?)?;
        let mut tree = commit.tree()?;
        let mut own = below(&tree, &prefix)?;
        loop {
            let name = commit.id().to_string();
            if known.get(&name) == Some(&prefix) {
                walk.met = Some(name);
                break;
            }
            walk.passed += 1;
            let parent = match commit.parent(0) {
                Ok(parent) => Some(parent),
                Err(_) if commit.parent_count() == 0 => None,
                Err(_) if self.repository.is_shallow() => None,
                Err(error) => return Err(error.into()),
            };
            let mut before = None;
            let mut parent_prefix = prefix.clone();
            if let Some(parent) = &parent {
                let parent_tree = parent.tree()?;
                let parent_own = if parent_tree.id() == tree.id() {
                    own
                } else {
                    let file = marker(&prefix);
                    if !holds(&parent_tree, &file)? && holds(&tree, &file)? {
                        let there = |root: &str| holds(&tree, &marker(root)).unwrap_or(true);
                        parent_prefix = renamed(&roots(&parent_tree)?, there).unwrap_or(parent_prefix);
                    }
                    below(&parent_tree, &parent_prefix)?
                };
                before = Some((parent_tree, parent_own));
            }
            let parent_own = before.as_ref().and_then(|(_, own)| *own);
            if own != parent_own {
                let mut changes = Vec::new();
                let find = |id: Option<Oid>| id.map(|id| self.repository.find_tree(id)).transpose();
                self.compare(find(parent_own)?.as_ref(), find(own)?.as_ref(), "", &mut changes)?;
                let (author, zone) = (commit.author().when().seconds(), commit.author().when().offset_minutes());
                walk.steps.push(Step {
                    commit: name.clone(),
                    author_time: author,
                    committer_time: commit.time().seconds(),
                    zone,
                    tree: own.map(|id| id.to_string()).unwrap_or_default(),
                    prefix: prefix.clone(),
                    changes,
                    others: commit.parent_ids().skip(1).map(|id| id.to_string()).collect(),
                });
            }
            let (Some(parent), Some((parent_tree, parent_own))) = (parent, before) else {
                walk.shallow = self.repository.is_shallow() && self.is_cut(&name);
                break;
            };
            (commit, tree, own, prefix) = (parent, parent_tree, parent_own, parent_prefix);
        }
        walk.steps.reverse();
        Ok(walk)
    }

    /// A file of git's own for this work tree.
    pub(super) fn own_file(&self, name: &str) -> PathBuf {
        self.repository.path().join(name)
    }

    /// Does a shallow clone end at this commit?
    fn is_cut(&self, commit: &str) -> bool {
        // What cannot be read is taken to be cut.
        let list = std::fs::read_to_string(self.repository.commondir().join("shallow"));
        list.map_or(true, |list| list.lines().any(|line| line.trim() == commit))
    }

    /// The files in which two trees differ; equal subtrees are passed over by their names.
    fn compare(
        &self,
        old: Option<&Tree<'_>>,
        new: Option<&Tree<'_>>,
        folder: &str,
        out: &mut Vec<FileChange>,
    ) -> Result<(), Failure> {
        let mut before = old.map(|tree| tree.iter()).into_iter().flatten().peekable();
        let mut after = new.map(|tree| tree.iter()).into_iter().flatten().peekable();
        loop {
            // In the order of a tree, a folder stands as if its name ended in `/`.
            let order = match (before.peek(), after.peek()) {
                (None, None) => return Ok(()),
                (Some(_), None) => Ordering::Less,
                (None, Some(_)) => Ordering::Greater,
                (Some(a), Some(b)) => in_tree(a).cmp(in_tree(b)),
            };
            let a = if order.is_le() { before.next() } else { None };
            let b = if order.is_ge() { after.next() } else { None };
            if let (Some(a), Some(b)) = (&a, &b)
                && a.id() == b.id()
                && a.filemode() == b.filemode()
            {
                continue;
            }
            let Some(name) = a.as_ref().or(b.as_ref()).map(|entry| entry.name_bytes().to_vec()) else { return Ok(()) };
            let path = format!("{folder}{}", String::from_utf8_lossy(&name));
            let is_folder =
                |entry: &Option<TreeEntry<'_>>| entry.as_ref().is_some_and(|e| e.kind() == Some(ObjectType::Tree));
            if is_folder(&a) || is_folder(&b) {
                let find = |entry: &Option<TreeEntry<'_>>| {
                    entry.as_ref().map(|e| self.repository.find_tree(e.id())).transpose()
                };
                self.compare(find(&a)?.as_ref(), find(&b)?.as_ref(), &format!("{path}/"), out)?;
                continue;
            }
            let file = |entry: Option<TreeEntry<'_>>| {
                let entry = entry.filter(|e| plain(u32::try_from(e.filemode()).unwrap_or(0)))?;
                Some(entry.id().to_string())
            };
            let (old, new) = (file(a), file(b));
            if old != new {
                out.push(FileChange { path, old, new });
            }
        }
    }
}

/// The bytes of an entry's name as trees are sorted by them.
fn in_tree<'e>(entry: &'e TreeEntry<'_>) -> impl Iterator<Item = u8> + Clone + 'e {
    let end = (entry.kind() == Some(ObjectType::Tree)).then_some(b'/');
    entry.name_bytes().iter().copied().chain(end)
}

/// The object id of the folder of a prefix in a tree.
fn below(tree: &Tree<'_>, prefix: &str) -> Result<Option<Oid>, Failure> {
    if prefix.is_empty() {
        return Ok(Some(tree.id()));
    }
    match tree.get_path(Path::new(prefix.trim_end_matches('/'))) {
        Ok(entry) => Ok((entry.kind() == Some(ObjectType::Tree)).then(|| entry.id())),
        Err(error) if error.code() == ErrorCode::NotFound => Ok(None),
        Err(error) => Err(error.into()),
    }
}

fn holds(tree: &Tree<'_>, path: &str) -> Result<bool, Failure> {
    match tree.get_path(Path::new(path)) {
        Ok(entry) => Ok(plain(u32::try_from(entry.filemode()).unwrap_or(0))),
        Err(error) if error.code() == ErrorCode::NotFound => Ok(false),
        Err(error) => Err(error.into()),
    }
}

fn roots(tree: &Tree<'_>) -> Result<Vec<String>, Failure> {
    let mut roots = Vec::new();
    tree.walk(TreeWalkMode::PreOrder, |folder, entry| {
        if entry.name_bytes() == schema::settings::FILE.as_bytes() && entry.kind() == Some(ObjectType::Blob) {
            roots.push(folder.to_owned());
        }
        TreeWalkResult::Ok
    })?;
    Ok(roots)
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
