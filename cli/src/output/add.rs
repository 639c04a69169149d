//! The output of `add`: the lines that it adds, and the findings that they bring.

use serde_json::{Value, json};
use trace::edit::Outcome;

use super::Paths;
use super::edit::file_json;
use super::json::findings;
use crate::screen::{Ink, clean, count};

/// The number of findings that the text lists.
const MOST_LISTED: usize = 12;

/// What `add` shows.
pub(crate) struct View<'v> {
    pub(crate) outcome: &'v Outcome,
    /// The id of the record.
    pub(crate) id: &'v str,
    /// Whether it was written.
    pub(crate) written: bool,
}

/// The record, its file and its findings, before it is written.
pub(crate) fn proposal(outcome: &Outcome, ink: Ink) -> String {
    let paths = Paths::new(&outcome.after.loaded);
    let mut out = String::new();
    for file in &outcome.files {
        let new = if file.file.before.is_none() { " (new file)" } else { "" };
        out.push_str(&format!("\n{}{new}\n", ink.strong(&clean(&paths.shown(&file.file.path)))));
        for change in &file.lines {
            for (number, line) in (change.line..).zip(&change.after) {
                out.push_str(&format!("{} {}\n", ink.faint(&format!("{number:>5} +")), clean(line)));
            }
        }
    }
    let new = &outcome.delta.new;
    if !new.is_empty() {
        out.push_str(&format!("\n`tierod check` then reports {}:\n", count(new.len(), "new finding")));
    }
    for finding in new.iter().take(MOST_LISTED) {
        ink.block(&mut out, finding.level.word(), 9, &format!("{} [{}]", finding.message, finding.check.name));
    }
    if let Some(more) = new.len().checked_sub(MOST_LISTED).filter(|more| *more > 0) {
        out.push_str(&format!("and {more} more\n"));
    }
    out
}

/// The text for the terminal.
pub(crate) fn terminal(view: &View<'_>, ink: Ink) -> String {
    format!("{}\n{}", proposal(view.outcome, ink).trim_start(), closing(view))
}

/// The last line.
pub(crate) fn closing(view: &View<'_>) -> String {
    let paths = Paths::new(&view.outcome.after.loaded);
    let files: Vec<String> = view.outcome.files.iter().map(|file| clean(&paths.shown(&file.file.path))).collect();
    match view.written {
        true => format!("added {} to {}\n", view.id, files.join(", ")),
        false => format!("nothing written (`--dry-run`): {} would be added to {}\n", view.id, files.join(", ")),
    }
}

/// The JSON answer.
pub(crate) fn json(view: &View<'_>) -> Value {
    let outcome = view.outcome;
    json!({
        "version": 1,
        "id": view.id,
        "written": view.written,
        "files": outcome.files.iter().map(file_json).collect::<Vec<_>>(),
        "new": findings(&outcome.delta.new, &outcome.after.loaded),
        "fixed": findings(&outcome.delta.fixed, &outcome.base().loaded),
    })
}
