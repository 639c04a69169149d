//! The trees of record files: keys and values with their positions.

use foldhash::{HashMap, HashMapExt as _};
use schema::read::places;
use schema::read::tree::Tree;

use crate::ids::{FileId, RecordId};
use crate::load::Loaded;

/// Parses a file; `None` if it cannot be read.
pub(crate) fn of_file(loaded: &Loaded, file: FileId) -> Option<Tree<'_>> {
    loaded.snapshot.files[file].content.as_ref().ok().and_then(|bytes| places(bytes))
}

/// Parses the file that a record is in; for many records see [`Trees`].
pub(crate) fn of_record(loaded: &Loaded, record: RecordId) -> Option<Tree<'_>> {
    of_file(loaded, loaded.file(record))
}

/// The trees of files, each parsed when it is first asked for.
pub(crate) struct Trees<'l> {
    loaded: &'l Loaded,
    known: HashMap<FileId, Option<Tree<'l>>>,
}

impl<'l> Trees<'l> {
    pub(crate) fn new(loaded: &'l Loaded) -> Self {
        Self { loaded, known: HashMap::new() }
    }

    /// Adds trees that were parsed elsewhere.
    pub(crate) fn extend(&mut self, trees: impl Iterator<Item = (FileId, Option<Tree<'l>>)>) {
        self.known.extend(trees);
    }

    /// The tree of a file.
    pub(crate) fn of_file(&mut self, file: FileId) -> Option<&Tree<'l>> {
        let loaded = self.loaded;
        self.known.entry(file).or_insert_with(|| of_file(loaded, file)).as_ref()
    }

    /// The tree of the file that a record is in.
    pub(crate) fn of_record(&mut self, record: RecordId) -> Option<&Tree<'l>> {
        self.of_file(self.loaded.file(record))
    }

    /// The number of files that were parsed.
    #[cfg(test)]
    pub(crate) fn len(&self) -> usize {
        self.known.len()
    }
}
