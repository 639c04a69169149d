//! Comparison of the alternatives of a decision, each in the whole car.

use schema::Ref;
use schema::quantity::same_number;
use schema::records::Alternative;

use super::derivatives::Partials;
use super::network::{Network, Rule, State};
use super::sets::{Effect, SetProblem};
use super::spread::{Bends, Lens, difference};
use super::status::Status;
use super::uncertain_work::MOST;
use super::work::WorkBudget;
use super::{Gradients, Spread, Values};
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

/// Whether a difference in points is larger than its uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Significance {
    /// It is larger, even if every value without an uncertainty is wrong by its whole change.
    Larger,
    /// It is not larger.
    Within,
    /// It is not known, because values that change it have no uncertainty.
    Unknown,
}

/// A reason why an alternative cannot be compared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AlternativeProblem {
    /// The keys below the record of the decision.
    pub route: Vec<String>,
    /// What is wrong.
    pub message: String,
    /// How to fix it.
    pub help: String,
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
    /// Why it has no points: what it sets cannot be read or set (then it has no values), or an event cannot be calculated.
    pub problems: Vec<AlternativeProblem>,
    /// All values with it.
    pub state: State,
    /// The points of the goal, with the expanded uncertainty (k = 2).
    pub points: Option<(f64, f64)>,
    /// The points with their interval.
    pub spread: Option<Spread>,
    /// The mean of what each event of the goal scores; they add up to the points.
    pub means: Vec<(NodeId, f64)>,
    /// The difference to the points now, with its own uncertainty: common uncertainties cancel.
    pub difference: Option<(f64, f64)>,
    /// Whether the difference is larger than its uncertainty; `None` without a difference.
    pub significance: Option<Significance>,
    /// The values under the points that it sets or removes and that have no uncertainty of their own.
    pub without_uncertainty: Vec<String>,
    /// The targets that are criteria of the decision.
    pub criteria: Vec<Comparison>,
    /// Targets that are on target now, and would be at risk.
    pub newly_at_risk: Vec<RecordId>,
    /// Targets that are at risk now, and would be on target.
    pub newly_on_target: Vec<RecordId>,
}

impl Outcome {
    /// The mean of what an event scores; NaN without points.
    pub fn points_of_event(&self, event: NodeId) -> f64 {
        self.means.iter().find(|(own, _)| *own == event).map_or(f64::NAN, |(_, mean)| *mean)
    }
}

/// A criterion of a decision.
#[derive(Clone, Debug)]
pub struct Criterion {
    /// The target's record.
    pub index: RecordId,
    /// Whether a formula, a model or a total connects it with the points: what the alternatives change in it changes points.
    pub moves_points: bool,
    /// Whether its value differs between the alternatives, or from now.
    pub is_changed: bool,
}

/// The alternative with the most points, compared with the next one.
#[derive(Clone, Debug)]
pub struct Lead {
    /// The position of the alternative in [`Comparisons::outcomes`].
    pub best: usize,
    /// The position of the next one.
    pub next: usize,
    /// The difference in points, with its own uncertainty.
    pub difference: (f64, f64),
    /// Whether it is larger than its uncertainty.
    pub significance: Significance,
}

/// The alternatives of a decision, each in the whole car.
pub struct Comparisons {
    /// The alternatives, in the order of the record.
    pub outcomes: Vec<Outcome>,
    /// The criteria, in the order of the record.
    pub criteria: Vec<Criterion>,
    /// The alternative with the most points; `None` with fewer than two that have points.
    pub lead: Option<Lead>,
}

/// The value graph with an alternative.
struct Altered {
    network: Network,
    state: State,
    partials: Partials,
    gradients: Gradients,
    bends: Bends,
    /// The values that it changes.
    changed: Vec<NodeId>,
    /// Those with an uncertainty of their own, which is independent of the one that they replace.
    independent: Vec<NodeId>,
    /// By how much the values without uncertainty change the points, added up; `None` if no value has one.
    unknown: Option<f64>,
}

