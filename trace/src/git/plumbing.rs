//! Reading a repository by git's own commands, for what libgit2 does not read: reftable, SHA-256, split and sparse
//! indexes, and future formats.

use std::cell::RefCell;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use foldhash::HashSet;
use schema::Day;
use schema::read::{LARGEST_FILE, Problem};

use super::access::{Access, Entry, EntryKind, Index, NamedCommit, Object, ObjectKind, largest, within};
use super::environment::{Environment, Locals};
use super::error::GitError;
use super::process::{Git, ObjectProcess, StoredObject, unexpected};
use super::untracked;
use crate::snapshot::Content;

/// A repository behind the program `git`.
pub(super) struct Plumbing {
    pub(super) git: Git,
    /// Started with the first object that is read: the one for sizes, and the one for contents.
    objects: RefCell<Option<[ObjectProcess; 2]>>,
}

impl Plumbing {
    pub(super) fn new(folder: &Path, locals: &Locals) -> Self {
        Self { git: Git::new(folder, locals), objects: RefCell::new(None) }
    }

    /// The top of the working tree, or the repository itself and `true` if it is bare; `None` outside of any.
    pub(super) fn top(&self, environment: &Environment) -> Result<Option<(PathBuf, bool)>, GitError> {
        let Some(bare) = self.is_bare(environment)? else { return Ok(None) };
        let what = if bare { "--absolute-git-dir" } else { "--show-toplevel" };
        let top = PathBuf::from(self.git.text(&["rev-parse", what])?);
        Ok(Some((top.canonicalize().unwrap_or(top), bare)))
    }

    /// Whether the repository is bare; `None` outside of any.
    pub(super) fn is_bare(&self, environment: &Environment) -> Result<Option<bool>, GitError> {
        const IS_BARE: [&str; 2] = ["rev-parse", "--is-bare-repository"];
        match self.git.text(&IS_BARE) {
            Ok(bare) => Ok(Some(bare == "true")),
            // Git ends with the same code if there is no repository, if it does not trust it, and if it is damaged.
            Err(error @ GitError::Refused { .. }) => {
                if !environment.names_repository(&self.git.folder, &self.git.locals) {
                    return Ok(None);
                }
                // This command runs nothing from the repository, so it is safe for any owner.
                const TRUSTED: [&str; 2] = ["-c", "safe.directory=*"];
                let Ok(bare) = self.git.text(&[TRUSTED, IS_BARE].concat()) else { return Err(error) };
                let folder = if bare == "true" { "--absolute-git-dir" } else { "--show-toplevel" };
                let folder = self.git.text(&[TRUSTED, ["rev-parse", folder]].concat())?;
                Err(GitError::OtherOwner { folder: folder.into() })
            }
            Err(error) => Err(error),
        }
    }

    /// The folder that hooks are run from.
    pub(super) fn hooks(&self, top: &Path) -> Result<PathBuf, GitError> {
        // A relative path counts from the folder git runs in.
        let path = PathBuf::from(self.git.text(&["rev-parse", "--git-common-dir"])?).join("hooks");
        let configured = self.git.configured_path("core.hooksPath");
        Ok(match configured {
            // A relative `core.hooksPath` counts from the folder where hooks are run: the top.
            Some(relative) if relative.is_relative() => top.join(relative),
            Some(absolute) => absolute,
            None if path.is_relative() => self.git.folder.join(path),
            None => path,
        })
    }

    /// An object by the processes that stay open. One that is larger than `most` of its kind is not asked for, because git would read it
    /// as a whole.
    fn stored(&self, id: &str, most: impl Fn(&str) -> u64) -> Result<StoredObject, GitError> {
        let mut processes = self.objects.borrow_mut();
        let open = match processes.take() {
            Some(open) => open,
            None => [ObjectProcess::start(&self.git, "--batch-check")?, ObjectProcess::start(&self.git, "--batch")?],
        };
        let [sizes, contents] = processes.insert(open);
        let read = sizes.header(id).and_then(|header| match header {
            Some((kind, size)) if size > most(&kind) => Ok(Some(StoredObject { kind, size, bytes: None })),
            Some(_) => contents.read(id),
            None => Ok(None),
        });
        if read.is_err() {
            // A process that failed is not used again.
            *processes = None;
        }
        read?.ok_or_else(|| missing(id))
    }
}

/// The kind of an object by git's word.
fn kind_of(word: &str) -> ObjectKind {
    match word {
        "commit" => ObjectKind::Commit,
        "tree" => ObjectKind::Tree,
        "tag" => ObjectKind::Tag,
        _ => ObjectKind::Other,
    }
}

/// The exit code of `git rev-parse --verify -q` for an unknown name.
const NO_SUCH_NAME: i32 = 1;

impl Access for Plumbing {
    fn named(&self, name: &str) -> Result<Option<String>, GitError> {
        let id = self.git.text(&["rev-parse", "--verify", "--end-of-options", name])?;
        Ok(id.bytes().all(|b| b.is_ascii_hexdigit()).then_some(id))
    }

