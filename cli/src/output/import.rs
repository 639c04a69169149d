//! The output of `import`: what a spreadsheet adds and changes, what was not read, and the totals of both sides.

use std::collections::HashMap;
use std::fmt::Write as _;

use schema::settings::imports::Import;
use serde_json::{Value, json};
use trace::edit::Outcome;
use trace::import::{Difference, NewSystem, Plan, Proposal, Total};
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
    systems(&mut out, plan, ink);
    if !plan.added.is_empty() {
        let mut table = Table::new(&[("added to", false), ("parts", true)]);
        let (mut files, mut places) = (Vec::<(&str, usize)>::new(), HashMap::<&str, usize>::new());
        for part in &plan.added {
            let at = *places.entry(&part.path).or_insert_with(|| {
                files.push((&part.path, 0));
                files.len() - 1
            });
            files[at].1 += 1;
        }
        for (path, number) in files.iter().take(MOST_LINES) {
            table.row(vec![plain(*path), plain(number.to_string())]);
        }
        out.push_str(&table.text(ink));
        more(&mut out, files.len());
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
    differing(&mut out, plan, ink);
    absent(&mut out, view, ink);
    if !plan.skipped.is_empty() {
        let mut table = Table::new(&[("skipped row", true), ("reason", false)]);
        for skipped in plan.skipped.iter().take(MOST_LINES) {
            table.row(vec![plain(skipped.row.to_string()), plain(skipped.reason.as_str())]);
        }
        out.push_str(&table.text(ink));
        more(&mut out, plan.skipped.len());
        if plan.without_system > 0 {
            let rows = count(plan.without_system, "row");
            let _ =
                writeln!(out, "{rows} without a system: `tierod import {} --with-systems` adds the systems", view.name);
        }
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
    if !plan.empty.is_empty() {
        let mut table = Table::new(&[("empty cell", false), ("part", false), ("records", true)]);
        for cell in plan.empty.iter().take(MOST_LINES) {
            let name = format!("{}.{}", cell.id, cell.amount);
            let records = cell.records.clone().unwrap_or_default();
            table.row(vec![plain(format!("{}{}", cell.column, cell.row)), strong(name), plain(records)]);
        }
        out.push_str(&table.text(ink));
        more(&mut out, plan.empty.len());
        out.push('\n');
    }
    let changed = changed_parts(plan);
    let [added, gone, skipped] = [plan.added.len(), plan.gone.len(), plan.skipped.len()];
    let parts = [(added, "added"), (changed, "changed"), (plan.unchanged, "unchanged"), (gone, "not in the sheet")];
    let not_in_car = plan.not_in_car.len();
    let parts = parts.into_iter().chain((not_in_car > 0).then_some((not_in_car, "not in the car by the sheet")));
    let parts = parts.map(|(number, word)| format!("{number} {word}")).collect::<Vec<String>>();
    let _ = writeln!(out, "parts: {}; rows skipped: {skipped}\n", parts.join(", "));
    totals(&mut out, view.totals, ink);
    let files = count(outcome.files.len(), "file");
    let _ = match (view.written, outcome.files.is_empty()) {
        (true, _) => writeln!(out, "{files} written"),
        (false, true) if plan.agrees() => {
            writeln!(out, "nothing written: the records have everything that the sheet has")
        }
        (false, true) => writeln!(out, "nothing written: no value to change; the rest differs as listed above"),
        (false, false) => writeln!(out, "nothing written (`--dry-run`): {files} to change"),
    };
    if !outcome.delta.new.is_empty() {
        let new = count(outcome.delta.new.len(), "new finding");
        let checks: Vec<String> =
            new_checks(outcome).iter().map(|(check, number)| format!("{number} {check}")).collect();
        let _ = writeln!(out, "{new} ({}): `tierod check` lists what is missing", checks.join(", "));
    }
    out
}

/// The systems that the import adds, and what the team has to say about them.
fn systems(out: &mut String, plan: &Plan<'_>, ink: Ink) {
    if plan.systems.is_empty() {
        return;
    }
    let mut table = Table::new(&[("added system", false), ("title", false), ("lead", false)]);
    for system in plan.systems.iter().take(MOST_LINES) {
        let text = |text: &Option<String>| plain(text.clone().unwrap_or_default());
        table.row(vec![strong(system.id.to_string()), text(&system.title), text(&system.lead)]);
    }
    out.push_str(&table.text(ink));
    more(out, plan.systems.len());
    out.push_str(match plan.systems.iter().any(|system| system.serves.is_some()) {
        true => "write why the parts of each are in the car in place of `todo`, and who leads it: `lead: ROLE`\n\n",
        false => {
            "add to each why its parts are in the car, `for-parts: {serves: {TARGET: reason}}`, and who leads it, `lead: ROLE`\n\n"
        }
    });
}

/// What the import does not change.
fn differing(out: &mut String, plan: &Plan<'_>, ink: Ink) {
    if plan.differing.is_empty() {
        return;
    }
    let mut table = Table::new(&[("differs, not changed", false), ("in the sheet", false), ("in the records", false)]);
    for own in plan.differing.iter().take(MOST_LINES) {
        let name = strong(format!("{}.{}", own.id, own.field));
        table.row(vec![name, plain(own.sheet.as_str()), plain(own.records.clone().unwrap_or_default())]);
    }
    out.push_str(&table.text(ink));
    more(out, plan.differing.len());
    out.push_str("change them by hand, or with `tierod set`\n\n");
}

/// The parts that only the records have, each with what to do.
fn absent(out: &mut String, view: &ImportView<'_>, ink: Ink) {
    let plan = view.plan;
    if !plan.gone.is_empty() {
        let _ = writeln!(out, "{}", ink.faint("in the records, not in the sheet (nothing is deleted)"));
        for id in plan.gone.iter().take(MOST_LINES) {
            let _ = writeln!(out, "{}", clean(id));
        }
        more(out, plan.gone.len());
        for same in &plan.renumbered {
            let (from, to) = (clean(&same.from), clean(&same.to));
            let first = if view.written { format!("remove the new `{to}`, then ") } else { String::new() };
            let _ = writeln!(
                out,
                "`{to}` has title and amounts of `{from}`: if it is the same part, {first}run `tierod rename {from} {to}`"
            );
        }
        let _ = writeln!(
            out,
            "remove a record by hand if the part is gone; to keep it out of the comparison, move it to a file other than `{}`",
            clean(&view.entry.into)
        );
        out.push('\n');
    }
    if !plan.not_in_car.is_empty() {
        let mut table =
            Table::new(&[("not in the car by the sheet, in the records", false), ("row", true), ("reason", false)]);
        for part in plan.not_in_car.iter().take(MOST_LINES) {
            table.row(vec![strong(part.id.as_str()), plain(part.row.to_string()), plain(part.reason.as_str())]);
        }
        out.push_str(&table.text(ink));
        more(out, plan.not_in_car.len());
        out.push_str("the records still count them: remove the record by hand, or correct the sheet\n\n");
    }
}

/// The checks of the new findings, each with their number, in the order of the findings.
fn new_checks(outcome: &Outcome) -> Vec<(&str, usize)> {
    let mut checks: Vec<(&str, usize)> = Vec::new();
    for finding in &outcome.delta.new {
        let name = finding.check.name;
        match checks.iter_mut().find(|(own, _)| *own == name) {
            Some((_, number)) => *number += 1,
            None => checks.push((name, 1)),
        }
    }
    checks
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
            table.row(vec![blank(), blank(), blank(), faint(signed(cause.value)), faint(named(cause))]);
        }
    }
    out.push_str(&table.text(ink));
    out.push('\n');
}

