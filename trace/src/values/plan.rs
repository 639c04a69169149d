//! The plan of a sample: the steps from the independent given values to a value that bends, evaluated at fixed points.

use foldhash::{HashMap, HashMapExt as _, HashSet, HashSetExt as _};
use schema::formula::{Formula, Work};

use super::network::Rule;
use super::sampling::{Lattice, POINTS, Sample, factor};
use super::spread::{Bends, Lens};
use crate::ids::NodeId;

/// From this number of values on that bend into each other, the first order is used: nothing real is that long.
const MOST_STEPS: usize = 100;

/// Derivatives sorted by the given value, each of which is there once.
pub(super) fn merged(mut row: Vec<(NodeId, f64)>) -> Vec<(NodeId, f64)> {
    row.sort_by_key(|(leaf, _)| *leaf);
    row.dedup_by(|next, kept| {
        let same = next.0 == kept.0;
        if same {
            kept.1 += next.1;
        }
        same
    });
    row
}

/// The lower triangle of the covariance matrix of some values, row by row.
pub(super) fn covariance(rows: &[&[(NodeId, f64)]]) -> Vec<Vec<f64>> {
    let of = |one: &[(NodeId, f64)], other: &[(NodeId, f64)]| {
        let (mut sum, mut others) = (0.0, other.iter().peekable());
        for (leaf, by) in one {
            while others.next_if(|(other, _)| other < leaf).is_some() {}
            if let Some((_, other)) = others.next_if(|(other, _)| other == leaf) {
                sum += by * other;
            }
        }
        sum
    };
    let row = |(at, one): (usize, &&[(NodeId, f64)])| rows[..=at].iter().map(|other| of(one, other)).collect();
    rows.iter().enumerate().map(row).collect()
}

/// Where a number of a step comes from.
#[derive(Clone, Copy, Debug)]
pub(super) enum Slot {
    Fixed(f64),
    /// A normally distributed value, by its position.
    Normal(usize),
    /// The result of a step.
    Step(usize),
}

enum PlanStep<'v> {
    Formula(&'v Formula, Vec<Slot>),
    /// A value plus the deviation of each input from its middle times a slope.
    Linear(f64, Vec<(Slot, f64, f64)>),
    /// The score with the outcome of a chance, otherwise nothing.
    Chance(Slot, usize),
}

/// What is evaluated at every point.
pub(super) struct Plan<'v> {
    /// Whether a chance counts by its mean.
    averages: bool,
    /// The middle of each normally distributed value, and its derivatives.
    normal: Vec<(f64, Vec<(NodeId, f64)>)>,
    /// The chances, each with the value that it is.
    chances: Vec<(NodeId, f64)>,
    steps: Vec<PlanStep<'v>>,
}

impl<'v> Plan<'v> {
    pub(super) fn new(averages: bool) -> Self {
        Self { averages, normal: Vec::new(), chances: Vec::new(), steps: Vec::new() }
    }

    /// Adds what a value depends on; `None` if that is too much.
    pub(super) fn add(
        &mut self,
        lens: &Lens<'v>,
        bends: &Bends,
        root: NodeId,
        leaf: &dyn Fn(NodeId) -> NodeId,
    ) -> Option<Slot> {
        let (mut needed, mut seen, mut next) = (Vec::new(), HashSet::new(), vec![root]);
        while let Some(node) = next.pop() {
            if bends.bent[node] && seen.insert(node) {
                needed.push(node);
                if needed.len() + self.steps.len() > MOST_STEPS {
                    return None;
                }
                next.extend(&lens.network.nodes[node].inputs);
            }
        }
        needed.sort_by_key(|node| bends.rank[*node]);
        let mut slots: HashMap<NodeId, Slot> = HashMap::new();
        for node in needed {
            let value = &lens.network.nodes[node];
            let middle = lens.state.values[node];
            let step = match (&value.rule, &value.inputs[..]) {
                (Rule::Formula(formula), inputs) => {
                    let slot = |input: &NodeId| self.slot(lens, &mut slots, *input, leaf);
                    PlanStep::Formula(formula, inputs.iter().map(slot).collect())
                }
                (Rule::Chance, &[score, chance]) if !self.averages && lens.chance(chance).is_some() => {
                    let score = self.slot(lens, &mut slots, score, leaf);
                    let of = lens.network.named_by(chance);
                    let known = self.chances.iter().position(|(known, _)| *known == of);
                    let at = known.unwrap_or(self.chances.len());
                    if known.is_none() {
                        self.chances.push((of, lens.state.values[chance]));
                    }
                    PlanStep::Chance(score, at)
                }
                (_, inputs) => {
                    let mut terms = Vec::new();
                    let mut rest = Vec::new();
                    for (&input, &slope) in inputs.iter().zip(lens.partials.by_input(node)) {
                        if slope == 0.0 || slope.is_nan() {
                            continue;
                        }
                        match slots.get(&input) {
                            Some(slot) => terms.push((*slot, slope, lens.state.values[input])),
                            None => rest.extend(lens.row(input).into_iter().map(|(of, by)| (leaf(of), slope * by))),
                        }
                    }
                    if let slot @ Slot::Normal(_) = self.normally_distributed(0.0, rest) {
                        terms.push((slot, 1.0, 0.0));
                    }
                    PlanStep::Linear(middle, terms)
                }
            };
            slots.insert(node, Slot::Step(self.steps.len()));
            self.steps.push(step);
        }
        Some(self.slot(lens, &mut slots, root, leaf))
    }

