//! Records by id: which are the same, which have another id, which are new or gone.

use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _};

use super::{Delta, Side};
use crate::Loaded;

/// Which record of base is which of head.
pub struct Renames {
    /// For each record of head, the one of base.
    pub base_of: Vec<Option<usize>>,
    /// For each record of base, the one of head.
    pub head_of: Vec<Option<usize>>,
    /// The older id to the newer one, of those that have another.
    ids: HashMap<String, String>,
}

impl Renames {
    /// Matches by id, and then by `formerly` on either side: the way back from a rename is a rename too.
    pub(super) fn new(base: &Loaded, head: &Loaded) -> Self {
        let mut base_of: Vec<Option<usize>> = head.ids().map(|id| base.find(id)).collect();
        let mut head_of: Vec<Option<usize>> = base.ids().map(|id| head.find(id)).collect();
        let mut ids = HashMap::new();
        let mut pair = |old: usize, new: usize| {
            let same_kind = base.record(old).kind() == head.record(new).kind();
            if same_kind && head_of[old].is_none() && base_of[new].is_none() {
                (head_of[old], base_of[new]) = (Some(new), Some(old));
                ids.insert(base.record(old).id.to_string(), head.record(new).id.to_string());
            }
        };
        for new in 0..head.entries.len() {
            for id in head.record(new).body.common().formerly() {
                if let Some(old) = base.find(id.as_str()) {
                    pair(old, new);
                }
            }
        }
        for old in 0..base.entries.len() {
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

    /// A route of keys of base, with the ids in it as head has them.
    pub(super) fn route(&self, base: &str) -> String {
        if self.ids.is_empty() {
            return base.to_owned();
        }
        base.split('.').map(|key| self.id(key)).collect::<Vec<_>>().join(".")
    }
}

pub(super) fn subtract(renames: &Renames, base: Side<'_, '_, '_>, head: Side<'_, '_, '_>, delta: &mut Delta) {
    let (before, after) = (base.values.graph.loaded, head.values.graph.loaded);
    for (new, old) in renames.base_of.iter().enumerate() {
        let Some(old) = *old else {
            delta.added.push(new);
            continue;
        };
        if before.record(old).id != after.record(new).id {
            delta.renamed.push((old, new));
        } else if !Arc::ptr_eq(&before.entries[old].record, &after.entries[new].record)
            && before.record(old).body != after.record(new).body
        {
            delta.edited.push((old, new));
        }
    }
    delta.removed.extend((0..renames.head_of.len()).filter(|old| renames.head_of[*old].is_none()));
    let by_id =
        |loaded: &Loaded, list: &mut Vec<usize>| list.sort_by(|a, b| loaded.record(*a).id.cmp(&loaded.record(*b).id));
    by_id(after, &mut delta.added);
    by_id(before, &mut delta.removed);
    for list in [&mut delta.renamed, &mut delta.edited] {
        list.sort_by(|a, b| after.record(a.1).id.cmp(&after.record(b.1).id));
    }
}
