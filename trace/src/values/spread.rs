//! The spread of a value: its mean, and the interval that contains 95 % of its outcomes.
//!
//! Given values are normally distributed with their uncertainties. A value that follows its slope within its uncertainty
//! has the first-order uncertainty (JCGM 100:2008, 5.1.2): mean and interval are `value ± U` with k = 2. One that bends (a
//! cap, a floor, `min`, `if`, a slope of zero), or that is scored or not by a chance, is sampled (JCGM 101:2008): formulas
//! are evaluated at fixed points of the joint distribution of their inputs; models, which are slow, by their slopes.

use std::sync::{Arc, Mutex, PoisonError};

use foldhash::{HashMap, HashSet};
use models::normal;
use schema::formula::{Formula, Work};
use schema::number;

use super::Values;
use super::derivatives::{Gradients, Partials};
use super::network::{Network, Rule, State};
use super::plan::{Plan, covariance, merged};
use super::sampling::{Sample, factor};
use crate::ids::NodeId;

/// How far from its mean, in standard deviations, a value must follow its slope: the interval ends at two.
const REACH: f64 = 2.2;

/// By how much of its deviation there it may leave its slope: a cap or a floor closer than two standard deviations does.
const BEND: f64 = 0.1;

/// The number of inputs of a formula that are also moved in pairs.
const MOST_PAIRED: usize = 8;

/// The number of inputs of a formula up to which each is moved alone, and their correlations count.
const MOST_MOVED: usize = 32;

/// How much longer one side of an interval may be before its ends are shown instead of `±`.
const SKEW: f64 = 0.1;

/// The number of values of a state that are sampled: of the others that bend, the spread is of first order.
const MOST_SAMPLED: usize = 2_000;

/// What is known of a value: its mean, and an interval around it.
#[derive(Clone, Debug)]
pub struct Spread {
    /// The mean of its outcomes, in SI.
    pub mean: f64,
    /// The lower end of the interval that contains 95 % of its outcomes.
    pub low: f64,
    /// The upper end.
    pub high: f64,
    /// The expanded uncertainty: two standard deviations (k = 2).
    pub uncertainty: f64,
    /// Whether it was sampled.
    is_sampled: bool,
    /// Its outcomes, if the probability of one of them may be asked.
    sample: Option<Arc<Sample>>,
}

impl Spread {
    fn of_first_order(mean: f64, uncertainty: f64) -> Self {
        Self { mean, low: mean - uncertainty, high: mean + uncertainty, uncertainty, is_sampled: false, sample: None }
    }

    fn of_sample(mean: f64, sample: Sample) -> Self {
        let (low, high) = sample.interval();
        let uncertainty = 2.0 * sample.standard_deviation();
        Self { mean, low, high, uncertainty, is_sampled: true, sample: Some(Arc::new(sample)) }
    }

    /// Half of the interval, if both sides of the mean are about as long: then `mean ± half` describes it.
    pub fn half(&self) -> Option<f64> {
        if !self.is_sampled {
            return Some(self.uncertainty);
        }
        let half = 0.5 * (self.high - self.low);
        ((0.5 * (self.high + self.low) - self.mean).abs() <= SKEW * half).then_some(half)
    }

    /// Points with one decimal and their uncertainty; with the ends of their interval if it is not about as wide on both
    /// sides.
    pub fn points(&self) -> String {
        match self.half() {
            Some(half) => number::with_uncertainty(self.mean, half, 1),
            None => {
                let [mean, low, high] = [self.mean, self.low, self.high].map(|points| number::fixed(points, 1));
                format!("{mean} ({low} to {high})")
            }
        }
    }

    /// The probability that the value is at least this number, which has an uncertainty of its own (standard deviation).
    pub fn chance_of(&self, least: f64, standard_deviation: f64) -> f64 {
        let above = |mean: f64, deviation: f64| {
            if deviation > 0.0 { normal::below((mean - least) / deviation) } else { f64::from(u8::from(mean >= least)) }
        };
        match &self.sample {
            None => above(self.mean, standard_deviation.hypot(0.5 * self.uncertainty)),
            Some(sample) if standard_deviation > 0.0 => sample.mean_of(|outcome| above(outcome, standard_deviation)),
            Some(sample) => sample.at_least(least),
        }
    }
}

/// Which values leave their slope within their uncertainty, or depend on one that does.
#[derive(Debug)]
pub(super) struct Bends {
    pub(super) bent: Vec<bool>,
    /// The position of each node in the order of evaluation.
    pub(super) rank: Vec<u32>,
    /// Those that are sampled if more than the limit bend.
    sampled: Option<HashSet<NodeId>>,
    /// The spreads of those that were asked for.
    known: Mutex<HashMap<NodeId, Spread>>,
}

