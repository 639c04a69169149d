//! From a snapshot to records: decodes every file, indexes every id and looks up every file that records name.

use std::sync::{Arc, OnceLock};

use foldhash::{HashMap, HashMapExt as _, HashSet, HashSetExt as _};
use schema::read::{Damage, Problem, ProblemKind};
use schema::records::{Body, Expression, Kind, SetTo};
use schema::words::shorten;
use schema::{Day, Id, Record, Settings, suggest};

use crate::Error;
use crate::evidence::{self, ReadNumber};
use crate::git::Project;
use crate::ids::{FileId, RecordId};
use crate::parse::{Counter, MOST_RECORDS, Parsed};
use crate::snapshot::{Content, Request, Snapshot, Source};
use crate::stress::{self, StressFields};
use crate::table::Tables;
use crate::values::model_tables::ModelTables;
use crate::values::runs::ModelRuns;

pub use crate::parse::{Known, ParseCache};

/// The problem of a file with which a project has too much of something.
fn too_many(most: &str) -> Problem {
    let message = format!("the project has more than {most}, and the records of this file are not read");
    Problem::cannot_open(&message, "list what is not a record file under `ignore:` in tierod.yaml")
}

/// A record and its file.
#[derive(Clone, Debug)]
pub struct Entry {
    /// The record; states of a project with the same file share it.
    pub record: Arc<Record>,
    /// The index of its file in [`Snapshot::files`].
    pub file: FileId,
}

/// A problem and its file.
#[derive(Clone, Debug)]
pub struct FileProblem {
    /// The index of the file in [`Snapshot::files`].
    pub file: FileId,
    /// What is wrong.
    pub problem: Problem,
}

/// All records of a project.
#[derive(Debug)]
pub struct Loaded {
    /// Where they come from, with the bytes of every file.
    pub snapshot: Snapshot,
    /// The records, file by file; each id once.
    pub entries: Vec<Entry>,
    /// Records with an id that another record has: the later one, and the index of the first.
    pub doubles: Vec<(Entry, RecordId)>,
    /// What is wrong with the files.
    pub problems: Vec<FileProblem>,
    /// Records that could be read in part only, or not at all, by id.
    pub damaged: HashMap<Id, Damage>,
    /// The files that records name and that exist, relative to the project root.
    pub present: HashSet<String>,
    /// The CSV tables that records name and that exist, by path: their bytes, or why they cannot be read.
    pub tables: HashMap<String, Content>,
    /// The runs of models that are known, and those that are added.
    pub(crate) model_runs: Arc<ModelRuns>,
    /// The numbers of records that are read from evidence files, in the order of the records.
    pub readings: Vec<ReadNumber>,
    /// What was read of the stress files among them.
    pub(crate) stress_fields: StressFields,
    /// What was read of the tables of models among them.
    pub(crate) model_tables: ModelTables,
    by_id: HashMap<Box<str>, RecordId>,
    /// The records of each kind, in their order: most checks need few of them.
    by_kind: [Vec<RecordId>; Kind::ALL.len()],
    /// The first record that lists an id as an earlier one of its own.
    by_former_id: OnceLock<HashMap<Box<str>, RecordId>>,
    /// The records that name a file, in their order.
    naming: Vec<RecordId>,
}

impl Loaded {
    /// Takes a snapshot, decodes it and fetches the files that its records name.
    ///
    /// # Errors
    /// Those of [`Project::snapshot`].
    pub fn from_request(request: &Request) -> Result<Self, Error> {
        Project::open(request).load()
    }

    /// Decodes the files of a snapshot.
    pub fn from_snapshot(snapshot: Snapshot) -> Self {
        Self::from_pool(snapshot, &mut ParseCache::default())
    }

    /// Decodes the files of a snapshot that the cache does not contain yet.
    pub fn from_pool(snapshot: Snapshot, cache: &mut ParseCache) -> Self {
        Self::with_known(snapshot, cache, &|_| None)
    }

    /// Decodes the files of a snapshot that neither the cache contains nor an earlier run decoded.
    pub fn with_known(snapshot: Snapshot, cache: &mut ParseCache, known: &Known<'_>) -> Self {
        let records = snapshot.files.get(1..).unwrap_or_default();
        let parsed = cache.parse(records, known);
        Self::from_parsed(snapshot, &parsed)
    }

