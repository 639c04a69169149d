//! The outputs of models of earlier runs, by a hash over their inputs (see `values/runs.rs`).
//!
//! They are read with the files that records name, before anything is evaluated, and what is new is written when the
//! project is closed. All states and commands share them.

use std::sync::Arc;

use super::cache_file::CacheFile;
use super::walk::CommitSource;
use crate::values::runs::ModelRuns;

/// What may be kept in addition to twice the runs that were needed, in bytes: the file is read as a whole.
const SPARE: usize = 128 << 10;

/// The runs of an opened project, with their file.
pub(super) struct ModelsCache {
    file: Option<CacheFile>,
    runs: Arc<ModelRuns>,
}

impl ModelsCache {
    /// Reads the runs that were kept.
    pub(super) fn read(commits: CommitSource<'_>) -> Self {
        Self::of_file(CacheFile::of_models(commits))
    }

    fn of_file(file: Option<CacheFile>) -> Self {
        let earlier = file.as_ref().map(CacheFile::read).unwrap_or_default();
        Self { file, runs: Arc::new(ModelRuns::with_earlier(earlier)) }
    }

    /// The runs, to read and to add to.
    pub(super) fn runs(&self) -> Arc<ModelRuns> {
        Arc::clone(&self.runs)
    }

    /// Keeps the runs that were added.
    pub(super) fn keep(&self) {
        let Some(file) = &self.file else { return };
        let new = self.runs.added();
        if new.is_empty() {
            return;
        }
        let earlier = self.runs.earlier();
        let needed =
            earlier.size_read() + new.iter().map(|(key, value)| key.bytes().len() + value.len()).sum::<usize>();
        let new: Vec<(&[u8], Vec<u8>)> = new.iter().map(|(key, value)| (key.bytes(), value.clone())).collect();
        file.write_at_most(2 * needed + SPARE, earlier, &new);
    }
}

#[cfg(test)]
#[path = "models_cache_tests.rs"]
mod tests;
