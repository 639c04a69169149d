//! Comparison of the alternatives of a decision, each in the whole car.

use schema::records::Decision;

use super::network::{Network, Partials, Rule, State};
use super::spread::{Bends, Lens, difference};
use super::status::Status;
use super::{Spread, Values};
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
    /// The points with their interval.
    pub spread: Option<Spread>,
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
        let (now, bends_now) = self.bends();
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
                let network = self.network.with_values(&self.state, now.partials, &set);
                let state = network.evaluate();
                let partials = network.partials(&state);
                let gradients = network.gradients(&partials);
                let then = Lens { network: &network, state: &state, partials: &partials, gradients: &gradients };
                let bends = then.bends();
                let points = Some(state.values[goal]).filter(|points| !points.is_nan());
                let points = points.map(|_| then.spread(&bends, goal));
                // A value with its own uncertainty is independent of the value that it replaces.
                let independent: Vec<NodeId> =
                    set.iter().filter(|(.., own)| own.is_some()).map(|(node, ..)| *node).collect();
                let difference = points
                    .as_ref()
                    .zip(self.value(goal))
                    .map(|_| difference((&now, bends_now), (&then, &bends), goal, &|leaf| independent.contains(&leaf)));
                let (newly_at_risk, newly_on_target) = self.status_changes(&then, &bends);
                Outcome {
                    name: name.to_string(),
                    title: alternative.title.clone(),
                    chosen: decision.chosen.as_ref() == Some(name),
                    sets_nothing: set.is_empty(),
                    points: points.as_ref().map(|spread| (spread.mean, spread.uncertainty)),
                    spread: points,
                    difference: difference.map(|spread| (spread.mean, spread.uncertainty)),
                    criteria: decision
                        .criteria
                        .iter()
                        .filter_map(|id| self.criterion(id.as_str(), &then, &bends))
                        .collect(),
                    newly_at_risk,
                    newly_on_target,
                    state,
                }
            })
            .collect()
    }

    fn criterion(&self, id: &str, then: &Lens<'_>, bends: &Bends) -> Option<Comparison> {
        let index = self.graph.loaded.find(id)?;
        let target = self.graph.loaded.target(index)?;
        let node = self.record_node(index)?;
        let spread = (!then.state.values[node].is_nan()).then(|| then.spread(bends, node));
        let value = spread.as_ref().map(|spread| spread.mean);
        let uncertainty = spread.as_ref().map_or(0.0, |spread| spread.uncertainty);
        let status = match spread {
            None => Status::NoValue,
            Some(spread) if self.limit(target).holds_between(spread.low, spread.high) => Status::OnTarget,
            Some(_) => Status::AtRisk,
        };
        Some(Comparison { index, node, value, uncertainty, status })
    }

    /// Targets that meet their limit only before, and those that meet it only after.
    fn status_changes(&self, then: &Lens<'_>, bends: &Bends) -> (Vec<RecordId>, Vec<RecordId>) {
        let (mut newly_at_risk, mut newly_on_target) = (Vec::new(), Vec::new());
        for (index, _, target) in self.graph.loaded.targets() {
            let Some(node) = self.record_node(index) else { continue };
            let limit = self.limit(target);
            let Some(before) = self.spread(node).filter(|_| !then.state.values[node].is_nan()) else { continue };
            let after = then.spread(bends, node);
            let held = limit.holds_between(before.low, before.high);
            let holds = limit.holds_between(after.low, after.high);
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
