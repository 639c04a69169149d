//! Comparison of the alternatives of a decision, each in the whole car.

use std::sync::Arc;

use foldhash::{HashMap, HashSet};
use schema::Ref;
use schema::quantity::same_number;
use schema::records::{Alternative, Decision};

use super::comparison::{AlternativeProblem, Comparison, Comparisons, Criterion, Lead, Outcome, Significance};
use super::derivatives::Partials;
use super::network::{Network, Rule, State};
use super::sets::{Effect, SetProblem};
use super::spread::{Bends, Lens, difference};
use super::status::Status;
use super::uncertain_work::MOST;
use super::work::WorkBudget;
use super::{Gradients, Values};
use crate::ids::{NodeId, RecordId};

/// The largest number of values and criteria that are evaluated for the alternatives of a decision, added up over them, and
/// over the changes that are evaluated alone.
const MOST_EVALUATED: usize = 30_000_000;

/// The value graph with an alternative.
struct Altered {
    network: Network,
    state: Arc<State>,
    partials: Partials,
    gradients: Gradients,
    bends: Bends,
    /// The values with an uncertainty of their own, which is independent of the one that they replace.
    independent: HashSet<NodeId>,
    /// By how much the values without uncertainty change the points, added up; `None` if no value has one.
    unknown: Option<f64>,
}

/// The read errors of a decision, by the alternative that they are about (`None`: all), each with its position.
type Unread<'v> = HashMap<Option<&'v str>, Vec<(usize, AlternativeProblem)>>;

/// The alternatives of a decision while they are evaluated.
struct Run<'v> {
    values: &'v Values,
    decision: &'v Decision,
    goal: NodeId,
    /// For each node, whether the points depend on it.
    of_goal: Vec<bool>,
    unread: Unread<'v>,
    /// The values of an alternative that is not evaluated.
    empty: Arc<State>,
    /// The work that is left for models.
    budget: WorkBudget,
    /// The number of values and criteria that may still be evaluated.
    left: usize,
    /// The values that the alternatives change.
    changed: Vec<NodeId>,
}

impl Values {
    /// Evaluates the whole car with each alternative of a decision, for the points of one goal; `None` if the record is not a
    /// decision.
    pub fn compare(&self, index: RecordId, goal: NodeId) -> Option<Comparisons> {
        let decision = self.graph.loaded.decision(index)?;
        let mut run = Run {
            values: self,
            decision,
            goal,
            of_goal: self.all_under(&[goal]),
            unread: self.unread(index),
            empty: Arc::new(State::empty(&self.network)),
            // The runs of the records themselves are counted by their own limit.
            budget: WorkBudget::of_alternatives(&self.model_runs()),
            left: MOST_EVALUATED,
            changed: Vec::new(),
        };
        let mut outcomes: Vec<Outcome> = Vec::new();
        // Only the two with the most points are compared with each other.
        let mut best: Vec<(usize, f64, Altered)> = Vec::new();
        for (at, (name, alternative)) in decision.alternatives.iter().enumerate() {
            let mut outcome = run.without_values(name, alternative);
            let own = run.evaluate(name.as_str(), alternative, &mut outcome);
            let points = outcome.points.filter(|_| !outcome.sets_nothing);
            if let Some(((points, _), own)) = points.zip(own) {
                let place = best.partition_point(|(_, other, _)| other.total_cmp(&points).is_ge());
                best.insert(place, (at, points, own));
                best.truncate(2);
            }
            outcomes.push(outcome);
        }
        let lead = lead(&outcomes, &best, goal);
        let criteria = run.criteria(&outcomes);
        Some(Comparisons { outcomes, criteria, lead })
    }
}