impl Values {
    /// Evaluates the whole car with each alternative of a decision, for the points of one goal; `None` if the record is not a
    /// decision.
    pub fn compare(&self, index: RecordId, goal: NodeId) -> Option<Comparisons> {
        let decision = self.graph.loaded.decision(index)?;
        let ((now, bends_now), of_goal) = (self.bends(), self.all_under(&[goal]));
        let mut altered: Vec<Option<Altered>> = Vec::new();
        // The runs of the records themselves are counted by their own limit.
        let mut budget = WorkBudget::of_alternatives(&self.model_runs());
        let mut outcomes: Vec<Outcome> = Vec::new();
        for (name, alternative) in decision.alternatives.iter() {
            let effects = self.effects(index, name.as_str(), alternative);
            let chosen = decision.chosen.as_ref() == Some(name);
            let mut outcome = Outcome {
                name: name.to_string(),
                title: alternative.title.clone(),
                chosen,
                sets_nothing: alternative.sets.is_empty(),
                problems: Vec::new(),
                state: State::empty(&self.network),
                points: None,
                spread: None,
                means: Vec::new(),
                difference: None,
                significance: None,
                without_uncertainty: Vec::new(),
                criteria: Vec::new(),
                newly_at_risk: Vec::new(),
                newly_on_target: Vec::new(),
            };
            let effects = match effects {
                Ok(effects) => effects,
                Err(problems) => {
                    outcomes.push(Outcome { problems, sets_nothing: false, ..outcome });
                    altered.push(None);
                    continue;
                }
            };
            let named: Vec<&Effect> = effects.iter().map(|(_, effect)| effect).collect();
            let (network, changed) = self.with_effects(&named);
            let state = network.evaluate();
            let too_much = if !network.too_uncertain(MOST).is_empty() {
                let message =
                    "it is not evaluated: too many values depend on uncertain ones, see Limits in SECURITY.md";
                Some((message.to_owned(), "remove the uncertainties that matter least under `sets`"))
            } else if !budget.take(&network.runs(&state)) {
                let message = WorkBudget::message("it is not evaluated");
                Some((message, "use tables with fewer rows, or fewer alternatives"))
            } else {
                None
            };
            if let Some((message, help)) = too_much {
                let route = ["alternatives", name.as_str()].map(str::to_owned).to_vec();
                let help = help.to_owned();
                outcome.problems.push(AlternativeProblem { route, message, help });
                outcomes.push(outcome);
                altered.push(None);
                continue;
            }
            // Only uncertainties are calculated from them.
            let uncertain = network.uncertain();
            let partials = network.partials_by(&state, &|node| uncertain[node]);
            let gradients = network.gradients(&partials);
            let bends = Lens { network: &network, state: &state, partials: &partials, gradients: &gradients }.bends();
            let is_own = |effect: &&Effect| matches!(effect, Effect::Value { uncertainty: Some(_), .. });
            let independent = named.iter().copied().filter(is_own).filter_map(Effect::node).collect();
            let moving = effects.iter().filter(|(_, effect)| self.moves(effect, &of_goal));
            let (without, with): (Vec<_>, Vec<_>) = moving
                .map(|(to, effect)| (self.without_uncertainty(to, effect, &of_goal), effect))
                .partition(|(names, _)| !names.is_empty());
            let mut effect_on_points = |effect: &Effect| {
                let network = self.with_effects(&[effect]).0;
                let alone = network.evaluate();
                if !budget.take(&network.runs(&alone)) {
                    return f64::INFINITY;
                }
                let points = alone.values[goal];
                self.value(goal).map(|now| (points - now).abs()).filter(|by| !by.is_nan()).unwrap_or(f64::INFINITY)
            };
            let unknown = (!with.is_empty()).then(|| without.iter().map(|(_, effect)| effect_on_points(effect)).sum());
            let own = Altered { network, state, partials, gradients, bends, changed, independent, unknown };
            // A sum without the events that have no value is not the points of the goal.
            let whole = |state: &State| {
                let points = Some(state.values[goal]).filter(|points| !points.is_nan());
                points.filter(|_| self.events_without_value(state, goal).is_empty())
            };
            outcome.spread = whole(&own.state).map(|_| own.lens().spread(&own.bends, goal));
            outcome.points = outcome.spread.as_ref().map(|spread| (spread.mean, spread.uncertainty));
            let events = own.network.nodes[goal].inputs.iter().filter(|event| !own.state.values[**event].is_nan());
            outcome.means = events.map(|event| (*event, own.lens().spread(&own.bends, *event).mean)).collect();
            outcome.difference = outcome.points.zip(whole(&self.state)).map(|_| {
                let is_own = |leaf| own.independent.contains(&leaf);
                let by = difference((&now, bends_now), (&own.lens(), &own.bends), goal, &is_own);
                (by.mean, by.uncertainty)
            });
            if outcome.points.is_none() {
                outcome.problems.extend(self.no_points(name.as_str(), &own.network, &own.state, goal));
            }
            outcome.significance = outcome.difference.map(|difference| significance(difference, own.unknown));
            outcome.without_uncertainty = without.into_iter().flat_map(|(names, _)| names).collect();
            (outcome.newly_at_risk, outcome.newly_on_target) = self.status_changes(&own.lens(), &own.bends);
            let criteria = decision.criteria.iter();
            outcome.criteria = criteria.filter_map(|id| self.criterion(id.as_str(), &own.lens(), &own.bends)).collect();
            outcome.state = own.state.clone();
            outcomes.push(outcome);
            altered.push(Some(own));
        }
        let lead = lead(&outcomes, &altered, goal);
        let changed: Vec<NodeId> = altered.iter().flatten().flat_map(|own| own.changed.iter().copied()).collect();
        let criteria = decision.criteria.iter().filter_map(|id| {
            let index = self.graph.loaded.find(id.as_str())?;
            self.graph.loaded.target(index)?;
            let node = self.record_node(index)?;
            let now = self.state.values[node];
            let compared = || outcomes.iter().filter(|outcome| outcome.problems.is_empty());
            let is_changed = compared().any(|outcome| !is_same(outcome.state.values[node], now));
            Some(Criterion { index, moves_points: self.moves_points(node, &changed, goal), is_changed })
        });
        let criteria = criteria.collect();
        Some(Comparisons { outcomes, criteria, lead })
    }

