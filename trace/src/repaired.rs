//! A state of which a part could not be read, with this part as a later state has it.
//!
//! A change that repairs a file uncovers what the damage hid: findings that were there before, and that nothing could
//! report. They are those of the earlier state with the repaired part, and with nothing else of the change.

use std::cell::RefCell;
use std::sync::Arc;

use foldhash::{HashMap, HashSet};
use schema::read::{EarlierVersion, Version};
use schema::{Kind, Record};

use crate::ids::{FileId, RecordId};
use crate::load::{Entry, FileProblem, Loaded};

impl Loaded {
    /// This state with what could not be read in it as a later state has it: files, records, keys of records, and the
    /// settings. `None` if everything could be read, or if the later state repairs nothing.
    #[must_use]
    pub fn repaired_by(&self, later: &Loaded) -> Option<Loaded> {
        if self.unread() == 0 {
            return None;
        }
        let repair = Repair::new(self, later);
        let (mut entries, mut damaged) = (self.entries.clone(), self.damaged.clone());
        let mut is_repaired = false;
        for id in later.record_ids() {
            let Some(entry) = repair.hidden(id) else { continue };
            let name = &entry.record.id;
            match later.damaged.get(name) {
                Some(damage) => drop(damaged.insert(name.clone(), damage.clone())),
                None => drop(damaged.remove(name)),
            }
            match self.find(name.as_str()) {
                Some(known) => entries[known] = entry,
                None => entries.push(entry),
            }
            is_repaired = true;
        }
        let uncovered: Vec<FileProblem> = later.problems.iter().filter_map(|found| repair.uncovered(found)).collect();
        let mut snapshot = self.snapshot.clone();
        if self.settings_unread() && !repair.is_unchanged(FileId::new(0)) {
            snapshot.settings = later.settings().clone();
            is_repaired = true;
        }
        let mut problems: Vec<FileProblem> =
            self.problems.iter().filter(|found| repair.is_unchanged(found.file)).cloned().collect();
        // A broken file that was removed hides nothing any longer, either.
        is_repaired |= !uncovered.is_empty() || problems.len() < self.problems.len();
        problems.extend(uncovered);
        let mut loaded = Self::from_records(snapshot, entries, problems);
        loaded.damaged = damaged;
        let doubles: HashSet<(&str, FileId)> =
            self.doubles.iter().map(|(own, _)| (own.record.id.as_str(), own.file)).collect();
        for (double, _) in &later.doubles {
            let name = double.record.id.as_str();
            // A file in which a record with this id was read hides no other one.
            let was_read = |file: &FileId| {
                self.find(name).is_some_and(|known| self.file(known) == *file) || doubles.contains(&(name, *file))
            };
            let file = repair.holders(double.record.kind(), name, double.file).find(|file| !was_read(file));
            if let (Some(file), Some(first)) = (file, loaded.find(name)) {
                loaded.doubles.push((Entry { record: Arc::clone(&double.record), file }, first));
                is_repaired = true;
            }
        }
        is_repaired.then_some(loaded)
    }

    /// This state without some of its records.
    #[must_use]
    pub(crate) fn without(&self, records: &HashSet<RecordId>) -> Loaded {
        let kept = self.record_ids().filter(|id| !records.contains(id)).map(|id| self.entries[id].clone());
        let mut loaded = Self::from_records(self.snapshot.clone(), kept.collect(), self.problems.clone());
        loaded.damaged.clone_from(&self.damaged);
        loaded.model_runs = Arc::clone(&self.model_runs);
        loaded
    }

    /// Whether the settings could not be read completely.
    pub(crate) fn settings_unread(&self) -> bool {
        self.problems.iter().any(|found| found.file == FileId::new(0))
    }
}

