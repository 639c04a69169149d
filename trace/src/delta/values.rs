//! Values by name: which changed, where the change begins, and its way up to the points.

use std::collections::VecDeque;

use foldhash::{HashMap, HashMapExt as _};
use schema::quantity::same_number;
use schema::records::Body;

use super::{Delta, Renames};
use crate::ids::{NodeId, RecordId};
use crate::study::Study;
use crate::values::{Key, Values};

/// The node that a changed value is named by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChangedNode {
    /// A node of head.
    Head(NodeId),
    /// A node of base, where head has lost it.
    Base(NodeId),
}

/// A value that changed.
#[derive(Clone, Debug, PartialEq)]
pub struct ValueChange {
    /// Its node in head, or in base where head does not have it.
    pub named: ChangedNode,
    /// Its value in base, in SI.
    pub before: Option<f64>,
    /// Its value in head, in SI.
    pub after: Option<f64>,
}

/// Where a change of values begins: nothing that it rests on has changed.
#[derive(Clone, Debug)]
pub struct Cause {
    /// Its place in [`Delta::values`], or the move of a local name.
    pub value: ValueChange,
    /// The values that changed on the way from it up to an event and the goal, itself first: nodes of head, or of base
    /// where head has lost it.
    pub affects: Vec<NodeId>,
    /// What it brings the first goal in points, reckoned straight from the derivatives.
    pub points: Option<f64>,
}

/// Two numbers that are the same but for rounding; two that are missing are the same.
fn same(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => same_number(a, b),
        (None, None) => true,
        _ => false,
    }
}

/// The nodes of one side as the other side knows them.
struct Counterparts {
    base_of: Vec<Option<NodeId>>,
    head_of: Vec<Option<NodeId>>,
}

impl Counterparts {
    fn new(renames: &Renames, base: &Values, head: &Values) -> Self {
        let amounts: Vec<Option<u16>> = head.amounts().iter().map(|name| base.amount(name)).collect();
        let mut base_of = vec![None; head.keys.len()];
        let mut head_of = vec![None; base.keys.len()];
        for (node, key) in head.nodes() {
            let record = |index: RecordId| renames.base_of[index];
            let amount = |of: u16| amounts[usize::from(of)];
            let before = match key {
                Key::Record(index) => record(*index).map(Key::Record),
                Key::Part(index, of) => record(*index).zip(amount(*of)).map(|(index, of)| Key::Part(index, of)),
                Key::Group(Some(index), of) => {
                    record(*index).zip(amount(*of)).map(|(index, of)| Key::Group(Some(index), of))
                }
                Key::Group(None, of) => amount(*of).map(|of| Key::Group(None, of)),
                Key::Local(index, name) => record(*index).map(|index| Key::Local(index, name.clone())),
            };
            if let Some(old) = before.and_then(|key| base.node(&key)) {
                base_of[node] = Some(old);
                head_of[old] = Some(node);
            }
        }
        Self { base_of, head_of }
    }
}

