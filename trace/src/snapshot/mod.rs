//! The same data root from the work tree, from the index or from a revision.
//!
//! A snapshot holds the bytes of every record file and knows which other files stand beside them, so
//! that evidence is looked up where the records came from. Nothing here writes into a repository that is
//! there: no lock is taken, no tree is written, nothing is stashed. `lay` makes a new one, in an empty folder.

mod base;
mod entries;
mod git;
mod lay;
mod locate;
mod log;
pub mod past;
mod place;
mod plumbing;
mod worktree;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use foldhash::{HashMap, HashSet};
use globset::{Glob, GlobSet, GlobSetBuilder};
use schema::read::Problem;
use schema::{Day, Settings, settings};

use crate::Error;
pub use base::Base;
pub use lay::{NewCommit, lay_out};
pub use place::{Content, hooks_folder};

/// Which state of the data root is read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum State {
    /// The files as they are in the folder.
    Worktree,
    /// The index: exactly what the next commit will hold.
    Index,
    /// A revision, by any name that git knows.
    Revision(String),
}

/// What is asked for.
#[derive(Clone, Debug)]
pub struct Request {
    /// The folder the command was started in.
    pub cwd: PathBuf,
    /// The data root, or a folder in it; the current folder where it is left out.
    pub path: Option<PathBuf>,
    /// Which state of it.
    pub state: State,
}

/// Where a snapshot came from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// The work tree.
    Worktree,
    /// The index.
    Index,
    /// A commit: its full name, and the day it was made.
    Revision {
        /// The full name of the commit.
        commit: String,
        /// The day of the commit, in the time zone of who made it.
        day: Day,
    },
    /// Nothing: before the first commit, or before there was a data root.
    Nothing,
}

/// One file that was read.
#[derive(Debug)]
pub struct File {
    /// The path relative to the data root, with `/`.
    pub path: String,
    /// The bytes, or why there are none.
    pub content: Content,
}

/// A state of a data root.
#[derive(Debug)]
pub struct Snapshot {
    /// Where it came from.
    pub source: Source,
    /// From the repository's top to the data root: empty, or ending in `/`.
    pub prefix: String,
    /// The folder on disk, where there is one.
    pub folder: Option<PathBuf>,
    /// The settings file first, then the record files in the order of their paths.
    pub files: Vec<File>,
    /// The settings.
    pub settings: Settings,
    /// What is wrong in the settings file.
    pub settings_problems: Vec<Problem>,
    beside: Beside,
}

/// Which files stand beside the records.
#[derive(Default)]
struct Beside {
    /// Look in this folder, ...
    folder: Option<PathBuf>,
    /// ... and among these paths, relative to the data root.
    paths: HashSet<String>,
    /// Submodules: what is below them cannot be seen from here, and is taken to be there.
    submodules: Vec<String>,
    /// The tables among the paths, and the repository that has their content.
    tables: HashMap<String, place::Entry>,
    repository: Option<place::Repository>,
    /// The objects that record files were read from, and the index of each file.
    blobs: HashMap<String, usize>,
}

impl std::fmt::Debug for Beside {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Beside").field("folder", &self.folder).field("paths", &self.paths.len()).finish()
    }
}

impl Beside {
    fn note(&mut self, path: &str, entry: &place::Entry) {
        self.paths.insert(path.to_owned());
        if path.ends_with(".csv") {
            self.tables.insert(path.to_owned(), entry.clone());
        }
    }
}

impl Snapshot {
    /// Takes the snapshot that is asked for.
    ///
    /// # Errors
    /// No data root, no repository, a revision that does not exist, an index in the middle of a merge,
    /// or a repository that neither libgit2 nor git can read; each with its cure.
    pub fn take(request: &Request) -> Result<Self, Error> {
        let snapshot = match &request.state {
            State::Worktree => worktree::take(request)?,
            State::Index => entries::index(request)?,
            State::Revision(revision) => entries::revision(request, revision)?,
        };
        let records = snapshot.files.iter().skip(1);
        let (listed, lost) =
            records.fold((0, 0), |(all, lost), file| (all + 1, lost + usize::from(file.content.is_err())));
        if listed > 0 && listed == lost {
            let first = snapshot.files.get(1).and_then(|file| file.content.as_ref().err().map(|e| (&file.path, e)));
            let mut error = Error::new(format!("none of the {listed} record files could be read"));
            if let Some((path, problem)) = first {
                error = error.because(format!("{path}: {}", problem.message)).help(problem.help.clone());
            }
            return Err(error);
        }
        Ok(snapshot)
    }

    /// The data root at a revision that another state of it is compared with: at the same place, else the only one there
    /// is. Empty where the revision has none, and where there is no commit yet.
    ///
    /// # Errors
    /// Those of [`Snapshot::take`], and more than one data root where none is at the same place.
    pub fn before(request: &Request, revision: &str, head: &Self) -> Result<Self, Error> {
        entries::before(request, revision, head)
    }

    /// The content of an object, where a record file was read from it.
    fn blob(&self, id: &str) -> Option<&Content> {
        self.beside.blobs.get(id).and_then(|at| self.files.get(*at)).map(|file| &file.content)
    }

    /// No record at all.
    fn empty(settings: Settings) -> Self {
        let files = vec![File { path: settings::FILE.to_owned(), content: Ok([].into()) }];
        Self {
            source: Source::Nothing,
            prefix: String::new(),
            folder: None,
            files,
            settings,
            settings_problems: Vec::new(),
            beside: Beside::default(),
        }
    }

