//! What is broken under the numbers of an answer, printed before them.

use serde_json::{Value, json};
use trace::RecordPositions;
use trace::values::{Budget, Fault, FaultKind, Values};
use trace::{Loaded, NodeId, RecordId, Study};

use super::{Paths, incomplete};
use crate::screen::{Ink, clean};

/// The largest number of faults that the text lists.
const MOST_LISTED: usize = 12;

/// What is wrong under the numbers of an answer.
pub(crate) struct Broken<'s> {
    loaded: &'s Loaded,
    faults: Vec<Fault>,
}

impl<'s> Broken<'s> {
    /// Under these values, and in these records themselves.
    pub(crate) fn under(values: &'s Values, asked: &[NodeId], also: &[RecordId]) -> Self {
        Self { loaded: &values.graph.loaded, faults: values.faults_under(asked, also) }
    }

    /// Under budgets and their shares.
    pub(crate) fn under_budgets(values: &'s Values, budgets: &[&Budget]) -> Self {
        let nodes = budgets
            .iter()
            .flat_map(|budget| std::iter::once(budget.node).chain(budget.shares.iter().map(|share| share.node)));
        let asked: Vec<NodeId> = nodes.collect();
        let misfits: Vec<RecordId> = budgets.iter().flat_map(|budget| budget.misfits.iter().copied()).collect();
        let mut faults = values.faults_under_budgets(&asked, &misfits);
        faults.extend(budgets.iter().flat_map(|budget| values.faults_of_budget(budget)));
        Self { loaded: &values.graph.loaded, faults }
    }

    /// The list with others before it.
    pub(crate) fn with(mut self, mut others: Vec<Fault>) -> Self {
        others.append(&mut self.faults);
        Self { faults: others, ..self }
    }

    /// The list without values that are only missing, for answers that show them as such.
    pub(crate) fn without_missing(mut self) -> Self {
        self.faults.retain(|fault| fault.kind != FaultKind::NoValue);
        self
    }

    /// Whether nothing is broken.
    pub(crate) fn is_empty(&self) -> bool {
        self.faults.is_empty()
    }

    /// Whether a number is missing or wrong because of it, so that the answer cannot be had.
    pub(crate) fn has_errors(&self) -> bool {
        self.faults.iter().any(|fault| fault.kind == FaultKind::Error)
    }

    /// The text before the numbers; empty if nothing is wrong.
    pub(crate) fn terminal(&self, ink: Ink) -> String {
        let mut out = String::new();
        let unread = incomplete(self.loaded);
        if let Some(text) = &unread {
            ink.block(&mut out, "", 0, text);
        }
        if !self.faults.is_empty() {
            let number = |kind: FaultKind| self.faults.iter().filter(|fault| fault.kind == kind).count();
            let counts = [
                (number(FaultKind::Error), ["error", "errors"]),
                (number(FaultKind::NoValue), ["missing value", "missing values"]),
                (number(FaultKind::Doubt), ["value with two sources", "values with two sources"]),
            ];
            let counts: Vec<String> = counts
                .into_iter()
                .filter(|(number, _)| *number > 0)
                .map(|(number, [one, more])| format!("{number} {}", if number == 1 { one } else { more }))
                .collect();
            ink.block(&mut out, "", 0, &format!("{} under these numbers:", counts.join(", ")));
            let (paths, mut positions) = (Paths::new(self.loaded), RecordPositions::new(self.loaded));
            for fault in self.faults.iter().take(MOST_LISTED) {
                let spot = positions.fault(fault);
                let path = paths.shown(&self.loaded.snapshot.files[fault.file].path);
                let place = clean(&format!("{path}:{}:{}", spot.line, spot.column));
                ink.block(&mut out, "", 2, &format!("{place}: {}", subject(fault)));
            }
            if let Some(more) = self.faults.len().checked_sub(MOST_LISTED).filter(|more| *more > 0) {
                ink.block(&mut out, "", 2, &format!("and {more} more: `tierod check` lists them"));
            }
        }
        if !out.is_empty() {
            out.push('\n');
        }
        out
    }

    /// The list for a page, one line each.
    pub(crate) fn lines(&self) -> Vec<String> {
        let mut positions = RecordPositions::new(self.loaded);
        let mut line = |fault: &Fault| {
            let spot = positions.fault(fault);
            let snapshot = &self.loaded.snapshot;
            let place = format!("{}{}:{}", snapshot.prefix, snapshot.files[fault.file].path, spot.line);
            format!("{place}: {}", subject(fault))
        };
        let mut lines: Vec<String> = self.faults.iter().take(MOST_LISTED).map(&mut line).collect();
        if let Some(more) = self.faults.len().checked_sub(MOST_LISTED).filter(|more| *more > 0) {
            lines.push(format!("and {more} more: `tierod check` lists them"));
        }
        lines
    }

    /// The list for JSON.
    pub(crate) fn json(&self) -> Value {
        let mut positions = RecordPositions::new(self.loaded);
        let entry = |fault: &Fault| {
            let spot = positions.fault(fault);
            let snapshot = &self.loaded.snapshot;
            json!({
                "kind": match fault.kind {
                    FaultKind::Error => "error",
                    FaultKind::NoValue => "no value",
                    FaultKind::Doubt => "doubt",
                },
                "record": fault.id,
                "path": format!("{}{}", snapshot.prefix, snapshot.files[fault.file].path),
                "line": spot.line,
                "column": spot.column,
                "message": fault.message,
                "help": fault.help,
            })
        };
        self.faults.iter().map(entry).collect()
    }
}

/// The notes on a state whose points are shown without the list: read errors, and what is broken under the points.
pub(crate) fn notes(study: &Study) -> Vec<String> {
    let broken = super::points::broken(study);
    let faults: Vec<&Fault> = broken.faults.iter().filter(|fault| fault.kind != FaultKind::Doubt).collect();
    let under = faults.first().map(|first| {
        let what = if broken.has_errors() { "broken under the points" } else { "the points are incomplete" };
        let more = faults.len() - 1;
        let more = if more > 0 { format!("; {more} more: `tierod points` lists them") } else { String::new() };
        format!("{what}: {}{more}", subject(first))
    });
    incomplete(&study.loaded).into_iter().chain(under).collect()
}

/// The message with the record that it is about, unless the message names it already.
fn subject(fault: &Fault) -> String {
    match &fault.id {
        Some(id) if !fault.message.contains(id.as_str()) => format!("{id}: {}", fault.message),
        _ => fault.message.clone(),
    }
}
