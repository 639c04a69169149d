//! Derivatives of the value graph: of every node by each of its inputs, of one node by every other, and of every node by the
//! uncertain given values.

use std::sync::Arc;

use schema::formula::Work;

use super::network::{Network, Rule, State, Value};
use crate::ids::NodeId;
use crate::parallel::{cores, in_parallel};

/// The derivatives of each node by each of its inputs.
#[derive(Debug)]
pub struct Partials(Vec<Box<[f64]>>);

impl Partials {
    /// The derivatives of one node by its inputs.
    pub fn by_input(&self, node: NodeId) -> &[f64] {
        &self.0[node]
    }
}

impl Network {
    /// The derivative of every node by each of its inputs: exact for formulas and totals, central
    /// differences for models.
    pub fn partials(&self, state: &State) -> Partials {
        self.partials_by(state, &|_| true)
    }

    /// The same without the derivatives of models by inputs that are not needed: they are missing.
    pub(super) fn partials_by(&self, state: &State, is_needed: &dyn Fn(NodeId) -> bool) -> Partials {
        let mut work = Work::default();
        let mut numbers = Vec::new();
        let models = self.model_differences(state, is_needed);
        let by_input = |(value, number): (&Value, &f64)| -> Box<[f64]> {
            // A missing value, which totals skip, depends on nothing.
            if number.is_nan() {
                return vec![f64::NAN; value.inputs.len()].into();
            }
            numbers.clear();
            numbers.extend(value.inputs.iter().map(|input| state.values[*input]));
            match &value.rule {
                Rule::Given(_) | Rule::None => Box::default(),
                Rule::Replaced(_, partials) => partials.clone(),
                Rule::Total(factors) => factors.clone().into(),
                Rule::Chance => match numbers[..] {
                    [score, chance] if (0.0..=1.0).contains(&chance) => [chance, score].into(),
                    [_, chance] => [chance.clamp(0.0, 1.0), 0.0].into(),
                    _ => vec![f64::NAN; numbers.len()].into(),
                },
                Rule::Formula(formula) => {
                    let mut partials = vec![0.0; numbers.len()];
                    formula.value_and_partials(&numbers, &mut partials, &mut work);
                    partials.into()
                }
                Rule::Model { call, output } => {
                    models[*call].iter().map(|outputs| outputs.get(*output).copied().unwrap_or(f64::NAN)).collect()
                }
            }
        };
        Partials(self.nodes.iter().zip(&state.values).map(by_input).collect())
    }

    /// The derivatives of the outputs of every call of a model by each input that is needed; empty for the others. They
    /// take most of the time of an evaluation, so several threads share the inputs of all calls.
    fn model_differences(&self, state: &State, is_needed: &dyn Fn(NodeId) -> bool) -> Vec<Vec<Arc<[f64]>>> {
        let mut inputs: Vec<Vec<f64>> = vec![Vec::new(); self.calls.len()];
        let mut all: Vec<Vec<Arc<[f64]>>> = vec![Vec::new(); self.calls.len()];
        let mut tasks: Vec<(usize, usize)> = Vec::new();
        for (value, _) in self.nodes.iter().zip(&state.values).filter(|(_, number)| !number.is_nan()) {
            if let Rule::Model { call, .. } = &value.rule
                && inputs[*call].is_empty()
            {
                inputs[*call] = value.inputs.iter().map(|input| state.values[*input]).collect();
                for (at, input) in value.inputs.iter().enumerate() {
                    let is_needed = is_needed(*input);
                    let known = if is_needed { self.calls[*call].known_difference(&inputs[*call], at) } else { None };
                    if is_needed && known.is_none() {
                        tasks.push((*call, at));
                    }
                    all[*call].push(known.unwrap_or_default());
                }
            }
        }
        let done = in_parallel(&tasks, cores(), |(call, input)| self.calls[*call].difference(&inputs[*call], *input));
        for ((call, input), outputs) in tasks.into_iter().zip(done) {
            all[call][input] = outputs;
        }
        all
    }

    /// For every node, whether it depends on an uncertain value or a chance.
    pub(super) fn uncertain(&self) -> Vec<bool> {
        let mut uncertain = vec![false; self.nodes.len()];
        for &node in &self.order {
            let value = &self.nodes[node];
            uncertain[node] = value.uncertainty > 0.0
                || matches!(value.rule, Rule::Chance)
                || value.inputs.iter().any(|input| uncertain[*input]);
        }
        uncertain
    }

    /// The derivative of one node by every other: one backward pass.
    pub fn sensitivities(&self, partials: &Partials, result: NodeId) -> Vec<f64> {
        let mut adjoints = vec![0.0_f64; self.nodes.len()];
        adjoints[result] = 1.0;
        for &node in self.order.iter().rev() {
            let outer = adjoints[node];
            if outer == 0.0 || outer.is_nan() {
                continue;
            }
            for (&input, &partial) in self.nodes[node].inputs.iter().zip(partials.0[node].iter()) {
                if !partial.is_nan() {
                    adjoints[input] += outer * partial;
                }
            }
        }
        adjoints
    }

    /// The derivatives of every node by the uncertain given values: one forward pass.
    ///
    /// Shared inputs are counted once, because each node has one derivative by each of them.
    pub fn gradients(&self, partials: &Partials) -> Gradients {
        let mut rows: Vec<Vec<(NodeId, f64)>> = vec![Vec::new(); self.nodes.len()];
        let mut sums = vec![0.0_f64; self.nodes.len()];
        let mut touched: Vec<NodeId> = Vec::new();
        for &node in &self.order {
            let value = &self.nodes[node];
            if value.inputs.is_empty() {
                if value.uncertainty > 0.0 {
                    rows[node] = vec![(node, 1.0)];
                }
                continue;
            }
            for (&input, &partial) in value.inputs.iter().zip(partials.0[node].iter()) {
                if partial == 0.0 || partial.is_nan() {
                    continue;
                }
                for &(leaf, derivative) in &rows[input] {
                    if sums[leaf] == 0.0 {
                        touched.push(leaf);
                    }
                    sums[leaf] += partial * derivative;
                }
            }
            touched.sort_unstable();
            touched.dedup();
            rows[node] = touched.iter().map(|leaf| (*leaf, sums[*leaf])).collect();
            for leaf in touched.drain(..) {
                sums[leaf] = 0.0;
            }
        }
        Gradients(rows)
    }
}

/// The derivatives of every node by the uncertain given values.
#[derive(Debug)]
pub struct Gradients(Vec<Vec<(NodeId, f64)>>);

impl Gradients {
    /// The expanded uncertainty (k = 2) of a node to first order, in SI (JCGM 100:2008, 5.1.2).
    pub fn uncertainty(&self, network: &Network, node: NodeId) -> f64 {
        let term = |(leaf, derivative): &(NodeId, f64)| (derivative * network.nodes[*leaf].uncertainty).powi(2);
        // The sum of an empty list is a negative zero.
        (self.0[node].iter().map(term).sum::<f64>() + 0.0).sqrt()
    }

    /// The derivatives of a node by the uncertain given values that it depends on.
    pub fn by_given(&self, node: NodeId) -> &[(NodeId, f64)] {
        &self.0[node]
    }
}
