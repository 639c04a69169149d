//! The fields of stress files: each file is read once for all fields that a state of the records names, and not at all if an
//! earlier run of the tool kept what was read of it.
//!
//! What is read depends on the bytes of the file and the name of the field alone, so a hash over both finds it, in any state
//! and run. The work of all fields of a state is limited, in the order in which they are asked for; a field that is known counts
//! as much as one that is read, so that the same fields are refused with and without a cache.

use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use foldhash::{HashMap, HashSet};
use models::stress::limits::MOST_WORK;
use models::stress::{StressError, StressField, StressFile};
use sha2::{Digest as _, Sha256};

use super::{FieldAsk, field_of, file_of};
use crate::load::Loaded;
use crate::values::runs::{ModelRuns, RunKey};

/// What the numbers of a field in the cache mean. Another build has another cache.
const FORMAT: &[u8] = b"stress field 1";

/// The fields of one project that are kept for its next run: some megabytes.
const MOST_KEPT: usize = 32;

/// A field in SI, or why it cannot be read.
pub(crate) type Field = Result<Arc<StressField>, StressError>;

/// A field in the units of its file, with the work to read it.
#[derive(Clone, Debug)]
struct Read {
    field: Field,
    work: u64,
}

/// The fields that were read, by the hash of the bytes: states of a history with the same file share them.
#[derive(Debug, Default)]
pub(crate) struct SharedFields(Mutex<HashMap<RunKey, Read>>);

/// The fields of one state.
#[derive(Debug)]
pub(crate) struct StressFields {
    own: Mutex<OfState>,
    /// The fields that are named of each file, those of current analyses first.
    named: OnceLock<HashMap<String, Named>>,
    shared: Arc<SharedFields>,
}

#[derive(Debug)]
struct OfState {
    /// By path and name, in the units of the file.
    read: HashMap<String, HashMap<String, Field>>,
    /// By path, name and units.
    in_units: HashMap<(String, String, [u64; 2]), Field>,
    /// The work that is left.
    left: u64,
}

/// The fields of one file.
#[derive(Debug, Default)]
struct Named {
    current: Vec<String>,
    /// Those that only superseded analyses name.
    earlier: Vec<String>,
}

impl Default for StressFields {
    fn default() -> Self {
        Self::of(&Arc::default())
    }
}

impl StressFields {
    /// The fields of a state of a project.
    pub(crate) fn of(shared: &Arc<SharedFields>) -> Self {
        Self::with_work(shared, MOST_WORK)
    }

    fn with_work(shared: &Arc<SharedFields>, left: u64) -> Self {
        let own = OfState { read: HashMap::default(), in_units: HashMap::default(), left };
        Self { own: Mutex::new(own), named: OnceLock::new(), shared: Arc::clone(shared) }
    }
}

impl SharedFields {
    /// Reads fields of a file, in their order, as far as there is work left.
    pub(crate) fn read(&self, bytes: &[u8], names: &[&str], runs: &ModelRuns, left: &mut u64) -> Vec<Field> {
        let hash: [u8; 32] = Sha256::digest(bytes).into();
        let mut file: Option<StressFile<'_>> = None;
        let mut read = |name: &str| -> Field {
            let key = RunKey::of([FORMAT, &hash, name.as_bytes()]);
            if let Some(known) = self.known(&key, runs) {
                return spend(left, known.work).and(known.field);
            }
            // Without a rest of work, the mesh is not read either.
            spend(left, 0)?;
            let file = file.get_or_insert_with(|| StressFile::open(bytes));
            let work = file.work(name);
            spend(left, work)?;
            let field = file.read(name).map(Arc::new);
            self.keep(key, Read { field: field.clone(), work }, runs);
            field
        };
        names.iter().map(|name| read(name)).collect()
    }

