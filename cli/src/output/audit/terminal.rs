//! The audit for people at a terminal: did we meet it, and then why.

use std::fmt::Write as _;

use schema::settings::Level;
use trace::audit::{GoalScore, TargetAudit, Verdict, groups};

use super::super::numbers::{margin, percent, quantity};
use super::super::table::{Paint, Table, plain, strong};
use super::super::values::limit_text;
use super::AuditView;
use crate::screen::{Ink, clean, count};

/// For people.
pub(crate) fn terminal(view: &AuditView<'_>, ink: Ink) -> String {
    let mut out = String::new();
    if let Some(note) = &view.note {
        ink.block(&mut out, "", 0, note);
        out.push('\n');
    }
    for goal in &view.audit.goals {
        self::goal(&mut out, view, goal, ink);
    }
    targets(&mut out, view, ink);
    verification(&mut out, view, ink);
    predictions(&mut out, view, ink);
    season(&mut out, view, ink);
    rest(&mut out, view, ink);
    out
}

/// The answer in one sentence.
pub(super) fn verdict(goal: &GoalScore) -> String {
    let (so_far, events) = goal.so_far();
    let takes = goal.needed.as_ref().ok().map(|needed| match needed.years[..] {
        [] => format!("{:.1} are the goal", needed.points),
        _ => format!("the place takes {:.1} by past fields", needed.points),
    });
    match (goal.reached(), takes) {
        (Some(true), Some(takes)) => format!("reached with {so_far:.1} points; {takes}"),
        (Some(false), Some(takes)) => format!("not reached with {so_far:.1} points; {takes}"),
        (_, Some(takes)) if events == 0 => format!("not raced yet; {takes}"),
        (_, None) if events == 0 => "not raced yet".to_owned(),
        (_, takes) => {
            let takes = takes.map(|takes| format!("; {takes}")).unwrap_or_default();
            format!("{so_far:.1} points from {events} of {} events{takes}", goal.events.len())
        }
    }
}

fn goal(out: &mut String, view: &AuditView<'_>, goal: &GoalScore, ink: Ink) {
    let _ = writeln!(out, "{}", ink.strong(&clean(view.title(goal.index))));
    ink.block(out, "", 0, &verdict(goal));
    out.push('\n');
    let mut table = Table::new(&[
        ("event", false),
        ("plan", true),
        ("predicted", true),
        ("scored", true),
        ("to plan", true),
        ("to predicted", true),
    ]);
    let points = |value: Option<f64>| value.map(|value| format!("{value:.1}")).unwrap_or_default();
    let change = |from: Option<f64>, to: Option<f64>| {
        from.zip(to).map(|(from, to)| format!("{:+.1}", to - from)).unwrap_or_default()
    };
    let predicted = |value: Option<f64>, uncertainty: f64| {
        value.map(|value| super::super::points::points(value, uncertainty)).unwrap_or_default()
    };
    for event in &goal.events {
        let scored = event.scored.map(|(points, _)| points);
        table.row(vec![
            strong(view.id(event.index)),
            plain(points(event.plan)),
            plain(predicted(event.predicted, event.uncertainty)),
            plain(points(scored)),
            plain(change(event.plan, scored)),
            plain(change(event.predicted, scored)),
        ]);
    }
    let scored = goal.scored();
    table.row(vec![
        plain("sum"),
        plain(points(Some(goal.plan))),
        plain(predicted(goal.predicted, goal.uncertainty)),
        plain(points(scored)),
        plain(change(Some(goal.plan), scored)),
        plain(change(goal.predicted, scored)),
    ]);
    out.push_str(&table.text(ink));
    out.push('\n');
}

