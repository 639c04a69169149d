//! The repository of a folder, read by libgit2 if possible, otherwise by git's own commands.

use std::cell::{OnceCell, RefCell};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use foldhash::{HashMap, HashSet};
use schema::read::LARGEST_FILE;

use super::access::{Access, Entry, EntryKind, Index, NamedCommit, Object, ObjectKind, too_much};
use super::config_size;
use super::environment::{Environment, Locals};
use super::error::GitError;
use super::library::{Library, SHALLOW};
use super::objects::{Most, Trail, Tree};
use super::plumbing::Plumbing;
use super::regular::{self, NotRead};
use super::revisions;
use super::untracked;
use crate::parallel::both;
use crate::snapshot::Content;

/// The largest list of the ends of a shallow clone, in bytes.
const MOST_SHALLOW: u64 = 16 << 20;

/// The hint if there is no better one.
const SEE_STATUS: &str = "run `git status` there, and fix what it reports";

/// A repository.
pub(super) struct Repository {
    /// `None` if libgit2 cannot read it at all.
    library: Option<Library>,
    plumbing: Plumbing,
    /// The top of the working tree; the repository itself if it is bare.
    pub(super) top: PathBuf,
    pub(super) bare: bool,
    /// The commits that the environment names as those of a merge.
    merged: Vec<String>,
    end: OnceCell<ShallowEnd>,
    common: OnceCell<Option<PathBuf>>,
    /// The trees that were read last, by id.
    pub(super) trees: RefCell<HashMap<String, Arc<Tree>>>,
}

/// The end of the history if the clone is shallow.
pub(super) enum ShallowEnd {
    /// The clone is not shallow.
    None,
    /// At these commits.
    At(HashSet<String>),
    /// The list of them cannot be read.
    Unknown,
}

impl Repository {
    /// The repository that holds a folder; `None` if there is none.
    pub(super) fn find(folder: &Path, cwd: &Path, environment: &Environment) -> Result<Option<Self>, GitError> {
        let locals = Locals::new(folder, cwd, environment);
        config_size::check(folder, &locals, environment)?;
        let plumbing = Plumbing::new(folder, &locals);
        let (library, (top, bare)) = match Library::open(folder, &locals, environment) {
            Ok(Some(library)) => {
                let top = library.top();
                (Some(library), top)
            }
            Ok(None) => return Ok(None),
            Err(cause) => match plumbing.top(environment) {
                Ok(Some(top)) => (None, top),
                Ok(None) => return Ok(None),
                Err(error @ GitError::OtherOwner { .. }) => return Err(error),
                Err(error) => {
                    let hint = error.hint().unwrap_or_else(|| SEE_STATUS.to_owned());
                    return Err(GitError::Unreadable { cause: format!("{cause}; {error}"), hint });
                }
            },
        };
        let merged = if locals == Locals::Another { Vec::new() } else { environment.merge_heads() };
        let (end, common, trees) = (OnceCell::new(), OnceCell::new(), RefCell::default());
        Ok(Some(Self { library, plumbing, top, bare, merged, end, common, trees }))
    }

    /// Runs an operation with libgit2, or with git's commands if libgit2 fails.
    fn run<T>(&self, operation: impl Fn(&dyn Access) -> Result<T, GitError>) -> Result<T, GitError> {
        match self.library.as_ref().map(|library| operation(library)) {
            Some(Ok(done)) => Ok(done),
            // It is no less large for git.
            Some(Err(error @ GitError::LargeObject { .. })) => Err(error),
            Some(Err(_)) | None => operation(&self.plumbing),
        }
    }

    /// The index.
    pub(super) fn index(&self) -> Result<Index, GitError> {
        self.run(|access| access.index())
    }

    /// The commit of a revision and all its files.
    pub(super) fn files_of(&self, revision: &str) -> Result<(NamedCommit, Vec<Entry>), GitError> {
        let ends_at = |id: &str| matches!(self.shallow_end(), Ok(ShallowEnd::At(ends)) if ends.contains(id));
        let commit = self.run(|access| revisions::resolve(access, revision, &ends_at));
        let commit = commit.map_err(|error| GitError::no_such_revision(revision, error))?;
        let entries = self.files_in(&commit.id)?;
        Ok((commit, entries))
    }