impl Run<'_> {
    /// An alternative that is not evaluated yet.
    fn without_values(&self, name: &schema::Id, alternative: &Alternative) -> Outcome {
        Outcome {
            name: name.to_string(),
            title: alternative.title.clone(),
            chosen: self.decision.chosen.as_ref() == Some(name),
            sets_nothing: alternative.sets.is_empty(),
            problems: Vec::new(),
            state: Arc::clone(&self.empty),
            points: None,
            spread: None,
            means: HashMap::default(),
            difference: None,
            significance: None,
            without_uncertainty: Vec::new(),
            criteria: Vec::new(),
            newly_at_risk: Vec::new(),
            newly_on_target: Vec::new(),
        }
    }

    /// Counts one evaluation of all values; whether it is within the limit.
    fn take(&mut self) -> bool {
        let all = self.values.keys.len() + self.decision.criteria.len();
        let left = self.left.checked_sub(all);
        self.left = left.unwrap_or(0);
        left.is_some()
    }

    /// Evaluates the whole car with an alternative; `None` if it cannot be set, or if that is too much.
    fn evaluate(&mut self, name: &str, alternative: &Alternative, outcome: &mut Outcome) -> Option<Altered> {
        let (values, goal) = (self.values, self.goal);
        let effects = match values.effects(name, alternative, &self.unread) {
            Ok(effects) => effects,
            Err(problems) => {
                (outcome.problems, outcome.sets_nothing) = (problems, false);
                return None;
            }
        };
        let named: Vec<&Effect> = effects.iter().map(|(_, effect)| effect).collect();
        let (network, state) = match self.evaluated(&named) {
            Ok(evaluated) => evaluated,
            Err((message, help)) => {
                let route = ["alternatives", name].map(str::to_owned).to_vec();
                outcome.problems.push(AlternativeProblem { route, message, help: help.to_owned() });
                return None;
            }
        };
        // Only uncertainties are calculated from them.
        let uncertain = network.uncertain();
        let partials = network.partials_by(&state, &|node| uncertain[node]);
        let gradients = network.gradients(&partials);
        let bends = Lens { network: &network, state: &state, partials: &partials, gradients: &gradients }.bends();
        let is_own = |effect: &&Effect| matches!(effect, Effect::Value { uncertainty: Some(_), .. });
        let independent = named.iter().copied().filter(is_own).filter_map(Effect::node).collect();
        let (unknown, without_uncertainty) = self.unknown(&effects);
        let state = Arc::new(state);
        let own = Altered { network, state, partials, gradients, bends, independent, unknown };
        // A sum without the events that have no value is not the points of the goal.
        let whole = |state: &State| {
            let points = Some(state.values[goal]).filter(|points| !points.is_nan());
            points.filter(|_| values.events_without_value(state, goal).is_empty())
        };
        outcome.spread = whole(&own.state).map(|_| own.lens().spread(&own.bends, goal));
        outcome.points = outcome.spread.as_ref().map(|spread| (spread.mean, spread.uncertainty));
        let events = own.network.nodes[goal].inputs.iter().filter(|event| !own.state.values[**event].is_nan());
        outcome.means = events.map(|event| (*event, own.lens().spread(&own.bends, *event).mean)).collect();
        outcome.difference = outcome.points.zip(whole(&values.state)).map(|_| {
            let is_own = |leaf| own.independent.contains(&leaf);
            let (now, bends_now) = values.bends();
            let by = difference((&now, bends_now), (&own.lens(), &own.bends), goal, &is_own);
            (by.mean, by.uncertainty)
        });
        if outcome.points.is_none() {
            outcome.problems.extend(values.no_points(name, &own.network, &own.state, goal));
        }
        outcome.significance = outcome.difference.map(|difference| significance(difference, own.unknown));
        outcome.without_uncertainty = without_uncertainty;
        (outcome.newly_at_risk, outcome.newly_on_target) = values.status_changes(&own.lens(), &own.bends);
        let criteria = self.decision.criteria.iter();
        outcome.criteria = criteria.filter_map(|id| values.criterion(id.as_str(), &own.lens(), &own.bends)).collect();
        outcome.state = Arc::clone(&own.state);
        Some(own)
    }

    /// The value graph with some effects and its values.
    ///
    /// # Errors
    /// Why it is not evaluated, and what helps.
    fn evaluated(&mut self, named: &[&Effect]) -> Result<(Network, State), (String, &'static str)> {
        if !self.take() {
            let message = "it is not evaluated: the decision needs too many values, see Limits in SECURITY.md";
            return Err((message.to_owned(), "use fewer alternatives in one decision"));
        }
        let (network, changed) = self.values.with_effects(named);
        let state = network.evaluate();
        if !network.too_uncertain(MOST).is_empty() {
            let message = "it is not evaluated: too many values depend on uncertain ones, see Limits in SECURITY.md";
            return Err((message.to_owned(), "remove the uncertainties that matter least under `sets`"));
        }
        if !self.budget.take(&network.runs(&state)) {
            let message = WorkBudget::message("it is not evaluated");
            return Err((message, "use tables with fewer rows, or fewer alternatives"));
        }
        self.changed.extend(changed);
        Ok((network, state))
    }

    /// By how much the values without uncertainty change the points, added up (`None` if no value has one), and the names of
    /// these values.
    fn unknown(&mut self, effects: &[(Ref, Effect)]) -> (Option<f64>, Vec<String>) {
        let values = self.values;
        let moving = effects.iter().filter(|(_, effect)| values.moves(effect, &self.of_goal));
        let (without, with): (Vec<_>, Vec<_>) = moving
            .map(|(to, effect)| (values.without_uncertainty(to, effect, &self.of_goal), effect))
            .partition(|(names, _)| !names.is_empty());
        let unknown = (!with.is_empty()).then(|| without.iter().map(|(_, effect)| self.effect_on_points(effect)).sum());
        (unknown, without.into_iter().flat_map(|(names, _)| names).collect())
    }

    /// By how much one effect alone changes the points.
    fn effect_on_points(&mut self, effect: &Effect) -> f64 {
        if !self.take() {
            return f64::INFINITY;
        }
        let network = self.values.with_effects(&[effect]).0;
        let alone = network.evaluate();
        if !self.budget.take(&network.runs(&alone)) {
            return f64::INFINITY;
        }
        let points = alone.values[self.goal];
        let by = self.values.value(self.goal).map(|now| (points - now).abs());
        by.filter(|by| !by.is_nan()).unwrap_or(f64::INFINITY)
    }

    /// The criteria of the decision.
    fn criteria(&self, outcomes: &[Outcome]) -> Vec<Criterion> {
        let values = self.values;
        let moves_points = values.moving_points(&self.changed, &self.of_goal);
        let criteria = self.decision.criteria.iter().filter_map(|id| {
            let index = values.graph.loaded.find(id.as_str())?;
            values.graph.loaded.target(index)?;
            let node = values.record_node(index)?;
            let now = values.state.values[node];
            let mut compared = outcomes.iter().filter(|outcome| outcome.problems.is_empty());
            let is_changed = compared.any(|outcome| !is_same(outcome.state.values[node], now));
            Some(Criterion { index, moves_points: moves_points[node], is_changed })
        });
        criteria.collect()
    }
}

