//! The audit for the terminal: first whether the goal was reached, then why.

use std::fmt::Write as _;

use schema::number;
use schema::settings::Level;
use trace::audit::{AtRiskPeriod, GoalScore, PeriodEnd, TargetAudit, Verdict, groups};
use trace::values::Spread;

use super::super::check::off_text;
use super::super::numbers::{margin, percent, quantity};
use super::super::pictures::{from_study, terminal as bars};
use super::super::points::{needs, points_of};
use super::super::spark;
use super::super::table::{Paint, Table, plain, strong};
use super::super::values::limit_text;
use super::AuditView;
use super::numbers::{change, signed};
use crate::screen::{Ink, clean, count, width};

/// The text for the terminal.
pub(crate) fn terminal(view: &AuditView<'_>, ink: Ink) -> String {
    let mut out = String::new();
    if let Some(note) = &view.note {
        ink.block(&mut out, "", 0, note);
        out.push('\n');
    }
    if let Some(text) = view.no_goal() {
        ink.block(&mut out, "", 0, text);
        out.push('\n');
    }
    for goal in &view.audit.goals {
        self::goal(&mut out, view, goal, ink);
    }
    targets(&mut out, view, ink);
    limit_moves(&mut out, view, ink);
    decisions(&mut out, view, ink);
    verification(&mut out, view, ink);
    predictions(&mut out, view, ink);
    season(&mut out, view, ink);
    rest(&mut out, view, ink);
    ink.block(&mut out, "", 0, &view.made_by());
    out
}

fn goal(out: &mut String, view: &AuditView<'_>, goal: &GoalScore, ink: Ink) {
    let _ = writeln!(out, "{}", ink.strong(&clean(view.title(goal.index))));
    ink.block(out, "", 0, &view.verdict(goal));
    if let Some(text) = view.beside(goal) {
        ink.block(out, "", 0, &text);
    }
    out.push('\n');
    if goal.events.is_empty() {
        return;
    }
    why(out, view, goal, ink);
    let mut table = Table::new(&[
        ("event", false),
        ("plan", true),
        ("predicted", true),
        ("scored", true),
        ("vs plan", true),
        ("vs predicted", true),
    ]);
    let points = |value: Option<f64>| value.map(|value| number::fixed(value, 1)).unwrap_or_default();
    let predicted = |value: Option<f64>, spread: Option<&Spread>| value.and(spread).map(points_of).unwrap_or_default();
    for event in &goal.events {
        let scored = event.scored.map(|(points, _)| points);
        table.row(vec![
            strong(view.id(event.index)),
            plain(points(event.plan)),
            plain(predicted(event.predicted, event.spread.as_ref())),
            plain(points(scored)),
            plain(change(event.plan, event.latest())),
            plain(change(event.predicted, scored)),
        ]);
    }
    let scored = goal.scored();
    table.row(vec![
        plain("total"),
        plain(points(Some(goal.plan))),
        plain(predicted(goal.predicted, goal.spread.as_ref())),
        plain(points(scored)),
        plain(change(Some(goal.plan), scored.or(goal.predicted))),
        plain(change(goal.predicted, scored)),
    ]);
    out.push_str(&table.text(ink));
    out.push('\n');
    let bars = bars::waterfall(&from_study::waterfall(view.study, goal, needs), 80, ink);
    if !bars.is_empty() {
        out.push_str(&bars);
        out.push('\n');
    }
    split(out, view, goal, ink);
}

/// Why the goal was missed, or may be: the events short of their plan, and the targets behind them.
fn why(out: &mut String, view: &AuditView<'_>, goal: &GoalScore, ink: Ink) {
    let Some(text) = view.why_missed(goal) else { return };
    ink.block(out, "why:", 4, &text);
    for event in goal.short_events() {
        let points = signed(event.shown_vs_plan());
        let cause = view.cause(event);
        let because = if event.scored.is_some() && !cause.is_empty() { format!(": {cause}") } else { String::new() };
        ink.block(out, "", 0, &format!("{} {points}{because}", view.id(event.index)));
        for target in &event.behind {
            ink.block(out, "", 2, &view.effect(target));
        }
    }
    out.push('\n');
}

/// Why the scores differ from the predictions.
fn split(out: &mut String, view: &AuditView<'_>, goal: &GoalScore, ink: Ink) {
    let split = view.split(goal);
    if split.causes.is_empty() {
        return;
    }
    let mut heads = vec![("scored - predicted", false)];
    heads.extend(split.causes.iter().map(|cause| (cause.words(), true)));
    heads.push(("in total", true));
    let mut table = Table::new(&heads);
    let cells = |cells: &[String], total: Option<f64>| {
        cells.iter().cloned().chain([signed(total)]).map(plain).collect::<Vec<_>>()
    };
    for (event, row) in goal.events.iter().zip(&split.events) {
        let name = strong(view.id(event.index));
        table.row(std::iter::once(name).chain(cells(row, event.shown_difference())).collect());
    }
    table.row(std::iter::once(plain("total")).chain(cells(&split.total, goal.shown_difference())).collect());
    out.push_str(&table.text(ink));
    ink.block(out, "", 0, &AuditView::about_split(&split));
    out.push('\n');
}

