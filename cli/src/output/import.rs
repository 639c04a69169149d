//! The output of `import`: what a spreadsheet adds and changes, what was not read, and the totals of both sides.

use std::fmt::Write as _;

use schema::settings::imports::Import;
use serde_json::{Value, json};
use trace::edit::Outcome;
use trace::import::{Plan, Proposal, Total};
use trace::spreadsheet::{Decimal, Table as Sheet};

use super::table::{Table, faint, plain, strong};
use crate::screen::{Ink, clean, count};

/// On a terminal, more lines than this of a list are counted.
const MOST_LINES: usize = 30;

/// An import to show.
pub(crate) struct ImportView<'v> {
    /// The name of the entry.
    pub(crate) name: &'v str,
    /// The entry.
    pub(crate) entry: &'v Import,
    /// What it does.
    pub(crate) plan: &'v Plan<'v>,
    /// What that leads to.
    pub(crate) outcome: &'v Outcome,
    /// The totals of both sides.
    pub(crate) totals: &'v [Total],
    /// Whether files were written.
    pub(crate) written: bool,
}

/// The text for the terminal.
pub(crate) fn terminal(view: &ImportView<'_>, ink: Ink) -> String {
    let ImportView { plan, outcome, .. } = view;
    let mut out = format!("{}  {}\n\n", ink.strong(view.name), clean(&view.entry.file));
    if !plan.added.is_empty() {
        let mut table = Table::new(&[("added to", false), ("parts", true)]);
        let mut files: Vec<(&str, usize)> = Vec::new();
        for part in &plan.added {
            match files.iter_mut().find(|(path, _)| *path == part.path) {
                Some((_, number)) => *number += 1,
                None => files.push((&part.path, 1)),
            }
        }
        for (path, number) in files {
            table.row(vec![plain(path), plain(number.to_string())]);
        }
        out.push_str(&table.text(ink));
        out.push('\n');
    }
    if !plan.changed.is_empty() {
        let mut table = Table::new(&[("changed", false), ("before", true), ("after", true)]);
        for change in plan.changed.iter().take(MOST_LINES) {
            let name = format!("{}.{}", change.id, change.field);
            let before = change.before.clone().unwrap_or_default();
            table.row(vec![strong(name), plain(before), plain(change.after.as_str())]);
        }
        out.push_str(&table.text(ink));
        more(&mut out, plan.changed.len());
        out.push('\n');
    }
    if !plan.gone.is_empty() {
        let _ = writeln!(out, "{}", ink.faint("in the records, not in the sheet (nothing is deleted)"));
        for id in plan.gone.iter().take(MOST_LINES) {
            let _ = writeln!(out, "{}", clean(id));
        }
        more(&mut out, plan.gone.len());
        out.push('\n');
    }
    if !plan.skipped.is_empty() {
        let mut table = Table::new(&[("skipped row", true), ("reason", false)]);
        for skipped in plan.skipped.iter().take(MOST_LINES) {
            table.row(vec![plain(skipped.row.to_string()), plain(skipped.reason.as_str())]);
        }
        out.push_str(&table.text(ink));
        more(&mut out, plan.skipped.len());
        out.push('\n');
    }
    if !plan.unread.is_empty() {
        let mut table = Table::new(&[("cell not read", false), ("part", false), ("reason", false)]);
        for cell in plan.unread.iter().take(MOST_LINES) {
            let id = cell.id.clone().unwrap_or_default();
            table.row(vec![plain(format!("{}{}", cell.column, cell.row)), strong(id), plain(cell.reason.as_str())]);
        }
        out.push_str(&table.text(ink));
        more(&mut out, plan.unread.len());
        out.push('\n');
    }
    let changed = changed_parts(plan);
    let [added, gone, skipped] = [plan.added.len(), plan.gone.len(), plan.skipped.len()];
    let parts = [(added, "added"), (changed, "changed"), (plan.unchanged, "unchanged"), (gone, "not in the sheet")];
    let parts = parts.iter().map(|(number, word)| format!("{number} {word}")).collect::<Vec<String>>();
    let _ = writeln!(out, "parts: {}; rows skipped: {skipped}\n", parts.join(", "));
    totals(&mut out, view.totals, ink);
    let files = count(outcome.files.len(), "file");
    let _ = match (view.written, outcome.files.is_empty()) {
        (true, _) => writeln!(out, "{files} written"),
        (false, true) => writeln!(out, "nothing written: the records have everything that the sheet has"),
        (false, false) => writeln!(out, "nothing written (`--dry-run`): {files} to change"),
    };
    if !outcome.delta.new.is_empty() {
        let new = count(outcome.delta.new.len(), "new finding");
        let _ = writeln!(out, "{new}: `tierod check` lists what is missing");
    }
    out
}

fn more(out: &mut String, all: usize) {
    if all > MOST_LINES {
        let _ = writeln!(out, "and {} more: `--format json` lists all", all - MOST_LINES);
    }
}

/// The number of parts with a changed value.
fn changed_parts(plan: &Plan<'_>) -> usize {
    let mut ids: Vec<&str> = plan.changed.iter().map(|change| change.id.as_str()).collect();
    ids.dedup();
    ids.len()
}