fn targets(out: &mut String, view: &AuditView<'_>, ink: Ink) {
    let [met, missed, never, not_due] = view.verdicts();
    let mut text = format!("targets: {met} met, {missed} missed, {never} never verified");
    if not_due > 0 {
        let _ = write!(text, ", {not_due} not due yet");
    }
    let _ = writeln!(out, "{}", ink.strong(&text));
    let mut table = Table::new(&[
        ("target", false),
        ("limit", true),
        ("estimate", true),
        ("result", true),
        ("margin", true),
        ("by", false),
        ("moved", false),
    ])
    .spare(&[5, 2]);
    for verdict in Verdict::ALL {
        let paint = match verdict {
            Verdict::Missed => Paint::Level(Level::Error),
            Verdict::NeverVerified => Paint::Level(Level::Warning),
            Verdict::NotDue | Verdict::Met => Paint::Faint,
        };
        let mut of_it = view.audit.targets.iter().filter(|target| target.verdict == verdict).peekable();
        if of_it.peek().is_some() {
            table.row(vec![(verdict.words().to_owned(), paint)]);
        }
        of_it.for_each(|one| table.row(target(view, one)));
    }
    out.push_str(&table.text(ink));
    let late = view.audit.targets.iter().filter(|target| target.after_result());
    let late: Vec<&str> = late.map(|target| view.id(target.status.index)).collect();
    if !late.is_empty() {
        ink.block(out, "", 0, &format!("limits that were set or moved after a result: {}", late.join(", ")));
    }
    out.push('\n');
}

fn target(view: &AuditView<'_>, target: &TargetAudit) -> Vec<(String, Paint)> {
    let status = &target.status;
    let unit = view.study.values().unit(status.node);
    let limit = limit_text(view.study.values(), status);
    // The limit has the unit; once a line is enough.
    let own = format!(" {unit}");
    let bare = |text: String| match text.strip_suffix(&own) {
        Some(number) if limit.ends_with(&own) => number.to_owned(),
        _ => text,
    };
    let measured = target.measured();
    vec![
        strong(format!("  {}", view.id(status.index))),
        plain(limit.clone()),
        plain(target.estimate.map(|(si, spread, _)| bare(quantity(si, spread, unit))).unwrap_or_default()),
        plain(measured.map(|si| bare(quantity(si, 0.0, unit))).unwrap_or_default()),
        plain(measured.and_then(|_| margin(status, unit)).unwrap_or_default()),
        plain(view.methods(status.index).join(", ")),
        moved(target),
    ]
}

/// How the limit moved.
fn moved(target: &TargetAudit) -> (String, Paint) {
    match (target.unrecorded(), target.revisions.len()) {
        (0, 0) => plain(""),
        (0, revisions) => plain(count(revisions, "revision")),
        (unrecorded, _) => (format!("{unrecorded} unrecorded"), Paint::Level(Level::Warning)),
    }
}

fn verification(out: &mut String, view: &AuditView<'_>, ink: Ink) {
    let mut table = Table::new(&[
        ("verification by", false),
        ("planned", true),
        ("closed", true),
        ("failed", true),
        ("open", true),
    ]);
    for line in &view.audit.verified {
        let number = |number: usize| plain(number.to_string());
        let cells = [line.planned, line.passed, line.failed, line.without_result()].map(number);
        table.row(std::iter::once(strong(line.method.word())).chain(cells).collect());
    }
    out.push_str(&table.text(ink));
    out.push('\n');
}

fn predictions(out: &mut String, view: &AuditView<'_>, ink: Ink) {
    let groups = groups(&view.audit.pairs);
    if groups.is_empty() {
        return;
    }
    let mut table = Table::new(&[
        ("predictions of", false),
        ("by", false),
        ("pairs", true),
        ("bias", true),
        ("spread", true),
        ("covers 9 of 10", true),
        ("allowed", true),
    ]);
    for group in &groups {
        let share = |value: Option<f64>| value.map(|value| format!("{:.1} %", value * 100.0)).unwrap_or_default();
        table.row(vec![
            strong(group.quantity.clone()),
            plain(group.basis.clone()),
            plain(group.size.to_string()),
            plain(percent(group.bias)),
            plain(share(group.spread)),
            plain(share(group.allowance)),
            plain(share(view.used(group))),
        ]);
    }
    out.push_str(&table.text(ink));
    let text = "bias: mean of result over estimate less one; spread: its sample standard deviation; fewer than ten pairs tell no allowance";
    ink.block(out, "", 0, text);
    out.push('\n');
}

