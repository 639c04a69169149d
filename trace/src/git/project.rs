//! A project that is opened: everything that is read from disk or from git goes through it.
//!
//! Reading has two phases. [`Project::snapshot`] reads the settings, the record files and what is next to them; the
//! records are decoded; then [`Project::fetch`] reads the files that they name. After that nothing is read.

use std::cell::{Cell, OnceCell};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use schema::Day;
use schema::read::Problem;

use super::access::{Entry, MOST_TABLES, within};
use super::base::{self, Base};
use super::cache_file::CacheFile;
use super::environment::Environment;
use super::error::GitError;
use super::models_cache::ModelsCache;
use super::records_cache::{self, Early, Others};
use super::reports_cache;
use super::repository::Repository;
use super::spreadsheet;
use super::walk::CommitSource;
use super::write::{self, NewFile};
use super::{entries, worktree};
use crate::delta::{Parent, Parents};
use crate::history::commit_state::state_at;
use crate::history::{Commit, Logs, Past};
use crate::load::{Loaded, ParseCache};
use crate::parallel::{both, cores, during};
use crate::snapshot::{Content, OtherFile, Repositories, Request, Snapshot, Source, State, inside, text_of};
use crate::stress::SharedFields;
use crate::values::runs::ModelRuns;
use crate::{Error, Study, checks};

/// An opened project. Threads can read several projects at the same time, each with its own.
pub struct Project {
    /// The folder the command was started in.
    cwd: PathBuf,
    /// The folder that was named, otherwise the current folder.
    path: PathBuf,
    state: State,
    /// Read once, so that everything follows from the same variables.
    environment: Environment,
    of_root: OnceCell<Option<Repository>>,
    of_path: OnceCell<Option<Repository>>,
    models: OnceCell<ModelsCache>,
    stress_fields: Arc<SharedFields>,
}

/// What was calculated with models is kept when the project is closed: values are evaluated when they are asked for.
impl Drop for Project {
    fn drop(&mut self) {
        if let Some(models) = self.models.get()
            && !std::thread::panicking()
        {
            models.keep();
        }
    }
}

impl std::fmt::Debug for Project {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Project").field("path", &self.path).field("state", &self.state).finish_non_exhaustive()
    }
}

impl Project {
    /// Opens the project of a request. Errors come with what is read first.
    pub fn open(request: &Request) -> Self {
        let path = request.path.as_ref().map_or_else(|| request.cwd.clone(), |path| request.cwd.join(path));
        Self {
            cwd: request.cwd.clone(),
            path,
            state: request.state.clone(),
            environment: Environment::read(),
            of_root: OnceCell::new(),
            of_path: OnceCell::new(),
            models: OnceCell::new(),
            stress_fields: Arc::default(),
        }
    }

    /// Reads the state that was requested: settings, record files, and what is next to them.
    ///
    /// # Errors
    /// No project, no repository, a revision that does not exist, an index in the middle of a merge, or a repository
    /// that neither libgit2 nor git can read; each with how to fix it.
    pub fn snapshot(&self) -> Result<Snapshot, Error> {
        let snapshot = match &self.state {
            State::Worktree => worktree::take(self)?,
            State::Index => entries::index(self)?,
            State::Revision(revision) => entries::revision(self, revision)?,
        };
        let records = snapshot.files.iter().skip(1);
        let (listed, unread) =
            records.fold((0, 0), |(all, unread), file| (all + 1, unread + usize::from(file.content.is_err())));
        if listed > 0 && listed == unread {
            let first = snapshot.files.get(1).and_then(|file| file.content.as_ref().err().map(|e| (&file.path, e)));
            let mut error = Error::new(format!("none of the {listed} record files could be read"));
            if let Some((path, problem)) = first {
                error = error.because(format!("{path}: {}", problem.message)).help(problem.help.clone());
            }
            return Err(error);
        }
        Ok(snapshot)
    }

    /// Reads the state that was requested, decodes its records and fetches the files that they name.
    ///
    /// # Errors
    /// Those of [`Project::snapshot`].
    pub fn load(&self) -> Result<Loaded, Error> {
        self.load_with(&mut ParseCache::default())
    }

