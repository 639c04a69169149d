//! A state of a project as plain data: from the working tree, from the index or from a revision.
//!
//! A snapshot has the bytes of every record file, and for every other file that a check, a model, a template or an
//! evidence rule may need: its bytes, whether it is there, or why it cannot be read. It is taken by
//! [`crate::git::Project`]; nothing here reads a file or a repository.

mod filter;
pub(crate) mod object_id;

use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use foldhash::{HashMap, HashSet};
use schema::read::Problem;
use schema::{Day, Settings, settings};

use crate::ids::FileId;
pub(crate) use filter::{Filter, Nested};

/// The folder of a project that holds its own templates.
pub const TEMPLATES: &str = "templates";

/// The state of a project to read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum State {
    /// The working tree.
    Worktree,
    /// The index: exactly the content of the next commit.
    Index,
    /// A revision, by any name that git accepts.
    Revision(String),
}

/// The project to read, and its state.
#[derive(Clone, Debug)]
pub struct Request {
    /// The folder the command was started in.
    pub cwd: PathBuf,
    /// The project root, or a folder in it; `None` for the current folder.
    pub path: Option<PathBuf>,
    /// Its state.
    pub state: State,
}

/// The first digits of a commit id, as messages show it.
pub fn short_id(commit: &str) -> &str {
    commit.get(..10).unwrap_or(commit)
}

/// The source of a snapshot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// The working tree.
    Worktree,
    /// The index.
    Index,
    /// A commit: its full id, and the day it was made.
    Revision {
        /// The full id of the commit.
        commit: String,
        /// The day of the commit, in the time zone of its committer.
        day: Day,
    },
    /// Nothing: before the first commit, or before there was a project.
    Nothing,
}

/// The bytes of a file, or why it cannot be read.
pub type Content = Result<Arc<[u8]>, Problem>;

/// One file that was read.
#[derive(Clone, Debug)]
pub struct File {
    /// The path relative to the project root, with `/`.
    pub path: String,
    /// The bytes, or why there are none.
    pub content: Content,
}

/// A file that is not a record file.
#[derive(Clone, Debug, Default)]
pub(crate) struct OtherFile {
    /// Whether it exists and is not empty; also for a folder.
    pub(crate) there: bool,
    /// Its content; `None` if it is absent, or only its presence was needed.
    pub(crate) content: Option<Content>,
}

/// The files of the index or of a revision that are next to the record files. In the working tree: only those that a
/// sparse checkout leaves out.
#[derive(Debug, Default)]
pub(crate) struct Listing {
    /// The paths relative to the project root, except empty files.
    pub(crate) paths: HashSet<String>,
    /// The object ids of the tables, stress files and pictures among them.
    pub(crate) tables: HashMap<String, String>,
    /// The symbolic links among them.
    pub(crate) links: HashSet<String>,
    /// Submodules: what is below them cannot be seen from here, and counts as present.
    pub(crate) submodules: HashSet<String>,
    /// The folders of the paths, when first asked for.
    folders: OnceLock<HashSet<String>>,
}

/// The folders that a path is in, from the inside out.
fn folders_of(path: &str) -> impl Iterator<Item = &str> {
    path.rmatch_indices('/').map(|(at, _)| &path[..at])
}

impl Listing {
    /// Whether it has a file with this path, or a folder with one.
    pub(crate) fn has(&self, path: &str) -> bool {
        self.paths.contains(path)
            || folders_of(path).any(|folder| self.submodules.contains(folder))
            || self.folders().contains(path)
    }

    fn folders(&self) -> &HashSet<String> {
        self.folders.get_or_init(|| {
            let mut all = HashSet::default();
            for path in &self.paths {
                for folder in folders_of(path) {
                    // Those around a known one are known.
                    if all.contains(folder) {
                        break;
                    }
                    all.insert(folder.to_owned());
                }
            }
            all
        })
    }
}

/// The repository of [`crate::git::Project`] that a snapshot was taken from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Repositories {
    /// None.
    None,
    /// That of the project root in the working tree.
    OfRoot,
    /// That of the given path.
    OfPath,
}