    /// Whether the branch that is checked out has no commit yet.
    pub(super) fn is_unborn(&self) -> Result<bool, GitError> {
        self.run(|access| access.is_unborn())
    }

    /// The files below a prefix in a commit of the history, by its full id.
    pub(super) fn files_below(&self, commit: &str, prefix: &str) -> Result<(NamedCommit, Vec<Entry>), GitError> {
        let parsed = self.commit(commit)?;
        let day = parsed.day().ok_or_else(|| GitError::DamagedObject { object: commit.to_owned() })?;
        let trail = self.trail(&parsed.tree, prefix, &Trail::default())?;
        let mut entries = Vec::new();
        if let Some(folder) = trail.folder() {
            self.list_below(folder, prefix, &mut Most::of_commit(), &mut entries)?;
        }
        Ok((NamedCommit { id: commit.to_owned(), day }, entries))
    }

    /// All files of a commit, by its full id.
    fn files_in(&self, commit: &str) -> Result<Vec<Entry>, GitError> {
        let mut entries = Vec::new();
        self.list_below(&self.commit(commit)?.tree, "", &mut Most::of_commit(), &mut entries)?;
        Ok(entries)
    }

    /// The contents of entries, in their order, of at most so many bytes in all.
    pub(super) fn contents(&self, entries: &[&Entry], most: u64) -> Result<Vec<Content>, GitError> {
        self.run(|access| access.contents(entries, most))
    }

    /// The content of one blob with a limit of its own.
    pub(super) fn large_content(&self, id: &str, most: u64) -> Result<Content, GitError> {
        self.run(|access| access.large_content(id, most))
    }

    /// The contents of blobs, in their order.
    pub(super) fn blobs(&self, ids: &[&str]) -> Result<Vec<Content>, GitError> {
        let entries: Vec<Entry> = ids.iter().map(|id| Entry::of_object(id)).collect();
        let entries: Vec<&Entry> = entries.iter().collect();
        self.run(|access| access.contents(&entries, u64::MAX))
    }

    /// The contents of the first of these blobs, in their order: at least one, and not many more bytes than a large file.
    pub(super) fn first_blobs(&self, ids: &[&str]) -> Result<Vec<Content>, GitError> {
        let entries: Vec<Entry> = ids.iter().map(|id| Entry::of_object(id)).collect();
        let entries: Vec<&Entry> = entries.iter().collect();
        let mut contents = self.run(|access| access.contents(&entries, LARGEST_FILE))?;
        let too_much = too_much();
        let end = contents.iter().position(|content| content.as_ref().is_err_and(|error| *error == too_much));
        contents.truncate(end.unwrap_or(contents.len()).max(1));
        Ok(contents)
    }

    /// The commit of HEAD; `None` before the first commit.
    pub(super) fn head(&self) -> Result<Option<String>, GitError> {
        self.run(|access| access.head())
    }

    /// A commit or a tree as it is stored.
    pub(super) fn object(&self, id: &str) -> Result<Object, GitError> {
        self.run(|access| access.object(id))
    }

    /// The project roots of a commit, as prefixes.
    pub(super) fn roots(&self, commit: &str) -> Result<Vec<String>, GitError> {
        let entries = self.files_in(commit)?;
        Ok(roots(&entries).map(str::to_owned).collect())
    }

    /// The commits that come in with a merge that is not committed yet.
    pub(super) fn merge_heads(&self) -> Result<Vec<String>, GitError> {
        let path = self.run(|access| access.own_file("MERGE_HEAD"))?;
        let list = regular::small_text(&path).unwrap_or_default();
        let list: Vec<String> =
            list.lines().map(|line| line.trim().to_owned()).filter(|line| !line.is_empty()).collect();
        if !list.is_empty() {
            return Ok(list);
        }
        let is_commit = |id: &&String| self.object(id).is_ok_and(|object| object.kind == ObjectKind::Commit);
        Ok(self.merged.iter().filter(is_commit).cloned().collect())
    }

