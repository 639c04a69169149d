//! What one value would be if some others were changed: only the values between them are calculated, so that the question
//! can be asked for each of many events.

use foldhash::{HashMap, HashSet};
use schema::formula::Work;

use super::network::{KnownCall, Network, State};
use crate::ids::NodeId;

/// What reads each value.
#[derive(Debug)]
pub(crate) struct Readers {
    /// The position of each node in the order of evaluation.
    rank: Vec<u32>,
    /// For each node, where its readers start in the list of all.
    start: Vec<u32>,
    readers: Vec<NodeId>,
}

impl Readers {
    fn of(network: &Network) -> Self {
        let count = network.nodes.len();
        let mut rank = vec![0; count];
        for (at, &node) in network.order.iter().enumerate() {
            rank[node] = at as u32;
        }
        let mut start = vec![0; count + 1];
        for input in network.nodes.iter().flat_map(|value| &value.inputs) {
            start[input.index() + 1] += 1;
        }
        for at in 0..count {
            start[at + 1] += start[at];
        }
        let mut next = start.clone();
        let mut readers = vec![NodeId::new(0); start[count] as usize];
        for (node, value) in NodeId::all(count).zip(&network.nodes) {
            for input in &value.inputs {
                let place = &mut next[input.index()];
                readers[*place as usize] = node;
                *place += 1;
            }
        }
        Self { rank, start, readers }
    }

    fn readers(&self, node: NodeId) -> &[NodeId] {
        let [from, to] = [node.index(), node.index() + 1].map(|at| self.start[at] as usize);
        &self.readers[from..to]
    }
}

/// Values that replace those of a state.
struct Overlay<'n> {
    network: &'n Network,
    state: &'n State,
    values: HashMap<NodeId, f64>,
    calls: HashMap<usize, Option<KnownCall>>,
    work: Work,
    numbers: Vec<f64>,
}

impl<'n> Overlay<'n> {
    fn new(network: &'n Network, state: &'n State) -> Self {
        let (values, calls) = (HashMap::default(), HashMap::default());
        Self { network, state, values, calls, work: Work::default(), numbers: Vec::new() }
    }

    fn value(&self, node: NodeId) -> f64 {
        self.values.get(&node).copied().unwrap_or(self.state.values[node])
    }

    fn step(&mut self, node: NodeId) {
        let (network, state) = (self.network, self.state);
        let mut numbers = std::mem::take(&mut self.numbers);
        numbers.clear();
        numbers.extend(network.nodes[node].inputs.iter().map(|input| self.value(*input)));
        let calls = &mut self.calls;
        let value = network.calculate(node, &numbers, &mut self.work, |call, numbers| {
            network.outputs(call, calls.entry(call).or_insert_with(|| state.calls[call].clone()), numbers)
        });
        self.values.insert(node, value);
        self.numbers = numbers;
    }
}

/// How one node depends on another.
pub struct Response<'n> {
    overlay: Overlay<'n>,
    input: NodeId,
    result: NodeId,
    between: Vec<NodeId>,
}

impl Response<'_> {
    /// The result if the input has this value.
    pub fn result_for(&mut self, value: f64) -> f64 {
        self.overlay.values.insert(self.input, value);
        for &node in &self.between {
            self.overlay.step(node);
        }
        self.overlay.value(self.result)
    }
}

impl Network {
    /// The value of one node with some values set; only what is between them is calculated.
    pub fn value_if(&self, state: &State, set: &[(NodeId, f64)], result: NodeId) -> f64 {
        let mut overlay = Overlay::new(self, state);
        overlay.values.extend(set.iter().copied());
        for node in self.between(set.iter().map(|(node, _)| *node), result) {
            overlay.step(node);
        }
        overlay.value(result)
    }

    /// How `result` depends on `input`: only the values between them are calculated again. `None` if it does not.
    pub fn response<'n>(&'n self, state: &'n State, input: NodeId, result: NodeId) -> Option<Response<'n>> {
        let between = self.between([input], result);
        let depends = input == result || !between.is_empty();
        depends.then(|| Response { overlay: Overlay::new(self, state), input, result, between })
    }

    /// The nodes that depend on one of these, without these themselves, and that a result depends on, or is: each after
    /// its inputs. Empty if the result does not depend on them.
    fn between(&self, from: impl IntoIterator<Item = NodeId>, result: NodeId) -> Vec<NodeId> {
        let links = self.readers.get_or_init(|| Readers::of(self));
        let mut open: Vec<NodeId> = from.into_iter().collect();
        let mut seen: HashSet<NodeId> = open.iter().copied().collect();
        let mut depending = Vec::new();
        while let Some(node) = open.pop() {
            for &reader in links.readers(node) {
                // Nothing after the result is between.
                if links.rank[reader] <= links.rank[result] && seen.insert(reader) {
                    depending.push(reader);
                    open.push(reader);
                }
            }
        }
        depending.sort_unstable_by_key(|node| links.rank[*node]);
        let mut leading: HashSet<NodeId> = HashSet::default();
        let mut between = Vec::new();
        for &node in depending.iter().rev() {
            if node == result || links.readers(node).iter().any(|reader| leading.contains(reader)) {
                leading.insert(node);
                between.push(node);
            }
        }
        between.reverse();
        between
    }
}