    /// The same with files that were decoded before.
    ///
    /// # Errors
    /// Those of [`Project::snapshot`].
    pub fn load_with(&self, pool: &mut ParseCache) -> Result<Loaded, Error> {
        let (early, snapshot) = match self.large_records_cache() {
            Some(cache) => {
                let (kept, snapshot) = both(|| cache.read(), || self.snapshot());
                (Some((cache, kept)), snapshot)
            }
            None => (None, self.snapshot()),
        };
        Ok(self.decode(early, snapshot?, pool, Others::Few).fetched(self))
    }

    /// The cache of the decoded records, if it takes longer to read it than to start a thread for that. It is that of the
    /// root in the working tree, which may be another one than that of the state that was requested.
    fn large_records_cache(&self) -> Option<CacheFile> {
        const LARGE: u64 = 256 << 10;
        if cores() == 1 {
            return None;
        }
        let root = worktree::find_root(&self.path).ok()?;
        let repository = match &self.state {
            State::Worktree => self.repository_of_root(&root),
            State::Index | State::Revision(_) => entries::repository(self),
        };
        let repository = repository.ok()?.filter(|repository| !repository.bare)?;
        let prefix = worktree::prefix(&root, repository);
        let cache = CacheFile::of_records_below(&repository.common_folder()?, &prefix)?;
        (cache.size() >= LARGE).then_some(cache)
    }

    /// The project at a revision that another state of it is compared with: in the same folder, otherwise the only one
    /// there is. Empty if the revision has none, and if there is no commit yet.
    ///
    /// # Errors
    /// Those of [`Project::snapshot`], and more than one project if none is in the same folder.
    pub fn load_before(&self, revision: &str, head: &Snapshot, pool: &mut ParseCache) -> Result<Loaded, Error> {
        let snapshot = entries::before(self, revision, head)?;
        Ok(self.decode(None, snapshot, pool, Others::All).fetched(self))
    }

    /// The revisions that the next commit has as parents: the last commit and, during a merge, what is merged.
    ///
    /// # Errors
    /// A repository that cannot be read.
    pub fn parents_of_next_commit(&self, next: &Snapshot) -> Result<Vec<String>, Error> {
        let merged = self.commits(next).merge_heads()?;
        Ok(std::iter::once("HEAD".to_owned()).chain(merged).collect())
    }

    /// The states that a change starts from, evaluated for the date of `head` and compared by their findings alone; the
    /// first revision is the base.
    ///
    /// # Errors
    /// Those of [`Project::load_before`]; no revision.
    pub fn parents(
        &self,
        revisions: &[String],
        head: &Loaded,
        day: Day,
        pool: &mut ParseCache,
        logs: &mut Logs,
    ) -> Result<Parents, Error> {
        let loaded = revisions.iter().map(|revision| self.load_before(revision, &head.snapshot, pool));
        let mut loaded = loaded.collect::<Result<Vec<Loaded>, Error>>()?.into_iter();
        let first = loaded.next().ok_or_else(|| Error::new("no revision to compare with"))?;
        let first = match first.unread() {
            0 => Parent { seen: self.study_with_report(first, day, logs), repaired: None },
            _ => self.parent(first, head, day, logs),
        };
        Ok(Parents { first, others: loaded.map(|loaded| self.parent(loaded, head, day, logs)).collect() })
    }

    /// A state that `head` is compared with, evaluated for a date.
    pub fn parent(&self, loaded: Loaded, head: &Loaded, day: Day, logs: &mut Logs) -> Parent {
        let repaired = loaded.repaired_by(head).map(|loaded| loaded.fetched(self));
        let seen = self.study_for_checks(loaded, day, logs);
        Parent { seen, repaired: repaired.map(|loaded| self.study_for_checks(loaded, day, logs)) }
    }

