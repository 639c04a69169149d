//! From a snapshot to records: every file read, every id known, every file named looked up.

use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _, HashSet, HashSetExt as _};
use schema::read::{self, Damage, Problem};
use schema::records::{Body, Expression};
use schema::{Day, Id, Record, Settings};

use crate::Error;
use crate::git::Project;
use crate::ids::{FileId, RecordId};
use crate::snapshot::{Request, Snapshot, Source};

/// A record and the file it stands in.
#[derive(Debug)]
pub struct Entry {
    /// The record; states of a data root that have the same file share it.
    pub record: Arc<Record>,
    /// The index of its file in [`Snapshot::files`].
    pub file: FileId,
}

/// Files that were read already, by their bytes, so that what two states of a data root share is parsed once.
#[derive(Debug, Default)]
pub struct Pool {
    files: HashMap<Arc<[u8]>, Arc<Parsed>>,
    /// Records by the bytes they are written in, where many states of the same files are read.
    pieces: Option<HashMap<Box<[u8]>, Arc<Record>>>,
}

/// What one record file gave.
#[derive(Debug)]
struct Parsed {
    records: Vec<Arc<Record>>,
    problems: Vec<Problem>,
    damaged: Vec<Damage>,
}

impl Parsed {
    fn new(bytes: &[u8]) -> Self {
        let read = read::records(bytes);
        let records = read.records.into_iter().map(Arc::new).collect();
        Self { records, problems: read.problems, damaged: read.damaged }
    }
}

impl Pool {
    /// A pool for many states of the same files: what a file shares with an earlier state of it is not parsed again.
    pub fn of_many_states() -> Self {
        Self { pieces: Some(HashMap::default()), ..Self::default() }
    }

    /// A file that can be cut apart between its records, and in which nothing is wrong, is put together from them.
    fn by_pieces(&mut self, bytes: &[u8]) -> Option<Parsed> {
        let pieces = self.pieces.as_mut()?;
        let chunks = read::flat::chunks(bytes)?;
        let texts: Vec<Box<[u8]>> = chunks
            .iter()
            .map(|chunk| {
                let (head, body) = chunk.bytes(bytes);
                [head, body].concat().into()
            })
            .collect();
        // What is not known is read in one go: to begin reading costs more than to read a record.
        let mut news: Vec<(&str, usize)> = Vec::new();
        let (mut file, mut kind): (Vec<u8>, &[u8]) = (Vec::new(), &[]);
        for (at, chunk) in chunks.iter().enumerate().filter(|(at, _)| !pieces.contains_key(&texts[*at])) {
            let (head, body) = chunk.bytes(bytes);
            if head != kind {
                file.extend_from_slice(head);
                kind = head;
            }
            file.extend_from_slice(body);
            news.push((chunk.id(bytes)?, at));
        }
        if !news.is_empty() {
            let parsed = Parsed::new(&file);
            if !parsed.problems.is_empty() || !parsed.damaged.is_empty() || parsed.records.len() != news.len() {
                return None;
            }
            let by_id: HashMap<&str, &Arc<Record>> =
                parsed.records.iter().map(|record| (record.id.as_str(), record)).collect();
            for (id, at) in news {
                pieces.insert(texts[at].clone(), Arc::clone(by_id.get(id)?));
            }
        }
        let mut records: Vec<Arc<Record>> = Vec::with_capacity(texts.len());
        let mut ids = HashSet::new();
        for text in &texts {
            let record = pieces.get(text)?;
            if !ids.insert(record.id.to_string()) {
                return None;
            }
            records.push(Arc::clone(record));
        }
        // As a file that is read in one go has them.
        records.sort_by_key(|record| record.kind());
        Some(Parsed { records, problems: Vec::new(), damaged: Vec::new() })
    }

    fn read(&mut self, bytes: &Arc<[u8]>) -> Arc<Parsed> {
        if let Some(parsed) = self.files.get(bytes) {
            return Arc::clone(parsed);
        }
        let parsed = Arc::new(self.by_pieces(bytes).unwrap_or_else(|| Parsed::new(bytes)));
        self.files.insert(Arc::clone(bytes), Arc::clone(&parsed));
        parsed
    }
}

/// A problem and the file it is in.
#[derive(Debug)]
pub struct FileProblem {
    /// The index of the file in [`Snapshot::files`].
    pub file: FileId,
    /// What is wrong.
    pub problem: Problem,
}

/// All records of a data root.
#[derive(Debug)]
pub struct Loaded {
    /// Where they came from, and the bytes for places.
    pub snapshot: Snapshot,
    /// The records, file by file; each id once.
    pub entries: Vec<Entry>,
    /// Records whose id was taken already: the later one, and the index of the first.
    pub doubles: Vec<(Entry, RecordId)>,
    /// What is wrong with the files.
    pub problems: Vec<FileProblem>,
    /// Records that could be read in part only, or not at all, by id.
    pub damaged: HashMap<Id, Damage>,
    /// The files that records name and that are there, relative to the data root.
    pub present: HashSet<String>,
    /// The bytes of the CSV tables that records name, by path.
    pub tables: HashMap<String, Arc<[u8]>>,
    by_id: HashMap<Box<str>, RecordId>,
}