/// A state of a project.
#[derive(Clone, Debug)]
pub struct Snapshot {
    /// Its source.
    pub source: Source,
    /// From the repository's top to the project root: empty, or ending in `/`.
    pub prefix: String,
    /// The folder on disk, if there is one.
    pub folder: Option<PathBuf>,
    /// The settings file first, then the record files in the order of their paths.
    pub files: Vec<File>,
    /// The settings.
    pub settings: Settings,
    /// The problems of the settings file.
    pub settings_problems: Vec<Problem>,
    /// The files next to the record files, as far as they are listed.
    pub(crate) listing: Arc<Listing>,
    /// Single files that are not record files, by path.
    pub(crate) others: HashMap<String, OtherFile>,
    /// The object ids that record files were read from, and the file of each.
    pub(crate) objects: HashMap<String, FileId>,
    pub(crate) repository: Repositories,
}

impl Snapshot {
    /// A snapshot of these files: the settings file first.
    pub(crate) fn new(source: Source, files: Vec<File>, settings: Settings, settings_problems: Vec<Problem>) -> Self {
        Self {
            source,
            prefix: String::new(),
            folder: None,
            files,
            settings,
            settings_problems,
            listing: Arc::default(),
            others: HashMap::default(),
            objects: HashMap::default(),
            repository: Repositories::None,
        }
    }

    /// A snapshot without records.
    pub(crate) fn empty(settings: Settings) -> Self {
        let files = vec![File { path: settings::FILE.to_owned(), content: Ok([].into()) }];
        Self::new(Source::Nothing, files, settings, Vec::new())
    }

    /// A working tree that has these record files and no others, for tests of what comes after.
    #[cfg(test)]
    pub(crate) fn in_memory(records: Vec<File>) -> Self {
        let mut snapshot = Self { source: Source::Worktree, ..Self::empty(Settings::default()) };
        snapshot.files.extend(records);
        snapshot
    }

    /// The same state with other bytes in one file, as in an editor that has not saved it: the settings file, a record
    /// file, a table, a template, or evidence. `path` is relative to the project root; one that leads out of it changes
    /// nothing.
    ///
    /// A file that earlier settings ignored is not in the snapshot: new settings cannot add it, only a new snapshot can.
    #[must_use]
    pub fn with_file(&self, path: &str, bytes: impl Into<Arc<[u8]>>) -> Self {
        self.with_files([(path.to_owned(), bytes.into())])
    }

    /// The same state with other bytes in some files, as [`Snapshot::with_file`] one after the other.
    #[must_use]
    pub fn with_files(&self, files: impl IntoIterator<Item = (String, Arc<[u8]>)>) -> Self {
        let mut changed = self.clone();
        let mut paths: HashMap<String, usize> = HashMap::default();
        let mut filter: Option<Filter> = None;
        let mut written: HashSet<String> = HashSet::default();
        for (path, bytes) in files {
            let Some(path) = inside(&path) else { continue };
            if path == settings::FILE {
                let (settings, mut problems) = schema::read::settings(&bytes);
                let own = Filter::new(&settings, &mut problems);
                (changed.settings, changed.settings_problems) = (settings, problems);
                changed.files.retain(|file| file.path == path || own.is_record(&file.path));
                if let Some(file) = changed.files.first_mut() {
                    file.content = Ok(bytes);
                }
                (paths, filter) = (HashMap::default(), None);
            } else {
                if paths.is_empty() {
                    let known = changed.files.iter().enumerate().skip(1);
                    paths = known.map(|(at, file)| (file.path.clone(), at)).collect();
                }
                let content = Ok(Arc::clone(&bytes));
                match paths.get(&path) {
                    Some(at) => changed.files[*at].content = content,
                    None if filter
                        .get_or_insert_with(|| Filter::new(&changed.settings, &mut Vec::new()))
                        .is_record(&path) =>
                    {
                        paths.insert(path.clone(), changed.files.len());
                        changed.files.push(File { path: path.clone(), content });
                    }
                    None => {}
                }
                // Record files are evidence too, if a record names them.
                let there = !bytes.is_empty();
                changed.others.insert(path.clone(), OtherFile { there, content: Some(Ok(bytes)) });
                for (end, _) in path.match_indices('/').filter(|_| there) {
                    changed.others.entry(path[..end].to_owned()).or_default().there = true;
                }
            }
            written.insert(path);
        }
        if let Some((_, records)) = changed.files.split_first_mut() {
            records.sort_by(|a, b| a.path.cmp(&b.path));
        }
        // The positions of the files may have changed, and a changed file is not an object.
        let files: HashMap<&str, FileId> = changed
            .files
            .iter()
            .zip(FileId::all(changed.files.len()))
            .map(|(file, id)| (file.path.as_str(), id))
            .collect();
        let objects = self.objects.iter().filter(|(_, file)| !written.contains(&self.files[**file].path));
        let objects = objects.filter_map(|(id, file)| Some((id.clone(), *files.get(self.files[*file].path.as_str())?)));
        changed.objects = objects.collect();
        changed
    }

