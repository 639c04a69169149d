//! From the bytes of record files to records: in parallel, and each file once.

use std::hash::{BuildHasher as _, Hash, Hasher};
use std::sync::{Arc, Mutex, PoisonError};

use foldhash::{HashMap, HashMapExt as _, HashSet, HashSetExt as _};
use schema::Record;
use schema::encoded;
use schema::read::{self, Damage, FileRecords, Problem};

use crate::load::names_files;
use crate::parallel::{cores, in_parallel};
use crate::snapshot::File;

/// What was decoded of one record file.
#[derive(Debug)]
pub(crate) struct Parsed {
    pub(crate) records: Vec<Arc<Record>>,
    /// The values of each of them, with aliases expanded.
    values: Vec<u32>,
    /// The positions of the records that name a file, in their order.
    pub(crate) naming: Vec<usize>,
    pub(crate) problems: Vec<Problem>,
    pub(crate) damaged: Vec<Damage>,
}

impl From<FileRecords> for Parsed {
    fn from(file: FileRecords) -> Self {
        let records = file.records.into_iter().map(Arc::new).collect();
        Self::new(records, file.values, file.problems, file.damaged)
    }
}

impl Parsed {
    fn new(records: Vec<Arc<Record>>, values: Vec<u32>, problems: Vec<Problem>, damaged: Vec<Damage>) -> Self {
        let naming = records.iter().enumerate().filter(|(_, record)| names_files(record)).map(|(at, _)| at).collect();
        Self { records, values, naming, problems, damaged }
    }

    /// How much it adds to a state.
    fn size(&self) -> Size {
        let values = self.values.iter().map(|count| *count as usize).sum();
        Size { records: self.records.len(), values, errors: self.problems.len() }
    }

    fn is_sound(&self) -> bool {
        self.problems.is_empty() && self.damaged.is_empty()
    }
}

/// The records of a file as an earlier run decoded them, if they are known; several threads ask at once.
pub type Known<'k> = dyn Fn(&File) -> Option<FileRecords> + Sync + 'k;

/// The bytes of a file with their hash, so that they are hashed once. States of a project share the bytes that they have
/// in common, and most comparisons end at that.
#[derive(Clone, Debug)]
struct Content {
    hash: u64,
    bytes: Arc<[u8]>,
}

impl Hash for Content {
    fn hash<H: Hasher>(&self, state: &mut H) {
        state.write_u64(self.hash);
    }
}

impl PartialEq for Content {
    fn eq(&self, other: &Self) -> bool {
        self.hash == other.hash && (Arc::ptr_eq(&self.bytes, &other.bytes) || self.bytes == other.bytes)
    }
}

impl Eq for Content {}

/// A record, with its values.
type Piece = (Arc<Record>, u32);

/// Files that were decoded already, by their bytes, so that a file in several states is decoded once.
#[derive(Debug, Default)]
pub struct ParseCache {
    files: HashMap<Content, Arc<Parsed>>,
    /// Records by the bytes they are written in, where many states of the same files are read.
    pieces: Option<HashMap<Box<[u8]>, Piece>>,
    /// Decode with this many threads, whatever the machine has.
    threads: Option<usize>,
}

/// A thread is started for this many bytes of record files: decoding them takes some milliseconds, and starting a thread
/// a few hundredths of one.
const BYTES_PER_THREAD: usize = 64 * 1024;

/// How much is in the record files of a state, or in some of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Size {
    records: usize,
    values: usize,
    errors: usize,
}

/// The largest number of records of a state: each takes some kilobytes with its findings.
pub(crate) const MOST_RECORDS: usize = 100_000;
/// The largest number of values of all its records, and of errors in all its files: each takes up to some hundred bytes.
/// Records of real projects have 30 to 50 values.
const MOST_VALUES: usize = 6_000_000;
const MOST_ERRORS: usize = 100_000;

impl Size {
    fn add(&mut self, other: Self) {
        self.records += other.records;
        self.values += other.values;
        self.errors += other.errors;
    }