impl Bends {
    /// The same without these, as they are set.
    pub(super) fn without(&self, set: impl IntoIterator<Item = NodeId>) -> Self {
        let mut bent = self.bent.clone();
        set.into_iter().for_each(|node| bent[node] = false);
        Self { bent, rank: self.rank.clone(), sampled: self.sampled.clone(), known: Mutex::default() }
    }
}

/// An evaluated value graph with what its spreads are calculated from.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lens<'v> {
    pub(super) network: &'v Network,
    pub(super) state: &'v State,
    pub(super) partials: &'v Partials,
    pub(super) gradients: &'v Gradients,
}

impl Lens<'_> {
    /// The derivatives of a value by the given ones, times their standard deviations.
    pub(super) fn row(&self, node: NodeId) -> Vec<(NodeId, f64)> {
        let scaled = |(leaf, by): &(NodeId, f64)| (*leaf, by * 0.5 * self.network.nodes[*leaf].uncertainty);
        self.gradients.by_given(node).iter().map(scaled).collect()
    }

    /// The probability of a yes-or-no value; `None` unless both are possible.
    pub(super) fn chance(&self, node: NodeId) -> Option<f64> {
        Some(self.state.values[node]).filter(|chance| *chance > 0.0 && *chance < 1.0)
    }

    /// Finds the values that bend.
    pub(super) fn bends(&self) -> Bends {
        let count = self.network.nodes.len();
        let (mut bent, mut rank) = (vec![false; count], vec![0; count]);
        for (at, &node) in self.network.order.iter().enumerate() {
            rank[node] = at as u32;
            let value = &self.network.nodes[node];
            bent[node] = !self.state.values[node].is_nan()
                && match &value.rule {
                    Rule::Given(_) | Rule::None => false,
                    Rule::Chance => match value.inputs[..] {
                        [score, chance] => self.chance(chance).is_some() || bent[score] || bent[chance],
                        _ => false,
                    },
                    Rule::Total(_) | Rule::Model { .. } | Rule::Replaced(..) => {
                        let by_input = value.inputs.iter().zip(self.partials.by_input(node));
                        by_input.into_iter().any(|(input, partial)| bent[*input] && *partial != 0.0)
                    }
                    Rule::Formula(formula) => {
                        value.inputs.iter().any(|input| bent[*input]) || self.formula_bends(node, formula)
                    }
                };
        }
        let sampled = self.sampled(&bent);
        Bends { bent, rank, sampled, known: Mutex::default() }
    }

    /// The values that are sampled, if more of them bend than the limit: goals first, because what is planned depends on them,
    /// but not more than a quarter, because their outcomes are kept. Others are in the order of evaluation, whatever is asked
    /// for first.
    fn sampled(&self, bent: &[bool]) -> Option<HashSet<NodeId>> {
        if bent.iter().filter(|is_bent| **is_bent).count() <= MOST_SAMPLED {
            return None;
        }
        let is_goal = |node: &NodeId| matches!(self.network.nodes[*node].rule, Rule::Total(_));
        let all = self.network.order.iter().copied().filter(|node| bent[*node]);
        let (goals, others): (Vec<NodeId>, Vec<NodeId>) = all.partition(is_goal);
        Some(goals.into_iter().take(MOST_SAMPLED / 4).chain(others).take(MOST_SAMPLED).collect())
    }

    /// Whether a formula leaves its slope within the joint uncertainty of its inputs.
    fn formula_bends(&self, node: NodeId, formula: &Formula) -> bool {
        if formula.only_name().is_some() {
            return false;
        }
        let inputs = &self.network.nodes[node].inputs;
        let rows: Vec<Vec<(NodeId, f64)>> = inputs.iter().map(|input| self.row(*input)).collect();
        let uncertain: Vec<usize> = (0..rows.len()).filter(|at| rows[*at].iter().any(|(_, by)| *by != 0.0)).collect();
        if uncertain.is_empty() {
            return false;
        }
        let slopes: Vec<f64> = uncertain.iter().map(|at| self.partials.by_input(node)[*at]).collect();
        if slopes.iter().any(|slope| !slope.is_finite()) {
            return true;
        }
        let own: Vec<&[(NodeId, f64)]> = uncertain.iter().map(|at| &rows[*at][..]).collect();
        let count = uncertain.len();
        let factor = if count <= MOST_MOVED {
            Factor::Triangle(factor(&covariance(&own)))
        } else {
            Factor::Diagonal(own.iter().map(|row| deviation(row)).collect())
        };
        // The slope along each of the independent directions.
        let along = factor.along(&slopes);
        let all = along.iter().map(|slope| slope * slope).sum::<f64>().sqrt();
        let middle: Vec<f64> = inputs.iter().map(|input| self.state.values[*input]).collect();
        let value = self.state.values[node];
        let terms = slopes.iter().zip(&uncertain).map(|(slope, at)| (slope * middle[*at]).abs()).sum::<f64>();
        let within = BEND * REACH * all + 1e-12 * (value.abs() + terms);
        let mut work = Work::default();
        let mut leaves = |direction: &[f64]| {
            [REACH, -REACH].into_iter().any(|reach| {
                let mut numbers = middle.clone();
                for (row, at) in uncertain.iter().enumerate() {
                    numbers[*at] += reach * factor.moves(row, direction);
                }
                let straight = value + reach * along.iter().zip(direction).map(|(own, by)| own * by).sum::<f64>();
                let off = (formula.value(&numbers, &mut work) - straight).abs();
                off.is_nan() || off > within
            })
        };
        directions(&along, all).any(|direction| leaves(&direction))
    }

    fn first_order(&self, node: NodeId) -> Spread {
        Spread::of_first_order(self.state.values[node], self.gradients.uncertainty(self.network, node))
    }

    /// The spread of a value that is not missing. The outcomes themselves are kept for totals only: of the values that bend
    /// only the points of a goal are one, the chance is asked of nothing else, and thousands of events would need 100 KB each.
    pub(super) fn spread(&self, bends: &Bends, node: NodeId) -> Spread {
        let known = || bends.known.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = known().get(&node) {
            return known.clone();
        }
        let Some(sample) = self.sample(bends, node) else { return self.first_order(node) };
        let own = Spread::of_sample(self.exact_mean(bends, node).unwrap_or_else(|| sample.mean()), sample);
        let is_total = matches!(self.network.nodes[node].rule, Rule::Total(_));
        let own = if is_total { own } else { Spread { sample: None, ..own } };
        known().insert(node, own.clone());
        own
    }

    /// The same with the mean of the sample, which is close enough to ask for a probability.
    pub(super) fn outcomes(&self, bends: &Bends, node: NodeId) -> Spread {
        let Some(sample) = self.sample(bends, node) else { return self.first_order(node) };
        Spread::of_sample(sample.mean(), sample)
    }

    /// The outcomes of a value; `None` if it does not bend, depends on too much, or is over the limit.
    fn sample(&self, bends: &Bends, node: NodeId) -> Option<Sample> {
        if !bends.bent[node] || bends.sampled.as_ref().is_some_and(|sampled| !sampled.contains(&node)) {
            return None;
        }
        let mut plan = Plan::new(false);
        plan.add(self, bends, node, &|leaf| leaf).and_then(|slot| plan.sample(&[(slot, 1.0)]))
    }

    /// The mean of a total, and of a value with a chance, from those of its inputs: both are exact, so that the events of a
    /// goal add up.
    fn exact_mean(&self, bends: &Bends, node: NodeId) -> Option<f64> {
        let value = &self.network.nodes[node];
        match &value.rule {
            Rule::Chance => {
                let [score, chance] = value.inputs[..] else { return None };
                Some(self.spread(bends, score).mean * self.state.values[chance].clamp(0.0, 1.0))
            }
            Rule::Total(factors) => {
                let terms = value.inputs.iter().zip(factors).filter(|(input, _)| bends.bent[**input]);
                let more = terms.map(|(input, factor)| {
                    // Only events are bent inputs of a total, and they read no total of events.
                    let mean = if matches!(self.network.nodes[*input].rule, Rule::Total(_)) {
                        self.state.values[*input]
                    } else {
                        self.spread(bends, *input).mean
                    };
                    factor * (mean - self.state.values[*input])
                });
                Some(self.state.values[node] + more.sum::<f64>())
            }
            _ => None,
        }
    }
}