/// A cause with its parts.
fn named(cause: &Difference) -> String {
    const MOST: usize = 5;
    let mut names: Vec<String> = cause.parts.iter().take(MOST).cloned().collect();
    names.extend((cause.parts.len() > MOST).then(|| format!("and {} more", cause.parts.len() - MOST)));
    if names.is_empty() { cause.reason.to_owned() } else { format!("{}: {}", cause.reason, names.join(", ")) }
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
        let cause = |cause: &Difference| {
            json!({
                "reason": cause.reason, "value": number(cause.value), "parts": cause.parts,
            })
        };
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
        "systems": systems_json(&plan.systems),
        "added": plan.added.iter().map(|part| part.id.as_str()).collect::<Vec<_>>(),
        "changed": plan.changed.iter().map(|change| json!({
            "id": change.id, "field": change.field, "before": change.before, "after": change.after,
        })).collect::<Vec<_>>(),
        "unchanged": plan.unchanged,
        "agrees": plan.agrees(),
        "differing": plan.differing.iter().map(|own| json!({
            "row": own.row, "id": own.id, "field": own.field, "sheet": own.sheet, "records": own.records,
        })).collect::<Vec<_>>(),
        "gone": plan.gone,
        "renumbered": plan.renumbered.iter().map(|part| json!({"from": part.from, "to": part.to})).collect::<Vec<_>>(),
        "not_in_car": plan.not_in_car.iter().map(|part| json!({
            "row": part.row, "id": part.id, "reason": part.reason,
        })).collect::<Vec<_>>(),
        "empty": plan.empty.iter().map(|cell| json!({
            "row": cell.row, "column": cell.column, "id": cell.id, "amount": cell.amount, "records": cell.records,
        })).collect::<Vec<_>>(),
        "skipped": plan.skipped.iter().map(|row| json!({"row": row.row, "reason": row.reason})).collect::<Vec<_>>(),
        "unread": plan.unread.iter().map(|cell| json!({
            "row": cell.row, "column": cell.column, "id": cell.id, "reason": cell.reason,
        })).collect::<Vec<_>>(),
        "totals": view.totals.iter().map(total).collect::<Vec<_>>(),
        "files": outcome.files.iter().map(|file| file.file.path.as_str()).collect::<Vec<_>>(),
        "new_findings": outcome.delta.new.len(),
        "new_checks": new_checks(outcome).iter().map(|(check, number)| json!({
            "check": check, "findings": number,
        })).collect::<Vec<_>>(),
    })
}