fn targets(out: &mut String, view: &AuditView<'_>, ink: Ink) {
    if view.audit.targets.is_empty() {
        ink.block(out, "", 0, "no target: add one under `targets:`");
        out.push('\n');
        return;
    }
    let _ = writeln!(out, "{}", ink.strong(&format!("targets: {}", view.counts())));
    if let Some(text) = view.qualified() {
        ink.block(out, "", 0, &text);
    }
    let mut table = Table::new(&[
        ("target", false),
        ("limit", true),
        ("estimate", true),
        ("result", true),
        ("margin", true),
        ("method", false),
        ("limit changes", false),
    ])
    .spare(&[5, 2]);
    for verdict in Verdict::ALL {
        let paint = match verdict {
            Verdict::Missed => Paint::Level(Level::Error),
            Verdict::NeverVerified | Verdict::MissedUncertain | Verdict::MetUncertain | Verdict::MetAfterChange => {
                Paint::Level(Level::Warning)
            }
            Verdict::NotDue | Verdict::Met => Paint::Faint,
        };
        let mut targets = view.audit.targets.iter().filter(|target| target.verdict == verdict).peekable();
        if targets.peek().is_some() {
            table.row(vec![(verdict.words().to_owned(), paint)]);
        }
        targets.for_each(|one| table.row(target(view, one)));
    }
    out.push_str(&table.text(ink));
    let late = view.audit.targets.iter().filter(|target| target.after_result());
    let late: Vec<&str> = late.map(|target| view.id(target.status.index)).collect();
    if !late.is_empty() {
        ink.block(out, "", 0, &format!("limits set or changed after a result: {}", late.join(", ")));
    }
    for (met, what) in
        [(true, "the first limit, before it was loosened, is met too"), (false, "met only by the loosened limit")]
    {
        let is_met = |target: &&TargetAudit| target.verdict.is_met() && target.first_limit_met == Some(met);
        let loosened = view.audit.targets.iter().filter(is_met);
        let list: Vec<String> = loosened.filter_map(|target| first_limit(view, target)).collect();
        if !list.is_empty() {
            ink.block(out, "", 0, &format!("{what}: {}", list.join(", ")));
        }
    }
    out.push('\n');
}

fn target(view: &AuditView<'_>, target: &TargetAudit) -> Vec<(String, Paint)> {
    let status = &target.status;
    let unit = view.study.values().unit(status.node);
    let limit = limit_text(&view.study.loaded, status.index);
    // If the limit has the unit, the other numbers do not need it.
    let own = view.study.loaded.target(status.index);
    let is_in_limit = own.is_some_and(|own| own.limit().last().is_some_and(|(_, limit)| limit.unit() == unit));
    let number = |si: f64, uncertainty: f64| match is_in_limit {
        true => unit.show_number(si, uncertainty),
        false => quantity(si, uncertainty, unit),
    };
    let measured = target.measured();
    vec![
        strong(format!("  {}", view.id(status.index))),
        plain(limit),
        plain(target.estimate.map(|(si, uncertainty, _)| number(si, uncertainty)).unwrap_or_default()),
        plain(measured.map(|si| number(si, target.measured_uncertainty())).unwrap_or_default()),
        plain(measured.and_then(|_| margin(status, unit)).unwrap_or_default()),
        plain(view.methods(status.index).join(", ")),
        limit_changes(target),
    ]
}

/// A target with its first limit.
fn first_limit(view: &AuditView<'_>, target: &TargetAudit) -> Option<String> {
    Some(format!("{} ({})", view.id(target.status.index), target.limits.first()?.words.text()))
}

/// The changes of the limit, as text.
fn limit_changes(target: &TargetAudit) -> (String, Paint) {
    match (target.unrecorded(), target.revisions.len()) {
        (0, 0) => plain(""),
        (0, revisions) => plain(count(revisions, "revision")),
        (unrecorded, _) => (format!("{unrecorded} without revision"), Paint::Level(Level::Warning)),
    }
}

/// The limits that changed, one line per change.
pub(super) fn limit_moves(out: &mut String, view: &AuditView<'_>, ink: Ink) {
    let moves = &view.audit.limit_moves;
    if moves.is_empty() {
        return;
    }
    let _ = writeln!(out, "{}", ink.strong(&format!("limits changed: {}", moves.len())));
    /// The width of a date.
    const DATE: usize = 10;
    for moved in moves {
        let day = moved.day.map(|day| day.to_string()).unwrap_or_default();
        ink.block(out, &day, DATE, &view.limit_move(moved));
    }
    out.push('\n');
}

