//! The paths of a comparison: from each changed value to the points, or to what else it changes.

use std::collections::VecDeque;

use foldhash::{HashMap, HashMapExt as _};
use schema::Kind;

use crate::graph::LONGEST_CHAIN;
use crate::ids::NodeId;
use crate::values::{Key, Values};

/// The number of values that are visited for all paths that reach no event: further such paths are empty.
const MOST_VISITED: usize = 2_000_000;

/// The kind of the record whose value a node is.
fn kind_of(values: &Values, node: NodeId) -> Option<Kind> {
    match values.keys[node] {
        Key::Record(index) => Some(values.graph.loaded.record(index).kind()),
        Key::Part(..) | Key::Group(..) | Key::Local(..) | Key::NotInParts(_) => None,
    }
}

/// Whether a path shows a node.
fn is_shown(values: &Values, node: NodeId) -> bool {
    !matches!(values.keys[node], Key::Local(..) | Key::NotInParts(_))
}

/// A path without the node that it begins at.
#[derive(Clone, Default)]
struct Path {
    /// The first node.
    first: Option<NodeId>,
    /// The first nodes that are shown.
    shown: Vec<NodeId>,
}

impl Path {
    /// Adds a node; `false` if no more are shown.
    fn add(&mut self, values: &Values, node: NodeId) -> bool {
        self.first = self.first.or(Some(node));
        if is_shown(values, node) {
            self.shown.push(node);
        }
        self.shown.len() < LONGEST_CHAIN
    }
}

/// For each node from which a node of some kind is reached, the next one on the shortest path; `None` for the node itself.
type NextNodes = HashMap<NodeId, Option<NodeId>>;

/// The changed values that have each changed value as an input.
pub(super) struct Dependents<'v> {
    values: &'v Values,
    by_input: HashMap<NodeId, Vec<NodeId>>,
    to_event: NextNodes,
    to_goal: NextNodes,
    /// The path to the last node that is reached from these dependents.
    path_to_last: HashMap<Vec<NodeId>, Path>,
    /// How many values may still be visited.
    left: usize,
}

impl<'v> Dependents<'v> {
    pub(super) fn new(values: &'v Values, changed: impl Fn(NodeId) -> bool) -> Self {
        let mut by_input: HashMap<NodeId, Vec<NodeId>> = HashMap::new();
        for node in NodeId::all(values.keys.len()).filter(|node| changed(*node)) {
            for &input in values.network.nodes[node].inputs.iter().filter(|input| changed(**input)) {
                by_input.entry(input).or_default().push(node);
            }
        }
        let next_to = |kind: Kind| {
            let ends: Vec<NodeId> =
                NodeId::all(values.keys.len()).filter(|node| kind_of(values, *node) == Some(kind)).collect();
            next_nodes(values, &by_input, &changed, ends)
        };
        let (to_event, to_goal) = (next_to(Kind::Event), next_to(Kind::Goal));
        Self { values, by_input, to_event, to_goal, path_to_last: HashMap::new(), left: MOST_VISITED }
    }

    /// The shortest path from a value to an event, and on to its goal; if it reaches no event, to the last value it
    /// changes. Without the value itself and without values that have no name; of a long path the beginning.
    pub(super) fn path(&mut self, from: NodeId) -> Vec<NodeId> {
        let values = self.values;
        let mut path = Path::default();
        match follow(values, &self.to_event, from, &mut path) {
            Some(event) if path.shown.len() < LONGEST_CHAIN => {
                if follow(values, &self.to_goal, event, &mut path).is_none() {
                    let on = self.path_to_last(event);
                    path.first = path.first.or(on.first);
                    path.shown.extend(on.shown);
                }
            }
            Some(_) => {}
            None => path = self.path_to_last(from),
        }
        // The total of the car is that of its parts, so the system of the part is not on the shortest path; it changes
        // too.
        if let (Key::Part(part, amount), Some(Key::Group(None, _))) =
            (&values.keys[from], path.first.map(|node| &values.keys[node]))
        {
            let system = values.graph.loaded.record(*part).about().and_then(|id| values.graph.loaded.find(id.as_str()));
            let system = system.and_then(|system| values.node(&Key::Group(Some(system), *amount)));
            if let Some(system) =
                system.filter(|system| self.by_input.get(&from).is_some_and(|all| all.contains(system)))
            {
                path.shown.insert(0, system);
            }
        }
        path.shown
    }

    /// The path to the node that is visited last, by the number of steps.
    fn path_to_last(&mut self, from: NodeId) -> Path {
        let dependents = self.by_input.get(&from).map_or(&[][..], Vec::as_slice);
        if let Some(known) = self.path_to_last.get(dependents) {
            return known.clone();
        }
        let mut before: HashMap<NodeId, NodeId> = HashMap::from_iter([(from, from)]);
        let mut queue = VecDeque::from([from]);
        let mut last = from;
        while let Some(node) = queue.pop_front() {
            let Some(left) = self.left.checked_sub(1) else { return Path::default() };
            self.left = left;
            last = node;
            for &dependent in self.by_input.get(&node).into_iter().flatten() {
                before.entry(dependent).or_insert_with(|| {
                    queue.push_back(dependent);
                    node
                });
            }
        }
        let mut nodes = Vec::new();
        while last != from {
            nodes.push(last);
            last = before.get(&last).copied().unwrap_or(from);
        }
        let mut path = Path::default();
        for node in nodes.into_iter().rev() {
            if !path.add(self.values, node) {
                break;
            }
        }
        self.path_to_last.insert(dependents.to_vec(), path.clone());
        path
    }
}

/// Follows the shortest path, as far as it is shown, and returns its last node; `None` if there is no such path.
fn follow(values: &Values, next: &NextNodes, from: NodeId, path: &mut Path) -> Option<NodeId> {
    let mut at = from;
    let mut following = *next.get(&at)?;
    while let Some(node) = following {
        at = node;
        if !path.add(values, node) {
            break;
        }
        following = next.get(&at).copied().flatten();
    }
    Some(at)
}

/// The next nodes on the shortest paths to any of these ends. Of several the first dependent, as in a search from the
/// beginning of the path.
fn next_nodes(
    values: &Values,
    by_input: &HashMap<NodeId, Vec<NodeId>>,
    changed: impl Fn(NodeId) -> bool,
    ends: Vec<NodeId>,
) -> NextNodes {
    let mut steps: HashMap<NodeId, usize> = ends.iter().map(|end| (*end, 0)).collect();
    let mut queue = VecDeque::from(ends);
    while let Some(node) = queue.pop_front() {
        if !changed(node) {
            continue;
        }
        let next = steps.get(&node).copied().unwrap_or(0) + 1;
        for &input in values.network.nodes[node].inputs.iter().filter(|input| changed(**input)) {
            steps.entry(input).or_insert_with(|| {
                queue.push_back(input);
                next
            });
        }
    }
    let next = |(node, own): (&NodeId, &usize)| {
        let closer = own.checked_sub(1)?;
        let dependents = by_input.get(node).into_iter().flatten();
        dependents.copied().find(|dependent| steps.get(dependent) == Some(&closer))
    };
    steps.iter().map(|entry| (*entry.0, next(entry))).collect()
}