    /// A table (`.csv`) next to the records: its bytes, or why it cannot be read; `None` if it is absent, or nothing named it.
    pub fn read(&self, path: &str) -> Option<&Content> {
        self.others.get(&inside(path)?)?.content.as_ref()
    }

    /// A template of the team by its file name; `None` if the project has no such file.
    pub fn template(&self, name: &str) -> Option<&Content> {
        self.others.get(&format!("{TEMPLATES}/{name}"))?.content.as_ref()
    }

    /// The templates of the team by their file names.
    pub(crate) fn templates(&self) -> impl Iterator<Item = (&str, &Content)> {
        let name = |path: &'_ String| path.len() > TEMPLATES.len() && path.starts_with(TEMPLATES);
        let all = self.others.iter().filter(move |(path, _)| name(path));
        all.filter_map(|(path, file)| Some((path[TEMPLATES.len()..].strip_prefix('/')?, file.content.as_ref()?)))
    }

    /// Whether there is a file of this path, relative to the project root, with something in it. A folder counts if it
    /// holds one. In the working tree only those are known that the records or settings name.
    pub fn has(&self, path: &str) -> bool {
        let Some(path) = inside(path) else { return false };
        self.others.get(&path).map_or_else(|| self.listing.has(&path), |file| file.there)
    }

    /// The content of an object, if a record file was read from it.
    pub(crate) fn object(&self, id: &str) -> Option<&Content> {
        self.objects.get(id).and_then(|file| self.files.get(file.index())).map(|file| &file.content)
    }

    /// Whether these bytes of the snapshot are those of an object.
    pub(crate) fn is_object(&self, bytes: &[u8], id: &str) -> bool {
        match self.object(id) {
            Some(content) => {
                content.as_ref().is_ok_and(|content| std::ptr::eq(&**content, bytes) || **content == *bytes)
            }
            // Bytes that were read from objects, but not from this one, are those of another one.
            None => self.source == Source::Worktree && object_id::blob_id(bytes, id.len()) == id,
        }
    }

    /// Returns whether a path is a record file of the project.
    pub(crate) fn is_record(&self) -> impl Fn(&str) -> bool + use<> {
        let filter = Filter::new(&self.settings, &mut Vec::new());
        move |path: &str| filter.is_record(path)
    }
}