    /// A commit with its report. A report that an earlier run has kept is not evaluated again: then the study has no
    /// history.
    fn study_with_report(&self, loaded: Loaded, day: Day, logs: &mut Logs) -> Study {
        if let Some(report) = reports_cache::read(self.commits(&loaded.snapshot), day) {
            return Study::with_report(loaded, day, report);
        }
        let study = self.study_for_checks(loaded, day, logs);
        study.report();
        reports_cache::keep(self.commits(&study.loaded.snapshot), &study);
        study
    }

    /// Decodes the files that neither `pool` nor an earlier run has decoded.
    fn decode(&self, early: Option<Early>, snapshot: Snapshot, pool: &mut ParseCache, others: Others) -> Loaded {
        match CacheFile::of_records(self.commits(&snapshot)) {
            Some(cache) => records_cache::decode(&cache, early, snapshot, pool, others),
            None => Loaded::from_pool(snapshot, pool),
        }
    }

    /// The project at a commit of its history, given its prefix there; what `other` has read already is shared.
    pub(crate) fn load_commit(
        &self,
        commit: &str,
        prefix: &str,
        head: &Snapshot,
        other: Option<&Snapshot>,
        pool: &mut ParseCache,
    ) -> Result<Loaded, Error> {
        let snapshot = entries::at_commit(self, commit, prefix, head, other)?;
        Ok(Loaded::from_pool(snapshot, pool).fetched(self))
    }

    /// The state at a commit of the history of a study, evaluated for the date of that commit and without a history.
    ///
    /// # Errors
    /// A commit that is not committed yet, or whose records cannot be read any more.
    pub fn study_at(&self, commit: &Commit, study: &Study) -> Result<Study, Error> {
        let Some(id) = commit.id.as_deref() else { return Err(Error::new("it is not committed yet")) };
        let head = &study.loaded.snapshot;
        let loaded = self.load_commit(id, &commit.prefix, head, None, &mut ParseCache::of_many_states())?;
        Ok(Study::without_history(loaded, commit.day))
    }

    /// Reads the files that records or settings name: whether `files` are there, and the contents of `tables`. What
    /// the snapshot has already is not read again.
    pub fn fetch(&self, snapshot: &mut Snapshot, files: &[&str], tables: &[&str]) {
        let on_disk = match (&snapshot.source, &snapshot.folder) {
            (Source::Worktree, Some(folder)) => Some(folder.clone()),
            _ => None,
        };
        for path in files.iter().filter_map(|path| inside(path)) {
            if !snapshot.others.contains_key(&path) {
                let there =
                    snapshot.listing.has(&path) || on_disk.as_ref().is_some_and(|root| worktree::has(root, &path));
                snapshot.others.insert(path, OtherFile { there, content: None });
            }
        }
        let tables: Vec<String> = tables.iter().filter_map(|path| inside(path)).collect();
        let left = Cell::new(MOST_TABLES);
        let read = |path: &Path| {
            let mut rest = left.get();
            let content = within(&mut rest, worktree::read(path));
            left.set(rest);
            content
        };
        let objects = self.read_others(snapshot, tables, &read);
        if objects.is_empty() {
            return;
        }
        let entries: Vec<&Entry> = objects.iter().map(|(_, entry)| entry).collect();
        let contents = match self.commits(snapshot).repository {
            Some(repository) => repository.contents(&entries, MOST_TABLES),
            None => Err(GitError::NoRepository { hint: "" }),
        };
        let contents = contents.unwrap_or_else(|error| {
            let problem = Problem::cannot_open(&error.message(), &error.hint().unwrap_or_default());
            vec![Err(problem); entries.len()]
        });
        for ((path, _), content) in objects.iter().zip(contents) {
            snapshot.others.entry(path.clone()).or_default().content = Some(content);
        }
    }

    /// The runs of models that earlier runs of the tool kept, and those that are added.
    pub(crate) fn model_runs(&self, snapshot: &Snapshot) -> Arc<ModelRuns> {
        self.models.get_or_init(|| ModelsCache::read(self.commits(snapshot))).runs()
    }

    /// The stress fields that were read so far.
    pub(crate) fn stress_fields(&self) -> &Arc<SharedFields> {
        &self.stress_fields
    }