    /// A work tree that holds these record files and nothing else, for tests of what comes after.
    #[cfg(test)]
    pub(crate) fn in_memory(records: Vec<File>) -> Self {
        let mut snapshot = Self { source: Source::Worktree, ..Self::empty(Settings::default()) };
        snapshot.files.extend(records);
        snapshot
    }

    /// The bytes of a table (`.csv`) that stands beside the records; none when there is none, or it is too large.
    pub fn read(&self, path: &str) -> Option<Arc<[u8]>> {
        let path = inside(path)?;
        if let (Some(entry), Some(repository)) = (self.beside.tables.get(&path), &self.beside.repository) {
            return repository.contents(&[entry]).ok()?.pop()?.ok();
        }
        worktree::read(&self.beside.folder.as_ref()?.join(path)).ok()
    }

    /// Is there a file of this path, relative to the data root, with something in it? A folder counts when it holds one.
    pub fn has(&self, path: &str) -> bool {
        let Some(path) = inside(path) else { return false };
        let beside = &self.beside;
        if beside.paths.contains(&path) || beside.submodules.iter().any(|module| below(&path, module)) {
            return true;
        }
        let folder = format!("{path}/");
        if beside.paths.iter().any(|known| known.starts_with(&folder)) {
            return true;
        }
        let Some(root) = &beside.folder else { return false };
        let full = root.join(&path);
        match std::fs::metadata(&full) {
            Ok(found) if found.is_dir() => std::fs::read_dir(&full).is_ok_and(|mut entries| entries.next().is_some()),
            Ok(found) => found.len() > 0,
            Err(_) => false,
        }
    }
}

fn below(path: &str, folder: &str) -> bool {
    path.strip_prefix(folder).is_some_and(|rest| rest.starts_with('/'))
}

/// The path with `.` steps taken out, unless it leads out of the data root.
fn inside(path: &str) -> Option<String> {
    let mut steps: Vec<&str> = Vec::new();
    if path.starts_with('/') || path.contains(['\\', '\0']) {
        return None;
    }
    for step in path.split('/') {
        match step {
            "" | "." => {}
            ".." => {
                steps.pop()?;
            }
            step => steps.push(step),
        }
    }
    (!steps.is_empty()).then(|| steps.join("/"))
}

/// Which files of a data root are record files.
struct Filter {
    ignore: GlobSet,
}

impl Filter {
    /// The filter of the settings; a glob that cannot be read is told and ignores nothing.
    fn new(settings: &Settings, problems: &mut Vec<Problem>) -> Self {
        let mut builder = GlobSetBuilder::new();
        for glob in &settings.ignore {
            match Glob::new(glob) {
                Ok(glob) => {
                    builder.add(glob);
                }
                Err(error) => {
                    let message = format!("`{}` is not a glob", schema::words::shorten(glob));
                    let mut problem = Problem::cannot_open(&message, &error.kind().to_string());
                    problem.kind = schema::read::ProblemKind::BadValue;
                    problem.route = vec!["ignore".to_owned(), glob.clone()];
                    problem.spot = None;
                    problems.push(problem);
                }
            }
        }
        Self { ignore: builder.build().unwrap_or_else(|_| GlobSet::empty()) }
    }

    /// A record file ends in `.yaml` or `.yml`; names that begin with a dot belong to other tools.
    fn is_record(&self, path: &str) -> bool {
        let yaml = path.ends_with(".yaml") || path.ends_with(".yml");
        yaml && path != settings::FILE
            && !path.split('/').any(|step| step.starts_with('.'))
            && !self.ignore.is_match(path)
            && !path.match_indices('/').any(|(end, _)| self.skips_folder(&path[..end]))
    }

    /// A folder that is ignored hides all that is in it.
    fn skips_folder(&self, path: &str) -> bool {
        self.ignore.is_match(path) || self.ignore.is_match(format!("{path}/"))
    }
}

/// The folder of another data root, with its `/`, where this path is that root's settings file.
fn nested_root(path: &str) -> Option<&str> {
    path.strip_suffix(settings::FILE).filter(|folder| folder.ends_with('/'))
}

/// The path relative to the data root as text; what is not UTF-8 in it is replaced.
fn text_of(path: &Path) -> String {
    let steps: Vec<_> = path.components().map(|step| step.as_os_str().to_string_lossy()).collect();
    steps.join("/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_that_leave_the_data_root_are_not_looked_up() {
        assert_eq!(inside("test/a.csv").as_deref(), Some("test/a.csv"));
        assert_eq!(inside("./test//b/../a.csv").as_deref(), Some("test/a.csv"));
        for out in ["../a.csv", "a/../../b", "/etc/passwd", "", ".", "a\\b"] {
            assert_eq!(inside(out), None, "{out}");
        }
    }

    #[test]
    fn record_files_and_others() {
        let ignore = ["cad/**", "old", "["].map(str::to_owned).into();
        let settings = Settings { ignore, ..Settings::default() };
        let mut problems = Vec::new();
        let filter = Filter::new(&settings, &mut problems);
        assert_eq!(problems.len(), 1, "the broken glob is told");
        for record in ["a.yaml", "b/c.yml", "cadet/x.yaml", "older/x.yaml", "b/old/x.yaml"] {
            assert!(filter.is_record(record), "{record}");
        }
        for other in
            ["tierod.yaml", "a.yaml.txt", ".ci/x.yaml", "a/.b.yml", "cad/x.yaml", "cad/deep/x.yaml", "old/x.yaml"]
        {
            assert!(!filter.is_record(other), "{other}");
        }
    }
}
