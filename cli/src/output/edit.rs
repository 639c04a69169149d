//! The output of the commands that edit records: the changed lines, and what the edit does to findings, points and amounts.

use std::fmt::Write as _;

use schema::settings::Level;
use serde_json::{Value, json};
use trace::delta::{Headline, HeadlineOf};
use trace::edit::{ChangedLines, EditedFile, Outcome, mentions};
use trace::finding::LEVELS;

use super::delta::{self, FindingChanges};
use super::json::findings;
use super::table::{Table, plain, strong};
use super::values::number as json_number;
use super::{Paths, terminal};
use crate::screen::{Ink, clean, count};

/// On a terminal, more changes than this are counted.
const MOST_CHANGES: usize = 40;

/// An edit to show.
pub(crate) struct EditView<'e> {
    /// What it does.
    pub(crate) outcome: &'e Outcome,
    /// The id of the record after it.
    pub(crate) id: &'e str,
    /// The id of the revision that it adds.
    pub(crate) revision: Option<&'e str>,
    /// The earlier id of a record that it renames.
    pub(crate) earlier: Option<&'e str>,
    /// Whether it was written.
    pub(crate) written: bool,
}

impl EditView<'_> {
    /// The points and amounts that it changes.
    fn headlines(&self) -> Vec<Headline> {
        let outcome = self.outcome;
        let mut all = outcome.delta.headlines(outcome.base(), &outcome.after);
        // A difference too small to be shown is none.
        all.retain(|line| !delta::headline_shown(line)[2].is_empty() || line.before.is_some() != line.after.is_some());
        all
    }

    /// The texts that have the earlier id in them: `id.key`.
    fn mentions(&self) -> Vec<String> {
        let loaded = &self.outcome.after.loaded;
        let all = self.earlier.map(|earlier| mentions(loaded, earlier)).unwrap_or_default();
        all.iter().map(|found| format!("{}.{}", loaded.record(found.record).id, found.route.join("."))).collect()
    }
}

/// The text for the terminal.
pub(crate) fn terminal(view: &EditView<'_>, ink: Ink) -> String {
    let outcome = view.outcome;
    let mut out = String::new();
    if outcome.files.is_empty() {
        out.push_str("no change: the records have this value already\n");
        return out;
    }
    let paths = Paths::new(&outcome.after.loaded);
    changed_lines(&mut out, &outcome.files, &paths, ink);
    effect(&mut out, view, ink);
    new_and_fixed(&mut out, view, &paths, ink);
    let mentions = view.mentions();
    if let (Some(earlier), false) = (view.earlier, mentions.is_empty()) {
        let text = format!("`{earlier}` is still in {}: {}", count(mentions.len(), "text"), mentions.join(", "));
        ink.block(&mut out, "", 0, &text);
        out.push('\n');
    }
    let files = count(outcome.files.len(), "file");
    if view.written {
        let _ = writeln!(out, "{files} written");
    } else {
        let _ = writeln!(out, "nothing written (`--dry-run`): {files} to change");
    }
    out
}

fn changed_lines(out: &mut String, files: &[EditedFile], paths: &Paths, ink: Ink) {
    let mut left = MOST_CHANGES;
    let all: usize = files.iter().map(|file| file.lines.len()).sum();
    for file in files {
        for change in file.lines.iter().take(left) {
            let _ =
                writeln!(out, "{}", ink.strong(&format!("{}:{}", clean(&paths.shown(&file.file.path)), change.line)));
            for line in &change.before {
                let _ = writeln!(out, "  - {}", clean(line));
            }
            for line in &change.after {
                let _ = writeln!(out, "  + {}", clean(line));
            }
        }
        left = left.saturating_sub(file.lines.len());
    }
    if all > MOST_CHANGES {
        let _ = writeln!(out, "and {} more changes: `--format json` lists all", all - MOST_CHANGES);
    }
    out.push('\n');
}

