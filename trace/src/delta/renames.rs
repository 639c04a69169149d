//! Records that seem to have a new id without a `formerly` line.
//!
//! A removed and an added record of the same kind are taken for one record if at least three quarters of their keys,
//! and at least two, have the same text in both. The pair with the larger share is taken first; of equal shares the one whose
//! ids are more alike. Each record is in at most one pair.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use super::Delta;
use crate::Loaded;
use crate::ids::RecordId;
use crate::study::Study;

/// The smallest share of keys with the same text.
pub const ALIKE: f64 = 0.75;
/// The smallest number of keys with the same text.
const FEWEST: usize = 2;
/// Up to this number of pairs all are compared; above it only records with the same first key, in the order of their ids.
const MOST_PAIRS: usize = 40_000;
/// The largest number of keys that are looked at in all pairs; with more, fewer pairs are compared.
const MOST_KEYS: usize = 4_000_000;

/// A removed and an added record that seem to be the same.
#[derive(Clone, Debug, PartialEq)]
pub struct LikelyRename {
    /// The record that only base has.
    pub from: RecordId,
    /// The record that only head has.
    pub to: RecordId,
    /// The share of keys with the same text.
    pub alike: f64,
    /// The `formerly` of the record with the old id added, as YAML.
    pub line: String,
}

type Fields = Vec<(String, String)>;

/// The keys of a record, without earlier ids.
fn fields(loaded: &Loaded, record: RecordId) -> Fields {
    let mut all = loaded.record(record).body.fields();
    all.retain(|(key, _)| key != "formerly");
    all.sort_unstable();
    all
}

/// The number of keys with the same text in both, and the share of all keys.
fn compare_fields(a: &Fields, b: &Fields) -> (usize, f64) {
    let same = a.iter().filter(|field| b.binary_search(field).is_ok()).count();
    let in_both = a.iter().filter(|(key, _)| b.binary_search_by(|(other, _)| other.cmp(key)).is_ok()).count();
    let all = a.len() + b.len() - in_both;
    (same, if all == 0 { 0.0 } else { same as f64 / all as f64 })
}

/// The number of characters that two ids have in common at the start and at the end.
fn common_ends(a: &str, b: &str) -> usize {
    let start = a.bytes().zip(b.bytes()).take_while(|(a, b)| a == b).count();
    let most = a.len().min(b.len()) - start;
    start + a.bytes().rev().zip(b.bytes().rev()).take(most).take_while(|(a, b)| a == b).count()
}

pub(super) fn compare(base: &Study, head: &Study, delta: &mut Delta) {
    delta.likely_renames = likely(&base.loaded, &head.loaded, &delta.removed, &delta.added);
}

/// The pairs that are compared, by their indices among removed and added records: all of a kind, or of many records those
/// that have about the same place among the records with the same first key.
fn candidates(
    [before, after]: [&Loaded; 2],
    removed: &[(RecordId, Fields)],
    added: &[(RecordId, Fields)],
) -> Vec<(usize, usize)> {
    let keys = |side: &[(RecordId, Fields)]| side.iter().map(|(_, fields)| fields.len() + 1).sum::<usize>();
    let (old_keys, new_keys) = (keys(removed), keys(added));
    let all_keys = old_keys.saturating_mul(added.len()).saturating_add(new_keys.saturating_mul(removed.len()));
    let many = removed.len().saturating_mul(added.len()) > MOST_PAIRS || all_keys > MOST_KEYS;
    let mut groups: BTreeMap<_, [Vec<usize>; 2]> = BTreeMap::new();
    for (side, (loaded, records)) in [(before, removed), (after, added)].into_iter().enumerate() {
        for (at, (record, fields)) in records.iter().enumerate() {
            let first = fields.first().filter(|_| many);
            groups.entry((loaded.kind(*record), first)).or_default()[side].push(at);
        }
    }
    // Each record is compared with so many on both sides of its place.
    let near = if many { (MOST_KEYS / (old_keys + new_keys).max(1) / 2).max(1) } else { usize::MAX };
    let mut pairs = Vec::new();
    for [mut old, mut new] in groups.into_values() {
        if many {
            old.sort_by(|a, b| before.record(removed[*a].0).id.cmp(&before.record(removed[*b].0).id));
            new.sort_by(|a, b| after.record(added[*a].0).id.cmp(&after.record(added[*b].0).id));
        }
        for (place, from) in old.iter().enumerate() {
            let middle = place * new.len() / old.len();
            let range = middle.saturating_sub(near)..middle.saturating_add(near).saturating_add(1).min(new.len());
            pairs.extend(new.get(range).into_iter().flatten().map(|to| (*from, *to)));
        }
    }
    pairs
}

/// The likely renames among removed and added records.
pub(super) fn likely(before: &Loaded, after: &Loaded, removed: &[RecordId], added: &[RecordId]) -> Vec<LikelyRename> {
    let side = |loaded: &Loaded, records: &[RecordId]| -> Vec<(RecordId, Fields)> {
        records.iter().map(|record| (*record, fields(loaded, *record))).collect()
    };
    let (removed, added) = (side(before, removed), side(after, added));
    let mut found: Vec<LikelyRename> = Vec::new();
    let mut pairs = Vec::new();
    for (from, to) in candidates([before, after], &removed, &added) {
        let ((old, was), (new, is)) = (&removed[from], &added[to]);
        let (same, alike) = compare_fields(was, is);
        if same >= FEWEST && alike >= ALIKE {
            let (from, to) = (before.record(*old).id.as_str(), after.record(*new).id.as_str());
            let order = (Reverse((alike * 1e6) as u32), Reverse(common_ends(from, to)), from, to);
            pairs.push((order, *old, *new, alike));
        }
    }
    pairs.sort_unstable_by(|a, b| a.0.cmp(&b.0));
    let (mut taken_old, mut taken_new) = (foldhash::HashSet::default(), foldhash::HashSet::default());
    for (_, from, to, alike) in pairs {
        if !taken_old.contains(&from) && !taken_new.contains(&to) {
            taken_old.insert(from);
            taken_new.insert(to);
            let earlier = after.record(to).body.common().formerly().iter().map(|id| id.as_str());
            let ids: Vec<&str> = earlier.chain([before.record(from).id.as_str()]).collect();
            let line = format!("formerly: [{}]", ids.join(", "));
            found.push(LikelyRename { from, to, alike, line });
        }
    }
    found.sort_by(|a, b| after.record(a.to).id.cmp(&after.record(b.to).id));
    found
}
