//! Worth: how many points one unit, or 1 %, of each value adds.

use foldhash::HashSet;

use super::network::Rule;
use super::{EXPECTED, Key, Values};
use crate::ids::{NodeId, RecordId};

/// What a value is worth.
#[derive(Clone, Debug)]
pub struct Worth {
    /// The value.
    pub node: NodeId,
    /// Its value in SI.
    pub value: f64,
    /// Points for one SI unit more of it.
    pub per_si: f64,
    /// Points for 1 % more of it.
    pub per_percent: f64,
}

/// From this difference of the mean points on, in points, the slope at the expected values says little about them.
const BENDS: f64 = 0.1;

impl Values {
    /// The events of a goal whose points bend within their uncertainty: the mean of what they may score is another one than
    /// the score of the expected values, whose slope is the worth of a value.
    pub fn bending_events(&self, goal: NodeId) -> Vec<RecordId> {
        let events = self.network.nodes[goal].inputs.iter();
        let bends = |event: NodeId| {
            let difference = self.spread(event).zip(self.value(event)).map(|(spread, value)| spread.mean - value);
            difference.is_some_and(|difference| difference.abs() >= BENDS)
        };
        let record = |event: &NodeId| match self.keys[*event] {
            Key::Record(record) => Some(record),
            Key::Part(..) | Key::Group(..) | Key::Local(..) | Key::NotInParts(_) => None,
        };
        events.filter(|event| bends(**event)).filter_map(record).collect()
    }

    /// The derivative of the points of a goal by every value: one backward pass.
    pub fn worth_of_all(&self, goal: NodeId) -> Vec<f64> {
        self.network.sensitivities(self.partials(), goal)
    }

    /// The same without the constants of analyses, of which models have many: they have 0.
    pub(crate) fn worth_without_constants(&self, goal: NodeId) -> Vec<f64> {
        self.network.sensitivities(self.partials_without_constants(), goal)
    }

    fn worth(&self, node: NodeId, sensitivities: &[f64]) -> Option<Worth> {
        let (value, per_si) = (self.value(node)?, self.per_si(node, sensitivities));
        Some(Worth { node, value, per_si, per_percent: per_si * value / 100.0 })
    }

    /// The points for one SI unit more of a value: through what reads it, and for a system or a total through the car.
    fn per_si(&self, node: NodeId, sensitivities: &[f64]) -> f64 {
        self.raised_with(node).into_iter().map(|own| sensitivities[own]).sum()
    }

    /// The values that one more unit of a value is one more unit of.
    pub(super) fn raised_with(&self, node: NodeId) -> Vec<NodeId> {
        match (&self.keys[node], &self.network.nodes[node]) {
            // The car adds up parts, not systems: one more kilogram in a system is also one more in the car.
            (Key::Group(Some(_), amount), _) => {
                [node].into_iter().chain(self.node(&Key::Group(None, *amount))).collect()
            }
            (Key::Record(_), value) => match (&value.rule, &value.inputs[..]) {
                // A total with one input is the same value under another name.
                (Rule::Total(factors), [input]) if factors[..] == [1.0] => self.raised_with(*input),
                _ => vec![node],
            },
            _ => vec![node],
        }
    }

    /// For each of some values, whether a result is calculated with it, directly or through others.
    pub fn lead_to(&self, nodes: &[NodeId], result: NodeId) -> Vec<bool> {
        let mut behind: HashSet<NodeId> = HashSet::from_iter([result]);
        let mut next = vec![result];
        while let Some(own) = next.pop() {
            next.extend(self.network.nodes[own].inputs.iter().copied().filter(|input| behind.insert(*input)));
        }
        nodes.iter().map(|node| self.raised_with(*node).iter().any(|own| behind.contains(own))).collect()
    }

    /// Every given value that the points of the goal depend on, the largest effect of 1 % first.
    pub fn worth_of_leaves(&self, sensitivities: &[f64]) -> Vec<Worth> {
        let leaves = NodeId::all(self.network.nodes.len())
            .filter(|node| matches!(self.network.nodes[*node].rule, Rule::Given(_)));
        let mut all: Vec<Worth> = leaves
            .filter(|node| sensitivities[*node] != 0.0)
            .map(|node| self.limited_event(node).unwrap_or(node))
            .filter_map(|node| self.worth(node, sensitivities))
            .collect();
        all.sort_by(|a, b| b.per_percent.abs().total_cmp(&a.per_percent.abs()).then(a.node.cmp(&b.node)));
        all
    }

    /// The event of which a node is the expectation that `most` limits.
    fn limited_event(&self, node: NodeId) -> Option<NodeId> {
        match &self.keys[node] {
            Key::Local(event, name) if **name == *EXPECTED => {
                self.record_node(*event).filter(|event| self.network.nodes[*event].inputs.contains(&node))
            }
            _ => None,
        }
    }

    /// The amounts of the whole car, for example what a kilogram or a unit of money is worth.
    pub fn worth_of_car(&self, sensitivities: &[f64]) -> Vec<Worth> {
        let amounts = (0..self.amounts().len()).filter_map(|amount| self.node(&Key::Group(None, amount as u16)));
        amounts.filter_map(|node| self.worth(node, sensitivities)).collect()
    }

    /// What one value is worth.
    pub fn worth_of_value(&self, node: NodeId, sensitivities: &[f64]) -> Option<Worth> {
        self.worth(node, sensitivities)
    }
}