/// The points, amounts and numbers of findings that differ.
fn effect(out: &mut String, view: &EditView<'_>, ink: Ink) {
    let mut table = Table::new(&[("", false), ("before", true), ("after", true), ("change", true)]);
    let mut rows = 0;
    for line in view.headlines() {
        let [before, after, change] = delta::headline_shown(&line);
        let name = delta::headline_name(&line, &view.outcome.after);
        table.row(vec![strong(name), plain(before), plain(after), strong(change)]);
        rows += 1;
    }
    let [old, new] = view.outcome.delta.counts;
    for (at, level) in LEVELS.iter().enumerate().filter(|(at, _)| old[*at] != new[*at]) {
        let change = new[at] as i64 - old[at] as i64;
        let texts = [old[at], new[at]].map(|number| plain(number.to_string()));
        let [before, after] = texts;
        table.row(vec![plain(format!("{}s", level.word())), before, after, strong(format!("{change:+}"))]);
        rows += 1;
    }
    if rows > 0 {
        out.push_str(&table.text(ink));
        out.push('\n');
    }
}

fn new_and_fixed(out: &mut String, view: &EditView<'_>, paths: &Paths, ink: Ink) {
    let delta = &view.outcome.delta;
    if !delta.new.is_empty() {
        let _ = writeln!(out, "{}", ink.strong(&format!("new findings ({})", delta.new.len())));
        for finding in &delta.new {
            terminal::finding(out, finding, paths, ink);
        }
        if delta.new.iter().any(|finding| finding.level == Level::Error) {
            let stopping = delta.stopping(delta.stops.commit).count();
            let _ = writeln!(out, "{}", terminal::stopping(stopping, "commit"));
        }
        out.push('\n');
    }
    if !delta.fixed.is_empty() {
        let _ = writeln!(out, "{}", ink.strong(&format!("fixed findings ({})", delta.fixed.len())));
        for finding in &delta.fixed {
            delta::fixed(out, finding, ink);
        }
        out.push('\n');
    }
    let changes = FindingChanges { delta, head: &view.outcome.after };
    changes.worse(out, ink);
    changes.better(out, ink);
}

/// A file of an edit for JSON.
pub(super) fn file_json(file: &EditedFile) -> Value {
    let line = |change: &ChangedLines| json!({"line": change.line, "before": change.before, "after": change.after});
    json!({
        "path": file.file.path,
        "created": file.file.before.is_none(),
        "changes": file.lines.iter().map(line).collect::<Vec<_>>(),
    })
}

/// The JSON answer: version 1, stable.
pub(crate) fn json(view: &EditView<'_>) -> Value {
    let EditView { outcome, id, revision, earlier, written } = view;
    let delta = &outcome.delta;
    let headlines = view.headlines();
    let both = |line: &Headline| {
        let in_unit = |si: Option<f64>| json_number(si.map(|si| line.unit.from_si(si)));
        json!({"before": in_unit(line.before), "after": in_unit(line.after), "unit": line.unit.to_string()})
    };
    let points = headlines.iter().find(|line| matches!(line.of, HeadlineOf::Points(_))).map(both);
    let amounts: serde_json::Map<String, Value> = headlines
        .iter()
        .filter_map(|line| match &line.of {
            HeadlineOf::Amount(name) => Some((name.clone(), both(line))),
            HeadlineOf::Points(_) => None,
        })
        .collect();
    let mut answer = json!({
        "version": 1,
        "id": id,
        "written": written,
        "files": outcome.files.iter().map(file_json).collect::<Vec<_>>(),
        "points": points,
        "amounts": amounts,
        "new": findings(&delta.new, &outcome.after.loaded),
        "fixed": findings(&delta.fixed, &outcome.base().loaded),
        "unchanged": delta.unchanged.len(),
        "stops": delta.stopping(delta.stops.commit).map(trace::Finding::fingerprint).collect::<Vec<_>>(),
    });
    if let Some(revision) = revision {
        answer["revision"] = json!(revision);
    }
    if let Some(earlier) = earlier {
        answer["earlier"] = json!(earlier);
        answer["mentions"] = json!(view.mentions());
    }
    answer
}
