//! The keys that were edited, with their texts before and after.

use foldhash::HashMap;

use super::Delta;
use crate::ids::RecordId;
use crate::study::Study;

/// A key that was edited.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Edit {
    /// The record in base.
    pub base: RecordId,
    /// The record in head.
    pub head: RecordId,
    /// The key, with dots between nested keys.
    pub key: String,
    /// Its text in base; `None` if it was added.
    pub before: Option<String>,
    /// Its text in head; `None` if it was removed.
    pub after: Option<String>,
}

/// What was edited in the records that both states have, record by record, in the order of their keys.
pub(super) fn compare(base: &Study, head: &Study, delta: &mut Delta) {
    for &(old, new) in delta.edited.iter().chain(&delta.renamed) {
        let is_renamed = base.loaded.record(old).id != head.loaded.record(new).id;
        let fields = |study: &Study, record| {
            let all = study.loaded.record(record).body.fields().into_iter();
            all.filter(|(key, _)| !is_renamed || key != "formerly").collect::<Vec<_>>()
        };
        let (was, is) = (fields(base, old), fields(head, new));
        let before: HashMap<&str, &str> = was.iter().map(|(key, text)| (&**key, &**text)).collect();
        let after: HashMap<&str, &str> = is.iter().map(|(key, text)| (&**key, &**text)).collect();
        let edit = |key: &str| Edit {
            base: old,
            head: new,
            key: key.to_owned(),
            before: before.get(key).map(|text| (*text).to_owned()),
            after: after.get(key).map(|text| (*text).to_owned()),
        };
        let in_head = is.iter().map(|(key, _)| &**key).filter(|key| before.get(key) != after.get(key));
        let removed = was.iter().map(|(key, _)| &**key).filter(|key| !after.contains_key(key));
        delta.edits.extend(in_head.chain(removed).map(edit));
    }
}
