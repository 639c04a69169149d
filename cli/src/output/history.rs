//! The output of `history`: what every commit changed, and the value and limit over time. Authors are omitted.

use std::fmt::Write as _;

use schema::quantity::Unit;
use schema::words::shorten;
use serde_json::{Value, json};
use trace::CommitIndex;
use trace::history::commit_state::PastValue;
use trace::history::story::HistoryRow;
use trace::history::{History, RecordHistory};

use super::spark::{blocks, last_of_each, values_a_bar};
use super::table::{Table, faint, plain, strong};
use super::values::number;
use crate::screen::{Ink, count, width};

/// What `history` shows.
pub(crate) struct Story<'h> {
    pub(crate) history: &'h History,
    /// The record; `None` for an amount of the car.
    pub(crate) record: Option<&'h RecordHistory>,
    pub(crate) name: &'h str,
    pub(crate) amount: Option<&'h str>,
    pub(crate) events: Vec<HistoryRow>,
    pub(crate) line: Vec<(CommitIndex, PastValue)>,
    pub(crate) note: Option<String>,
    /// Which commits are missing in the line.
    pub(crate) not_evaluated: Option<String>,
}

/// The width of the labels of the charts.
const LABEL: usize = 8;

/// What the marks below the charts mean.
const CHANGED: &str = "limit changed";

/// The charts: the value and each end of the limit, with the first and the last number.
fn charts(story: &Story<'_>, ink: Ink, out: &mut String) {
    let past: Vec<&PastValue> = story.line.iter().map(|(_, past)| past).collect();
    let Some(last) = past.last() else { return };
    let unit = Unit::parse(&last.unit).unwrap_or_else(|_| Unit::dimensionless());
    let finite = |number: Option<f64>| number.filter(|number| number.is_finite());
    let rows: [(&str, Vec<Option<f64>>); 3] = [
        ("value", past.iter().map(|past| finite(past.value)).collect()),
        ("at most", past.iter().map(|past| finite(past.limit?.at_most)).collect()),
        ("at least", past.iter().map(|past| finite(past.limit?.at_least)).collect()),
    ];
    let numbers = || rows.iter().flat_map(|(_, row)| row.iter().flatten().copied());
    let (low, high) = numbers().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)));
    let ends = |row: &[Option<f64>]| {
        let mut there = row.iter().flatten();
        let first = *there.next()?;
        let last = there.next_back().copied().unwrap_or(first);
        let (from, to) = (unit.show(first, 0.0), unit.show(last, 0.0));
        Some(if first == last { to } else { format!("{from} → {to}") })
    };
    let ends: Vec<Option<String>> = rows.iter().map(|(_, row)| ends(row)).collect();
    let others = ends.iter().flatten().map(|text| width(text)).max().unwrap_or(0).max(width(CHANGED));
    let a_bar = values_a_bar(past.len(), ink.room().saturating_sub(LABEL + 2 + 2 + others).max(10));
    for ((name, row), ends) in rows.iter().zip(&ends) {
        let Some(ends) = ends else { continue };
        let bars = blocks(&last_of_each(row, a_bar), low, high);
        let _ = writeln!(out, "{}  {bars}  {ends}", ink.faint(&format!("{name:>LABEL$}")));
    }
    // A small change may be invisible on the scale.
    let limit = |at: usize| past.get(at).and_then(|past| past.limit);
    let changed: Vec<bool> =
        (0..past.len()).map(|at| at > 0 && limit(at - 1).is_some() && limit(at) != limit(at - 1)).collect();
    if changed.contains(&true) {
        let marks: String = changed.chunks(a_bar).map(|bar| if bar.contains(&true) { '↑' } else { ' ' }).collect();
        let _ = writeln!(out, "{:LABEL$}  {marks}  {CHANGED}", "");
    }
    if a_bar > 1 {
        let text = format!("each bar: the last of {a_bar} commits; `--format json` lists all");
        let _ = writeln!(out, "{:LABEL$}  {}", "", ink.faint(&text));
    }
    if let Some(status) = last.status {
        let _ = writeln!(out, "{}  {}", ink.faint("     now"), status.word());
    }
    out.push('\n');
}