impl Values {
    /// What an alternative changes, by the names under `sets`.
    ///
    /// # Errors
    /// What cannot be read or set.
    fn effects(
        &self,
        name: &str,
        alternative: &Alternative,
        unread: &Unread<'_>,
    ) -> Result<Vec<(Ref, Effect)>, Vec<AlternativeProblem>> {
        let mut unread: Vec<_> = [None, Some(name)].iter().filter_map(|of| unread.get(of)).flatten().collect();
        unread.sort_by_key(|(at, _)| *at);
        let mut problems: Vec<AlternativeProblem> = unread.into_iter().map(|(_, problem)| problem.clone()).collect();
        let mut effects = Vec::new();
        for (to, setting) in alternative.sets.iter() {
            match self.effect(alternative, to, setting) {
                Ok(effect) => effects.push((to.clone(), effect)),
                Err(SetProblem { message, help, .. }) => {
                    let route = ["alternatives", name, "sets", to.as_str()].map(str::to_owned).to_vec();
                    problems.push(AlternativeProblem { route, message, help });
                }
            }
        }
        if problems.is_empty() { Ok(effects) } else { Err(problems) }
    }

    /// Why an alternative that can be set has no points, if the records without it have some.
    fn no_points(&self, name: &str, network: &Network, state: &State, goal: NodeId) -> Option<AlternativeProblem> {
        let missing = self.events_without_value(state, goal);
        if missing.is_empty() || !self.events_without_value(&self.state, goal).is_empty() {
            return None;
        }
        let failed = (0..network.calls.len())
            .find_map(|call| Some((network.calls[call].model.name, network.model_error(state, call)?)));
        let message = match failed {
            Some((model, error)) => format!("the model `{model}` has no result: {error}"),
            None => {
                let ids: Vec<&str> = missing.iter().map(|id| self.graph.loaded.record(*id).id.as_str()).collect();
                format!("with its values, {} cannot be calculated", ids.join(", "))
            }
        };
        let route = ["alternatives", name].map(str::to_owned).to_vec();
        Some(AlternativeProblem { route, message, help: "correct the values under `sets`".to_owned() })
    }