    /// What was read before; numbers that are not those of a field count as absent.
    fn known(&self, key: &RunKey, runs: &ModelRuns) -> Option<Read> {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = all.get(key) {
            return Some(known.clone());
        }
        let numbers = runs.all_of(key)?;
        let (work, field) = numbers.split_first()?;
        let work = Some(*work).filter(|work| *work >= 0.0 && *work <= MOST_WORK as f64)? as u64;
        let read = Read { field: Ok(Arc::new(StressField::from_numbers(field)?)), work };
        all.insert(*key, read.clone());
        Some(read)
    }

    fn keep(&self, key: RunKey, read: Read, runs: &ModelRuns) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Ok(field) = &read.field
            && all.len() < MOST_KEPT
        {
            runs.add(key, std::iter::once(read.work as f64).chain(field.to_numbers()).collect());
        }
        all.insert(key, read);
    }
}

/// Takes work from what is left; if it is not enough, nothing is left for what follows either.
fn spend(left: &mut u64, work: u64) -> Result<(), StressError> {
    match left.checked_sub(work).filter(|_| *left > 0) {
        Some(rest) => *left = rest,
        None => {
            *left = 0;
            let most = MOST_WORK / 1_000_000;
            return Err(StressError {
                message: format!(
                    "the stress files of the project need too much work: the limit is {most} million steps"
                ),
                help: "use coarser meshes or fewer fields, or list earlier analyses under `supersedes`; see Limits in SECURITY.md".to_owned(),
            });
        }
    }
    Ok(())
}

impl Loaded {
    /// The field that an analysis asks for; `None` if the file is absent, which is reported with all other names of files.
    pub(crate) fn stress_field(&self, ask: &FieldAsk) -> Option<Field> {
        let content = self.table(&ask.file)?;
        let units = [ask.stress_unit.to_bits(), ask.length_unit.to_bits()];
        let key = (ask.file.clone(), ask.stress.clone(), units);
        let mut own = self.stress_fields.own.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = own.in_units.get(&key) {
            return Some(known.clone());
        }
        let in_units = |field: Arc<StressField>| field.in_units(ask.stress_unit, ask.length_unit).map(Arc::new);
        let found = match content {
            Ok(bytes) => self.in_file_units(bytes, ask, &mut own).and_then(in_units),
            Err(problem) => Err(StressError { message: problem.message.clone(), help: problem.help.clone() }),
        };
        own.in_units.insert(key, found.clone());
        Some(found)
    }

    /// The field in the units of its file, of which all fields are read that are needed like this one.
    fn in_file_units(&self, bytes: &[u8], ask: &FieldAsk, own: &mut OfState) -> Field {
        let known = own.read.entry(ask.file.clone()).or_default();
        if let Some(known) = known.get(&ask.stress) {
            return known.clone();
        }
        let named = self.stress_fields.named.get_or_init(|| self.named_fields()).get(&ask.file);
        let group = named.map(|named| match named.current.contains(&ask.stress) {
            true => &named.current,
            false => &named.earlier,
        });
        let names: Vec<&str> = match group {
            Some(group) if group.contains(&ask.stress) => group.iter().map(String::as_str).collect(),
            _ => vec![&ask.stress],
        };
        let fields = self.stress_fields.shared.read(bytes, &names, &self.model_runs, &mut own.left);
        let mut found = None;
        for (name, field) in names.into_iter().zip(fields) {
            if name == ask.stress {
                found = Some(field.clone());
            }
            known.insert(name.to_owned(), field);
        }
        found.unwrap_or_else(|| Err(StressError { message: "the field is not read".to_owned(), help: String::new() }))
    }

    fn named_fields(&self) -> HashMap<String, Named> {
        let superseded = self.superseded();
        let mut all: HashMap<String, Named> = HashMap::default();
        let mut seen = HashSet::default();
        for is_current in [true, false] {
            for (_, record, analysis) in self.analyses() {
                let name = field_of(analysis);
                let Some(file) = file_of(analysis) else { continue };
                if superseded.contains(record.id.as_str()) != is_current && seen.insert((file, name)) {
                    let named = all.entry(file.to_owned()).or_default();
                    let group = if is_current { &mut named.current } else { &mut named.earlier };
                    group.push(name.to_owned());
                }
            }
        }
        all
    }
}