/// The files of which a part could not be read, and what a later state has in their place.
struct Repair<'l> {
    before: &'l Loaded,
    later: &'l Loaded,
    /// The files with problems, except the settings.
    broken: Vec<FileId>,
    /// The files of the earlier state, by path.
    paths: HashMap<&'l str, FileId>,
    /// The files of the later state, by path.
    later_paths: HashMap<&'l str, FileId>,
    /// The broken files and those of the later state that may have their records, each when it is first asked for.
    versions: [RefCell<HashMap<FileId, Arc<Version<'l>>>>; 2],
    /// Whether all broken files are compared with all records of the later state, and not only with those in the same file.
    is_small: bool,
    /// The records that were there twice, by kind; by kind and id if there are many.
    doubles: HashMap<(Kind, Option<&'l str>), Vec<&'l Entry>>,
}

/// The largest number of comparisons of all broken files, and of all records that were there twice, with all records of the
/// later state.
const MOST_COMPARED: usize = 5_000_000;

impl<'l> Repair<'l> {
    fn new(before: &'l Loaded, later: &'l Loaded) -> Self {
        let doubles = before.doubles.iter().flat_map(|(entry, first)| [entry.file, before.file(*first)]);
        let mut broken: Vec<FileId> = before.problems.iter().map(|found| found.file).chain(doubles).collect();
        broken.sort_unstable();
        broken.dedup();
        broken.retain(|file| *file != FileId::new(0));
        let [paths, later_paths] = [before, later].map(|loaded| {
            let files = &loaded.snapshot.files;
            files.iter().zip(FileId::all(files.len())).map(|(file, id)| (&*file.path, id)).collect()
        });
        let is_small = (broken.len() + before.doubles.len()).saturating_mul(later.entries.len()) <= MOST_COMPARED;
        let mut doubles: HashMap<_, Vec<&Entry>> = HashMap::default();
        for (double, _) in &before.doubles {
            let id = (!is_small).then_some(double.record.id.as_str());
            doubles.entry((double.record.kind(), id)).or_default().push(double);
        }
        Self { before, later, broken, paths, later_paths, versions: Default::default(), is_small, doubles }
    }

    /// Whether a file of the earlier state has the same content in the later one.
    fn is_unchanged(&self, file: FileId) -> bool {
        let own = &self.before.snapshot.files[file];
        let after = self.later_paths.get(own.path.as_str());
        after.is_some_and(|after| self.later.snapshot.files[*after].content == own.content)
    }

    /// A broken file next to one of the later state.
    fn versions(&self, broken: FileId, file: FileId) -> Option<EarlierVersion<'l>> {
        let [before, after] = &self.versions;
        let version = |known: &RefCell<HashMap<FileId, Arc<Version<'l>>>>, loaded: &'l Loaded, file: FileId| {
            let bytes = loaded.snapshot.files[file].content.as_deref().ok()?;
            let mut known = known.borrow_mut();
            Some(Arc::clone(known.entry(file).or_insert_with(|| Arc::new(Version::new(bytes)))))
        };
        Some(EarlierVersion::new(version(before, self.before, broken)?, version(after, self.later, file)?))
    }

    /// The broken files that may have held a record of a file of the later state.
    fn holders(&self, kind: Kind, id: &str, file: FileId) -> impl Iterator<Item = FileId> {
        let path = self.later.snapshot.files[file].path.as_str();
        let may_hold = move |broken: &FileId| match self.versions(*broken, file) {
            Some(versions) => versions.may_hold(kind, id),
            // A file without content may have held anything.
            None => self.before.snapshot.files[*broken].path == path,
        };
        let same = || self.paths.get(path).copied().filter(|file| self.broken.binary_search(file).is_ok());
        let of_all = self.is_small.then_some(&self.broken).into_iter().flatten().copied();
        let of_same = (!self.is_small).then(same).flatten();
        of_all.chain(of_same).filter(may_hold)
    }

    /// The first of them.
    fn held_in(&self, kind: Kind, id: &str, file: FileId) -> Option<FileId> {
        self.holders(kind, id, file).next()
    }

    /// What a record of the later state was in the earlier one if it could have been read; `None` if it was read, or if it
    /// was added since.
    fn hidden(&self, id: RecordId) -> Option<Entry> {
        let (entry, name) = (&self.later.entries[id], &self.later.record(id).id);
        let (kind, record) = (entry.record.kind(), |record: &Arc<Record>| Arc::clone(record));
        let doubles = self.doubles.get(&(kind, (!self.is_small).then_some(name.as_str())));
        let is_double = |double: &&&Entry| double.record.body == entry.record.body;
        let double = doubles.and_then(|doubles| doubles.iter().find(is_double)).map(|double| double.file);
        let Some(known) = self.before.find(name.as_str()) else {
            let file = double.or_else(|| self.held_in(kind, name.as_str(), entry.file))?;
            return Some(Entry { record: record(&entry.record), file });
        };
        let file = self.before.file(known);
        if let Some(damage) = self.before.damaged.get(name) {
            let versions = self.versions(file, entry.file);
            let repaired = versions.and_then(|versions| versions.with_keys(kind, name, &damage.keys)).map(Arc::new);
            return Some(Entry { record: repaired.unwrap_or_else(|| record(&entry.record)), file });
        }
        // A record that was there twice: the later state keeps the one that was not read.
        let has_changed = self.before.record(known).body != entry.record.body;
        let in_file = || {
            let is_broken = self.broken.binary_search(&file).is_ok();
            is_broken && self.versions(file, entry.file).is_some_and(|both| both.has_content_of(kind, name.as_str()))
        };
        let other = has_changed && (double.is_some() || in_file());
        other.then(|| Entry { record: record(&entry.record), file })
    }

    /// A problem of the later state that could not be seen in the earlier one, in the file where it was hidden.
    fn uncovered(&self, found: &FileProblem) -> Option<FileProblem> {
        let problem = &found.problem;
        let file = match (&problem.record, problem.route.first().and_then(|kind| Kind::from_plural(kind))) {
            (Some(id), Some(kind)) => {
                let known = self.before.find(id).is_some();
                self.held_in(kind, id, found.file).filter(|_| !known)?
            }
            _ => {
                let file = *self.paths.get(self.later.snapshot.files[found.file].path.as_str())?;
                self.before.unreadable().map(|unread| unread.file).find(|unread| *unread == file)?
            }
        };
        Some(FileProblem { file, problem: problem.clone() })
    }
}