/// The decisions: what was known then, the ranking then and now, and what the measurements say.
fn decisions(out: &mut String, view: &AuditView<'_>, ink: Ink) {
    if view.decisions.is_empty() {
        return;
    }
    let _ = writeln!(out, "{}", ink.strong("decisions"));
    for own in &view.decisions {
        let title = format!("{}: {}", view.title_and_id(own.index), view.choice(own));
        ink.block(out, "", 0, &title);
        let then = own.then.as_ref().and_then(|then| then.as_ref().ok());
        let mut line = |label: &str, text: &str| ink.block(out, label, 9, text);
        if let Some(text) = AuditView::without_numbers(own) {
            line("caution", &text);
        }
        if let Some(text) = view.known_then(own) {
            line("known", &text);
        }
        for (label, ranking) in [("then", then), ("now", own.now.as_ref())] {
            let Some(ranking) = ranking else { continue };
            let all = ranking.alternatives.iter().filter_map(|alternative| {
                let points = alternative.points.as_ref()?;
                Some(format!("{} {:.1}", alternative.name, points.mean))
            });
            let all: Vec<String> = all.collect();
            if !all.is_empty() {
                line(label, &format!("{} points; {}", all.join(", "), AuditView::significance(ranking)));
            }
        }
        if own.analyses.iter().any(|one| one.after == Some(true)) {
            line("later", &view.analyses(own, true));
        }
        if let Some(text) = view.measurements(own) {
            line("measured", &text);
        }
    }
    out.push('\n');
}

fn verification(out: &mut String, view: &AuditView<'_>, ink: Ink) {
    if view.audit.verified.iter().all(|line| line.planned == 0) {
        ink.block(out, "", 0, "no record has a planned verification");
        out.push('\n');
        return;
    }
    let mut table = Table::new(&[
        ("verification", false),
        ("planned", true),
        ("passed", true),
        ("uncertain", true),
        ("failed", true),
        ("no result", true),
    ]);
    for line in &view.audit.verified {
        let number = |number: usize| plain(number.to_string());
        let cells = [line.planned, line.passed, line.uncertain, line.failed, line.without_result()].map(number);
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
        ("predictions", false),
        ("basis", false),
        ("pairs", true),
        ("bias", true),
        ("spread", true),
        ("inside interval", true),
        ("allowance for 9 of 10", true),
        ("allowance used", true),
    ]);
    for group in &groups {
        let share = |value: Option<f64>| value.map(|value| number::percent(value, 1)).unwrap_or_default();
        table.row(vec![
            strong(group.quantity.clone()),
            plain(group.basis.clone()),
            plain(group.size.to_string()),
            plain(percent(group.bias)),
            plain(share(group.spread)),
            plain(super::numbers::inside_of(group)),
            plain(share(group.allowance)),
            plain(share(view.used(group))),
        ]);
    }
    out.push_str(&table.text(ink));
    let text = "bias: mean of result / estimate, minus 1; spread: sample standard deviation of result / estimate; fewer than ten pairs give no allowance";
    ink.block(out, "", 0, text);
    if let Some(text) = view.inside() {
        ink.block(out, "", 0, &text);
    }
    out.push('\n');
}

fn season(out: &mut String, view: &AuditView<'_>, ink: Ink) {
    let Some(season) = view.season else { return };
    let (Some(first), Some(last)) = (season.timeline.first(), season.timeline.last()) else { return };
    let text = format!("the season: {} from {} to {}", count(season.commits, "commit"), first.day, last.day);
    let _ = writeln!(out, "{}", ink.strong(&text));
    let moments = season.complete(view.study);
    let mut rows = Vec::new();
    let mut names: Vec<&String> = last.amounts.keys().collect();
    names.sort();
    for name in names {
        let Some(node) = view.study.values().named(&format!("car.{name}")) else { continue };
        let unit = view.study.values().unit(node);
        let values: Vec<Option<f64>> = moments.iter().map(|moment| moment.amounts.get(name).copied()).collect();
        rows.extend(Curve::new(format!("car.{name}"), values, |si| unit.show(si, 0.0)));
    }
    // Without a value of each event, the points of a commit are those of some events.
    for goal in view.audit.goals.iter().filter(|goal| goal.predicted.is_some()) {
        let id = view.id(goal.index);
        let values: Vec<Option<f64>> = moments.iter().map(|moment| moment.points.get(id).copied()).collect();
        rows.extend(Curve::new(id.to_owned(), values, |si| format!("{} pts", number::fixed(si, 1))));
    }
    if !rows.is_empty() && moments.len() > 1 {
        out.push_str(&curves(&rows, ink).text(ink));
    }
    ink.block(out, "", 0, &view.about_curves());
    out.push('\n');
}