    /// What an alternative changes, by the names under `sets`.
    ///
    /// # Errors
    /// What cannot be read or set.
    fn effects(
        &self,
        index: RecordId,
        name: &str,
        alternative: &Alternative,
    ) -> Result<Vec<(Ref, Effect)>, Vec<AlternativeProblem>> {
        let (mut effects, mut problems) = (Vec::new(), self.unread(index, name));
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

    /// The read errors of an alternative, and those that hide its place.
    fn unread(&self, index: RecordId, name: &str) -> Vec<AlternativeProblem> {
        let loaded = &self.graph.loaded;
        let id = loaded.record(index).id.as_str();
        let own = loaded.problems.iter().map(|found| &found.problem).filter(|problem| {
            // The route starts with the kind and the id.
            let below = problem.route.get(2..).unwrap_or_default();
            let is_about = |at: usize, key: &str| below.get(at).is_none_or(|found| found == key);
            problem.record.as_deref() == Some(id)
                && below.first().is_some_and(|key| key == "alternatives")
                && is_about(1, name)
                // A title or a note changes no value.
                && below.get(2).is_none_or(|key| key == "sets")
        });
        own.map(|problem| AlternativeProblem {
            route: problem.route.get(2..).unwrap_or_default().to_vec(),
            message: problem.message.clone(),
            help: problem.help.clone(),
        })
        .collect()
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

    /// Whether what is changed in these nodes reaches the points if it changes a criterion. If none of them reaches the
    /// criterion: whether the points depend on something that it depends on, or on itself.
    fn moves_points(&self, criterion: NodeId, changed: &[NodeId], goal: NodeId) -> bool {
        let of_goal = self.all_under(&[goal]);
        let of_criterion = self.all_under(&[criterion]);
        let mut reaching = changed.iter().filter(|node| of_criterion[**node]).peekable();
        match reaching.peek() {
            _ if of_goal[criterion] => true,
            Some(_) => reaching.any(|node| of_goal[*node]),
            None => of_criterion.iter().zip(&of_goal).any(|(one, other)| *one && *other),
        }
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

/// The alternative with the most points, compared with the next one.
fn lead(outcomes: &[Outcome], altered: &[Option<Altered>], goal: NodeId) -> Option<Lead> {
    let mut order: Vec<(usize, f64)> = outcomes
        .iter()
        .enumerate()
        .filter(|(_, outcome)| !outcome.sets_nothing)
        .filter_map(|(at, outcome)| Some((at, outcome.points?.0)))
        .collect();
    order.sort_by(|a, b| b.1.total_cmp(&a.1));
    let [(best, most), (next, fewer), ..] = order[..] else { return None };
    let (a, b) = (altered.get(best)?.as_ref()?, altered.get(next)?.as_ref()?);
    let independent: Vec<NodeId> = a.independent.iter().chain(&b.independent).copied().collect();
    let is_own = |leaf| independent.contains(&leaf);
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