/// The text for the terminal.
pub(crate) fn terminal(story: &Story<'_>, ink: Ink) -> String {
    let mut out = String::new();
    let head = match (story.record, story.amount) {
        (Some(record), Some(amount)) => {
            format!("{}  ({amount} of a {})", ink.strong(&format!("{}.{amount}", record.id)), record.kind)
        }
        (Some(record), None) => format!("{}  ({})", ink.strong(&record.id), record.kind),
        (None, _) => ink.strong(story.name),
    };
    out.push_str(&head);
    if let Some(record) = story.record.filter(|record| !record.older_ids.is_empty()) {
        let _ = write!(out, ", formerly {}", record.older_ids.join(", "));
    }
    out.push_str("\n\n");
    charts(story, ink, &mut out);
    let is_read = story.events.iter().any(|event| event.source.is_some());
    let mut heads = vec![("day", false), ("commit", false), ("change", false), ("before", false), ("after", false)];
    heads.extend(is_read.then_some(("read from", false)));
    let mut table = Table::new(&heads).spare(&[1]);
    let mut last = None;
    let mut cut = 0;
    for event in &story.events {
        let own = &story.history.commits[event.commit];
        // Each commit is shown once.
        let (day, commit) = match last.replace(event.commit) == Some(event.commit) {
            true => (String::new(), String::new()),
            false => (own.day.to_string(), own.short().to_owned()),
        };
        // A reason is a sentence, which would make the table too wide.
        let mut short = |text: &Option<String>| match text.as_deref() {
            Some(text) if text.chars().count() > 44 => {
                cut += 1;
                text.chars().take(43).chain(['…']).collect()
            }
            other => other.map(shorten).unwrap_or_default(),
        };
        let written =
            event.branch_commit.as_ref().map(|commit| format!(", written on {} in {}", commit.day, commit.short()));
        let source = event.source.as_ref().map(|source| match &source.column {
            Some(column) => format!("{}, {}", shorten(&source.file), shorten(column)),
            None => shorten(&source.file),
        });
        let mut row = vec![
            plain(day),
            faint(commit),
            strong(format!("{}{}", event.what, written.unwrap_or_default())),
            plain(short(&event.before)),
            plain(short(&event.after)),
        ];
        row.extend(is_read.then(|| plain(source.unwrap_or_default())));
        table.row(row);
    }
    out.push_str(&table.text(ink));
    if cut > 0 {
        let text = format!(
            "{} cut at `…`: `--format json` has all of {}",
            count(cut, "text"),
            if cut == 1 { "it" } else { "them" }
        );
        let _ = writeln!(out, "\n{}", ink.faint(&text));
    }
    let unread = story.history.unreadable_versions.len();
    if unread > 0 {
        let text = format!("{} of record files could not be read and were skipped", count(unread, "version"));
        let _ = writeln!(out, "\n{}", ink.faint(&text));
    }
    if let Some(note) = &story.not_evaluated {
        let _ = writeln!(out, "\n{}", ink.faint(note));
    }
    if let Some(note) = &story.note {
        let _ = writeln!(out, "\n{}", ink.faint(&format!("the first commits are missing: {note}")));
    }
    out
}

/// The JSON answer.
pub(crate) fn json(story: &Story<'_>) -> Value {
    let history = story.history;
    let commit =
        |step: CommitIndex| json!({"commit": history.commits[step].id, "day": history.commits[step].day.to_string()});
    let with = |step: CommitIndex, more: Value| {
        let mut all = commit(step);
        if let (Value::Object(all), Value::Object(more)) = (&mut all, more) {
            all.extend(more);
        }
        all
    };
    let changes: Vec<Value> = story
        .events
        .iter()
        .map(|event| {
            let id = event.record.as_deref().or(story.record.map(|record| &*record.id));
            let more = json!({
                "record": id,
                "what": event.what,
                "before": event.before,
                "after": event.after,
                "source": event.source.as_ref().map(|source| json!({"file": source.file, "column": source.column})),
                "branch_commit": event.branch_commit.as_ref().map(|at| json!({"commit": at.id, "day": at.day.to_string()})),
            });
            with(event.commit, more)
        })
        .collect();
    let line: Vec<Value> = story
        .line
        .iter()
        .map(|(step, past)| {
            let unit = Unit::parse(&past.unit).unwrap_or_else(|_| Unit::dimensionless());
            let shown = |si: Option<f64>| number(si.map(|si| unit.from_si(si)));
            let more = json!({
                "value": shown(past.value),
                "unit": past.unit,
                "si": number(past.value),
                "uncertainty": number(past.value.map(|_| past.uncertainty / unit.factor())),
                "limit": past.limit.map(|limit| super::values::limit_json(&limit, &unit)),
                "status": past.status.map(trace::values::Status::word),
                "origin": past.origin,
            });
            with(*step, more)
        })
        .collect();
    json!({
        "version": 1,
        "id": story.record.map_or(story.name, |record| &*record.id),
        "kind": story.record.map(|record| record.kind.singular()),
        "older_ids": story.record.map(|record| record.older_ids.iter().map(|id| &**id).collect::<Vec<_>>()).unwrap_or_default(),
        "added": story.record.map(|record| commit(record.added)),
        "removed": story.record.and_then(|record| record.removed).map(commit),
        "shallow": history.shallow,
        "unreadable_versions": history.unreadable_versions.len(),
        "note": story.not_evaluated,
        "changes": changes,
        "values": line,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_are_on_one_scale() {
        assert_eq!(blocks(&[Some(0.0), None, Some(7.0), Some(3.0)], 0.0, 7.0), "▁ █▄");
        assert_eq!(blocks(&[Some(2.0)], 2.0, 2.0), "▅");
    }
}