    /// What it has more of than a state may have.
    fn over(&self) -> Option<&'static str> {
        let of_most = [
            (self.records, MOST_RECORDS, "100,000 records"),
            (self.values, MOST_VALUES, "6,000,000 values"),
            (self.errors, MOST_ERRORS, "100,000 errors in its files"),
        ];
        of_most.into_iter().find(|(count, most, _)| count > most).map(|(.., most)| most)
    }
}

/// Counts the files of a state, in their order, up to the first with which it has too much.
#[derive(Debug, Default)]
pub(crate) struct Counter {
    size: Size,
    over: Option<&'static str>,
}

impl Counter {
    /// What a state with this file and those before has too much of.
    pub(crate) fn take(&mut self, parsed: Option<&Parsed>) -> Option<&'static str> {
        if let (None, Some(parsed)) = (&self.over, parsed) {
            self.size.add(parsed.size());
            self.over = self.size.over();
        }
        self.over
    }
}

/// The files in batches of some megabytes.
fn batches<'f>(files: &'f [(&'f File, &'f Content)]) -> impl Iterator<Item = &'f [(&'f File, &'f Content)]> {
    const BYTES: usize = 16 << 20;
    let mut rest = files;
    std::iter::from_fn(move || {
        let mut bytes = 0;
        let fits = |(_, content): &&(&File, &Content)| {
            bytes += content.bytes.len();
            bytes <= BYTES
        };
        let count = rest.iter().take_while(fits).count().max(1).min(rest.len());
        let (batch, others) = rest.split_at(count);
        rest = others;
        (!batch.is_empty()).then_some(batch)
    })
}

impl ParseCache {
    /// A cache for many states of the same files: a record that an earlier state of its file has is not decoded again.
    pub fn of_many_states() -> Self {
        Self { pieces: Some(HashMap::new()), ..Self::default() }
    }

    /// Decodes with a number of threads, for tests: the records do not depend on it.
    #[must_use]
    pub fn with_threads(self, threads: usize) -> Self {
        Self { threads: Some(threads), ..self }
    }

    /// Adds a file with its records as an earlier run decoded them.
    pub fn seed(&mut self, bytes: &Arc<[u8]>, file: FileRecords) {
        self.files.insert(self.content(bytes), Arc::new(file.into()));
    }

    /// The records of a file in binary form, to be kept; `None` if the file was not decoded here or has problems.
    pub fn encoded(&self, bytes: &Arc<[u8]>) -> Option<Vec<u8>> {
        let parsed = self.files.get(&self.content(bytes)).filter(|parsed| parsed.is_sound())?;
        encoded::encode_records(parsed.records.iter().map(|record| &**record).zip(parsed.values.iter().copied()))
    }

