//! The output of `delta` for the terminal: the headline, then new and fixed findings, changed limits and values.

use std::fmt::Write as _;

use schema::settings::Level;
use trace::{Finding, RecordId};

use super::super::table::{Table, plain, strong};
use super::{DeltaView, causes, headline_shown, limits, renames, state_name};
use crate::output::broken::notes;
use crate::output::{Paths, terminal};
use crate::screen::{Ink, clean, count};

/// The largest number of records to list by name, for each kind of change.
const MOST_RECORDS: usize = 12;

/// The note on an error that stops nothing.
pub(super) const BY_RESULT: &str = "does not stop the request: a new result shows it";

/// The text for the terminal.
pub(crate) fn terminal(view: &DeltaView<'_>, ink: Ink) -> String {
    let mut out = String::new();
    heading(&mut out, view, ink);
    if view.delta.is_empty() {
        out.push_str("no difference\n");
        return out;
    }
    headline(&mut out, view, ink);
    let findings = view.changes();
    findings.rules(&mut out, ink);
    renames::section(&mut out, view, ink);
    new_findings(&mut out, view, ink);
    findings.worse(&mut out, ink);
    findings.uncovered(&mut out, ink);
    let (waived, gone): (Vec<_>, Vec<_>) = view.delta.fixed.iter().partition(|finding| finding.waiver.is_some());
    without_position(&mut out, ink, "fixed findings", &gone);
    without_position(&mut out, ink, "findings that a waiver now accepts", &waived);
    findings.better(&mut out, ink);
    findings.postponed(&mut out, ink);
    changes(&mut out, view, ink);
    records(&mut out, view, ink);
    out
}

fn heading(out: &mut String, view: &DeltaView<'_>, ink: Ink) {
    let [old, new] = view.loaded();
    let how = view.found.how.as_ref().map(|how| format!(" ({how})")).unwrap_or_default();
    let _ = writeln!(out, "from {}{how} to {}; {}", state_name(old), state_name(new), view.date());
    for study in [view.base, view.head] {
        for text in notes(study) {
            ink.block(out, "", 0, &format!("{}: {text}", state_name(&study.loaded)));
        }
    }
    if view.found.shallow {
        out.push_str(&ink.faint("the clone is shallow: older commits are missing"));
        out.push('\n');
    }
    out.push('\n');
}

fn headline(out: &mut String, view: &DeltaView<'_>, ink: Ink) {
    let mut table = Table::new(&[("", false), ("before", true), ("after", true), ("change", true)]);
    for line in view.headlines() {
        let [before, after, change] = headline_shown(&line);
        table.row(vec![strong(view.headline_name(&line)), plain(before), plain(after), strong(change)]);
    }
    for (level, [before, after]) in ["errors", "warnings", "notes"].into_iter().zip(view.counts()) {
        let change = after as i64 - before as i64;
        let change = if change == 0 { String::new() } else { format!("{change:+}") };
        table.row(vec![plain(level), plain(before.to_string()), plain(after.to_string()), strong(change)]);
    }
    out.push_str(&table.text(ink));
    out.push('\n');
}

/// The new findings, and which of them stop the request.
fn new_findings(out: &mut String, view: &DeltaView<'_>, ink: Ink) {
    let delta = view.delta;
    if delta.new.is_empty() {
        return;
    }
    let _ = writeln!(out, "{}", ink.strong(&format!("new findings ({})", delta.new.len())));
    let paths = Paths::new(view.loaded()[1]);
    for (finding, by_result) in delta.new.iter().zip(&delta.by_result) {
        terminal::finding(out, finding, &paths, ink);
        if *by_result && finding.level == Level::Error {
            ink.block(out, "", 7, BY_RESULT);
        }
    }
    let errors = delta.new.iter().filter(|finding| finding.level == Level::Error).count();
    let stopping = delta.stopping(delta.stops.request).count();
    if stopping < errors {
        let _ = writeln!(out, "{}", terminal::stopping(stopping, "request"));
    }
    out.push('\n');
}

/// Findings of the base under a heading.
fn without_position(out: &mut String, ink: Ink, name: &str, findings: &[&Finding]) {
    if findings.is_empty() {
        return;
    }
    let _ = writeln!(out, "{}", ink.strong(&format!("{name} ({})", findings.len())));
    for finding in findings {
        fixed(out, finding, ink);
    }
    out.push('\n');
}

/// A fixed finding, without its position and fix.
pub(crate) fn fixed(out: &mut String, finding: &Finding, ink: Ink) {
    let what = finding.record.as_deref().unwrap_or(&finding.path);
    let waived = finding.waiver.as_ref().map(|waiver| format!(" (waived by {waiver})")).unwrap_or_default();
    let line = format!("{}: {}{waived}", clean(what), finding.message);
    ink.block(out, finding.level.word(), 7, &format!("{}  {line}", finding.check.name));
}

fn changes(out: &mut String, view: &DeltaView<'_>, ink: Ink) {
    limits::section(out, view, ink);
    let status_changes = view.status_changes();
    if !status_changes.is_empty() {
        let _ = writeln!(out, "{}", ink.strong("targets with a new status"));
        for (id, before, after) in status_changes {
            let _ = writeln!(out, "  {id}  {before} → {after}");
        }
        out.push('\n');
    }
    causes::section(out, view, ink);
    causes::edits_section(out, view, ink);
}

fn records(out: &mut String, view: &DeltaView<'_>, ink: Ink) {
    let (delta, [old, new]) = (view.delta, view.loaded());
    let named = |loaded: &trace::Loaded, index: RecordId| {
        let record = loaded.record(index);
        format!("{} {}", record.kind(), record.id)
    };
    let mut list = |what: &str, names: Vec<String>| {
        if names.is_empty() {
            return;
        }
        let more = names.len().saturating_sub(MOST_RECORDS);
        let mut text = names.into_iter().take(MOST_RECORDS).collect::<Vec<_>>().join(", ");
        if more > 0 {
            let _ = write!(text, " and {more} more");
        }
        ink.block(out, what, 8, &text);
    };
    list("added", delta.added.iter().map(|index| named(new, *index)).collect());
    list("removed", delta.removed.iter().map(|index| named(old, *index)).collect());
    let rename = |(from, to): &(RecordId, RecordId)| format!("{} → {}", named(old, *from), new.record(*to).id);
    list("renamed", delta.renamed.iter().map(rename).collect());
    list("edited", delta.edited.iter().map(|(_, index)| named(new, *index)).collect());
    let unchanged = delta.unchanged.len();
    if unchanged > 0 {
        let _ = writeln!(out, "{}", ink.faint(&format!("{} unchanged", count(unchanged, "finding"))));
    }
}