    /// Reads files of the working tree that the snapshot does not have yet. Returns those of the index or a revision, with
    /// their objects.
    pub(super) fn read_others(
        &self,
        snapshot: &mut Snapshot,
        paths: Vec<String>,
        read: &dyn Fn(&Path) -> Content,
    ) -> Vec<(String, Entry)> {
        let on_disk = match (&snapshot.source, &snapshot.folder) {
            (Source::Worktree, Some(folder)) => Some(folder.clone()),
            _ => None,
        };
        let mut objects: Vec<(String, Entry)> = Vec::new();
        for path in paths {
            if snapshot.others.get(&path).is_some_and(|file| file.content.is_some()) {
                continue;
            }
            if let Some(id) = snapshot.listing.tables.get(&path) {
                objects.push((path, Entry::of_object(id)));
            } else if snapshot.listing.links.contains(&path) {
                snapshot.others.entry(path).or_default().content = Some(Err(entries::symlink()));
            } else if let Some(root) = &on_disk
                && worktree::found(root, &path).is_some()
            {
                let content = read(&root.join(&path));
                snapshot.others.entry(path).or_default().content = Some(content);
            }
        }
        objects
    }

    /// Writes edited files of a snapshot of the working tree, each whole or not at all.
    ///
    /// # Errors
    /// The snapshot is not of the working tree; a file that is read-only, a link, or was changed since the snapshot; what
    /// the system refuses. Then no file is changed, or the error names those that could not be restored.
    pub fn write(&self, snapshot: &Snapshot, files: &[NewFile]) -> Result<(), Error> {
        match (&snapshot.source, &snapshot.folder) {
            (Source::Worktree, Some(root)) => write::write(root, files),
            _ => Err(Error::new("only files of the working tree can be written")),
        }
    }

    /// Reads a spreadsheet of the project from the working tree, by its path relative to the project root.
    ///
    /// # Errors
    /// It is missing, leads out of the project, is a link, too large, or cannot be read.
    pub fn spreadsheet(&self, snapshot: &Snapshot, path: &str) -> Result<Vec<u8>, Error> {
        spreadsheet::of_project(snapshot, path)
    }

    /// The commits behind a snapshot.
    pub(crate) fn commits<'p>(&'p self, snapshot: &'p Snapshot) -> CommitSource<'p> {
        let known = match snapshot.repository {
            Repositories::None => None,
            Repositories::OfRoot => self.of_root.get(),
            Repositories::OfPath => self.of_path.get(),
        };
        CommitSource { snapshot, repository: known.and_then(Option::as_ref) }
    }

    /// Whether the folder that was named is in a repository that has a commit. The folder need not exist.
    pub fn has_commits(&self) -> bool {
        let folder = self.path.ancestors().find(|folder| folder.is_dir());
        let repository = folder.and_then(|folder| self.repository_of_path(folder).ok().flatten());
        repository.is_some_and(|repository| repository.head().is_ok_and(|head| head.is_some()))
    }

    /// The revision that is named as base of a comparison; whether it exists is found out when it is read.
    pub fn named_base(&self, revision: &str) -> Base {
        base::named(self, revision)
    }

    /// The base of what was requested. In CI: the target of the request or the state before the push, according to the
    /// environment of the forge; on a merge that the forge itself made for a request, its first parent. Otherwise the
    /// merge base with the default branch; in CI, on the default branch itself, the commit before.
    ///
    /// # Errors
    /// No repository; no default branch; a history that is cut off before the base.
    pub fn find_base(&self, ci: bool) -> Result<Base, Error> {
        Ok(base::find(self, &self.state, ci)?)
    }

    /// A template of the project as it is at another revision; `None` if it is not there, or cannot be read.
    pub fn template_at(&self, base: &Base, head: &Snapshot, name: &str) -> Option<Content> {
        entries::before(self, &base.revision, head).ok()?.template(name).cloned()
    }

    /// Evaluates records for a date, given their history. The state at an earlier commit that a check needs is read here.
    pub fn study(&self, loaded: impl Into<Arc<Loaded>>, day: Day, past: Past) -> Study {
        self.with_past_state(Study::new(loaded, day, past))
    }