    fn slot(
        &mut self,
        lens: &Lens<'v>,
        slots: &mut HashMap<NodeId, Slot>,
        node: NodeId,
        leaf: &dyn Fn(NodeId) -> NodeId,
    ) -> Slot {
        if let Some(slot) = slots.get(&node) {
            return *slot;
        }
        let row = lens.row(node).into_iter().map(|(of, by)| (leaf(of), by)).collect();
        let slot = self.normally_distributed(lens.state.values[node], row);
        slots.insert(node, slot);
        slot
    }

    fn normally_distributed(&mut self, middle: f64, row: Vec<(NodeId, f64)>) -> Slot {
        let row = merged(row);
        if row.iter().all(|(_, by)| *by == 0.0) {
            return Slot::Fixed(middle);
        }
        self.normal.push((middle, row));
        Slot::Normal(self.normal.len() - 1)
    }

    /// The outcomes of a sum of slots, each with its factor.
    pub(super) fn sample(&self, sum: &[(Slot, f64)]) -> Option<Sample> {
        if self.normal.len() > MOST_STEPS {
            return None;
        }
        let mut lattice = Lattice::new();
        let mut weights = vec![1.0; POINTS];
        // The chances come first, so that inputs that are added do not change the outcomes of a point.
        let outcomes: Vec<Vec<bool>> =
            self.chances.iter().map(|(_, chance)| lattice.outcome(*chance, &mut weights)).collect();
        let rows: Vec<&[(NodeId, f64)]> = self.normal.iter().map(|(_, row)| &row[..]).collect();
        let factor = factor(&covariance(&rows));
        let independent: Vec<Vec<f64>> = rows.iter().map(|_| lattice.normal()).collect();
        let normal: Vec<Vec<f64>> = self
            .normal
            .iter()
            .zip(&factor)
            .map(|((middle, _), row)| {
                let mut all = vec![*middle; POINTS];
                for (by, own) in independent.iter().zip(row).map(|(own, by)| (*by, own)).filter(|(by, _)| *by != 0.0) {
                    for (value, own) in all.iter_mut().zip(own) {
                        *value += by * own;
                    }
                }
                all
            })
            .collect();
        let mut done: Vec<Vec<f64>> = Vec::with_capacity(self.steps.len());
        let (mut work, mut numbers) = (Work::default(), Vec::new());
        for step in &self.steps {
            let at = |slot: Slot, point: usize| match slot {
                Slot::Fixed(value) => value,
                Slot::Normal(position) => normal[position][point],
                Slot::Step(position) => done[position][point],
            };
            let value = |point: usize| match step {
                PlanStep::Formula(formula, slots) => {
                    numbers.clear();
                    numbers.extend(slots.iter().map(|slot| at(*slot, point)));
                    formula.value(&numbers, &mut work)
                }
                PlanStep::Linear(middle, terms) => {
                    terms.iter().fold(*middle, |sum, (slot, slope, middle)| sum + slope * (at(*slot, point) - middle))
                }
                PlanStep::Chance(score, chance) => {
                    if outcomes[*chance][point] {
                        at(*score, point)
                    } else {
                        0.0
                    }
                }
            };
            let values = (0..POINTS).map(value).collect();
            done.push(values);
        }
        let at = |slot: Slot, point: usize| match slot {
            Slot::Fixed(value) => value,
            Slot::Normal(position) => normal[position][point],
            Slot::Step(position) => done[position][point],
        };
        let values = (0..POINTS).map(|point| sum.iter().map(|(slot, factor)| factor * at(*slot, point)).sum());
        Sample::new(&values.collect::<Vec<f64>>(), &weights)
    }
}
