//! Comparison of the alternatives of a decision, each in the whole car.

use schema::records::Decision;

use super::network::{Network, Partials, Rule, State};
use super::status::Status;
use super::{Gradients, Values};
use crate::ids::{NodeId, RecordId};

/// A target with an alternative.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// The target's record.
    pub index: RecordId,
    /// Its node.
    pub node: NodeId,
    /// Its value, in SI.
    pub value: Option<f64>,
    /// Its expanded uncertainty (k = 2).
    pub uncertainty: f64,
    /// Whether it meets the limit, including its uncertainty.
    pub status: Status,
}

/// The whole car with one alternative.
pub struct Outcome {
    /// The name of the alternative.
    pub name: String,
    /// Its title.
    pub title: Option<String>,
    /// Whether it was chosen.
    pub chosen: bool,
    /// Whether it sets no value, so that it cannot be compared.
    pub sets_nothing: bool,
    /// All values with it.
    pub state: State,
    /// The points of the goal, with the expanded uncertainty (k = 2).
    pub points: Option<(f64, f64)>,
    /// The difference to the points now, with its own uncertainty: common uncertainties cancel.
    pub difference: Option<(f64, f64)>,
    /// The targets that are criteria of the decision.
    pub criteria: Vec<Comparison>,
    /// Targets that are on target now, and would be at risk.
    pub newly_at_risk: Vec<RecordId>,
    /// Targets that are at risk now, and would be on target.
    pub newly_on_target: Vec<RecordId>,
}

impl Values {
    /// Evaluates the whole car with each alternative of a decision, for the points of one goal.
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
                        // A value whose unit does not match is reported as a finding and ignored here.
                        let uncertainty = quantity.uncertainty().map(|_| uncertainty);
                        (dimension == self.dimension(node)).then_some((node, value, uncertainty))
                    })
                    .collect();
                let network = self.network.with_values(&self.state, partials, &set);
                let state = network.evaluate();
                let gradients = network.gradients(&network.partials(&state));
                // A sum without the events that have no value is not the points of the goal.
                let whole = |state: &State| {
                    let points = Some(state.values[goal]).filter(|points| !points.is_nan());
                    points.filter(|_| self.events_without_value(state, goal).is_empty())
                };
                let (points, before) = (whole(&state), whole(&self.state));
                // A value with its own uncertainty is independent of the value that it replaces.
                let independent: Vec<NodeId> =
                    set.iter().filter(|(.., own)| own.is_some()).map(|(node, ..)| *node).collect();
                let difference = points.zip(before).map(|(points, before)| {
                    (
                        points - before,
                        uncertainty_of_difference((&self.network, now), (&network, &gradients), goal, &independent),
                    )
                });
                let (newly_at_risk, newly_on_target) = self.status_changes(now, &network, &state, &gradients);
                Outcome {
                    name: name.to_string(),
                    title: alternative.title.clone(),
                    chosen: decision.chosen.as_ref() == Some(name),
                    sets_nothing: set.is_empty(),
                    points: points.map(|points| (points, gradients.uncertainty(&network, goal))),
                    difference,
                    criteria: decision
                        .criteria
                        .iter()
                        .filter_map(|id| self.criterion(id.as_str(), &network, &state, &gradients))
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

    /// Targets that meet their limit only before, and those that meet it only after.
    fn status_changes(
        &self,
        now: &Gradients,
        network: &Network,
        state: &State,
        gradients: &Gradients,
    ) -> (Vec<RecordId>, Vec<RecordId>) {
        let (mut newly_at_risk, mut newly_on_target) = (Vec::new(), Vec::new());
        for (index, _, target) in self.graph.loaded.targets() {
            let Some(node) = self.record_node(index) else { continue };
            let limit = self.limit(target);
            let after = state.values[node];
            let Some(before) = self.value(node).filter(|_| !after.is_nan()) else { continue };
            let held = limit.holds(before, now.uncertainty(&self.network, node));
            let holds = limit.holds(after, gradients.uncertainty(network, node));
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
    /// The same graph with some values replaced, as if the records contained them. A value without an uncertainty has the
    /// relative uncertainty of the value that it replaces.
    pub fn with_values(&self, state: &State, partials: &Partials, set: &[(NodeId, f64, Option<f64>)]) -> Self {
        let mut network = self.clone();
        for &(node, value, uncertainty) in set {
            let before = state.values[node];
            let scale = if before.is_nan() || before == 0.0 { 1.0 } else { value / before };
            let own = &mut network.nodes[node];
            match uncertainty {
                None if !own.inputs.is_empty() => {
                    own.rule =
                        Rule::Replaced(value, partials.by_input(node).iter().map(|partial| partial * scale).collect());
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

/// The expanded uncertainty of a difference: an input of both states counts by the difference of its effects.
fn uncertainty_of_difference(
    (before, gradients_before): (&Network, &Gradients),
    (after, gradients_after): (&Network, &Gradients),
    goal: NodeId,
    independent: &[NodeId],
) -> f64 {
    let term = |network: &Network, (leaf, derivative): &(NodeId, f64)| derivative * network.nodes[*leaf].uncertainty;
    let mut terms: std::collections::BTreeMap<NodeId, (f64, f64)> = std::collections::BTreeMap::new();
    for pair in gradients_before.by_given(goal) {
        terms.entry(pair.0).or_default().0 = term(before, pair);
    }
    for pair in gradients_after.by_given(goal) {
        terms.entry(pair.0).or_default().1 = term(after, pair);
    }
    let squares = terms.iter().map(|(leaf, (a, b))| {
        // A value that the alternative sets is independent of the one that it replaces.
        if independent.contains(leaf) { a * a + b * b } else { (a - b).powi(2) }
    });
    squares.sum::<f64>().sqrt()
}
