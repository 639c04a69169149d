//! The chance of a goal: now, and with some values changed.

use super::network::State;
use super::spread::Lens;
use super::{GoalPoints, Key, Origin, Values};
use crate::ids::{NodeId, RecordId};

impl Values {
    /// The chance that a goal is reached; `None` if an event has no value, or if all of them have a result.
    pub fn chance_of(&self, goal: RecordId) -> Option<f64> {
        let node = self.record_node(goal)?;
        let events = || self.network.nodes[node].inputs.iter().copied();
        let is_scored = |event: NodeId| match self.keys[event] {
            Key::Record(event) => matches!(self.origin(event), Origin::Result(_)),
            Key::Part(..) | Key::Group(..) | Key::Local(..) | Key::NotInParts(_) => false,
        };
        if events().all(is_scored) || !self.events_without_value(&self.state, node).is_empty() {
            return None;
        }
        let needed = self.needed(goal, node, self.graph.loaded.goal(goal)?).ok()?;
        Some(needed.chance_of(&self.spread(node)?))
    }

    /// The chance of a goal if these values were others: all that depends on them follows by its slope, and what is scored
    /// or not by a chance is sampled again. `None` if it is not known.
    pub fn chance_if(&self, goal: &GoalPoints, set: &[(NodeId, f64)]) -> Option<f64> {
        goal.predicted?;
        let needed = goal.needed.as_ref().ok()?;
        let (state, changed) = self.along_slopes(set);
        let (lens, bends) = self.bends();
        // A value that is set is not what its inputs give.
        let bends = bends.without(changed);
        Some(needed.chance_of(&Lens { state: &state, ..lens }.outcomes(&bends, goal.node)))
    }

    /// The values if some of them were others, by the slopes at the values now, and those that are set: with a system, also
    /// the car.
    fn along_slopes(&self, set: &[(NodeId, f64)]) -> (State, Vec<NodeId>) {
        let (partials, count) = (self.partials(), self.keys.len());
        let (mut by, mut is_set) = (vec![0.0; count], vec![false; count]);
        let mut all = Vec::new();
        for (node, value) in set {
            let change = value - self.state.values[*node];
            for own in self.raised_with(*node) {
                by[own] += change;
                is_set[own] = true;
                all.push(own);
            }
        }
        let mut state = self.state.clone();
        for &node in &self.network.order {
            if !is_set[node] {
                let terms = self.network.nodes[node].inputs.iter().zip(partials.by_input(node));
                let terms = terms.filter(|(input, slope)| by[**input] != 0.0 && slope.is_finite());
                by[node] = terms.map(|(input, slope)| slope * by[*input]).sum();
            }
            if by[node] != 0.0 {
                state.values[node] += by[node];
            }
        }
        (state, all)
    }
}