/// A value over the season: its name, the first and the last number as text, and all.
struct Curve {
    texts: [String; 3],
    values: Vec<Option<f64>>,
}

impl Curve {
    /// The curve of a value; `None` if it had no number.
    fn new(name: String, values: Vec<Option<f64>>, show: impl Fn(f64) -> String) -> Option<Self> {
        let mut known = values.iter().flatten();
        let first = *known.next()?;
        let last = known.next_back().copied().unwrap_or(first);
        Some(Self { texts: [name, show(first), show(last)], values })
    }
}

/// The curves as a table, with charts as wide as the terminal allows.
fn curves(rows: &[Curve], ink: Ink) -> Table {
    /// The largest width of a chart.
    const MOST: usize = 52;
    const HEADS: [&str; 3] = ["", "first", "last"];
    let widest = |at: usize| rows.iter().map(|row| width(&row.texts[at])).chain([HEADS[at].len()]).max().unwrap_or(0);
    let others: usize = (0..HEADS.len()).map(|at| widest(at) + 2).sum();
    let room = ink.room().saturating_sub(others).clamp(10, MOST);
    let heads = [(HEADS[0], false), (HEADS[1], true), (HEADS[2], true), ("over the season", false)];
    let mut table = Table::new(&heads).drawn(&[3]);
    for Curve { texts, values } in rows {
        let [name, first, last] = texts.clone();
        let bars = spark::last_of_each(values, spark::values_a_bar(values.len(), room));
        table.row(vec![strong(name), plain(first), plain(last), plain(spark::line(&bars))]);
    }
    table
}

/// How many periods at risk were resolved, and how many were not, by how they ended.
fn period_counts(periods: &[AtRiskPeriod]) -> String {
    let number = |is_wanted: &dyn Fn(&AtRiskPeriod) -> bool| periods.iter().filter(|period| is_wanted(period)).count();
    let mut parts = vec![format!("{} resolved", number(&AtRiskPeriod::is_resolved))];
    for end in [PeriodEnd::Missed, PeriodEnd::Uncertain, PeriodEnd::LimitChanged, PeriodEnd::NoValue] {
        let ended = number(&|period| period.ended(end));
        parts.extend((ended > 0).then(|| format!("{ended} {}", end.words())));
    }
    parts.push(format!("{} unresolved", number(&|period| period.end.is_none())));
    parts.join(", ")
}

fn rest(out: &mut String, view: &AuditView<'_>, ink: Ink) {
    let audit = view.audit;
    if !audit.unproven.is_empty() {
        let text = format!(
            "safety-critical without a passed test, demonstration or inspection: {} of {}",
            audit.unproven.len(),
            audit.safety_critical
        );
        let _ = writeln!(out, "{}", ink.strong(&text));
        let mut table = Table::new(&[("record", false), ("kind", false), ("lead", false), ("missing", false)]);
        for one in &audit.unproven {
            table.row(vec![
                strong(format!("  {}", view.id(one.index))),
                plain(view.study.loaded.kind(one.index).singular()),
                plain(view.study.graph.lead(one.index).unwrap_or_default()),
                plain(view.lacks(one)),
            ]);
        }
        out.push_str(&table.text(ink));
        out.push('\n');
    }
    if !audit.at_risk_periods.is_empty() {
        let text = format!("at-risk periods: {}", period_counts(&audit.at_risk_periods));
        let _ = writeln!(out, "{}", ink.strong(&text));
        let mut table = Table::new(&[("target", false), ("at risk from", false), ("length", true), ("end", false)]);
        let (unresolved, resolved): (Vec<_>, Vec<_>) =
            audit.at_risk_periods.iter().partition(|period| !period.is_resolved());
        for period in unresolved.into_iter().chain(resolved) {
            let end = match period.end {
                Some((day, PeriodEnd::LimitChanged)) => format!("limit changed on {day} without a revision"),
                Some(_) | None => AuditView::end_of(period),
            };
            let days = usize::try_from(period.days(audit.day)).unwrap_or(0);
            let paint = if period.is_resolved() { Paint::Plain } else { Paint::Level(Level::Warning) };
            table.row(vec![
                strong(format!("  {}", view.id(period.index))),
                plain(period.since.to_string()),
                plain(count(days, "day")),
                (end, paint),
            ]);
        }
        out.push_str(&table.text(ink));
        out.push('\n');
    }
    if let Some(text) = off_text(view.study.past(), &view.off) {
        ink.block(out, "", 0, &text);
        out.push('\n');
    }
    let lessons = view.next_season();
    if !lessons.is_empty() {
        let _ = writeln!(out, "{}", ink.strong("for next season"));
        for text in lessons {
            ink.block(out, "-", 1, &text);
        }
    }
}
