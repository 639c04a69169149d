//! The value graph: nodes with one rule each, evaluated in order; what-if; derivatives.
//!
//! A value is a number in SI. A missing value (no estimate, an invalid formula) is NaN, and so is every value that needs it.
//! Totals skip missing values.

use std::sync::Arc;

use models::ModelError;
use schema::formula::{Formula, Work};
use schema::quantity::{Dimension, Unit};

use super::call::{Call, Outputs};
use super::what_if::Readers;
use crate::derived::Derived;
use crate::ids::NodeId;

#[cfg(test)]
thread_local! {
    /// How often a value was calculated.
    pub(super) static STEPS: std::cell::Cell<usize> = const { std::cell::Cell::new(0) };
}

/// How a node gets its value.
#[derive(Clone, Debug)]
pub enum Rule {
    /// A given number.
    Given(f64),
    /// A formula over the inputs, in the order of its names.
    Formula(Arc<Formula>),
    /// The sum of the inputs, each multiplied by a factor; inputs without a value are skipped.
    Total(Vec<f64>),
    /// One output of a model.
    Model {
        /// The position of the call.
        call: usize,
        /// The position of its output.
        output: usize,
    },
    /// The first input with the probability that the second one is, otherwise nothing: its value is the mean of both.
    Chance,
    /// A given number with the uncertainty of the value that it replaces: with these derivatives by the inputs.
    Replaced(f64, Box<[f64]>),
    /// It has no value.
    None,
}

/// A value and its rule.
#[derive(Clone, Debug)]
pub struct Value {
    /// The rule.
    pub rule: Rule,
    /// The nodes that the rule reads.
    pub inputs: Vec<NodeId>,
    /// Its dimension.
    pub dimension: Dimension,
    /// The unit to show it in.
    pub unit: Unit,
    /// The expanded uncertainty (k = 2) of a given number, in SI.
    pub uncertainty: f64,
}

/// The largest number and the largest uncertainty, in SI: a larger one overflows when it is squared, or counted with the pieces
/// of other parts.
pub const LARGEST: f64 = 1e150;

impl Value {
    /// Whether its uncertainty overflows.
    pub(super) fn is_too_uncertain(&self) -> bool {
        self.uncertainty > LARGEST
    }
}

/// All values of a project, with an order in which each comes after its inputs.
#[derive(Clone, Debug, Default)]
pub struct Network {
    /// The nodes.
    pub nodes: Vec<Value>,
    /// The calls of models.
    pub calls: Vec<Arc<Call>>,
    /// The order of evaluation.
    pub order: Vec<NodeId>,
    /// What reads each value, once it was asked for: after that, the nodes of this network are not changed.
    pub(crate) readers: Derived<Readers>,
}

/// The values for one state of the inputs.
#[derive(Clone, Debug)]
pub struct State {
    /// The value of each node, in SI.
    pub values: Vec<f64>,
    /// What is known of each call.
    pub(super) calls: Vec<Option<KnownCall>>,
}

/// The numbers and the outputs of a call.
pub(super) type KnownCall = (Vec<f64>, Outputs);

impl State {
    /// The values before anything is evaluated.
    pub fn empty(network: &Network) -> Self {
        Self { values: vec![f64::NAN; network.nodes.len()], calls: vec![None; network.calls.len()] }
    }

    /// The numbers of each call; `None` for one that was not needed.
    pub(super) fn numbers_of_calls(&self) -> impl Iterator<Item = Option<&[f64]>> {
        self.calls.iter().map(|call| call.as_ref().map(|(numbers, _)| &numbers[..]))
    }
}

impl Network {
    /// Evaluates all values.
    pub fn evaluate(&self) -> State {
        let mut state = State::empty(self);
        let (mut work, mut numbers) = (Work::default(), Vec::new());
        for &node in &self.order {
            self.step(node, &mut state, &mut work, &mut numbers);
        }
        state
    }

