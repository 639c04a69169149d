//! The call of a model: its outputs and their derivatives, from an earlier run if there was one with the same inputs.

use std::sync::Arc;

use models::stress::StressField;
use models::{Bound, Model, ModelError};

use super::model_tables::ModelTable;
use super::runs::{ModelRuns, RunKey};
use crate::derived::Derived;

/// The outputs of a call, or why it has none.
pub(super) type Outputs = Result<Arc<[f64]>, ModelError>;

/// A call of a model: its numbers are nodes, its tables and lists are constant.
#[derive(Clone, Debug)]
pub struct Call {
    /// The model.
    pub model: &'static Model,
    /// The names of its numbers, in the order of the inputs of its nodes.
    pub numbers: Vec<&'static str>,
    /// Its tables.
    pub tables: Vec<(&'static str, ModelTable)>,
    /// Its lists.
    pub lists: Vec<(&'static str, Vec<f64>)>,
    /// The runs that are known.
    pub(crate) runs: Arc<ModelRuns>,
    key: Derived<RunKey>,
    /// What was read of its stress files.
    pub fields: Vec<(&'static str, Arc<StressField>)>,
}

/// The outputs of a run, as part of its key; a derivative by an input has the position of this input.
const OUTPUTS: u64 = u64::MAX;

impl Call {
    /// A call without inputs.
    pub(crate) fn new(model: &'static Model, runs: Arc<ModelRuns>) -> Self {
        let (numbers, tables, lists) = (Vec::new(), Vec::new(), Vec::new());
        Self { model, numbers, tables, lists, runs, key: Derived::default(), fields: Vec::new() }
    }

    /// How much work all runs are: rows of tables, once and twice more for each number; and as often as a list, such as that
    /// of the gears, is longer than usual, because each row is tried with all of it.
    pub(super) fn work(&self) -> usize {
        const OF_A_RUN: usize = 10;
        const USUAL_LIST: usize = 8;
        let rows: usize = self.tables.iter().map(|(_, rows)| rows.len()).sum();
        let listed: usize = self.lists.iter().map(|(_, list)| list.len() / USUAL_LIST).sum();
        (rows + OF_A_RUN).saturating_mul(1 + 2 * self.numbers.len()).saturating_mul(1 + listed)
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
        self.key.get_or_init(own).with(what, numbers)
    }

    /// The key of a run with these numbers.
    pub(super) fn run_key(&self, numbers: &[f64]) -> RunKey {
        self.key(OUTPUTS, numbers)
    }

    /// The outputs for these numbers, from an earlier run if there was one.
    pub(super) fn outputs(&self, numbers: &[f64]) -> Outputs {
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
    pub(super) fn known_difference(&self, numbers: &[f64], input: usize) -> Option<Arc<[f64]>> {
        if !self.fields.is_empty() {
            return None;
        }
        self.runs.get(&self.key(input as u64, numbers), self.model.outputs.len())
    }

    /// The derivatives of all outputs by one input: those that the model states, otherwise central differences; one-sided if the
    /// model gives nothing on one side.
    pub(super) fn difference(&self, numbers: &[f64], input: usize) -> Arc<[f64]> {
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

#[cfg(test)]
#[path = "call_tests.rs"]
mod tests;