    /// Evaluates records for a date with the history that the checks need. While the history is read, and while the checks
    /// run that use no values, another thread evaluates the values.
    pub fn study_for_checks(&self, loaded: Loaded, day: Day, logs: &mut Logs) -> Study {
        self.study_for_checks_while(loaded, day, logs, |_, _| ()).0
    }

    /// The same, and `own` is done before the values are waited for.
    pub fn study_for_checks_while<T>(
        &self,
        loaded: Loaded,
        day: Day,
        logs: &mut Logs,
        own: impl FnOnce(&Study, &mut Logs) -> T,
    ) -> (Study, T) {
        let study = Study::without_history(loaded, day);
        let read = |logs: &mut Logs| study.provide_past(Past::for_checks(self, logs, &study.loaded, day));
        let done = if cores() > 1 && study.takes_long() {
            during(
                || study.evaluate_values(),
                || {
                    read(logs);
                    study.run_checks_without_values();
                    own(&study, logs)
                },
            )
        } else {
            read(logs);
            own(&study, logs)
        };
        (self.with_past_state(study), done)
    }

    /// The records and the history of a study, evaluated for another date.
    pub fn study_on(&self, study: &Study, day: Day) -> Study {
        self.study(Arc::clone(&study.loaded), day, study.past().clone())
    }

    /// Where the path that was named is in a snapshot of the project, relative to the project root: a file or a folder in
    /// it. `None` for the project root itself and for a folder around it.
    pub fn path_within(&self, snapshot: &Snapshot) -> Option<String> {
        let within = match (&snapshot.source, &snapshot.folder) {
            (Source::Worktree, Some(folder)) => {
                let path = self.path.canonicalize().ok()?;
                text_of(path.strip_prefix(folder).ok()?)
            }
            _ => {
                let from_top = format!("{}/", entries::start(self).ok()?);
                from_top.strip_prefix(&snapshot.prefix)?.trim_matches('/').to_owned()
            }
        };
        (!within.is_empty()).then_some(within)
    }

    /// The id of the commit that a snapshot is of, or was taken on top of, if there is one.
    pub fn last_commit(&self, snapshot: &Snapshot) -> Option<String> {
        match &snapshot.source {
            Source::Revision { commit, .. } => Some(commit.clone()),
            _ => self.commits(snapshot).tip().ok()?,
        }
    }

    /// The day of the last commit, if there is one.
    pub fn last_commit_day(&self, snapshot: &Snapshot) -> Option<Day> {
        let source = self.commits(snapshot);
        source.repository?.commit(&source.tip().ok()??).ok()?.day()
    }

    fn with_past_state(&self, mut study: Study) -> Study {
        if let Some(commit) = checks::no_action::commit_needed(&study) {
            let history = study.past().complete();
            let state = history.and_then(|history| state_at(self, &study.loaded, history, commit));
            if let Some(state) = state {
                study.provide_past_state(commit, state);
            }
        }
        study
    }

    pub(super) fn cwd(&self) -> &Path {
        &self.cwd
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    pub(super) fn environment(&self) -> &Environment {
        &self.environment
    }

    /// The repository of the project root in the working tree.
    pub(super) fn repository_of_root(&self, root: &Path) -> Result<Option<&Repository>, GitError> {
        self.find_once(&self.of_root, root)
    }

    /// The repository of an existing folder at or above the path that was named.
    pub(super) fn repository_of_path(&self, folder: &Path) -> Result<Option<&Repository>, GitError> {
        self.find_once(&self.of_path, folder)
    }

    fn find_once<'p>(
        &self,
        place: &'p OnceCell<Option<Repository>>,
        folder: &Path,
    ) -> Result<Option<&'p Repository>, GitError> {
        if let Some(known) = place.get() {
            return Ok(known.as_ref());
        }
        let found = Repository::find(folder, &self.cwd, &self.environment)?;
        Ok(place.get_or_init(|| found).as_ref())
    }
}