    /// Puts together what was decoded of each record file of a snapshot, in their order; `None` for one that cannot be read.
    fn from_parsed(mut snapshot: Snapshot, parsed: &[Option<Arc<Parsed>>]) -> Self {
        let files = std::mem::take(&mut snapshot.files);
        let settings_problems = std::mem::take(&mut snapshot.settings_problems);
        let count = parsed.iter().flatten().map(|file| file.records.len()).sum::<usize>().min(MOST_RECORDS);
        let mut loaded = Self {
            snapshot,
            entries: Vec::with_capacity(count),
            doubles: Vec::new(),
            problems: Vec::new(),
            damaged: HashMap::new(),
            present: HashSet::new(),
            tables: HashMap::new(),
            model_runs: Arc::default(),
            readings: Vec::new(),
            stress_fields: StressFields::default(),
            model_tables: ModelTables::default(),
            by_id: HashMap::with_capacity(count),
            by_kind: Default::default(),
            by_former_id: OnceLock::new(),
            naming: Vec::new(),
        };
        loaded
            .problems
            .extend(settings_problems.into_iter().map(|problem| FileProblem { file: FileId::new(0), problem }));
        let mut counter = Counter::default();
        for (file, source) in files.iter().enumerate() {
            if let Err(problem) = &source.content {
                loaded.problems.push(FileProblem { file: FileId::new(file), problem: problem.clone() });
                continue;
            }
            let Some(parsed) = file.checked_sub(1).and_then(|index| parsed.get(index)) else { continue };
            // After the first file with too many, none is taken in: not all of them were decoded.
            match (counter.take(parsed.as_deref()), parsed) {
                (None, Some(parsed)) => loaded.take_in(FileId::new(file), parsed),
                (most, _) => {
                    let problem = too_many(most.unwrap_or("100,000 records"));
                    loaded.problems.push(FileProblem { file: FileId::new(file), problem });
                }
            }
        }
        loaded.snapshot.files = files;
        loaded.look_up_files();
        loaded
    }

    /// These records of a snapshot, each with an id of its own, and what is wrong with its files.
    pub(crate) fn from_records(snapshot: Snapshot, entries: Vec<Entry>, problems: Vec<FileProblem>) -> Self {
        let with_ids = || entries.iter().zip(RecordId::all(entries.len()));
        let by_id = with_ids().map(|(entry, id)| (entry.record.id.as_str().into(), id)).collect();
        let mut by_kind: [Vec<RecordId>; Kind::ALL.len()] = Default::default();
        with_ids().for_each(|(entry, id)| by_kind[entry.record.kind() as usize].push(id));
        let naming = with_ids().filter(|(entry, _)| names_files(&entry.record)).map(|(_, id)| id).collect();
        let mut loaded = Self {
            snapshot,
            entries,
            doubles: Vec::new(),
            problems,
            damaged: HashMap::new(),
            present: HashSet::new(),
            tables: HashMap::new(),
            model_runs: Arc::default(),
            readings: Vec::new(),
            stress_fields: StressFields::default(),
            model_tables: ModelTables::default(),
            by_id,
            by_kind,
            by_former_id: OnceLock::new(),
            naming,
        };
        loaded.look_up_files();
        loaded
    }

    fn take_in(&mut self, file: FileId, parsed: &Parsed) {
        self.problems.extend(parsed.problems.iter().map(|problem| FileProblem { file, problem: problem.clone() }));
        self.damaged.extend(parsed.damaged.iter().map(|damage| (damage.id.clone(), damage.clone())));
        let mut naming = parsed.naming.iter().copied().peekable();
        for (place, record) in parsed.records.iter().enumerate() {
            let names = naming.next_if_eq(&place).is_some();
            let entry = Entry { record: Arc::clone(record), file };
            match self.by_id.get(entry.record.id.as_str()) {
                Some(&first) => self.doubles.push((entry, first)),
                None => {
                    let id = RecordId::new(self.entries.len());
                    self.by_id.insert(entry.record.id.as_str().into(), id);
                    self.by_kind[entry.record.kind() as usize].push(id);
                    self.naming.extend(names.then_some(id));
                    self.entries.push(entry);
                }
            }
        }
    }

    /// The records of a kind, in their order.
    pub(crate) fn of_kind(&self, kind: Kind) -> &[RecordId] {
        &self.by_kind[kind as usize]
    }

    /// The records that name a file.
    pub(crate) fn naming(&self) -> impl Iterator<Item = &Record> {
        self.naming.iter().map(|id| self.record(*id))
    }