    /// The same for several files, in parallel and in their order.
    pub(crate) fn encoded_files<'b>(&self, files: impl Iterator<Item = &'b Arc<[u8]>>) -> Vec<Option<Vec<u8>>> {
        let files: Vec<&Arc<[u8]>> = files.collect();
        in_parallel(&files, self.threads_for(&files), |bytes| self.encoded(bytes))
    }

    fn content(&self, bytes: &Arc<[u8]>) -> Content {
        Content { hash: self.files.hasher().hash_one(&**bytes), bytes: Arc::clone(bytes) }
    }

    /// The number of bytes of all record files, and of those among them that were not decoded yet.
    pub(crate) fn sizes(&self, files: &[File]) -> (usize, usize) {
        let records = files.iter().skip(1).filter_map(|file| file.content.as_ref().ok());
        records.fold((0, 0), |(all, new), bytes| {
            let is_new = !self.files.contains_key(&self.content(bytes));
            (all + bytes.len(), new + if is_new { bytes.len() } else { 0 })
        })
    }

    /// The records of each file, in the order of the files; `None` for a file without content.
    pub(crate) fn parse(&mut self, files: &[File], known: &Known<'_>) -> Vec<Option<Arc<Parsed>>> {
        let contents: Vec<Option<Content>> =
            files.iter().map(|file| file.content.as_ref().ok().map(|bytes| self.content(bytes))).collect();
        let mut chosen = HashSet::new();
        let mut new: Vec<(&File, &Content)> = Vec::new();
        for (file, content) in files.iter().zip(&contents) {
            if let Some(content) = content
                && !self.files.contains_key(content)
                && chosen.insert(content)
            {
                match self.by_pieces(&content.bytes) {
                    Some(parsed) => drop(self.files.insert(content.clone(), Arc::new(parsed))),
                    None => new.push((file, content)),
                }
            }
        }
        // Far more files than a project has are decoded some at a time: what is behind the limit is not used.
        let decode = |(file, content): &(&File, &Content)| {
            Arc::new(Parsed::from(known(file).unwrap_or_else(|| read::records(&content.bytes))))
        };
        let mut size = Size::default();
        'all: for batch in batches(&new) {
            let texts: Vec<&Arc<[u8]>> = batch.iter().map(|(_, content)| &content.bytes).collect();
            let begun = Mutex::new(size);
            let begun = || begun.lock().unwrap_or_else(PoisonError::into_inner);
            // The threads stop when they have too much together, in whatever order.
            let decoded = in_parallel(batch, self.threads_for(&texts), |one| {
                // The lock is not held while a file is decoded.
                let is_over = begun().over().is_some();
                let parsed = (!is_over).then(|| decode(one))?;
                begun().add(parsed.size());
                Some(parsed)
            });
            for (one, parsed) in batch.iter().zip(decoded) {
                let parsed = parsed.unwrap_or_else(|| decode(one));
                size.add(parsed.size());
                self.files.insert(one.1.clone(), parsed);
                if size.over().is_some() {
                    break 'all;
                }
            }
        }
        contents.iter().map(|content| self.files.get(content.as_ref()?).cloned()).collect()
    }

    fn threads_for(&self, files: &[&Arc<[u8]>]) -> usize {
        self.threads.unwrap_or_else(|| {
            // One file is decoded by one thread: others help only with the rest.
            let sizes = || files.iter().map(|bytes| bytes.len());
            let rest = sizes().sum::<usize>() - sizes().max().unwrap_or(0);
            match rest / BYTES_PER_THREAD {
                0 => 1,
                others => cores().min(1 + others),
            }
        })
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
        // New pieces are decoded in one pass: to begin one costs more than to decode a record.
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
            let parsed = Parsed::from(read::records(&file));
            if !parsed.is_sound() || parsed.records.len() != news.len() {
                return None;
            }
            let both = || parsed.records.iter().zip(parsed.values.iter());
            let by_id: HashMap<&str, (&Arc<Record>, u32)> =
                both().map(|(record, values)| (record.id.as_str(), (record, *values))).collect();
            for (id, at) in news {
                let (record, values) = *by_id.get(id)?;
                pieces.insert(texts[at].clone(), (Arc::clone(record), values));
            }
        }
        let mut records: Vec<Piece> = Vec::with_capacity(texts.len());
        let mut ids = HashSet::new();
        for text in &texts {
            let (record, values) = pieces.get(text)?;
            if !ids.insert(record.id.to_string()) {
                return None;
            }
            records.push((Arc::clone(record), *values));
        }
        // As in a file that is decoded as a whole.
        records.sort_by_key(|(record, _)| record.kind());
        let (records, values) = records.into_iter().unzip();
        Some(Parsed::new(records, values, Vec::new(), Vec::new()))
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;
    use crate::Loaded;
    use crate::snapshot::Snapshot;

    fn file(path: String, text: String) -> File {
        File { path, content: Ok(text.into_bytes().into()) }
    }

    /// The records of the files that follow too many are not read, however many files were decoded.
    #[test]
    fn the_records_of_a_state_are_bounded() {
        let many = |file: usize| {
            let parts =
                (0..MOST_RECORDS / 3).map(|number| format!("  p{file}-{number}: {{in: a}}\n")).collect::<String>();
            (format!("{file}.yaml"), format!("parts:\n{parts}"))
        };
        let last = file("9.yaml".to_owned(), "parts: {last: {in: x}}\n".to_owned());
        let mut files: Vec<File> = (0..4).map(many).map(|(path, text)| file(path, text)).collect();
        files.push(last);
        let loaded = Loaded::from_snapshot(Snapshot::in_memory(files));
        assert_eq!(
            (loaded.entries.len() <= MOST_RECORDS, not_read(&loaded, "100,000 records")),
            (true, vec!["3", "9"])
        );
    }

    /// The files of which nothing is read because the project has more of something.
    fn not_read<'l>(loaded: &'l Loaded, most: &str) -> Vec<&'l str> {
        let message = format!("the project has more than {most}, and the records of this file are not read");
        let over = loaded.problems.iter().filter(|found| found.problem.message == message);
        over.map(|found| loaded.snapshot.files[found.file].path.trim_end_matches(".yaml")).collect()
    }

    /// Aliases make many values of few bytes; they count whether a file is decoded, cut into pieces or in the cache.
    #[test]
    fn the_values_of_a_state_are_bounded() {
        let serves: String = (0..2_000).map(|number| format!("k{number}: x, ")).collect();
        let text = |file: usize| {
            let own = (0..190).map(|number| format!("  p{file}-{number}: {{in: a, serves: *all}}\n"));
            format!("parts:\n  first-{file}: {{in: a, serves: &all {{{serves}}}}}\n{}", own.collect::<String>())
        };
        // Seven of 764,000 values each are read, and nothing behind the eighth.
        let files = || -> Vec<File> {
            let last = file("9.yaml".to_owned(), "parts: {last: {in: x}}\n".to_owned());
            (0..8).map(|number| file(format!("{number}.yaml"), text(number))).chain([last]).collect()
        };
        let mut cache = ParseCache::default().with_threads(1);
        let loaded = Loaded::from_pool(Snapshot::in_memory(files()), &mut cache);
        let expected = (7 * 191, vec!["7", "9"]);
        let answer = |loaded: &Loaded| {
            let over = not_read(loaded, "6,000,000 values").into_iter().map(str::to_owned).collect::<Vec<_>>();
            (loaded.entries.len(), over)
        };
        assert_eq!(answer(&loaded), (expected.0, expected.1.iter().map(|path| (*path).to_owned()).collect()));
        let kept: HashMap<String, Vec<u8>> = files()
            .iter()
            .filter_map(|file| Some((file.path.clone(), cache.encoded(file.content.as_ref().ok()?)?)))
            .collect();
        assert_eq!(kept.len(), 8, "the last one is not decoded");
        drop(cache);
        let known = |file: &File| encoded::decode(kept.get(&file.path)?);
        let first = answer(&loaded);
        drop(loaded);
        let seen = |cache: &mut ParseCache, known: &Known<'_>| {
            answer(&Loaded::with_known(Snapshot::in_memory(files()), cache, known))
        };
        assert_eq!(seen(&mut ParseCache::default().with_threads(4), &known), first);
        assert_eq!(seen(&mut ParseCache::of_many_states(), &|_| None), first);
    }

    #[test]
    fn the_values_of_a_piece_are_those_of_its_record() {
        let text = "parts:\n  b: {in: a, serves: {c: d}}\nsystems:\n  a:\n    in: car\n    notes: |\n      a long text of more than 32 bytes\n";
        let sizes = |cache: &mut ParseCache| {
            let parsed = cache.parse(&[file("a.yaml".to_owned(), text.to_owned())], &|_| None);
            parsed[0].as_ref().unwrap().values.clone()
        };
        assert_eq!(sizes(&mut ParseCache::default()), [6, 7]);
        assert_eq!(sizes(&mut ParseCache::of_many_states()), [6, 7]);
    }

    #[test]
    fn the_errors_of_a_state_are_bounded() {
        let many = |file: usize| {
            let parts = (0..9_999).map(|number| format!("  p{file}-{number}: {{inn: a}}\n")).collect::<String>();
            (format!("{file}.yaml"), format!("parts:\n{parts}"))
        };
        let files = || (10..22).map(many).map(|(path, text)| file(path, text)).collect();
        for threads in [1, 4] {
            let mut cache = ParseCache::default().with_threads(threads);
            let loaded = Loaded::from_pool(Snapshot::in_memory(files()), &mut cache);
            let not_read = not_read(&loaded, "100,000 errors in its files");
            // `inn` is an unknown key, and no part has `in`.
            assert_eq!((loaded.problems.len() > 90_000, not_read.len() >= 2), (true, true), "{not_read:?}");
            assert!(loaded.problems.len() <= MOST_ERRORS + not_read.len(), "{}", loaded.problems.len());
        }
    }

    /// Files of all kinds: right, wrong in part, no YAML, the same bytes twice, ids that appear twice, and empty.
    fn files() -> Vec<File> {
        let part = |number: usize| {
            format!("  p{number}: {{in: s{}, title: Part é{number}, count: {}}}\n", number % 3, number + 1)
        };
        let mut files: Vec<File> = (0..60)
            .map(|number| {
                let text = match number % 6 {
                    0 | 1 => {
                        format!("systems:\n  s{number}: {{in: car}}\nparts:\n{}{}", part(number), part(number + 1000))
                    }
                    2 => format!("parts:\n{}  q{number}: {{inn: s1}}\n", part(number)),
                    3 => "parts: {a".to_owned(),
                    4 => format!("parts:\n{}", part(4)),
                    _ => String::new(),
                };
                file(format!("f{number:02}.yaml"), text)
            })
            .collect();
        let problem = Problem::cannot_open("locked", "unlock it");
        files.insert(7, File { path: "locked.yaml".to_owned(), content: Err(problem) });
        files
    }

    fn loaded(cache: &mut ParseCache, known: &Known<'_>) -> String {
        let loaded = Loaded::with_known(Snapshot::in_memory(files()), cache, known);
        let mut damaged: Vec<_> = loaded.damaged.iter().map(|(id, damage)| format!("{id} {damage:?}")).collect();
        damaged.sort();
        format!("{:#?} {:#?} {:#?} {damaged:#?}", loaded.entries, loaded.doubles, loaded.problems)
    }

    #[test]
    fn the_number_of_threads_changes_nothing() {
        let one = loaded(&mut ParseCache::default().with_threads(1), &|_| None);
        assert!(one.contains("p54") && one.contains("locked") && one.contains("not valid YAML"), "{one}");
        for threads in [2, 3, 8, 64, 200] {
            for _ in 0..5 {
                assert_eq!(loaded(&mut ParseCache::default().with_threads(threads), &|_| None), one, "{threads}");
            }
        }
        assert_eq!(loaded(&mut ParseCache::default(), &|_| None), one);
        assert_eq!(loaded(&mut ParseCache::of_many_states().with_threads(4), &|_| None), one);
    }

    #[test]
    fn a_file_that_is_known_is_not_decoded() {
        let mut cache = ParseCache::default();
        let one = loaded(&mut cache, &|_| None);
        let kept: HashMap<String, Vec<u8>> = files()
            .iter()
            .filter_map(|file| Some((file.path.clone(), cache.encoded(file.content.as_ref().ok()?)?)))
            .collect();
        assert_eq!(kept.len(), 40, "the sound files");
        let asked = AtomicUsize::new(0);
        let known = |file: &File| {
            asked.fetch_add(1, Ordering::Relaxed);
            encoded::decode(kept.get(&file.path)?)
        };
        assert_eq!(loaded(&mut ParseCache::default(), &known), one);
        // Not for the bytes of the same file again, nor for a file without content.
        assert_eq!(asked.load(Ordering::Relaxed), 33);

        let other = |_: &File| Some(read::records(b"parts: {known: {in: s1}}"));
        assert!(loaded(&mut ParseCache::default(), &other).contains("known"));
        let mut seeded = ParseCache::default();
        let text: Arc<[u8]> = files()[0].content.clone().unwrap();
        seeded.seed(&text, read::records(b"parts: {known: {in: s1}}"));
        assert!(loaded(&mut seeded, &|_| None).contains("known"));
    }
}