    /// The read errors of the alternatives of a decision, and those that hide the place of one.
    fn unread(&self, index: RecordId) -> Unread<'_> {
        let loaded = &self.graph.loaded;
        let id = loaded.record(index).id.as_str();
        let mut unread = Unread::default();
        for (at, problem) in loaded.problems.iter().map(|found| &found.problem).enumerate() {
            // The route starts with the kind and the id.
            let below = problem.route.get(2..).unwrap_or_default();
            let is_about = problem.record.as_deref() == Some(id)
                && below.first().is_some_and(|key| key == "alternatives")
                // A title or a note changes no value.
                && below.get(2).is_none_or(|key| key == "sets");
            if is_about {
                let (route, message, help) = (below.to_vec(), problem.message.clone(), problem.help.clone());
                let own = unread.entry(below.get(1).map(String::as_str)).or_default();
                own.push((at, AlternativeProblem { route, message, help }));
            }
        }
        unread
    }

    /// Whether a key under `sets` changes something that the points depend on.
    fn moves(&self, effect: &Effect, of_goal: &[bool]) -> bool {
        match effect {
            Effect::Value { node, value, factor, .. } => {
                of_goal[*node] && !(is_same(*value, self.state.values[*node]) && is_same(*factor, 1.0))
            }
            Effect::Count(part, _) | Effect::Without(part) => self.pieces(*part).iter().any(|piece| of_goal[*piece]),
            Effect::Input(..) | Effect::List(..) | Effect::Table(..) => true,
        }
    }

    /// The names of the values under the points that a key under `sets` changes and that have no uncertainty of their own.
    fn without_uncertainty(&self, to: &Ref, effect: &Effect, of_goal: &[bool]) -> Vec<String> {
        let is_unknown = match effect {
            Effect::Value { uncertainty, .. } => uncertainty.is_none(),
            Effect::Count(part, _) | Effect::Without(part) => {
                let pieces = self.pieces(*part).into_iter().filter(|piece| of_goal[*piece]);
                let is_unknown = |piece: &NodeId| {
                    let own = &self.network.nodes[*piece];
                    own.uncertainty == 0.0 && self.value(*piece).is_some_and(|value| value != 0.0)
                };
                return pieces.filter(is_unknown).map(|piece| self.name(piece)).collect();
            }
            Effect::Input(_, _, value) => value.uncertainty == 0.0,
            // Ratios of gears are exact.
            Effect::List(..) => false,
            Effect::Table(..) => true,
        };
        if is_unknown { vec![to.to_string()] } else { Vec::new() }
    }

    /// For each node, taken as a criterion: whether what is changed in these nodes reaches the points if it changes the
    /// criterion. If none of them reaches the criterion: whether the points depend on something that it depends on, or on
    /// itself.
    fn moving_points(&self, changed: &[NodeId], of_goal: &[bool]) -> Vec<bool> {
        let count = of_goal.len();
        let (mut is_changed, mut is_changed_in_goal) = (vec![false; count], vec![false; count]);
        let mut is_in_goal = of_goal.to_vec();
        for &node in changed {
            is_changed[node] = true;
            is_changed_in_goal[node] |= of_goal[node];
        }
        for &node in &self.network.order {
            for &input in &self.network.nodes[node].inputs {
                is_changed[node] |= is_changed[input];
                is_changed_in_goal[node] |= is_changed_in_goal[input];
                is_in_goal[node] |= is_in_goal[input];
            }
        }
        let moves =
            |node: NodeId| of_goal[node] || if is_changed[node] { is_changed_in_goal[node] } else { is_in_goal[node] };
        NodeId::all(count).map(moves).collect()
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
    pub fn with_values<'p>(
        &self,
        state: &State,
        partials: &dyn Fn() -> &'p Partials,
        set: &[(NodeId, f64, Option<f64>)],
    ) -> Self {
        let mut network = self.clone();
        for &(node, value, uncertainty) in set {
            let before = state.values[node];
            let scale = if before.is_nan() || before == 0.0 { 1.0 } else { value / before };
            let own = &mut network.nodes[node];
            match uncertainty {
                None if !own.inputs.is_empty() => {
                    own.rule = Rule::Replaced(
                        value,
                        partials().by_input(node).iter().map(|partial| partial * scale).collect(),
                    );
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

impl Altered {
    fn lens(&self) -> Lens<'_> {
        Lens { network: &self.network, state: &self.state, partials: &self.partials, gradients: &self.gradients }
    }
}

impl Effect {
    /// The node of a value.
    fn node(&self) -> Option<NodeId> {
        match self {
            Self::Value { node, .. } => Some(*node),
            Self::Count(..) | Self::Without(_) | Self::Input(..) | Self::List(..) | Self::Table(..) => None,
        }
    }
}

/// Whether two values are the same except for rounding, or both are missing.
fn is_same(a: f64, b: f64) -> bool {
    same_number(a, b) || (a.is_nan() && b.is_nan())
}

/// Whether a difference is larger than its uncertainty and what the values without uncertainty move (`None` if no value
/// has an uncertainty).
fn significance((by, within): (f64, f64), unknown: Option<f64>) -> Significance {
    match unknown {
        _ if by.abs() <= within.max(1e-9) => Significance::Within,
        Some(unknown) if within > 0.0 && by.abs() > within + unknown => Significance::Larger,
        _ => Significance::Unknown,
    }
}

/// The alternative with the most points, compared with the next one: each with its position and its points.
fn lead(outcomes: &[Outcome], best: &[(usize, f64, Altered)], goal: NodeId) -> Option<Lead> {
    let [(best, most, a), (next, fewer, b)] = best else { return None };
    let (best, next) = (*best, *next);
    let is_own = |leaf| a.independent.contains(&leaf) || b.independent.contains(&leaf);
    let within = difference((&b.lens(), &b.bends), (&a.lens(), &a.bends), goal, &is_own).uncertainty;
    let difference = (most - fewer, within);
    let unknown = match (a.unknown, b.unknown) {
        (None, None) => None,
        // An alternative without any uncertainty can be wrong by all that it moves.
        (a, b) => {
            let moved = |at: usize| outcomes[at].difference.map_or(0.0, |(by, _)| by.abs());
            Some(a.unwrap_or_else(|| moved(best)) + b.unwrap_or_else(|| moved(next)))
        }
    };
    Some(Lead { best, next, difference, significance: significance(difference, unknown) })
}