    /// Reads the files that the records name, as far as the snapshot does not have them yet.
    #[must_use]
    pub fn fetched(mut self, project: &Project) -> Self {
        let naming = || self.naming.iter().map(|id| &*self.entries[*id].record);
        let named: Vec<&str> = naming().flat_map(files_named).collect();
        let tables: Vec<&str> = naming().flat_map(tables_named).collect();
        project.fetch(&mut self.snapshot, &named, &tables);
        let superseded = self.superseded();
        let current = self.analyses().filter(|(_, record, _)| !superseded.contains(record.id.as_str()));
        let stress: Vec<String> = current.filter_map(|(.., a)| stress::file_of(a).map(str::to_owned)).collect();
        project.fetch_stress_files(&mut self.snapshot, &stress);
        self.stress_fields = StressFields::of(project.stress_fields());
        self.look_up_files();
        if self.analyses().any(|(.., analysis)| analysis.model.is_some()) {
            self.model_runs = project.model_runs(&self.snapshot);
        }
        self
    }

    /// The ids of analyses that a later one supersedes.
    pub(crate) fn superseded(&self) -> HashSet<&str> {
        self.analyses().flat_map(|(.., analysis)| analysis.supersedes.iter().map(Id::as_str)).collect()
    }

    /// Reads the stress files of superseded analyses, too, which only the history of a part needs.
    #[must_use]
    pub fn with_all_stress_files(mut self, project: &Project) -> Self {
        let stress: Vec<String> = self.analyses().filter_map(|(.., a)| stress::file_of(a).map(str::to_owned)).collect();
        project.fetch_stress_files(&mut self.snapshot, &stress);
        self.look_up_files();
        self
    }

    /// Takes over what the snapshot has of the files that the records name.
    fn look_up_files(&mut self) {
        let named = self.naming().flat_map(files_named);
        self.present = named.filter(|path| self.snapshot.has(path)).map(str::to_owned).collect();
        let named = self.naming().flat_map(|record| tables_named(record).into_iter().chain(stress_file_named(record)));
        let read = named.filter_map(|path| Some((path.to_owned(), self.snapshot.read(path)?.clone())));
        self.tables = read.collect();
        self.model_tables = ModelTables::default();
        self.read_numbers();
    }

    /// Reads the numbers that records take from evidence files, and sets them in the records of this state.
    fn read_numbers(&mut self) {
        let (mut all, mut tables) = (Vec::new(), Tables::new(evidence::MOST_BYTES));
        for &record in &self.naming {
            let entry = &mut self.entries[record];
            let named = entry.record.body.readings();
            if named.is_empty() {
                continue;
            }
            let mut numbers = Vec::with_capacity(named.len());
            for (route, figure) in named {
                let Some(reading) = figure.shared_reading() else { continue };
                let taken = evidence::read(&reading, self.tables.get(&reading.from), &reading.from, &mut tables);
                numbers.push(taken.as_ref().ok().map(|taken| taken.quantity.clone()));
                let route = route.into_iter().map(str::to_owned).collect();
                all.push(ReadNumber { record, route, reading, taken });
            }
            // Other states share the record, with what the file is there.
            let own = Arc::make_mut(&mut entry.record);
            for (figure, number) in own.body.readings_mut().into_iter().zip(numbers) {
                figure.set_read(number);
            }
        }
        self.readings = all;
    }

    /// The numbers of a record that are read from evidence files.
    pub fn readings_of(&self, record: RecordId) -> impl Iterator<Item = &ReadNumber> {
        let first = self.readings.partition_point(|own| own.record < record);
        self.readings[first..].iter().take_while(move |own| own.record == record)
    }

    /// The index of a record.
    pub fn find(&self, id: &str) -> Option<RecordId> {
        self.by_id.get(id).copied()
    }

    /// The record with an id that was typed.
    ///
    /// # Errors
    /// There is none: the error names the new id if a record had this one, otherwise a similar one.
    pub fn named(&self, id: &str) -> Result<RecordId, Error> {
        self.find(id).ok_or_else(|| self.no_record(id, self.ids()))
    }

