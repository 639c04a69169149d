//! The value graph: nodes with one rule each, evaluated in order; what-if; derivatives.
//!
//! A value is a number in SI. A missing value (no estimate, an invalid formula) is NaN, and so is every value that needs it.
//! Totals skip missing values.

use std::sync::{Arc, OnceLock};

use models::stress::StressField;
use models::{Bound, Model, ModelError};
use schema::formula::{Formula, Work};
use schema::quantity::{Dimension, Unit};

use super::runs::{ModelRuns, RunKey};
use crate::ids::NodeId;
use crate::parallel::{cores, in_parallel};

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

/// A call of a model: its numbers are nodes, its tables and lists are constant.
#[derive(Clone, Debug)]
pub struct Call {
    /// The model.
    pub model: &'static Model,
    /// The names of its numbers, in the order of the inputs of its nodes.
    pub numbers: Vec<&'static str>,
    /// Its tables.
    pub tables: Vec<(&'static str, Vec<(f64, f64)>)>,
    /// Its lists.
    pub lists: Vec<(&'static str, Vec<f64>)>,
    /// The runs that are known.
    pub(crate) runs: Arc<ModelRuns>,
    pub(super) key: CallKey,
    /// What was read of its stress files.
    pub fields: Vec<(&'static str, Arc<StressField>)>,
}

/// The key of everything but the numbers of a call, once it is needed. A copy has none, because what is copied is changed.
#[derive(Debug, Default)]
pub(super) struct CallKey(OnceLock<RunKey>);

impl Clone for CallKey {
    fn clone(&self) -> Self {
        Self::default()
    }
}

/// The outputs of a run, as part of its key; a derivative by an input has the position of this input.
const OUTPUTS: u64 = u64::MAX;

impl Call {
    /// A call without inputs.
    pub(crate) fn new(model: &'static Model, runs: Arc<ModelRuns>) -> Self {
        let (numbers, tables, lists) = (Vec::new(), Vec::new(), Vec::new());
        Self { model, numbers, tables, lists, runs, key: CallKey::default(), fields: Vec::new() }
    }

    /// How much work all runs are: rows of tables, once and twice more for each number.
    pub(super) fn work(&self) -> usize {
        const OF_A_RUN: usize = 10;
        let rows: usize = self.tables.iter().map(|(_, rows)| rows.len()).sum();
        (rows + OF_A_RUN).saturating_mul(1 + 2 * self.numbers.len())
    }

    /// Whether two calls give the same outputs for the same numbers.
    pub fn is_same(&self, other: &Self) -> bool {
        std::ptr::eq(self.model, other.model)
            && (&self.numbers, &self.tables, &self.lists) == (&other.numbers, &other.tables, &other.lists)
            && self.fields == other.fields
    }

    /// The key of these numbers, for the outputs or a derivative.
    fn key(&self, what: u64, numbers: &[f64]) -> RunKey {
        let own = || {
            // Every field: a new one must be a part of the key, too.
            let Self { model, numbers, tables, lists, fields: _, runs: _, key: _ } = self;
            let bits = |all: &[f64]| all.iter().flat_map(|number| number.to_bits().to_le_bytes()).collect::<Vec<u8>>();
            let mut parts: Vec<Vec<u8>> = vec![model.name.into(), (numbers.len() as u64).to_le_bytes().into()];
            parts.extend(numbers.iter().map(|name| Vec::from(*name)));
            for (name, rows) in tables {
                let rows: Vec<f64> = rows.iter().flat_map(|row| [row.0, row.1]).collect();
                parts.extend([b"table".into(), Vec::from(*name), bits(&rows)]);
            }
            for (name, entries) in lists {
                parts.extend([b"list".into(), Vec::from(*name), bits(entries)]);
            }
            RunKey::of(parts.iter().map(Vec::as_slice))
        };
        self.key.0.get_or_init(own).with(what, numbers)
    }

    /// The key of a run with these numbers.
    pub(super) fn run_key(&self, numbers: &[f64]) -> RunKey {
        self.key(OUTPUTS, numbers)
    }

    /// The outputs for these numbers, from an earlier run if there was one.
    fn outputs(&self, numbers: &[f64]) -> Outputs {
        // Of a stress file only the reading takes long.
        if !self.fields.is_empty() {
            return Ok(self.run(numbers)?.into());
        }
        let key = self.key(OUTPUTS, numbers);
        if let Some(known) = self.runs.get(&key, self.model.outputs.len()) {
            return Ok(known);
        }
        let outputs: Arc<[f64]> = self.run(numbers)?.into();
        if outputs.len() == self.model.outputs.len() {
            self.runs.add(key, Arc::clone(&outputs));
        }
        Ok(outputs)
    }

    /// The derivatives of all outputs by one input, if they are known.
    fn known_difference(&self, numbers: &[f64], input: usize) -> Option<Arc<[f64]>> {
        if !self.fields.is_empty() {
            return None;
        }
        self.runs.get(&self.key(input as u64, numbers), self.model.outputs.len())
    }

    /// The derivatives of all outputs by one input: those that the model states, otherwise central differences; one-sided if the
    /// model gives nothing on one side.
    fn difference(&self, numbers: &[f64], input: usize) -> Arc<[f64]> {
        if let Some(slopes) = self.slopes(numbers, input) {
            return slopes.into();
        }
        let middle = numbers[input];
        let step = if middle == 0.0 { 1e-6 } else { middle.abs() * 1e-4 };
        let mut moved = numbers.to_vec();
        let mut run = |value: f64| {
            moved[input] = value;
            self.run(&moved).ok()
        };
        let here = || self.outputs(numbers).map(|outputs| outputs.to_vec()).unwrap_or_default();
        let slope = |high: &[f64], low: &[f64], by: f64| high.iter().zip(low).map(|(h, l)| (h - l) / by).collect();
        let slopes: Vec<f64> = match (run(middle + step), run(middle - step)) {
            (Some(up), Some(down)) => slope(&up, &down, 2.0 * step),
            (Some(up), None) => slope(&up, &here(), step),
            (None, Some(down)) => slope(&here(), &down, step),
            (None, None) => vec![f64::NAN; here().len()],
        };
        let slopes: Arc<[f64]> = slopes.into();
        if slopes.len() == self.model.outputs.len() && self.fields.is_empty() {
            self.runs.add(self.key(input as u64, numbers), Arc::clone(&slopes));
        }
        slopes
    }

    fn run(&self, numbers: &[f64]) -> Result<Vec<f64>, ModelError> {
        self.model.check_and_run(&self.bound(numbers))
    }

    /// The derivatives of all outputs by one input, if the model states them.
    fn slopes(&self, numbers: &[f64], input: usize) -> Option<Vec<f64>> {
        let slopes = self.model.slopes?;
        slopes(&self.bound(numbers), self.numbers.get(input)?)
    }

    fn bound(&self, numbers: &[f64]) -> Bound<'_> {
        let mut bound = Bound::new();
        for (name, value) in self.numbers.iter().zip(numbers) {
            bound.set_number(name, *value);
        }
        for (name, rows) in &self.tables {
            bound.set_table(name, rows);
        }
        for (name, entries) in &self.lists {
            bound.set_list(name, entries);
        }
        for (name, field) in &self.fields {
            bound.set_field(name, field);
        }
        bound
    }
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

/// All values of a project, with an order in which each comes after its inputs.
#[derive(Clone, Debug, Default)]
pub struct Network {
    /// The nodes.
    pub nodes: Vec<Value>,
    /// The calls of models.
    pub calls: Vec<Arc<Call>>,
    /// The order of evaluation.
    pub order: Vec<NodeId>,
}

/// The values for one state of the inputs.
#[derive(Clone, Debug)]
pub struct State {
    /// The value of each node, in SI.
    pub values: Vec<f64>,
    /// The numbers and the outputs of each call.
    calls: Vec<Option<(Vec<f64>, Outputs)>>,
}

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

type Outputs = Result<Arc<[f64]>, ModelError>;

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

    /// The value of one node with some values set; only what it depends on is looked at.
    pub fn value_if(&self, state: &State, set: &[(NodeId, f64)], result: NodeId) -> f64 {
        let mut state = state.clone();
        let mut changed = vec![false; self.nodes.len()];
        for &(node, value) in set {
            state.values[node] = value;
            changed[node] = true;
        }
        let (mut work, mut numbers) = (Work::default(), Vec::new());
        for node in self.behind(result) {
            if !changed[node] && self.nodes[node].inputs.iter().any(|input| changed[*input]) {
                changed[node] = true;
                self.step(node, &mut state, &mut work, &mut numbers);
            }
        }
        state.values[result]
    }

    /// A node and all that it depends on, each after its inputs.
    fn behind(&self, result: NodeId) -> Vec<NodeId> {
        let (mut seen, mut all) = (vec![false; self.nodes.len()], Vec::new());
        let mut open = vec![(result, 0)];
        seen[result] = true;
        while let Some((node, next)) = open.last_mut() {
            match self.nodes[*node].inputs.get(*next) {
                Some(&input) => {
                    *next += 1;
                    if !std::mem::replace(&mut seen[input], true) {
                        open.push((input, 0));
                    }
                }
                None => {
                    all.push(*node);
                    open.pop();
                }
            }
        }
        all
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

    /// How `result` depends on `input`: only the values between them are calculated again. `None` if it does not.
    pub fn response(&self, state: &State, input: NodeId, result: NodeId) -> Option<Response<'_>> {
        let mut depends = vec![false; self.nodes.len()];
        depends[input] = true;
        let mut between = Vec::new();
        for node in self.behind(result) {
            if node != input && self.nodes[node].inputs.iter().any(|read| depends[*read]) {
                depends[node] = true;
                between.push(node);
            }
        }
        depends[result].then(|| Response { network: self, state: state.clone(), input, result, between })
    }

    fn step(&self, node: NodeId, state: &mut State, work: &mut Work, numbers: &mut Vec<f64>) {
        let value = &self.nodes[node];
        numbers.clear();
        numbers.extend(value.inputs.iter().map(|input| state.values[*input]));
        state.values[node] = match &value.rule {
            Rule::Given(number) | Rule::Replaced(number, _) => *number,
            Rule::Formula(formula) => formula.value(numbers, work),
            Rule::Total(factors) => total(factors, numbers),
            Rule::Chance => match numbers[..] {
                [score, chance] => score * chance.clamp(0.0, 1.0),
                _ => f64::NAN,
            },
            Rule::Model { call, output } => {
                let outputs = self.outputs(*call, state, numbers);
                outputs.ok().and_then(|outputs| outputs.get(*output).copied()).unwrap_or(f64::NAN)
            }
            Rule::None => f64::NAN,
        };
        // Outside the domain of a function, and on overflow, the value is missing.
        if state.values[node].is_infinite() {
            state.values[node] = f64::NAN;
        }
    }

    /// The outputs of a call; a model with two outputs runs once.
    fn outputs(&self, call: usize, state: &mut State, numbers: &[f64]) -> Outputs {
        if let Some((known, outputs)) = &state.calls[call]
            && known == numbers
        {
            return outputs.clone();
        }
        let outputs = self.calls[call].outputs(numbers);
        state.calls[call] = Some((numbers.to_vec(), outputs.clone()));
        outputs
    }

    /// Why a call of a model has no outputs.
    pub fn model_error(&self, state: &State, call: usize) -> Option<ModelError> {
        state.calls.get(call)?.as_ref()?.1.as_ref().err().cloned()
    }

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

/// How one node depends on another.
pub struct Response<'n> {
    network: &'n Network,
    state: State,
    input: NodeId,
    result: NodeId,
    between: Vec<NodeId>,
}

impl Response<'_> {
    /// The result if the input has this value.
    pub fn result_for(&mut self, value: f64) -> f64 {
        self.state.values[self.input] = value;
        let (mut work, mut numbers) = (Work::default(), Vec::new());
        for &node in &self.between {
            self.network.step(node, &mut self.state, &mut work, &mut numbers);
        }
        self.state.values[self.result]
    }
}

fn total(factors: &[f64], numbers: &[f64]) -> f64 {
    let known = factors.iter().zip(numbers).filter(|(_, number)| !number.is_nan());
    let (count, sum) = known.fold((0, 0.0), |(count, sum), (factor, number)| (count + 1, sum + factor * number));
    if count == 0 { f64::NAN } else { sum }
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

#[cfg(test)]
#[path = "network_tests.rs"]
mod tests;
