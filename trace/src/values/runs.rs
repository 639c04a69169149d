//! The outputs of models: a run with the same inputs is not calculated again.
//!
//! A model is the slowest rule of a value, and its outputs depend on its inputs alone. So a key over the exact bits of all
//! inputs finds them, whatever the state of the project and the command: [`ModelRuns`] has those that earlier runs of the
//! tool kept, and collects those of this one. The values are the same with and without them.

use std::sync::{Arc, Mutex, PoisonError};

use foldhash::HashMap;
use sha2::{Digest as _, Sha256};

use crate::git::cache_file::Entries;

/// The largest number of runs that are collected; all others are calculated each time.
const MOST_RUNS: usize = 100_000;

/// The hash over what the outputs of a run depend on.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
pub(crate) struct RunKey([u8; 32]);

impl RunKey {
    /// A key over parts. Each is hashed with its length, so that no two lists of parts give the same bytes.
    pub(crate) fn of<'p>(parts: impl IntoIterator<Item = &'p [u8]>) -> Self {
        let mut hash = Sha256::new();
        for part in parts {
            hash.update((part.len() as u64).to_le_bytes());
            hash.update(part);
        }
        Self(hash.finalize().into())
    }

    /// The key of what depends on this key and on numbers, by their bits.
    pub(crate) fn with(&self, what: u64, numbers: &[f64]) -> Self {
        let mut bytes = Vec::with_capacity(40 + 8 * numbers.len());
        bytes.extend_from_slice(&self.0);
        bytes.extend_from_slice(&what.to_le_bytes());
        numbers.iter().for_each(|number| bytes.extend_from_slice(&number.to_bits().to_le_bytes()));
        Self(Sha256::digest(&bytes).into())
    }

    pub(crate) fn bytes(&self) -> &[u8] {
        &self.0
    }

    /// The same as an array.
    pub(crate) fn array(&self) -> [u8; 32] {
        self.0
    }

    /// A key that was kept as bytes.
    pub(crate) fn of_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }
}

/// The numbers that belong to a key: those of earlier runs of the tool, and those of this one.
#[derive(Default)]
pub(crate) struct ModelRuns {
    earlier: Entries,
    new: Mutex<HashMap<RunKey, Arc<[f64]>>>,
}

impl std::fmt::Debug for ModelRuns {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("ModelRuns").finish_non_exhaustive()
    }
}

impl ModelRuns {
    /// With the entries of a cache file: an entry is the bits of some numbers.
    pub(crate) fn with_earlier(earlier: Entries) -> Self {
        Self { earlier, new: Mutex::default() }
    }

    /// The numbers of a key. Other than `count` numbers are not of this build, and count as absent.
    pub(crate) fn get(&self, key: &RunKey, count: usize) -> Option<Arc<[f64]>> {
        if let Some(known) = self.new.lock().unwrap_or_else(PoisonError::into_inner).get(key) {
            return Some(Arc::clone(known));
        }
        self.kept(key, |found| found == count)
    }

    /// The numbers of a key, of which there may be any count: those that an earlier run kept.
    pub(crate) fn all_of(&self, key: &RunKey) -> Option<Arc<[f64]>> {
        self.kept(key, |_| true)
    }

    fn kept(&self, key: &RunKey, is_count: impl Fn(usize) -> bool) -> Option<Arc<[f64]>> {
        let (numbers, rest) = self.earlier.get(&key.0)?.as_chunks::<8>();
        let is_whole = rest.is_empty() && is_count(numbers.len());
        is_whole.then(|| numbers.iter().map(|bytes| f64::from_bits(u64::from_le_bytes(*bytes))).collect())
    }

    /// Adds the numbers of a key.
    pub(crate) fn add(&self, key: RunKey, numbers: Arc<[f64]>) {
        let mut new = self.new.lock().unwrap_or_else(PoisonError::into_inner);
        if new.len() < MOST_RUNS {
            new.insert(key, numbers);
        }
    }

    /// The entries of the cache file that was read.
    pub(crate) fn earlier(&self) -> &Entries {
        &self.earlier
    }

    /// What was added, as entries of a cache file, sorted: threads add in any order.
    pub(crate) fn added(&self) -> Vec<(RunKey, Vec<u8>)> {
        let new = self.new.lock().unwrap_or_else(PoisonError::into_inner);
        let bytes = |numbers: &[f64]| numbers.iter().flat_map(|number| number.to_bits().to_le_bytes()).collect();
        let mut all: Vec<(RunKey, Vec<u8>)> = new.iter().map(|(key, numbers)| (*key, bytes(numbers))).collect();
        all.sort_unstable_by_key(|(key, _)| *key);
        all
    }
}