impl Loaded {
    /// Takes a snapshot, decodes it and fetches the files that its records name.
    ///
    /// # Errors
    /// Those of [`Project::snapshot`].
    pub fn from_request(request: &Request) -> Result<Self, Error> {
        Project::open(request).load()
    }

    /// Reads the files of a snapshot.
    pub fn from_snapshot(snapshot: Snapshot) -> Self {
        Self::by(snapshot, |bytes| Arc::new(Parsed::new(bytes)))
    }

    /// Reads the files of a snapshot that the pool does not know yet.
    pub fn from_pool(snapshot: Snapshot, pool: &mut Pool) -> Self {
        Self::by(snapshot, |bytes| pool.read(bytes))
    }

    fn by(mut snapshot: Snapshot, mut read: impl FnMut(&Arc<[u8]>) -> Arc<Parsed>) -> Self {
        let files = std::mem::take(&mut snapshot.files);
        let settings_problems = std::mem::take(&mut snapshot.settings_problems);
        let mut loaded = Self {
            snapshot,
            entries: Vec::new(),
            doubles: Vec::new(),
            problems: Vec::new(),
            damaged: HashMap::new(),
            present: HashSet::new(),
            tables: HashMap::new(),
            by_id: HashMap::new(),
        };
        loaded
            .problems
            .extend(settings_problems.into_iter().map(|problem| FileProblem { file: FileId::new(0), problem }));
        for (file, source) in files.iter().enumerate() {
            let is_record_file = file > 0;
            let file = FileId::new(file);
            match &source.content {
                Ok(bytes) if is_record_file => loaded.take_in(file, &read(bytes)),
                Ok(_) => {}
                Err(problem) => loaded.problems.push(FileProblem { file, problem: problem.clone() }),
            }
        }
        loaded.snapshot.files = files;
        loaded.look_up_files();
        loaded
    }

    fn take_in(&mut self, file: FileId, read: &Parsed) {
        self.problems.extend(read.problems.iter().map(|problem| FileProblem { file, problem: problem.clone() }));
        self.damaged.extend(read.damaged.iter().map(|damage| (damage.id.clone(), damage.clone())));
        for record in &read.records {
            let entry = Entry { record: Arc::clone(record), file };
            match self.by_id.get(entry.record.id.as_str()) {
                Some(&first) => self.doubles.push((entry, first)),
                None => {
                    self.by_id.insert(entry.record.id.as_str().into(), RecordId::new(self.entries.len()));
                    self.entries.push(entry);
                }
            }
        }
    }

    /// Reads the files that the records name, as far as the snapshot does not have them yet.
    #[must_use]
    pub fn fetched(mut self, project: &Project) -> Self {
        let named: Vec<&str> = self.entries.iter().flat_map(|entry| files_named(&entry.record)).collect();
        let tables: Vec<&str> = self.entries.iter().flat_map(|entry| tables_named(&entry.record)).collect();
        project.fetch(&mut self.snapshot, &named, &tables);
        self.look_up_files();
        self
    }

    /// Takes over what the snapshot has of the files that the records name.
    fn look_up_files(&mut self) {
        let named = self.entries.iter().flat_map(|entry| files_named(&entry.record));
        self.present = named.filter(|path| self.snapshot.has(path)).map(str::to_owned).collect();
        let named = self.entries.iter().flat_map(|entry| tables_named(&entry.record));
        let read = named.filter_map(|path| Some((path.to_owned(), self.snapshot.read(path)?)));
        self.tables = read.collect();
    }

    /// The index of a record.
    pub fn find(&self, id: &str) -> Option<RecordId> {
        self.by_id.get(id).copied()
    }

    /// The record of an index.
    pub fn record(&self, index: RecordId) -> &Record {
        &self.entries[index].record
    }

    /// All ids, in the order of the files.
    pub fn ids(&self) -> impl Iterator<Item = &str> {
        self.entries.iter().map(|entry| entry.record.id.as_str())
    }

    /// How many problems of reading there are: values may then lack what could not be read.
    pub fn unread(&self) -> usize {
        self.problems.len() + self.doubles.len()
    }

    /// The settings.
    pub fn settings(&self) -> &Settings {
        &self.snapshot.settings
    }

    /// The day to reckon with: the one asked for, else the settings' own, else that of the commit, else today.
    pub fn day(&self, asked: Option<Day>, today: Day) -> Day {
        let of_source = match &self.snapshot.source {
            Source::Revision { day, .. } => *day,
            Source::Worktree | Source::Index | Source::Nothing => today,
        };
        asked.or(self.settings().as_of).unwrap_or(of_source)
    }
}

/// The files that a record names: evidence, past standings, tables that a model reads.
pub fn files_named(record: &Record) -> Vec<&str> {
    let mut files: Vec<&str> = record.evidence().iter().map(String::as_str).collect();
    files.extend(tables_named(record));
    files
}

/// The tables among them: past standings, and what a model reads.
fn tables_named(record: &Record) -> Vec<&str> {
    match &record.body {
        Body::Goal(goal) => goal.past_standings.iter().filter_map(|table| table.file.as_deref()).collect(),
        Body::Analysis(analysis) => {
            let values = analysis.given.iter().map(|(_, value)| value);
            values.filter(|value| is_table(value)).map(Expression::text).collect()
        }
        _ => Vec::new(),
    }
}

/// An input that names a table rather than a value.
pub fn is_table(value: &Expression) -> bool {
    value.text().ends_with(".csv")
}