pub(super) fn subtract(renames: &Renames, base: &Study, head: &Study, delta: &mut Delta) {
    let (old, new) = (base.values(), head.values());
    let twins = Counterparts::new(renames, old, new);
    let moved = |node: NodeId| ValueChange {
        named: ChangedNode::Head(node),
        before: twins.base_of[node].and_then(|node| old.value(node)),
        after: new.value(node),
    };
    let has_changed = |moved: ValueChange| !same(moved.before, moved.after);
    let changed: Vec<bool> = NodeId::all(new.keys.len()).map(|node| has_changed(moved(node))).collect();
    let gone: Vec<bool> =
        NodeId::all(old.keys.len()).map(|node| twins.head_of[node].is_none() && old.value(node).is_some()).collect();
    // Before as well as after: does it rest on something that has changed or is gone?
    let rests_on_change = |node: NodeId| {
        let now = new.network.nodes[node].inputs.iter().any(|input| changed[*input]);
        let then = twins.base_of[node].is_some_and(|node| {
            let gone_or_changed =
                |input: &NodeId| gone[*input] || twins.head_of[*input].is_some_and(|node| changed[node]);
            old.network.nodes[node].inputs.iter().any(gone_or_changed)
        });
        now || then
    };
    let told = |key: &Key| !matches!(key, Key::Local(..));

    let up = Dependents::new(new, |node| changed[node]);
    let worth = head.goals().first().map(|goal| new.worth_of_all(goal.node));
    for node in NodeId::all(new.keys.len()).filter(|node| changed[*node]) {
        let value = moved(node);
        if told(&new.keys[node]) {
            delta.values.push(value.clone());
        }
        if !rests_on_change(node) {
            let way = up.way(new, node);
            // The system that a part left owes the goal nothing for it, where the whole car stays the same.
            let is_goal = |node: &NodeId| match new.keys[*node] {
                Key::Record(index) => new.graph.loaded.goal(index).is_some(),
                _ => false,
            };
            let reached = worth.as_ref().filter(|_| way.last().is_some_and(is_goal));
            let points = reached.zip(value.before.zip(value.after)).and_then(|(worth, (before, after))| {
                Some(new.worth_of_value(node, worth)?.per_si * (after - before)).filter(|points| *points != 0.0)
            });
            delta.causes.push(Cause { value, affects: way, points });
        }
    }
    let up = Dependents::new(old, |node| gone[node] || twins.head_of[node].is_some_and(|node| changed[node]));
    for node in NodeId::all(old.keys.len()).filter(|node| gone[*node]) {
        let value = ValueChange { named: ChangedNode::Base(node), before: old.value(node), after: None };
        if told(&old.keys[node]) {
            delta.values.push(value.clone());
        }
        if !old.network.nodes[node].inputs.iter().any(|input| gone[*input]) {
            delta.causes.push(Cause { value, affects: up.way(old, node), points: None });
        }
    }
    let name = |value: &ValueChange| match value.named {
        ChangedNode::Head(node) => new.name(node),
        ChangedNode::Base(node) => old.name(node),
    };
    delta.values.sort_by_cached_key(name);
    let size = |cause: &Cause| cause.points.map_or(0.0, f64::abs);
    delta.causes.sort_by(|a, b| {
        size(b)
            .total_cmp(&size(a))
            .then(b.affects.len().cmp(&a.affects.len()))
            .then_with(|| name(&a.value).cmp(&name(&b.value)))
    });
}

/// Who reads whom, among the values that changed.
struct Dependents {
    readers: HashMap<NodeId, Vec<NodeId>>,
}

impl Dependents {
    fn new(values: &Values, changed: impl Fn(NodeId) -> bool) -> Self {
        let mut readers: HashMap<NodeId, Vec<NodeId>> = HashMap::new();
        for node in NodeId::all(values.keys.len()).filter(|node| changed(*node)) {
            for &input in values.network.nodes[node].inputs.iter().filter(|input| changed(**input)) {
                readers.entry(input).or_default().push(node);
            }
        }
        Self { readers }
    }

    /// The shortest way from a value to an event, and on to its goal; where it reaches none, to the last value it moves.
    fn way(&self, values: &Values, from: NodeId) -> Vec<NodeId> {
        let ends = |node: NodeId, event: bool| match values.keys[node] {
            Key::Record(index) => match values.graph.loaded.record(index).body {
                Body::Event(_) => event,
                Body::Goal(_) => !event,
                _ => false,
            },
            _ => false,
        };
        let mut way = self.search(from, |node| ends(node, true));
        if let Some(&last) = way.last()
            && ends(last, true)
        {
            way.extend(self.search(last, |node| ends(node, false)).into_iter().skip(1));
        }
        // The car adds up parts; the system they are in moves as well.
        if let (Key::Part(part, amount), Some(Key::Group(None, _))) =
            (&values.keys[from], way.get(1).map(|node| &values.keys[*node]))
        {
            let system = values.graph.loaded.record(*part).about().and_then(|id| values.graph.loaded.find(id.as_str()));
            let system = system.and_then(|system| values.node(&Key::Group(Some(system), *amount)));
            if let Some(system) =
                system.filter(|system| self.readers.get(&from).is_some_and(|all| all.contains(system)))
            {
                way.insert(1, system);
            }
        }
        way.retain(|node| *node == from || !matches!(values.keys[*node], Key::Local(..)));
        way
    }

    fn search(&self, from: NodeId, found: impl Fn(NodeId) -> bool) -> Vec<NodeId> {
        let mut before: HashMap<NodeId, NodeId> = HashMap::from_iter([(from, from)]);
        let mut queue = VecDeque::from([from]);
        let mut last = from;
        while let Some(node) = queue.pop_front() {
            last = node;
            if found(node) {
                break;
            }
            for &reader in self.readers.get(&node).into_iter().flatten() {
                before.entry(reader).or_insert_with(|| {
                    queue.push_back(reader);
                    node
                });
            }
        }
        let mut way = vec![last];
        while let Some(&step) = way.last().and_then(|node| before.get(node)).filter(|step| way.last() != Some(*step)) {
            way.push(step);
        }
        way.reverse();
        way
    }
}