    /// The end of the history if the clone is shallow.
    pub(super) fn shallow_end(&self) -> Result<&ShallowEnd, GitError> {
        if let Some(known) = self.end.get() {
            return Ok(known);
        }
        let path = self.run(|access| access.own_file(SHALLOW))?;
        let end = match regular::read(&path, MOST_SHALLOW) {
            Ok(list) if list.trim_ascii().is_empty() => ShallowEnd::None,
            Ok(list) => {
                let list = String::from_utf8_lossy(&list);
                ShallowEnd::At(list.lines().map(|line| line.trim().to_owned()).collect())
            }
            Err(NotRead::Failed(error)) if error.kind() == std::io::ErrorKind::NotFound => ShallowEnd::None,
            Err(_) => ShallowEnd::Unknown,
        };
        Ok(self.end.get_or_init(|| end))
    }

    /// The folder that all working trees share; `None` if the environment puts the repository together.
    pub(super) fn common_folder(&self) -> Option<PathBuf> {
        self.common.get_or_init(|| self.find_common_folder()).clone()
    }

    fn find_common_folder(&self) -> Option<PathBuf> {
        let folder = match &self.library {
            Some(library) => library.common_folder(),
            None => self.plumbing.common_folder(),
        }?;
        let folder = (folder.join("HEAD").exists() && folder.join("objects").is_dir()).then_some(folder)?;
        owns(&self.top, &folder).then_some(folder)
    }

    /// The files below a folder that are not tracked and that git does not ignore, from the top; `None` if the
    /// folder itself is ignored.
    ///
    /// Git's command is run even if libgit2 reads the rest, because libgit2 (1.9) misses `!keep.yaml` in a folder if the
    /// rule that it lifts is further up, and does not read rules from `git -c`. libgit2 does it only if there is no git.
    ///
    /// Git runs while `work` is done.
    pub(super) fn untracked_during<T>(
        &self,
        folder: &Path,
        work: impl FnOnce() -> T,
    ) -> (Result<Option<HashSet<String>>, GitError>, T) {
        let (git, top) = (&self.plumbing.git, self.top.as_path());
        let (listed, done) = both(|| untracked::list(git, folder, top), work);
        let listed = match (listed, &self.library) {
            (Err(GitError::NotStarted { .. }), Some(library)) => library.untracked(folder, &self.top),
            (listed, _) => listed,
        };
        let listed = listed.map_err(|error| {
            let hint = error.hint().unwrap_or_else(|| SEE_STATUS.to_owned());
            GitError::Unlisted { cause: error.to_string(), hint }
        });
        (listed, done)
    }
}

/// The project roots among entries, as prefixes: empty, or ending in `/`.
pub(super) fn roots(entries: &[Entry]) -> impl Iterator<Item = &str> {
    let files = entries.iter().filter(|entry| entry.kind == EntryKind::File);
    let prefixes = files.filter_map(|entry| entry.path.strip_suffix(schema::settings::FILE));
    prefixes.filter(|prefix| prefix.is_empty() || prefix.ends_with('/'))
}

/// Whether git's folder belongs to a working tree: it is inside, in the place of `.git` or of what a file there names, or it names
/// the tree. A `.git` file may lead to another repository, and `core.worktree` to any folder: nothing must be written there.
pub(super) fn owns(top: &Path, common: &Path) -> bool {
    let real = |path: &Path| path.canonicalize().ok();
    let (Some(common), Some(top)) = (real(common), real(top)) else { return false };
    if common == top {
        // A bare repository.
        return true;
    }
    let dot = top.join(".git");
    let text = regular::small_linked(&dot).map(|text| String::from_utf8_lossy(&text).into_owned());
    let own = match text.as_deref().map(|text| text.strip_prefix("gitdir:")) {
        Some(Some(path)) => real(&top.join(path.trim())),
        Some(None) => None,
        None => real(&dot),
    };
    let Some(own) = own else { return false };
    if own == common {
        if common.starts_with(&top) {
            return true;
        }
        // A submodule: its configuration has the path of its working tree.
        let config = regular::small_text(&own.join("config")).unwrap_or_default();
        let tree = config.lines().find_map(|line| line.trim().strip_prefix("worktree")?.trim_start().strip_prefix('='));
        return tree.and_then(|path| real(&own.join(path.trim()))) == Some(top);
    }
    // A linked working tree: its folder is one of git's, and has the path back.
    let back = regular::small_text(&own.join("gitdir")).and_then(|path| real(&own.join(path.trim())));
    own.starts_with(common.join("worktrees")) && back == real(&dot)
}
