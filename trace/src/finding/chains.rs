//! The chains of findings. Findings share them, because many can be about one record, and many records below another one.

use std::sync::Arc;

use foldhash::HashMap;

use crate::ids::RecordId;
use crate::study::Study;

/// The chains of the records of a study.
pub(crate) struct SharedChains<'s> {
    study: &'s Study,
    chains: HashMap<RecordId, Arc<[Arc<str>]>>,
    ids: HashMap<RecordId, Arc<str>>,
}

impl<'s> SharedChains<'s> {
    pub(crate) fn new(study: &'s Study) -> Self {
        Self { study, chains: HashMap::default(), ids: HashMap::default() }
    }

    /// The ids from a record up to its goal, its own first; none for a record alone, which contains no information.
    pub(crate) fn of(&mut self, record: RecordId) -> Arc<[Arc<str>]> {
        let Self { study, chains, ids } = self;
        let new = || {
            let chain = study.chain(record);
            let several = if chain.len() > 1 { chain } else { Vec::new() };
            let id = |own: RecordId| {
                let new = || study.loaded.record(own).id.as_str().into();
                Arc::clone(ids.entry(own).or_insert_with(new))
            };
            several.into_iter().map(id).collect()
        };
        Arc::clone(chains.entry(record).or_insert_with(new))
    }
}