fn totals(out: &mut String, totals: &[Total], ink: Ink) {
    if totals.is_empty() {
        return;
    }
    let mut table =
        Table::new(&[("total", false), ("sheet", true), ("records", true), ("difference", true), ("", false)]);
    for total in totals {
        let unit = if total.unit.is_empty() { String::new() } else { format!(", {}", total.unit) };
        let difference = total.records.minus(total.sheet).unwrap_or_default();
        let shown = if difference.is_zero() { "0".to_owned() } else { signed(difference) };
        table.row(vec![
            strong(format!("{}{unit}", total.amount)),
            plain(total.sheet.to_string()),
            plain(total.records.to_string()),
            plain(shown),
            plain(""),
        ]);
        for cause in &total.differences {
            let blank = || plain("");
            table.row(vec![blank(), blank(), blank(), faint(signed(cause.value)), faint(cause.reason)]);
        }
    }
    out.push_str(&table.text(ink));
    out.push('\n');
}

fn signed(number: Decimal) -> String {
    let text = number.without_zeros().to_string();
    if number.is_negative() { text } else { format!("+{text}") }
}

/// A decimal number in JSON; a file has at most 15 significant digits, which survive.
fn number(number: Decimal) -> Value {
    json!(number.rounded().as_f64())
}

/// The JSON answer: version 1, stable.
pub(crate) fn json(view: &ImportView<'_>) -> Value {
    let ImportView { plan, outcome, .. } = view;
    let total = |total: &Total| {
        let cause = |cause: &trace::import::Difference| json!({"reason": cause.reason, "value": number(cause.value)});
        json!({
            "amount": total.amount,
            "sheet": number(total.sheet),
            "records": number(total.records),
            "unit": total.unit,
            "differences": total.differences.iter().map(cause).collect::<Vec<_>>(),
        })
    };
    json!({
        "version": 1,
        "name": view.name,
        "file": view.entry.file,
        "written": view.written,
        "added": plan.added.iter().map(|part| part.id.as_str()).collect::<Vec<_>>(),
        "changed": plan.changed.iter().map(|change| json!({
            "id": change.id, "field": change.field, "before": change.before, "after": change.after,
        })).collect::<Vec<_>>(),
        "unchanged": plan.unchanged,
        "gone": plan.gone,
        "skipped": plan.skipped.iter().map(|row| json!({"row": row.row, "reason": row.reason})).collect::<Vec<_>>(),
        "unread": plan.unread.iter().map(|cell| json!({
            "row": cell.row, "column": cell.column, "id": cell.id, "reason": cell.reason,
        })).collect::<Vec<_>>(),
        "totals": view.totals.iter().map(total).collect::<Vec<_>>(),
        "files": outcome.files.iter().map(|file| file.file.path.as_str()).collect::<Vec<_>>(),
        "new_findings": outcome.delta.new.len(),
    })
}

/// A proposed entry to show.
pub(crate) struct ProposalView<'v> {
    /// The spreadsheet.
    pub(crate) file: &'v str,
    /// The name of the entry.
    pub(crate) name: &'v str,
    /// The lines of the settings.
    pub(crate) text: &'v str,
    /// The entry.
    pub(crate) proposal: &'v Proposal,
    /// The sheet.
    pub(crate) table: &'v Sheet,
    /// Whether it was written into the settings.
    pub(crate) saved: bool,
}

/// The text for the terminal.
pub(crate) fn proposal_terminal(view: &ProposalView<'_>, ink: Ink) -> String {
    let mut out = String::new();
    if let Some(format) = view.table.format {
        let (delimiter, encoding) = (format.delimiter.word(), format.encoding.word());
        let _ = writeln!(out, "{}", ink.faint(&format!("found: delimiter {delimiter}, encoding {encoding}")));
    }
    for line in view.text.lines() {
        let _ = writeln!(out, "{}", clean(line));
    }
    out.push('\n');
    if !view.proposal.unknown.is_empty() {
        let _ = writeln!(out, "{}", ink.strong("not found out"));
        for line in &view.proposal.unknown {
            let _ = writeln!(out, "  {}", clean(line));
        }
        out.push('\n');
    }
    let name = view.name;
    let next = match (view.saved, view.proposal.is_incomplete) {
        (true, _) => format!("tierod.yaml written: run `tierod import {name} --dry-run`"),
        (false, true) => {
            format!("complete the entry, put it into tierod.yaml, and run `tierod import {name} --dry-run`")
        }
        (false, false) => "put it into tierod.yaml, or add `--save NAME` to have it written".to_owned(),
    };
    out.push_str(&next);
    out.push('\n');
    out
}

/// The JSON answer: version 1, stable.
pub(crate) fn proposal_json(view: &ProposalView<'_>) -> Value {
    json!({
        "version": 1,
        "name": view.name,
        "file": view.file,
        "written": view.saved,
        "entry": view.text,
        "complete": !view.proposal.is_incomplete,
        "unknown": view.proposal.unknown,
    })
}
