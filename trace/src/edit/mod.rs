//! Edits of a project: made in memory, evaluated as a new state, and then written.
//!
//! [`Edits`] collects changes of files of one state, [`Edits::outcome`] makes them and evaluates the state after them, and
//! [`Outcome::write`] writes the files. An edit that makes the record itself wrong is refused: a value that cannot be read, a
//! missing unit or one of another dimension, an unknown reference. One that brings findings about the car is not: a project
//! often gets from one good state to the next by several edits, and the hook stops a commit that needs it.

mod address;
mod lines;
mod rename;
mod revise;
mod set;

pub use address::Address;
pub use lines::ChangedLines;
pub use rename::{Mention, mentions, rename};
pub use revise::{Revising, revise};
pub use set::{amount_meant, remove, set};

use std::collections::BTreeMap;
use std::sync::Arc;

use foldhash::{HashMap, HashSet};
use schema::Day;
use schema::edit::{Change, edit};

use crate::checks::Group;
use crate::delta::Parents;
use crate::git::NewFile;
use crate::history::Logs;
use crate::load::{Loaded, ParseCache};
use crate::snapshot::{Content, Snapshot, inside};
use crate::{Delta, Error, Finding, Project, RecordId, Study};

/// Findings of the group of reading that an edit may bring: the record can be read without them.
const MAY_BE_NEW: [&str; 2] = ["missing-key", "unreadable-table"];

/// Findings that say that a record itself is wrong, which an edit of it may not bring.
const WRONG_RECORD: [&str; 2] = ["unit-mismatch", "unknown-reference"];

/// Changes of files of one state.
#[derive(Debug)]
pub struct Edits {
    loaded: Loaded,
    day: Day,
    /// The changes of each file, in their order.
    changes: BTreeMap<String, Vec<Change>>,
    /// The files that are replaced as a whole.
    texts: BTreeMap<String, String>,
    /// The records that must not become wrong.
    right: Right,
}

/// The records that an edit must not make wrong themselves.
#[derive(Clone, Debug, Default)]
struct Right {
    ids: Vec<String>,
    /// Whether they may name records that do not exist.
    may_name_unknown: bool,
}

impl Edits {
    /// No changes yet of a state, which is evaluated for a date.
    pub fn new(loaded: Loaded, day: Day) -> Self {
        Self { loaded, day, changes: BTreeMap::new(), texts: BTreeMap::new(), right: Right::default() }
    }

    /// The state before the changes.
    pub fn loaded(&self) -> &Loaded {
        &self.loaded
    }

    /// The date to use as today.
    pub fn day(&self) -> Day {
        self.day
    }

    /// Adds a change of a file, relative to the project root: one of the project, or a new one.
    pub fn change(&mut self, path: &str, change: Change) {
        self.changes.entry(path.to_owned()).or_default().push(change);
    }

    /// Replaces a file as a whole, or adds it; changes of it are made after that.
    pub fn replace(&mut self, path: &str, text: impl Into<String>) {
        self.texts.insert(path.to_owned(), text.into());
    }

    /// Refuses the edit if it brings a wrong unit or an unknown reference to this record.
    pub fn keep_right(&mut self, id: &str) {
        self.right.ids.push(id.to_owned());
    }

    /// Lets the edit name records that do not exist.
    pub fn allow_unknown(&mut self) {
        self.right.may_name_unknown = true;
    }

    /// The path of the file that a record is in.
    pub fn path_of(&self, record: RecordId) -> &str {
        self.loaded.path(self.loaded.entries[record].file)
    }

    /// Makes the changes in memory: the files that differ, by path.
    ///
    /// # Errors
    /// A change that cannot be made, or a path that leads out of the project.
    pub fn files(&self) -> Result<Vec<EditedFile>, Error> {
        let mut paths: Vec<&String> = self.changes.keys().chain(self.texts.keys()).collect();
        paths.sort_unstable();
        paths.dedup();
        let mut files = Vec::new();
        let own = self.loaded.snapshot.files.iter();
        let known: HashMap<&str, &Content> = own.map(|file| (file.path.as_str(), &file.content)).collect();
        for path in paths {
            let before = bytes_of(&known, path)?;
            let cannot = |cause: &dyn std::fmt::Display| Error::new(format!("cannot edit {path}")).because(cause);
            let own = match (self.texts.get(path), &before) {
                (Some(text), _) => text.as_str(),
                (None, Some(bytes)) => {
                    std::str::from_utf8(bytes).map_err(|error| cannot(&error).help("save it as UTF-8"))?
                }
                (None, None) => "",
            };
            let changes = self.changes.get(path).map_or(&[][..], Vec::as_slice);
            let after = edit(own, changes).map_err(|error| cannot(&error).help(error.help()))?;
            if before.as_deref() != Some(after.as_bytes()) {
                files.push(EditedFile::new(path, before, after.into_bytes().into()));
            }
        }
        Ok(files)
    }

