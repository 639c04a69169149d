//! Records by id: which are the same, renamed, added or removed.

use foldhash::{HashMap, HashMapExt as _, HashSet};

use super::Delta;
use crate::Loaded;
use crate::ids::RecordId;
use crate::study::Study;

/// The records of base and head that match.
pub struct Renames {
    /// The record of base for each record of head.
    pub base_of: Vec<Option<RecordId>>,
    /// The record of head for each record of base.
    pub head_of: Vec<Option<RecordId>>,
    /// The id in head for each id in base that changed.
    ids: HashMap<String, String>,
}

impl Renames {
    /// Matches records by id, then by `formerly` in head or in base, because undoing a rename is a rename too.
    pub(super) fn new(base: &Loaded, head: &Loaded) -> Self {
        let mut base_of: Vec<Option<RecordId>> = head.ids().map(|id| base.find(id)).collect();
        let mut head_of: Vec<Option<RecordId>> = base.ids().map(|id| head.find(id)).collect();
        let mut ids = HashMap::new();
        let mut pair = |old: RecordId, new: RecordId| {
            let same_kind = base.record(old).kind() == head.record(new).kind();
            if same_kind && head_of[old].is_none() && base_of[new].is_none() {
                (head_of[old], base_of[new]) = (Some(new), Some(old));
                ids.insert(base.record(old).id.to_string(), head.record(new).id.to_string());
            }
        };
        for new in head.record_ids() {
            for id in head.record(new).body.common().formerly() {
                if let Some(old) = base.find(id.as_str()) {
                    pair(old, new);
                }
            }
        }
        for old in base.record_ids() {
            for id in base.record(old).body.common().formerly() {
                if let Some(new) = head.find(id.as_str()) {
                    pair(old, new);
                }
            }
        }
        Self { base_of, head_of, ids }
    }

    /// The id in head of a record of base.
    pub(super) fn id<'i>(&'i self, base: &'i str) -> &'i str {
        self.ids.get(base).map_or(base, String::as_str)
    }

    /// A route of keys of base, with the ids of head.
    pub(super) fn route(&self, base: &str) -> String {
        if self.ids.is_empty() {
            return base.to_owned();
        }
        base.split('.').map(|key| self.id(key)).collect::<Vec<_>>().join(".")
    }
}

pub(super) fn compare(renames: &Renames, base: &Study, head: &Study, delta: &mut Delta) {
    let (before, after) = (&base.loaded, &head.loaded);
    let [unread_before, unread_after] = [before, after]
        .map(|loaded| -> HashSet<&str> { loaded.unreadable().map(|found| loaded.path(found.file)).collect() });
    for (new, _) in after.records() {
        let Some(old) = renames.base_of[new] else {
            // Whether the file had it already is not known.
            if !unread_before.contains(after.path(after.file(new))) {
                delta.added.push(new);
            }
            continue;
        };
        if before.record(old).id != after.record(new).id {
            delta.renamed.push((old, new));
        } else if !before.shares(old, after, new) && before.record(old).body != after.record(new).body {
            delta.edited.push((old, new));
        }
    }
    let is_removed =
        |old: &RecordId| renames.head_of[*old].is_none() && !unread_after.contains(before.path(before.file(*old)));
    delta.removed.extend(before.record_ids().filter(is_removed));
    let by_id = |loaded: &Loaded, list: &mut Vec<RecordId>| {
        list.sort_by(|a, b| loaded.record(*a).id.cmp(&loaded.record(*b).id));
    };
    by_id(after, &mut delta.added);
    by_id(before, &mut delta.removed);
    for list in [&mut delta.renamed, &mut delta.edited] {
        list.sort_by(|a, b| after.record(a.1).id.cmp(&after.record(b.1).id));
    }
}