    fn resolve(&self, revision: &str) -> Result<NamedCommit, GitError> {
        // In two steps, because in `:/text` everything that follows is text.
        let parse = |name: &str| self.git.text(&["rev-parse", "--verify", "--end-of-options", name]);
        let id = parse(revision).and_then(|object| parse(&format!("{object}^{{commit}}")))?;
        if !id.bytes().all(|b| b.is_ascii_hexdigit()) {
            return Err(unexpected("rev-parse", &id));
        }
        let when = self.git.text(&["show", "--no-patch", "--format=%ct %ci", &id, "--"])?;
        let day = commit_day(&when).ok_or_else(|| unexpected("show", &when))?;
        Ok(NamedCommit { id, day })
    }

    /// An entry only meant to be added is listed as an empty file: no records and no evidence either way.
    fn index(&self) -> Result<Index, GitError> {
        let args = ["ls-files", "-z", "-s", "-t", "--full-name", "--", ":/"].map(OsStr::new);
        let out = self.git.run(&args)?;
        let mut index = Index::default();
        for line in out.split(|b| *b == 0).filter(|line| !line.is_empty()) {
            // `H 100644 <id> <stage>\t<path>`
            let line = String::from_utf8_lossy(line);
            let (meta, path) = line.split_once('\t').ok_or_else(|| unexpected("ls-files", &line))?;
            let fields: Vec<&str> = meta.split(' ').collect();
            let [tag, mode, id, stage] = fields[..] else { return Err(unexpected("ls-files", &line)) };
            if stage != "0" {
                index.unmerged.push(path.to_owned());
                continue;
            }
            let mode = u32::from_str_radix(mode, 8).map_err(|_| unexpected("ls-files", &line))?;
            let kind = EntryKind::from_mode(mode).ok_or_else(|| unexpected("ls-files", &line))?;
            let skip_worktree = tag == "S";
            index.entries.push(Entry { path: path.to_owned(), id: id.to_owned(), kind, skip_worktree, size: 0 });
        }
        Ok(index)
    }

    fn head(&self) -> Result<Option<String>, GitError> {
        match self.git.text(&["rev-parse", "--verify", "-q", "HEAD"]) {
            Ok(id) => Ok(Some(id)),
            Err(GitError::Refused { code: Some(NO_SUCH_NAME), .. }) => Ok(None),
            Err(error) => Err(error),
        }
    }

    fn is_unborn(&self) -> Result<bool, GitError> {
        if self.git.text(&["rev-parse", "--verify", "--quiet", "HEAD"]).is_ok() {
            return Ok(false);
        }
        // The branch has a name, but no commit.
        let branch = self.git.text(&["symbolic-ref", "--quiet", "HEAD"])?;
        Ok(self.git.text(&["show-ref", "--verify", "--quiet", &branch]).is_err())
    }

    fn object(&self, id: &str) -> Result<Object, GitError> {
        let object = self.stored(id, |kind| largest(kind_of(kind)))?;
        match object.bytes {
            Some(bytes) => Ok(Object { kind: kind_of(&object.kind), bytes }),
            None => Err(GitError::LargeObject { object: id.to_owned() }),
        }
    }

    fn contents(&self, entries: &[&Entry], most: u64) -> Result<Vec<Content>, GitError> {
        let mut left = most;
        let content = |entry: &&Entry| {
            let object = self.stored(&entry.id, |_| LARGEST_FILE)?;
            if object.kind != "blob" {
                return Err(missing(&entry.id));
            }
            let content = object.bytes.map(Into::into).ok_or_else(|| Problem::too_large(object.size));
            Ok(within(&mut left, content))
        };
        entries.iter().map(content).collect()
    }

    fn large_content(&self, id: &str, most: u64) -> Result<Content, GitError> {
        let object = self.stored(id, |_| most)?;
        if object.kind != "blob" {
            return Err(missing(id));
        }
        Ok(object.bytes.map(Into::into).ok_or_else(|| Problem::above_limit(object.size, most)))
    }

    fn untracked(&self, folder: &Path, top: &Path) -> Result<Option<HashSet<String>>, GitError> {
        untracked::list(&self.git, folder, top)
    }

    fn common_folder(&self) -> Option<PathBuf> {
        if matches!(self.git.locals, Locals::Whole(_)) {
            return None;
        }
        Some(self.git.folder.join(self.git.text(&["rev-parse", "--git-common-dir"]).ok()?))
    }

    fn own_file(&self, name: &str) -> Result<PathBuf, GitError> {
        Ok(self.git.folder.join(self.git.text(&["rev-parse", "--git-path", name])?))
    }
}

/// The day of `<seconds> <date> <time> <zone>` as `git show` prints it, in that time zone.
fn commit_day(text: &str) -> Option<Day> {
    Day::parse(text.lines().last()?.split(' ').nth(1)?).ok()
}

fn missing(what: &str) -> GitError {
    GitError::MissingObject { object: what.to_owned() }
}