    /// The error for an id that no record has: where a record had it, its new one, otherwise a similar one of those that
    /// fit.
    pub fn no_record<'a>(&self, id: &str, fitting: impl Iterator<Item = &'a str>) -> Error {
        if let Some(now) = self.renamed(id) {
            let now = &self.record(now).id;
            return Error::new(format!("`{}` is now `{now}`", shorten(id))).help(format!("use `{now}`"));
        }
        let help = suggest::did_you_mean(id, fitting, "`tierod graph --format json` lists all records");
        Error::new(format!("no record with id `{}`", shorten(id))).help(help)
    }

    /// The record that lists an id as an earlier one of its own, under `formerly`.
    pub fn renamed(&self, id: &str) -> Option<RecordId> {
        let former_ids = || {
            let mut all = HashMap::new();
            for (record, entry) in self.record_ids().zip(&self.entries) {
                for id in entry.record.body.common().formerly() {
                    all.entry(id.as_str().into()).or_insert(record);
                }
            }
            all
        };
        self.by_former_id.get_or_init(former_ids).get(id).copied()
    }

    /// A table that a record names: its bytes, or why it cannot be read; `None` if it is absent.
    pub fn table(&self, path: &str) -> Option<&Content> {
        self.tables.get(path)
    }

    /// The record of an index.
    pub fn record(&self, index: RecordId) -> &Record {
        &self.entries[index].record
    }

    /// All ids, in the order of the files.
    pub fn ids(&self) -> impl Iterator<Item = &str> {
        self.entries.iter().map(|entry| entry.record.id.as_str())
    }

    /// The number of read errors: if there are any, data may be missing from the values.
    pub fn unread(&self) -> usize {
        self.problems.len() + self.doubles.len()
    }

    /// The files of which nothing was read, each with its problem: they are not valid YAML, or have conflict markers.
    pub fn unreadable(&self) -> impl Iterator<Item = &FileProblem> {
        self.problems
            .iter()
            .filter(|found| matches!(found.problem.kind, ProblemKind::Unreadable | ProblemKind::Conflict))
    }

    /// The settings.
    pub fn settings(&self) -> &Settings {
        &self.snapshot.settings
    }

    /// The date to use as today: the one asked for, otherwise `as-of` in the settings, otherwise that of the commit, otherwise
    /// today.
    pub fn day(&self, asked: Option<Day>, today: impl FnOnce() -> Day) -> Day {
        let of_source = || match &self.snapshot.source {
            Source::Revision { day, .. } => *day,
            Source::Worktree | Source::Index | Source::Nothing => today(),
        };
        asked.or(self.settings().as_of).unwrap_or_else(of_source)
    }
}

/// The files that a record names: evidence (also that of alternatives and of numbers that are read), past standings, tables
/// that a model reads.
pub fn files_named(record: &Record) -> Vec<&str> {
    let mut files: Vec<&str> = record.evidence().iter().map(String::as_str).collect();
    if let Body::Decision(decision) = &record.body {
        files.extend(decision.alternatives.iter().flat_map(|(_, alternative)| alternative.evidence()));
    }
    files.extend(tables_named(record));
    files.extend(stress_file_named(record));
    files
}

/// Whether a record names a file.
pub(crate) fn names_files(record: &Record) -> bool {
    !files_named(record).is_empty()
}

/// The stress file that a record names.
fn stress_file_named(record: &Record) -> Option<&str> {
    match &record.body {
        Body::Analysis(analysis) => stress::file_of(analysis),
        _ => None,
    }
}

/// The tables among them: past standings, evidence of numbers, and what a model reads.
fn tables_named(record: &Record) -> Vec<&str> {
    let read = record.body.readings().into_iter().filter_map(|(_, figure)| figure.reading());
    let mut tables: Vec<&str> = read.map(|reading| &*reading.from).collect();
    tables.append(&mut inputs_named(record));
    tables
}

/// Past standings, and what a model reads.
fn inputs_named(record: &Record) -> Vec<&str> {
    match &record.body {
        Body::Goal(goal) => goal.past_standings.iter().filter_map(|table| table.file.as_deref()).collect(),
        Body::Analysis(analysis) => {
            let values = analysis.given.iter().filter(|(name, _)| !stress::is_text(analysis, name.as_str()));
            values.map(|(_, value)| value).filter(|value| is_table(value)).map(Expression::text).collect()
        }
        Body::Event(event) => {
            let given = event.score.iter().flat_map(|score| score.given.iter());
            given.filter_map(|(_, value)| value.past_file()).collect()
        }
        Body::Target(target) => target.given.iter().filter_map(|(_, value)| value.past_file()).collect(),
        Body::System(_)
        | Body::Requirement(_)
        | Body::Part(_)
        | Body::Result(_)
        | Body::Revision(_)
        | Body::Waiver(_) => Vec::new(),
        Body::Decision(decision) => {
            let settings = decision.alternatives.iter().flat_map(|(_, alternative)| alternative.sets.iter());
            let texts = settings.filter_map(|(_, setting)| match &setting.value {
                SetTo::Text(text) => Some(&**text),
                SetTo::Quantity(_) | SetTo::Read(_) | SetTo::Nothing => None,
            });
            texts.filter(|text| is_table_name(text)).collect()
        }
    }
}

/// Returns whether an input names a table, not a value.
pub fn is_table(value: &Expression) -> bool {
    is_table_name(value.text())
}

/// Returns whether a text is the name of a table.
pub(crate) fn is_table_name(text: &str) -> bool {
    text.ends_with(".csv")
}