    /// Makes the changes in memory, and evaluates the state after them.
    ///
    /// # Errors
    /// A change that cannot be made; one that brings a read error; a file that is not a record file of the project.
    pub fn outcome(self, project: &Project) -> Result<Outcome, Error> {
        let files = self.files()?;
        let Self { loaded, day, right, .. } = self;
        let new = files.iter().map(|EditedFile { file, .. }| (file.path.clone(), Arc::clone(&file.after)));
        let snapshot = loaded.snapshot.with_files(new);
        let known: HashSet<&str> = snapshot.files.iter().map(|file| file.path.as_str()).collect();
        if let Some(EditedFile { file, .. }) = files.iter().find(|edited| !known.contains(edited.file.path.as_str())) {
            let help = "use a file that ends with `.yaml` and that `ignore` in the settings does not name";
            return Err(Error::new(format!("{} is not a record file of the project", file.path)).help(help));
        }
        Outcome::new(project, loaded, snapshot, day, files, &right)
    }
}

/// A fix with the way out for the name of a record that comes later.
pub fn or_later(help: &str) -> String {
    if help.ends_with('?') {
        format!("{help} To add that record later, give `--allow-unknown`")
    } else if help.contains("use that id") {
        help.to_owned()
    } else {
        format!("{help}; to add that record later, give `--allow-unknown`")
    }
}

impl Right {
    /// The error for the first finding that says that one of the records is wrong.
    fn first_wrong(&self, delta: &Delta) -> Option<Error> {
        let is_own = |finding: &&Finding| {
            finding.record.as_ref().is_some_and(|id| self.ids.contains(id))
                && WRONG_RECORD.contains(&finding.check.name)
        };
        // One that exists, but is of the wrong kind, does not become right later.
        let is_unknown = |finding: &Finding| finding.check.name == "unknown-reference" && finding.unresolved.is_some();
        let mut own = delta.new.iter().chain(&delta.uncovered).filter(is_own);
        let wrong = own.find(|finding| !(self.may_name_unknown && is_unknown(finding)))?;
        let id = wrong.record.as_deref().unwrap_or_default();
        let key = wrong.field.as_ref().map(|field| format!(".{field}")).unwrap_or_default();
        let help = if is_unknown(wrong) { or_later(&wrong.help) } else { wrong.help.clone() };
        Some(Error::new(format!("{id}{key}: {}", wrong.message)).because("nothing was written").help(help))
    }
}

/// The bytes of a file of the state; `None` if it has no such file.
fn bytes_of(known: &HashMap<&str, &Content>, path: &str) -> Result<Option<Arc<[u8]>>, Error> {
    if inside(path).as_deref() != Some(path) {
        return Err(
            Error::new(format!("{path} is not a path in the project")).help("use a path below the project root")
        );
    }
    match known.get(path).copied() {
        None => Ok(None),
        Some(Ok(bytes)) => Ok(Some(Arc::clone(bytes))),
        Some(Err(problem)) => {
            Err(Error::new(format!("cannot edit {path}")).because(&problem.message).help(problem.help.clone()))
        }
    }
}

/// A file with changes.
#[derive(Clone, Debug)]
pub struct EditedFile {
    /// Its bytes before and after.
    pub file: NewFile,
    /// The lines that differ.
    pub lines: Vec<ChangedLines>,
}

impl EditedFile {
    fn new(path: &str, before: Option<Arc<[u8]>>, after: Arc<[u8]>) -> Self {
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        let lines = lines::changed(&before.as_deref().map(text).unwrap_or_default(), &text(&after));
        Self { file: NewFile { path: path.to_owned(), before, after }, lines }
    }
}

/// What the changes lead to.
pub struct Outcome {
    /// The files that differ, by path.
    pub files: Vec<EditedFile>,
    /// The state before.
    pub before: Parents,
    /// The state after.
    pub after: Study,
    /// The difference of their findings.
    pub delta: Delta,
}

impl Outcome {
    fn new(
        project: &Project,
        loaded: Loaded,
        snapshot: Snapshot,
        day: Day,
        files: Vec<EditedFile>,
        right: &Right,
    ) -> Result<Self, Error> {
        let after = Loaded::from_pool(snapshot, &mut ParseCache::default()).fetched(project);
        let mut logs = Logs::default();
        let before = Parents::of_base(project.parent(loaded, &after, day, &mut logs));
        let after = project.study_for_checks(after, day, &mut logs);
        after.evaluate_reports_with(&before.first.seen);
        let delta = Delta::of_findings(&before, &after);
        if let Some(wrong) = right.first_wrong(&delta) {
            return Err(wrong);
        }
        let found = delta.new.iter().chain(&delta.uncovered);
        let unread: Vec<&Finding> = found
            .filter(|finding| finding.check.group == Group::Reading && !MAY_BE_NEW.contains(&finding.check.name))
            .collect();
        if let Some(first) = unread.first() {
            let more =
                if unread.len() > 1 { format!(", and {} more read errors", unread.len() - 1) } else { String::new() };
            let cause = format!("{}:{}: {}{more}", first.path, first.spot.line, first.message);
            return Err(Error::new("the edit would make a read error; nothing was written")
                .because(cause)
                .help(&first.help));
        }
        Ok(Self { files, before, after, delta })
    }

    /// The state before, evaluated.
    pub fn base(&self) -> &Study {
        &self.before.first.seen
    }

    /// Writes the files: each whole, or none.
    ///
    /// # Errors
    /// Those of [`Project::write`].
    pub fn write(&self, project: &Project) -> Result<(), Error> {
        let files: Vec<NewFile> = self.files.iter().map(|edited| edited.file.clone()).collect();
        project.write(&self.after.loaded.snapshot, &files)
    }
}
