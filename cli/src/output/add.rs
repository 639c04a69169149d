//! The output of `add`: the lines that it adds, and what `check` reports of the record.

use serde_json::{Value, json};
use trace::new_record::{Draft, NewRecord};
use trace::{Finding, Study};

use super::Paths;
use super::json::findings as findings_json;
use crate::screen::{Ink, clean, count};

/// The number of findings that the text lists.
const MOST_LISTED: usize = 12;

/// What `add` shows.
pub(crate) struct View<'v> {
    pub(crate) study: &'v Study,
    pub(crate) record: &'v NewRecord,
    pub(crate) draft: &'v Draft,
    /// The findings that the record adds.
    pub(crate) findings: &'v [Finding],
    /// Whether it was written.
    pub(crate) written: bool,
}

/// The lines that a draft adds, each with its number.
fn added(draft: &Draft) -> Vec<(usize, &str)> {
    let before = draft.before.as_deref().map(String::from_utf8_lossy).unwrap_or_default();
    let (old, new): (Vec<&str>, Vec<&str>) = (before.lines().collect(), draft.after.lines().collect());
    let same = |(a, b): &(&&str, &&str)| a == b;
    let head = old.iter().zip(&new).take_while(same).count();
    let rest = old.len().min(new.len()) - head;
    let tail = old.iter().rev().zip(new.iter().rev()).take(rest).take_while(same).count();
    (head..new.len() - tail).map(|at| (at + 1, new[at])).collect()
}

/// The record, its file and its findings, before it is written.
pub(crate) fn proposal(draft: &Draft, findings: &[Finding], record: &NewRecord, ink: Ink) -> String {
    let new = if draft.before.is_none() { " (new file)" } else { "" };
    let mut out = format!("\n{}{new}\n", ink.strong(&clean(&draft.path)));
    for (number, line) in added(draft) {
        out.push_str(&format!("{} {}\n", ink.faint(&format!("{number:>5} +")), clean(line)));
    }
    list(&mut out, findings, record, ink);
    out
}

fn list(out: &mut String, findings: &[Finding], record: &NewRecord, ink: Ink) {
    if findings.is_empty() {
        return;
    }
    out.push_str(&format!("\n`tierod check` then reports {}:\n", count(findings.len(), "new finding")));
    for finding in findings.iter().take(MOST_LISTED) {
        let about = finding.record.as_deref().filter(|id| *id != record.id).map(|id| format!("{id}: "));
        let text = format!("{}{} [{}]", about.unwrap_or_default(), finding.message, finding.check.name);
        ink.block(out, finding.level.word(), 9, &text);
    }
    if let Some(more) = findings.len().checked_sub(MOST_LISTED).filter(|more| *more > 0) {
        out.push_str(&format!("and {more} more\n"));
    }
}

/// The text for the terminal.
pub(crate) fn terminal(view: &View<'_>, ink: Ink) -> String {
    let proposal = proposal(view.draft, view.findings, view.record, ink);
    format!("{}\n{}", proposal.trim_start(), closing(view))
}

/// The last line.
pub(crate) fn closing(view: &View<'_>) -> String {
    let path = clean(&Paths::new(&view.study.loaded).shown(&view.draft.path));
    let id = &view.record.id;
    if view.written { format!("added {id} to {path}\n") } else { format!("dry run: {id} was not added to {path}\n") }
}

/// The JSON answer.
pub(crate) fn json(view: &View<'_>) -> Value {
    let lines: Vec<Value> =
        added(view.draft).into_iter().map(|(line, text)| json!({"line": line, "text": text})).collect();
    json!({
        "version": 1,
        "added": [view.record.id],
        "path": format!("{}{}", view.study.loaded.snapshot.prefix, view.draft.path),
        "new_file": view.draft.before.is_none(),
        "lines": lines,
        "findings": findings_json(view.findings, &view.study.loaded),
        "written": view.written,
    })
}
