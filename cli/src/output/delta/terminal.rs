//! The output of `delta` for the terminal: the headline, then new and fixed findings, changed limits and values.

use std::fmt::Write as _;

use schema::number;
use schema::settings::Level;
use trace::{Finding, RecordId};

use super::super::table::{Paint, Table, plain, strong};
use super::{DeltaView, shown, state_name};
use crate::output::{Paths, incomplete, terminal};
use crate::screen::{Ink, clean, count};

/// The largest number of causes to list; the rest are counted.
const MOST_CAUSES: usize = 12;
/// The largest number of records to list by name, for each kind of change.
const MOST_RECORDS: usize = 12;

/// The text for the terminal.
pub(crate) fn terminal(view: &DeltaView<'_>, ink: Ink) -> String {
    let mut out = String::new();
    heading(&mut out, view, ink);
    if view.delta.is_empty() {
        out.push_str("no difference\n");
        return out;
    }
    headline(&mut out, view, ink);
    let [old, new] = view.loaded();
    section(&mut out, view, ink, "new findings", &view.delta.new, new);
    section(&mut out, view, ink, "fixed findings", &view.delta.fixed, old);
    changes(&mut out, view, ink);
    records(&mut out, view, ink);
    out
}

fn heading(out: &mut String, view: &DeltaView<'_>, ink: Ink) {
    let [old, new] = view.loaded();
    let how = view.found.how.as_ref().map(|how| format!(" ({how})")).unwrap_or_default();
    let _ = writeln!(out, "from {}{how} to {}; {}", state_name(old), state_name(new), view.date());
    for loaded in [old, new] {
        if let Some(text) = incomplete(loaded) {
            ink.block(out, "", 0, &format!("{}: {text}", state_name(loaded)));
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
        let [before, after, change] = shown(line.before, line.after, &line.unit);
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

fn section(out: &mut String, view: &DeltaView<'_>, ink: Ink, name: &str, findings: &[Finding], loaded: &trace::Loaded) {
    if findings.is_empty() {
        return;
    }
    let _ = writeln!(out, "{}", ink.strong(&format!("{name} ({})", findings.len())));
    let paths = Paths::new(loaded);
    for finding in findings {
        if std::ptr::eq(findings, view.delta.new.as_slice()) {
            terminal::finding(out, finding, &paths, ink);
        } else {
            fixed(out, finding, ink);
        }
    }
    out.push('\n');
}

/// A fixed finding, without its position and fix.
fn fixed(out: &mut String, finding: &Finding, ink: Ink) {
    let what = finding.record.as_deref().unwrap_or(&finding.path);
    let waived = finding.waiver.as_ref().map(|waiver| format!(" (waived by {waiver})")).unwrap_or_default();
    let line = format!("{}: {}{waived}", clean(what), finding.message);
    ink.block(out, finding.level.word(), 7, &format!("{}  {line}", finding.check.name));
}

fn changes(out: &mut String, view: &DeltaView<'_>, ink: Ink) {
    let delta = view.delta;
    if !delta.limits.is_empty() {
        let _ = writeln!(out, "{}", ink.strong("changed limits"));
        let mut table = Table::new(&[("  target", false), ("before", true), ("after", true), ("revision", false)]);
        for limit in &delta.limits {
            let (id, [before, after], revision) = view.limit(limit);
            let recorded = match revision {
                Some(revision) => plain(revision),
                None => ("no revision".to_owned(), Paint::Level(Level::Warning)),
            };
            table.row(vec![strong(format!("  {id}")), plain(before), plain(after), recorded]);
        }
        out.push_str(&table.text(ink));
        out.push('\n');
    }
    let status_changes = view.status_changes();
    if !status_changes.is_empty() {
        let _ = writeln!(out, "{}", ink.strong("targets with a new status"));
        for (id, before, after) in status_changes {
            let _ = writeln!(out, "  {id}  {before} → {after}");
        }
        out.push('\n');
    }
    if !delta.causes.is_empty() {
        let changes = count(delta.values.len(), "value");
        let _ = writeln!(out, "{}", ink.strong(&format!("values: {changes} changed; causes")));
        for cause in delta.causes.iter().take(MOST_CAUSES) {
            let (name, unit) = view.value(&cause.value);
            let [before, after, _] = shown(cause.value.before, cause.value.after, unit);
            let points =
                cause.points.map(|points| format!("   about {} pts", number::signed(points, 2))).unwrap_or_default();
            let _ = writeln!(out, "  {}  {before} → {after}{points}", ink.strong(&clean(&name)));
            let affects = view.affects(cause);
            if !affects.is_empty() {
                ink.block(out, "affects", 9, &affects.join(" → "));
            }
        }
        if delta.causes.len() > MOST_CAUSES {
            let more = delta.causes.len() - MOST_CAUSES;
            let _ = writeln!(out, "  and {more} more causes; `--format json` lists all");
        }
        out.push('\n');
    }
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
