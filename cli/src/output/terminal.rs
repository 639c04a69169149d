//! The output of `check` for the terminal: each finding with its position first, then what is wrong, the chain to the
//! goal, and the fix.

use std::fmt::Write as _;

use schema::settings::Level;
use trace::filters::{counts_by_check, worst_last};
use trace::finding::LEVELS;
use trace::since::{Cause, Since};
use trace::snapshot::{Source, short_id};
use trace::{Finding, Study};

use super::check::{CheckView, off_text};
use super::numbers::percent;
use super::points::{needs, sum, without_value};
use super::{Paths, incomplete_numbers};
use crate::screen::{Ink, clean, count};

/// The width of the labels.
const COLUMN: usize = 7;

/// On a terminal, more findings of one check than this are counted.
const MOST_OF_CHECK: usize = 10;

/// The output of `check`: what is worst comes last, because the end stays on the screen.
pub(crate) fn check(view: &CheckView<'_>, ink: Ink) -> String {
    let mut out = String::new();
    if let Some(day) = view.last_commit {
        let command = clean(&format!("{} --on {day}", view.command));
        let _ = writeln!(out, "the last commit is of {day}: `{command}` checks the records as of that date\n");
    }
    if let Some(next) = view.next.as_ref().filter(|_| view.filters.is_empty()) {
        out.push_str(&next.terminal(ink));
    }
    if view.summary {
        counts(&mut out, view, ink);
    } else {
        findings(&mut out, view, ink);
    }
    summary(&mut out, view, ink);
    points_and_budgets(&mut out, view.study, ink);
    out
}

/// One line for each check: level, number of findings, name.
fn counts(out: &mut String, view: &CheckView<'_>, ink: Ink) {
    let counts = counts_by_check(&view.report.findings);
    let wide = counts.iter().map(|(.., count)| count.to_string().len()).max().unwrap_or_default();
    for (check, level, count) in &counts {
        let pad = " ".repeat(COLUMN.saturating_sub(level.word().len()));
        let _ = writeln!(out, "{pad}{}  {count:>wide$}  {}", ink.level(*level), check.name);
    }
    if !counts.is_empty() {
        out.push('\n');
    }
}

/// All findings; on a terminal, the first ones of each check.
fn findings(out: &mut String, view: &CheckView<'_>, ink: Ink) {
    let paths = Paths::new(&view.study.loaded);
    for of_check in worst_last(&view.report.findings) {
        let Some(name) = of_check.first().map(|finding| finding.check.name) else { continue };
        let counted = ink.is_terminal() && !view.filters.names(name);
        let most = if counted { MOST_OF_CHECK } else { usize::MAX };
        for finding in of_check.iter().take(most) {
            self::finding(out, finding, &paths, ink);
            if let Some(Ok(since)) = &view.since {
                let since = since.get(&finding.fingerprint());
                ink.block(out, "since", COLUMN, &since_text(since, view.due.is_some()));
            }
            out.push('\n');
        }
        if let Some(more) = of_check.len().checked_sub(most).filter(|more| *more > 0) {
            ink.block(out, "", COLUMN, &format!("and {more} more: {} --only {name}", view.command));
            out.push('\n');
        }
    }
}

/// Since when a finding is open; of those that are due, some are not open yet.
fn since_text(since: Option<&Since>, due: bool) -> String {
    let Some(since) = since else { return if due { "not open yet" } else { "unknown" }.to_owned() };
    match (since.cause, &since.commit) {
        (Cause::Commit, Some(commit)) => format!("{}, commit {}", since.day, short_id(commit)),
        (Cause::Uncommitted, _) => "not committed yet".to_owned(),
        (Cause::Commit | Cause::Date, _) => format!("{}, when the date was reached", since.day),
    }
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

fn summary(out: &mut String, view: &CheckView<'_>, ink: Ink) {
    let CheckView { study, report, older, .. } = view;
    let (loaded, records) = (&study.loaded, study.loaded.entries.len());
    let what = match &loaded.snapshot.source {
        Source::Worktree => "in the working tree".to_owned(),
        Source::Index => "in the index (staged)".to_owned(),
        Source::Nothing => "before the first commit".to_owned(),
        Source::Revision { commit, .. } => format!("in commit {}", short_id(commit)),
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
    if let Some(next) = view.next.as_ref().filter(|next| !next.delta.uncovered.is_empty()) {
        let number = |level| next.delta.uncovered.iter().filter(|finding| finding.level == level).count();
        let [errors, warnings, notes] = LEVELS.map(|level| count(number(level), level.word()));
        let _ = writeln!(out, "uncovered: {errors}   {warnings}   {notes}");
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
    let mut filters = view.filters.words();
    filters.extend(view.due.map(|date| format!("due: until {date}")));
    if !filters.is_empty() {
        let (shown, all, filters) = (report.findings.len(), count(view.unfiltered, "finding"), filters.join("; "));
        let _ = writeln!(out, "{shown} of {all} shown ({})", clean(&filters));
    }
    if let Some(since) = study.settings().history.since() {
        let future = if since > study.day { ", which is in the future" } else { "" };
        let _ = writeln!(out, "history checks start after {since}{future} (`history: since`)");
    }
    if let Some(text) = off_text(study.past(), &view.off) {
        let _ = writeln!(out, "{text}");
    }
    if let Some(Err(why)) = &view.since {
        let _ = writeln!(out, "since when findings are open is unknown: {}", clean(why));
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
        let Some(sum) = sum(goal) else { continue };
        let word = if study.is_scored(goal) { "scored" } else { "predicted" };
        let missing = without_value(&study.loaded, goal.events.len(), &goal.without_value)
            .map(|text| format!(" ({text})"))
            .unwrap_or_default();
        let mut text = format!("{sum} {word}{missing}, {:.1} planned", goal.plan);
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
