//! Values by name: which changed, and the paths from the causes of the changes to the points.

use schema::quantity::same_number;

use super::causes::{self, Cause, Draft};
use super::drafts::Drafts;
use super::merged::Merged;
use super::paths::Dependents;
use super::{Delta, Renames};
use crate::graph::LONGEST_CHAIN;
use crate::ids::{NodeId, RecordId};
use crate::study::Study;
use crate::values::{Key, Values};

/// The node of a changed value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChangedNode {
    /// A node of head.
    Head(NodeId),
    /// A node of base that head does not have.
    Base(NodeId),
}

/// A value that changed.
#[derive(Clone, Debug, PartialEq)]
pub struct ValueChange {
    /// Its node in head, or in base if head does not have it.
    pub named: ChangedNode,
    /// Its value in base, in SI.
    pub before: Option<f64>,
    /// Its value in head, in SI.
    pub after: Option<f64>,
}

impl ValueChange {
    /// Its node in the merged graph.
    pub(super) fn in_merged(&self, merged: &Merged<'_>) -> Option<NodeId> {
        match self.named {
            ChangedNode::Head(node) => Some(node),
            ChangedNode::Base(node) => Some(merged.of_base(node)),
        }
    }
}

/// Whether two numbers are the same except for rounding. Two missing numbers are the same.
fn same(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => same_number(a, b),
        (None, None) => true,
        _ => false,
    }
}

/// The nodes of base and head that match.
pub(super) struct Counterparts {
    /// The node of base for each node of head.
    pub(super) base_of: Vec<Option<NodeId>>,
    /// The node of head for each node of base.
    pub(super) head_of: Vec<Option<NodeId>>,
}

impl Counterparts {
    fn new(renames: &Renames, base: &Values, head: &Values) -> Self {
        let amounts: Vec<Option<u16>> = head.amounts().iter().map(|name| base.amount(name)).collect();
        let mut base_of = vec![None; head.keys.len()];
        let mut head_of = vec![None; base.keys.len()];
        for (node, key) in head.nodes() {
            let record = |index: RecordId| renames.base_of[index];
            let amount = |index: u16| amounts[usize::from(index)];
            let before = match key {
                Key::Record(index) => record(*index).map(Key::Record),
                Key::Part(index, own) => record(*index).zip(amount(*own)).map(|(index, own)| Key::Part(index, own)),
                Key::Group(Some(index), own) => {
                    record(*index).zip(amount(*own)).map(|(index, own)| Key::Group(Some(index), own))
                }
                Key::Group(None, own) => amount(*own).map(|own| Key::Group(None, own)),
                Key::Local(index, name) => record(*index).map(|index| Key::Local(index, name.clone())),
                Key::NotInParts(index) => record(*index).map(Key::NotInParts),
            };
            if let Some(old) = before.and_then(|key| base.node(&key)) {
                base_of[node] = Some(old);
                head_of[old] = Some(node);
            }
        }
        Self { base_of, head_of }
    }
}

pub(super) fn compare(renames: &Renames, base: &Study, head: &Study, delta: &mut Delta) {
    let (old, new) = (base.values(), head.values());
    let counterparts = Counterparts::new(renames, old, new);
    let change = |node: NodeId| ValueChange {
        named: ChangedNode::Head(node),
        before: counterparts.base_of[node].and_then(|node| old.whole_value(old.whole(node))),
        after: new.whole_value(new.whole(node)),
    };
    let has_changed = |change: ValueChange| !same(change.before, change.after);
    let mut changed: Vec<bool> = NodeId::all(new.keys.len()).map(|node| has_changed(change(node))).collect();
    let removed: Vec<bool> = NodeId::all(old.keys.len())
        .map(|node| counterparts.head_of[node].is_none() && old.value(node).is_some())
        .collect();
    let is_named = |key: &Key| !matches!(key, Key::Local(..) | Key::NotInParts(_));
    let in_head = NodeId::all(new.keys.len()).filter(|node| changed[*node] && is_named(&new.keys[*node]));
    delta.values.extend(in_head.map(change));
    let in_base = NodeId::all(old.keys.len()).filter(|node| removed[*node] && is_named(&old.keys[*node]));
    let gone =
        |node: NodeId| ValueChange { named: ChangedNode::Base(node), before: old.whole_value(node), after: None };
    delta.values.extend(in_base.map(gone));
    delta.values.sort_by_cached_key(|value| match value.named {
        ChangedNode::Head(node) => new.name(node),
        ChangedNode::Base(node) => old.name(node),
    });

    let mut merged = Merged::new(old, new, &counterparts);
    let Drafts { all, pieces, worth, .. } = Drafts::new(renames, [base, head], &counterparts, &merged);
    if all.is_empty() {
        return;
    }
    let can_switch = merged.start(pieces);
    let goal = head.goals().first().map(|goal| goal.node);
    let points = goal.and_then(|goal| {
        let base = counterparts.base_of[goal].filter(|base| old.whole_value(*base).is_some())?;
        new.whole_value(goal)?;
        Some([old.spread(base)?.mean, new.spread(goal)?.mean])
    });
    let (drafts, other) = causes::with_effects(&mut merged, can_switch, all, [base, head], points, worth.as_deref());
    drop(merged);

    // A part that only counts in another way has the same value, and its totals have not.
    for draft in &drafts {
        if let Some(ValueChange { named: ChangedNode::Head(node), .. }) = draft.start {
            changed[node] = true;
        }
    }
    let mut of_head = Dependents::new(new, |node| changed[node]);
    let mut of_base =
        Dependents::new(old, |node| removed[node] || counterparts.head_of[node].is_some_and(|node| changed[node]));
    delta.other = other;
    delta.causes = drafts
        .into_iter()
        .map(|Draft { mut cause, start, .. }| {
            let (values, path) = match start.map(|start| start.named) {
                Some(ChangedNode::Head(node)) => (new, of_head.path(node)),
                Some(ChangedNode::Base(node)) => (old, of_base.path(node)),
                None => (new, Vec::new()),
            };
            cause.affects = path.iter().take(LONGEST_CHAIN).map(|node| values.name(*node)).collect();
            cause
        })
        .collect();
    let size = |cause: &Cause| cause.points.map_or(0.0, f64::abs);
    delta.causes.sort_by(|a, b| {
        size(b)
            .total_cmp(&size(a))
            .then(b.affects.len().cmp(&a.affects.len()))
            .then_with(|| (&a.id, a.what).cmp(&(&b.id, b.what)))
    });
}
