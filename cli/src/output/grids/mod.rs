//! The tables for spreadsheets, one file each: CSV prints one, `export` all of them.

pub(crate) mod about;
pub(crate) mod budgets;
pub(crate) mod findings;
pub(crate) mod parts;
pub(crate) mod points;
pub(crate) mod results;
pub(crate) mod values;

use std::collections::HashMap;

use serde_json::{Value, json};
use trace::RecordPositions;
use trace::values::FaultKind;
use trace::{NodeId, RecordId, Study};

use super::grid::Cell;

/// The head of the column with the file and the line of a record.
pub(crate) const RECORD: &str = "record";

/// Adds what a table shows of a record beside the numbers of an answer.
struct About<'s> {
    study: &'s Study,
    positions: RecordPositions<'s>,
    is_broken: bool,
    /// What is broken under the values that were asked already: an event has a row for each of its goals.
    problems: HashMap<NodeId, Value>,
}

impl<'s> About<'s> {
    fn new(study: &'s Study, is_broken: bool) -> Self {
        Self { study, positions: RecordPositions::new(&study.loaded), is_broken, problems: HashMap::new() }
    }

    /// The file and the line of a record, from the repository's top: `parts/brakes.yaml:12`.
    fn place(&mut self, index: RecordId) -> String {
        let loaded = &self.study.loaded;
        let line = self.positions.start(index).line;
        format!("{}{}:{line}", loaded.snapshot.prefix, loaded.path(loaded.file(index)))
    }

    /// What is broken under a value, as one text: on the same line as the number.
    fn problem(&mut self, node: Option<NodeId>) -> Value {
        let Some(node) = node.filter(|_| self.is_broken) else { return Value::Null };
        self.problems.entry(node).or_insert_with(|| problem_of(self.study, node)).clone()
    }

    /// Adds title, system, lead, place and problems of a record to a row.
    fn add(&mut self, row: &mut Value, index: RecordId, node: Option<NodeId>) {
        let record = self.study.loaded.record(index);
        row["title"] = json!(record.body.common().title());
        row["about"] = json!(record.about().map(ToString::to_string));
        row["lead"] = json!(self.study.graph.lead(index));
        row["record"] = json!(self.place(index));
        row["problem"] = self.problem(node);
    }

    fn place_cell(&mut self, index: RecordId) -> Cell {
        Cell::Text(self.place(index))
    }
}

/// The limit of a row as two columns.
fn spread_limit(row: &mut Value) {
    let limit = row["limit"].take();
    let between = |at: usize| limit["between"].get(at).cloned();
    row["at_least"] = limit.get("at_least").cloned().or_else(|| between(0)).unwrap_or_default();
    row["at_most"] = limit.get("at_most").cloned().or_else(|| between(1)).unwrap_or_default();
}

/// What is broken under one value, as one text.
fn problem_of(study: &Study, node: NodeId) -> Value {
    let mut faults = study.values().faults_under(&[node], &[]);
    faults.retain(|fault| fault.kind != FaultKind::NoValue);
    match faults.first() {
        None => Value::Null,
        Some(first) if faults.len() == 1 => json!(first.message),
        Some(first) => json!(format!("{}; {} more", first.message, faults.len() - 1)),
    }
}