fn season(out: &mut String, view: &AuditView<'_>, ink: Ink) {
    let Some(season) = view.season else { return };
    let (Some(first), Some(last)) = (season.timeline.first(), season.timeline.last()) else { return };
    let text = format!("the season: {} from {} to {}", count(season.commits, "commit"), first.day, last.day);
    let _ = writeln!(out, "{}", ink.strong(&text));
    let mut table = Table::new(&[("", false), ("first", true), ("last", true), ("over the season", false)]);
    let mut names: Vec<&String> = last.amounts.keys().collect();
    names.sort();
    for name in names {
        let Some(node) = view.study.values().named(&format!("car.{name}")) else { continue };
        let unit = view.study.values().unit(node);
        let values: Vec<Option<f64>> = season.timeline.iter().map(|moment| moment.amounts.get(name).copied()).collect();
        row(&mut table, &format!("car.{name}"), &values, |si| unit.show(si, 0.0));
    }
    for goal in &view.audit.goals {
        let id = view.id(goal.index);
        let values: Vec<Option<f64>> = season.timeline.iter().map(|moment| moment.points.get(id).copied()).collect();
        row(&mut table, id, &values, |si| format!("{si:.1} pts"));
    }
    out.push_str(&table.text(ink));
    out.push('\n');
}

fn row(table: &mut Table, name: &str, values: &[Option<f64>], show: impl Fn(f64) -> String) {
    let known = || values.iter().flatten();
    let (Some(first), Some(last)) = (known().next(), known().next_back()) else { return };
    /// A line of a terminal holds no more beside the name and two numbers.
    const MOST: usize = 52;
    let slots = values.chunks(values.len().div_ceil(MOST).max(1));
    let ends: Vec<Option<f64>> = slots.map(|slot| slot.iter().rev().copied().flatten().next()).collect();
    table.row(vec![strong(name), plain(show(*first)), plain(show(*last)), plain(super::super::spark::line(&ends))]);
}

fn rest(out: &mut String, view: &AuditView<'_>, ink: Ink) {
    let audit = view.audit;
    if !audit.at_risk_periods.is_empty() {
        let open = audit.at_risk_periods.iter().filter(|one| !one.is_resolved()).count();
        let text = format!("loops: {} closed, {open} open", audit.at_risk_periods.len() - open);
        let _ = writeln!(out, "{}", ink.strong(&text));
        let mut table = Table::new(&[("target", false), ("at risk from", false), ("until", false)]);
        let (open, closed): (Vec<_>, Vec<_>) = audit.at_risk_periods.iter().partition(|one| !one.is_resolved());
        for one in open.into_iter().chain(closed) {
            let end = match one.until {
                None => "still open".to_owned(),
                Some(day) if one.measured => format!("measured on {day}"),
                Some(day) if one.is_resolved() && one.revised => format!("revised on {day}"),
                Some(day) if one.revised => format!("limit moved on {day}, not on record"),
                Some(day) => format!("brought back on {day}"),
            };
            let paint = if one.is_resolved() { Paint::Plain } else { Paint::Level(Level::Warning) };
            table.row(vec![strong(format!("  {}", view.id(one.index))), plain(one.since.to_string()), (end, paint)]);
        }
        out.push_str(&table.text(ink));
        out.push('\n');
    }
    let carry = view.next_season();
    if !carry.is_empty() {
        let _ = writeln!(out, "{}", ink.strong("to carry over"));
        for text in carry {
            ink.block(out, "-", 1, &text);
        }
    }
}
