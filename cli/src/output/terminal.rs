//! The output of `check` for the terminal: each finding with its position first, then what is wrong, the chain to the
//! goal, and the fix.

use std::fmt::Write as _;

use schema::settings::Level;
use trace::delta::ExistingFindings;
use trace::finding::LEVELS;
use trace::snapshot::Source;
use trace::{Finding, Report, Study};

use super::numbers::percent;
use super::points::{needs, points};
use super::{Paths, incomplete_numbers};
use crate::screen::{Ink, clean, count};

/// The width of the labels.
const COLUMN: usize = 7;

/// The output of `check`.
pub(crate) fn check(study: &Study, report: &Report, older: Option<&ExistingFindings>, ink: Ink) -> String {
    let mut out = String::new();
    let paths = Paths::new(&study.loaded);
    for finding in &report.findings {
        self::finding(&mut out, finding, &paths, ink);
        out.push('\n');
    }
    summary(&mut out, study, report, older, ink);
    points_and_budgets(&mut out, study, ink);
    out
}

/// One finding with its position, its chain and its fix.
pub(crate) fn finding(out: &mut String, finding: &Finding, paths: &Paths, ink: Ink) {
    let pad = " ".repeat(COLUMN.saturating_sub(finding.level.word().len()));
    let path = clean(&paths.shown(&finding.path));
    let position = format!("{path}:{}:{}", finding.spot.line, finding.spot.column);
    let level = ink.level(finding.level);
    let _ = writeln!(out, "{pad}{level}  {}  {}", ink.strong(&position), finding.check.name);
    ink.block(out, "", COLUMN, &finding.message);
    if !finding.chain.is_empty() {
        ink.block(out, "chain", COLUMN, &finding.chain.join(" → "));
    }
    ink.block(out, "fix", COLUMN, &finding.help);
}

fn summary(out: &mut String, study: &Study, report: &Report, older: Option<&ExistingFindings>, ink: Ink) {
    let (loaded, records) = (&study.loaded, study.loaded.entries.len());
    let what = match &loaded.snapshot.source {
        Source::Worktree => "in the working tree".to_owned(),
        Source::Index => "in the index (staged)".to_owned(),
        Source::Nothing => "before the first commit".to_owned(),
        Source::Revision { commit, .. } => format!("in commit {}", commit.get(..10).unwrap_or(commit)),
    };
    let stage = study.stage.word();
    let _ = writeln!(out, "{} {what}; {}, {stage} stage", count(records, "record"), study.day.long());
    if records == 0 {
        let _ = writeln!(out, "no record yet: `tierod explain` lists the kinds of record");
    }
    let mut parts = Vec::new();
    for level in LEVELS {
        let number = report.count(level);
        let text = count(number, level.word());
        parts.push(if number == 0 { ink.faint(&text) } else { ink.on_level(level, &text) });
    }
    parts.push(ink.faint(&format!("{} waived", report.waived.len())));
    let new = if older.is_some() { "new: " } else { "" };
    let _ = writeln!(out, "{new}{}", parts.join("   "));
    if let Some(older) = older.filter(|older| older.stopping < report.count(Level::Error)) {
        let _ = writeln!(out, "{}", stopping(older.stopping, "commit"));
    }
    if let Some(older) = older.filter(|older| older.sum() > 0) {
        let [errors, warnings, notes] = older.counts;
        let (errors, warnings, notes) = (count(errors, "error"), count(warnings, "warning"), count(notes, "note"));
        let text = format!("existing: {errors}   {warnings}   {notes}; `tierod check --staged --all` lists them");
        let _ = writeln!(out, "{}", ink.faint(&text));
    }
    let held_back = report.held_back.len();
    if held_back > 0 {
        let text =
            format!("held back: {} that may only follow from a file that cannot be read", count(held_back, "finding"));
        let _ = writeln!(out, "{text}");
    }
    if let Some(why) = study.past().reason() {
        let _ = writeln!(out, "{}", ink.faint(&clean(&format!("history checks skipped: {why}"))));
    }
}

/// How many of the new errors stop a commit or a request.
pub(super) fn stopping(number: usize, what: &str) -> String {
    match number {
        0 => format!("none of the new errors stops the {what}"),
        1 => format!("1 of the new errors stops the {what}"),
        more => format!("{more} of the new errors stop the {what}"),
    }
}

/// One line of points for each goal, and the tightest budgets.
fn points_and_budgets(out: &mut String, study: &Study, ink: Ink) {
    if let Some(text) = incomplete_numbers(&study.loaded) {
        ink.block(out, "", 0, &text);
        return;
    }
    for goal in study.goals() {
        let Some(predicted) = goal.predicted else { continue };
        let word = if study.is_scored(goal) { "scored" } else { "predicted" };
        let mut text = format!("{} points {word}, {:.1} planned", points(predicted, goal.uncertainty), goal.plan);
        if let Ok(needed) = &goal.needed {
            let _ = write!(text, "; {} {:.1}", needs(&study.loaded, goal.index, needed), needed.points);
            if !needed.years.is_empty() {
                let _ = write!(text, " ({:.0} to {:.0} at 90 %)", needed.low, needed.high);
            }
        }
        let _ = writeln!(out, "{}", ink.strong(&text));
    }
    let tightest: Vec<String> = study
        .tightest_budgets()
        .take(3)
        .map(|(id, margin)| format!("{} {}", study.loaded.record(id).id, percent(margin)))
        .collect();
    if !tightest.is_empty() {
        let _ = writeln!(out, "tightest budgets: {}", tightest.join(", "));
    }
}