    /// The values with some of them set; only values that depend on these are calculated again.
    pub fn what_if(&self, state: &State, set: &[(NodeId, f64)]) -> State {
        let mut state = state.clone();
        let mut changed = vec![false; self.nodes.len()];
        let mut fixed = vec![false; self.nodes.len()];
        for &(node, value) in set {
            state.values[node] = value;
            (changed[node], fixed[node]) = (true, true);
        }
        let (mut work, mut numbers) = (Work::default(), Vec::new());
        for &node in &self.order {
            if !fixed[node] && self.nodes[node].inputs.iter().any(|input| changed[*input]) {
                changed[node] = true;
                self.step(node, &mut state, &mut work, &mut numbers);
            }
        }
        state
    }

    /// Evaluates again these nodes, whose rules changed, and every value that depends on one that became another.
    pub fn update(&self, state: &mut State, edited: &[NodeId]) {
        let mut is_due = vec![false; self.nodes.len()];
        for &node in edited {
            is_due[node] = true;
        }
        let mut changed = vec![false; self.nodes.len()];
        let (mut work, mut numbers) = (Work::default(), Vec::new());
        for &node in &self.order {
            if is_due[node] || self.nodes[node].inputs.iter().any(|input| changed[*input]) {
                let before = state.values[node];
                self.step(node, state, &mut work, &mut numbers);
                changed[node] = before.to_bits() != state.values[node].to_bits();
            }
        }
    }

    fn step(&self, node: NodeId, state: &mut State, work: &mut Work, numbers: &mut Vec<f64>) {
        numbers.clear();
        numbers.extend(self.nodes[node].inputs.iter().map(|input| state.values[*input]));
        let calls = &mut state.calls;
        let outputs = |call: usize, numbers: &[f64]| self.outputs(call, &mut calls[call], numbers);
        state.values[node] = self.calculate(node, numbers, work, outputs);
    }

    /// The value of a node, given those of its inputs and what has the outputs of a call.
    pub(super) fn calculate(
        &self,
        node: NodeId,
        numbers: &[f64],
        work: &mut Work,
        outputs: impl FnOnce(usize, &[f64]) -> Outputs,
    ) -> f64 {
        #[cfg(test)]
        STEPS.with(|steps| steps.set(steps.get() + 1));
        let own = &self.nodes[node];
        let value = match &own.rule {
            Rule::Given(number) | Rule::Replaced(number, _) => *number,
            Rule::Formula(formula) => formula.value(numbers, work),
            Rule::Total(factors) => total(factors, numbers),
            Rule::Chance => match numbers[..] {
                [score, chance] => score * chance.clamp(0.0, 1.0),
                _ => f64::NAN,
            },
            Rule::Model { call, output } => {
                let outputs = outputs(*call, numbers);
                outputs.ok().and_then(|outputs| outputs.get(*output).copied()).unwrap_or(f64::NAN)
            }
            Rule::None => f64::NAN,
        };
        // Outside the domain of a function, and on overflow, the value is missing.
        if value.abs() > LARGEST || own.is_too_uncertain() { f64::NAN } else { value }
    }

    /// The outputs of a call; a model with two outputs runs once.
    pub(super) fn outputs(&self, call: usize, known: &mut Option<KnownCall>, numbers: &[f64]) -> Outputs {
        if let Some((known, outputs)) = known
            && known == numbers
        {
            return outputs.clone();
        }
        let outputs = self.calls[call].outputs(numbers);
        *known = Some((numbers.to_vec(), outputs.clone()));
        outputs
    }

    /// Why a call of a model has no outputs.
    pub fn model_error(&self, state: &State, call: usize) -> Option<ModelError> {
        state.calls.get(call)?.as_ref()?.1.as_ref().err().cloned()
    }
}

fn total(factors: &[f64], numbers: &[f64]) -> f64 {
    let known = factors.iter().zip(numbers).filter(|(_, number)| !number.is_nan());
    let (count, sum) = known.fold((0, 0.0), |(count, sum), (factor, number)| (count + 1, sum + factor * number));
    if count == 0 { f64::NAN } else { sum }
}