/// The mean and the interval of the difference of a value between two graphs, whose shared given values have one outcome.
/// Given values for which `is_own` is true are independent. What is scored or not by a chance counts by its mean, because
/// the difference is about what is expected.
pub(super) fn difference(
    (before, bends_before): (&Lens<'_>, &Bends),
    (after, bends_after): (&Lens<'_>, &Bends),
    node: NodeId,
    is_own: &dyn Fn(NodeId) -> bool,
) -> Spread {
    let count = before.network.nodes.len();
    let own = |leaf: NodeId| if is_own(leaf) { NodeId::new(leaf.index() + count) } else { leaf };
    let mean = after.state.values[node] - before.state.values[node];
    let (rows_before, mut rows) = (before.row(node), after.row(node));
    for (leaf, _) in &mut rows {
        *leaf = own(*leaf);
    }
    rows.extend(rows_before.iter().map(|(leaf, by)| (*leaf, -by)));
    let rows = merged(rows);
    let deviation = rows.iter().map(|(_, by)| by * by).sum::<f64>().sqrt();
    let first_order = Spread::of_first_order(mean, 2.0 * deviation);
    if !bends_before.bent[node] && !bends_after.bent[node] {
        return first_order;
    }
    let mut plan = Plan::new(true);
    let slots = plan
        .add(after, bends_after, node, &own)
        .and_then(|after| Some((after, plan.add(before, bends_before, node, &|leaf| leaf)?)));
    match slots.and_then(|(after, before)| plan.sample(&[(after, 1.0), (before, -1.0)])) {
        Some(sample) => Spread::of_sample(sample.mean(), sample),
        None => first_order,
    }
}

/// Where a formula is evaluated to find whether it bends: directions of length one.
fn directions(along: &[f64], deviation: f64) -> impl Iterator<Item = Vec<f64>> {
    let count = along.len();
    // The steepest one first: there most bends are found.
    let steepest = (deviation > 0.0).then(|| along.iter().map(|slope| slope / deviation).collect());
    let moved = if count <= MOST_MOVED { count } else { 0 };
    let axes = (0..moved).map(move |axis| (0..count).map(|by| f64::from(u8::from(by == axis))).collect());
    // A product bends only if both of its factors move.
    let half = std::f64::consts::FRAC_1_SQRT_2;
    let pairs = (0..count.min(MOST_PAIRED)).flat_map(|one| (0..one).map(move |other| (one, other)));
    let pairs = pairs.flat_map(move |(one, other)| {
        [half, -half].map(|part| {
            let mut direction = vec![0.0; count];
            (direction[one], direction[other]) = (half, part);
            direction
        })
    });
    // A cap may be reached only if many of them move: half of the signs of each two of up to seven differ.
    let share = (count as f64).sqrt().recip();
    let signs = (0..if count > 2 { 8_u32 } else { 0 }).map(move |pattern| {
        let sign = |by: usize| (pattern & [1, 2, 4, 7, 3, 5, 6][by % 7]).count_ones() % 2 == 0;
        (0..count).map(|by| if sign(by) { share } else { -share }).collect()
    });
    steepest.into_iter().chain(axes).chain(pairs).chain(signs)
}

/// The standard deviation of a value.
fn deviation(row: &[(NodeId, f64)]) -> f64 {
    row.iter().map(|(_, by)| by * by).sum::<f64>().sqrt()
}

/// A factor of the covariance of the inputs of a formula.
enum Factor {
    /// The lower triangle, row by row.
    Triangle(Vec<Vec<f64>>),
    /// The deviations of inputs that are taken as independent.
    Diagonal(Vec<f64>),
}

impl Factor {
    /// The slope along each of the independent directions, given the slope by each input.
    fn along(&self, slopes: &[f64]) -> Vec<f64> {
        match self {
            Self::Triangle(rows) => {
                let count = slopes.len();
                (0..count).map(|by| (by..count).map(|at| slopes[at] * rows[at][by]).sum::<f64>()).collect()
            }
            Self::Diagonal(deviations) => slopes.iter().zip(deviations).map(|(slope, by)| slope * by).collect(),
        }
    }

    /// By how much an input moves in a direction.
    fn moves(&self, input: usize, direction: &[f64]) -> f64 {
        match self {
            Self::Triangle(rows) => rows[input].iter().zip(direction).map(|(own, by)| own * by).sum(),
            Self::Diagonal(deviations) => deviations[input] * direction[input],
        }
    }
}

impl Network {
    /// The value that a node only names: events whose chances name one value are scored or not together.
    pub(super) fn named_by(&self, mut node: NodeId) -> NodeId {
        while let (Rule::Formula(formula), [input]) = (&self.nodes[node].rule, &self.nodes[node].inputs[..])
            && formula.only_name().is_some()
        {
            node = *input;
        }
        node
    }
}

impl Values {
    fn lens(&self) -> Lens<'_> {
        let (partials, gradients) = (self.partials_without_constants(), self.gradients());
        Lens { network: &self.network, state: &self.state, partials, gradients }
    }

    /// The values that bend, with the graph that they are in.
    pub(super) fn bends(&self) -> (Lens<'_>, &Bends) {
        let lens = self.lens();
        (lens, self.bends.get_or_init(|| lens.bends()))
    }

    /// The mean and the interval of a value; `None` if it is missing, or if one of both overflows.
    pub fn spread(&self, node: NodeId) -> Option<Spread> {
        self.value(node)?;
        let (lens, bends) = self.bends();
        Some(lens.spread(bends, node)).filter(|own| own.mean.is_finite() && own.uncertainty.is_finite())
    }
}
