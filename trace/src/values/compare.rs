//! Weighing: each alternative of a decision put into the whole car.

use schema::records::Decision;

use super::network::{Network, Partials, Rule, State};
use super::status::Status;
use super::{Gradients, Values};
use crate::ids::{NodeId, RecordId};

/// A target as an alternative leaves it.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// The target's record.
    pub index: RecordId,
    /// Its node.
    pub node: NodeId,
    /// Its value then, in SI.
    pub value: Option<f64>,
    /// Its expanded uncertainty (k = 2) then.
    pub uncertainty: f64,
    /// Does it meet the limit then, uncertainty and all?
    pub status: Status,
}

/// The whole car with one alternative in it.
pub struct Outcome {
    /// The name of the alternative.
    pub name: String,
    /// Its title.
    pub title: Option<String>,
    /// Is it the one that was chosen?
    pub chosen: bool,
    /// Does it set no value, so that nothing can be said of it?
    pub sets_nothing: bool,
    /// All values then.
    pub state: State,
    /// The points of the goal then, with the expanded uncertainty (k = 2).
    pub points: Option<(f64, f64)>,
    /// The difference to the car as the records have it, with its own uncertainty: what both share cancels.
    pub difference: Option<(f64, f64)>,
    /// The targets that judge the alternatives.
    pub criteria: Vec<Comparison>,
    /// Targets that are met as the records have it and would not be then, and the other way round.
    pub newly_at_risk: Vec<RecordId>,
    /// Targets that would be met then and are not now.
    pub newly_on_target: Vec<RecordId>,
}

impl Values {
    /// Puts each alternative of a decision into the whole car; the goal is the first one.
    pub fn compare(&self, decision: &Decision, goal: NodeId) -> Vec<Outcome> {
        let (partials, now) = (self.partials(), self.gradients());
        decision
            .alternatives
            .iter()
            .map(|(name, alternative)| {
                let set: Vec<(NodeId, f64, Option<f64>)> = alternative
                    .sets
                    .iter()
                    .filter_map(|(to, quantity)| {
                        let (dimension, value, uncertainty) = self.in_team(quantity);
                        let node = self.named(to.as_str())?;
                        // A value in another dimension is told as a finding, and weighs nothing.
                        let uncertainty = quantity.uncertainty().map(|_| uncertainty);
                        (dimension == self.dimension(node)).then_some((node, value, uncertainty))
                    })
                    .collect();
                let network = self.network.with(&self.state, partials, &set);
                let state = network.evaluate();
                let then = network.gradients(&network.partials(&state));
                let points = Some(state.values[goal]).filter(|points| !points.is_nan());
                let before = self.value(goal);
                // What is set with an uncertainty of its own has nothing to do with what it replaces.
                let fixed: Vec<NodeId> = set.iter().filter(|(.., own)| own.is_some()).map(|(node, ..)| *node).collect();
                let difference = points.zip(before).map(|(points, before)| {
                    (points - before, spread(&self.network, now, &network, &then, goal, &fixed))
                });
                let (newly_at_risk, newly_on_target) = self.turned(now, &network, &state, &then);
                Outcome {
                    name: name.to_string(),
                    title: alternative.title.clone(),
                    chosen: decision.chosen.as_ref() == Some(name),
                    sets_nothing: set.is_empty(),
                    points: points.map(|points| (points, then.uncertainty(&network, goal))),
                    difference,
                    criteria: decision
                        .criteria
                        .iter()
                        .filter_map(|id| self.criterion(id.as_str(), &network, &state, &then))
                        .collect(),
                    newly_at_risk,
                    newly_on_target,
                    state,
                }
            })
            .collect()
    }

    fn criterion(&self, id: &str, network: &Network, state: &State, gradients: &Gradients) -> Option<Comparison> {
        let index = self.graph.loaded.find(id)?;
        let target = self.graph.loaded.target(index)?;
        let node = self.record_node(index)?;
        let value = Some(state.values[node]).filter(|value| !value.is_nan());
        let uncertainty = gradients.uncertainty(network, node);
        let status = match value {
            None => Status::NoValue,
            Some(value) if self.limit(target).holds(value, uncertainty) => Status::OnTarget,
            Some(_) => Status::AtRisk,
        };
        Some(Comparison { index, node, value, uncertainty, status })
    }

    /// Targets whose limit is held before and not after, and the other way round.
    fn turned(
        &self,
        now: &Gradients,
        network: &Network,
        state: &State,
        then: &Gradients,
    ) -> (Vec<RecordId>, Vec<RecordId>) {
        let (mut newly_at_risk, mut newly_on_target) = (Vec::new(), Vec::new());
        for (index, _, target) in self.graph.loaded.targets() {
            let Some(node) = self.record_node(index) else { continue };
            let limit = self.limit(target);
            let after = state.values[node];
            let Some(before) = self.value(node).filter(|_| !after.is_nan()) else { continue };
            let held = limit.holds(before, now.uncertainty(&self.network, node));
            let holds = limit.holds(after, then.uncertainty(network, node));
            if held && !holds {
                newly_at_risk.push(index);
            } else if !held && holds {
                newly_on_target.push(index);
            }
        }
        (newly_at_risk, newly_on_target)
    }
}

impl Network {
    /// The same graph with some values given: as if the records said so. One that is given without an
    /// uncertainty is as uncertain, relative to its size, as what it stands in place of.
    pub fn with(&self, state: &State, partials: &Partials, set: &[(NodeId, f64, Option<f64>)]) -> Self {
        let mut network = self.clone();
        for &(node, value, uncertainty) in set {
            let before = state.values[node];
            let scale = if before.is_nan() || before == 0.0 { 1.0 } else { value / before };
            let own = &mut network.nodes[node];
            match uncertainty {
                None if !own.inputs.is_empty() => {
                    own.rule = Rule::Held(value, partials.of(node).iter().map(|partial| partial * scale).collect());
                }
                _ => {
                    own.rule = Rule::Given(value);
                    own.inputs.clear();
                    own.uncertainty = uncertainty.unwrap_or(own.uncertainty * scale.abs());
                }
            }
        }
        network
    }
}

/// The expanded uncertainty of a difference: an input that both sides share counts by the difference of its effects.
fn spread(before: &Network, now: &Gradients, after: &Network, then: &Gradients, goal: NodeId, fixed: &[NodeId]) -> f64 {
    let term = |network: &Network, (leaf, derivative): &(NodeId, f64)| derivative * network.nodes[*leaf].uncertainty;
    let mut terms: std::collections::BTreeMap<NodeId, (f64, f64)> = std::collections::BTreeMap::new();
    for pair in now.of(goal) {
        terms.entry(pair.0).or_default().0 = term(before, pair);
    }
    for pair in then.of(goal) {
        terms.entry(pair.0).or_default().1 = term(after, pair);
    }
    let squares = terms.iter().map(|(leaf, (a, b))| {
        // A value that the alternative sets has nothing to do with the one it replaces.
        if fixed.contains(leaf) { a * a + b * b } else { (a - b).powi(2) }
    });
    squares.sum::<f64>().sqrt()
}