/// The path without `.` and `..` steps; `None` if it leads out of the project, or into git's own folder.
pub(crate) fn inside(path: &str) -> Option<String> {
    let mut steps: Vec<&str> = Vec::new();
    // On Windows a colon names a drive, or another stream of a file.
    if path.starts_with('/') || path.contains(['\\', '\0']) || (cfg!(windows) && path.contains(':')) {
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
    let of_git = steps.iter().any(|step| step.eq_ignore_ascii_case(".git"));
    (!steps.is_empty() && !of_git).then(|| steps.join("/"))
}

/// A relative path as text; what is not UTF-8 in it is replaced.
pub(crate) fn text_of(path: &Path) -> String {
    let steps: Vec<_> = path.components().map(|step| step.as_os_str().to_string_lossy()).collect();
    steps.join("/")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Loaded;

    #[test]
    fn files_folders_and_what_is_in_a_submodule_are_there() {
        let mut listing = Listing::default();
        let long = "a/".repeat(100);
        listing.paths.extend((0..50_000).map(|number| format!("test/{number}/run.csv")));
        listing.paths.insert(format!("{long}b"));
        listing.submodules.insert("lib/shared".to_owned());
        for there in ["test/7/run.csv", "test/7", "test", "a/a", "lib/shared/x", "lib/shared/x/y"] {
            assert!(listing.has(there), "{there}");
        }
        for absent in ["test/7/run", "tes", "est", "lib", "lib/shared", "lib/share/x", "b", ""] {
            assert!(!listing.has(absent), "{absent}");
        }
        // With a search through all paths this takes minutes.
        assert!((0..50_000).all(|number| !listing.has(&format!("missing/{number}"))));
    }

    #[test]
    fn paths_that_leave_the_project_are_not_looked_up() {
        assert_eq!(inside("test/a.csv").as_deref(), Some("test/a.csv"));
        assert_eq!(inside("./test//b/../a.csv").as_deref(), Some("test/a.csv"));
        for out in ["../a.csv", "a/../../b", "/etc/passwd", "", ".", "a\\b", ".git/config", "a/.GIT/HEAD"] {
            assert_eq!(inside(out), None, "{out}");
        }
    }

    /// A snapshot can be cloned, sent to a thread and shared by threads.
    #[test]
    fn a_snapshot_is_plain_data() {
        fn is_plain<T: Clone + Send + Sync + 'static>() {}
        is_plain::<Snapshot>();
        is_plain::<State>();
        fn is_sent<T: Send>() {}
        is_sent::<crate::Project>();
    }

    fn file(path: &str, text: &str) -> File {
        File { path: path.to_owned(), content: Ok(text.as_bytes().into()) }
    }

    fn ids(snapshot: Snapshot) -> Vec<String> {
        Loaded::from_snapshot(snapshot).ids().map(str::to_owned).collect()
    }

    #[test]
    fn an_unsaved_buffer_counts_as_its_file() {
        let mut snapshot = Snapshot::in_memory(vec![
            file("a.yaml", "results: {a: {of: c, evidence: [test/a.csv]}}"),
            file("c.yaml", "parts: {c: {}}"),
        ]);
        snapshot.objects = [("01".to_owned(), FileId::new(1)), ("02".to_owned(), FileId::new(2))].into_iter().collect();
        // A record file, in the order of the paths; the objects of the others are still theirs.
        let more = snapshot.with_file("./b.yaml", *b"parts: {b: {}}");
        assert_eq!(ids(more.clone()), ["a", "b", "c"]);
        assert_eq!(more.object("02").unwrap().as_ref().unwrap()[..], *b"parts: {c: {}}");
        let edited = more.with_file("c.yaml", *b"parts: {d: {}}");
        assert_eq!(ids(edited.clone()), ["a", "b", "d"]);
        assert!(edited.object("02").is_none() && edited.object("01").is_some());
        assert_eq!(ids(snapshot.clone()), ["a", "c"], "the snapshot itself is as it was");
        // The settings, and with them what is ignored.
        let less = more.with_file("tierod.yaml", *b"ignore: [b.yaml]\nseason: 2027\n");
        assert_eq!((ids(less.clone()), less.settings.season), (vec!["a".to_owned(), "c".to_owned()], Some(2027)));
        let wrong = more.with_file("tierod.yaml", *b"season: x");
        assert!(!wrong.settings_problems.is_empty());
        // Evidence: absent, present, emptied; a folder is there with a file in it.
        let present = |snapshot: &Snapshot| Loaded::from_snapshot(snapshot.clone()).present.contains("test/a.csv");
        assert!(!present(&snapshot));
        let with = snapshot.with_file("test/a.csv", *b"1,2\n");
        assert!(present(&with) && with.has("test") && !with.has("tes"));
        assert_eq!(with.read("test/a.csv").unwrap().as_ref().unwrap()[..], *b"1,2\n");
        assert!(!present(&with.with_file("test/a.csv", *b"")));
        // A check of the buffer.
        let loaded = Loaded::from_snapshot(more.with_file("c.yaml", *b"parts: {c: {in: nowhere}}"));
        let study = crate::Study::without_history(loaded, Day::parse("2027-03-19").unwrap());
        let report = study.report();
        let mut unknown = report.findings.iter().filter(|finding| finding.check.name == "unknown-reference");
        assert!(unknown.any(|finding| finding.path == "c.yaml" && finding.record.as_deref() == Some("c")));
        // What leads out of the project is not part of it.
        assert_eq!(ids(snapshot.with_file("../x.yaml", *b"parts: {x: {}}")), ["a", "c"]);
        // A template.
        let with = snapshot.with_file("templates/delta.md", *b"x");
        assert_eq!(with.template("delta.md").unwrap().as_ref().unwrap()[..], *b"x");
        assert!(snapshot.template("delta.md").is_none());
    }
}