fn systems_json(systems: &[NewSystem]) -> Vec<Value> {
    let one = |system: &NewSystem| {
        json!({
            "id": system.id.as_str(),
            "title": system.title,
            "lead": system.lead,
            "serves": system.serves.as_ref().map(schema::Id::as_str),
        })
    };
    systems.iter().map(one).collect()
}

/// A proposed entry to show.
pub(crate) struct ProposalView<'v> {
    /// The spreadsheet.
    pub(crate) file: &'v str,
    /// The name of the entry.
    pub(crate) name: &'v str,
    /// The lines of the settings.
    pub(crate) text: &'v str,
    /// The lines of a record file with the systems that are missing.
    pub(crate) systems: Option<&'v str>,
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
    if let Some(systems) = view.systems {
        let head = format!("systems to add: `tierod import {name} --with-systems` writes them with the parts");
        let _ = writeln!(out, "{}", ink.strong(&head));
        for line in systems.lines() {
            let _ = writeln!(out, "  {}", clean(line));
        }
        out.push('\n');
    }
    let options = if view.systems.is_some() { "--with-systems --dry-run" } else { "--dry-run" };
    let next = match (view.saved, view.proposal.is_incomplete) {
        (true, _) => format!("tierod.yaml written: run `tierod import {name} {options}`"),
        (false, true) => {
            format!("complete the entry, put it into tierod.yaml, and run `tierod import {name} {options}`")
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
        "systems": systems_json(&view.proposal.systems),
    })
}
