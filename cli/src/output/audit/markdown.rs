//! The audit as Markdown, from the template of the project if it has one.

use schema::number;
use serde_json::{Value, json};
use trace::Error;
use trace::audit::{ScoreCause, Verdict, groups};
use trace::values::Spread;

use super::{AuditView, json, numbers, terminal};
use crate::output::check::off_text;
use crate::output::numbers::{margin, percent, quantity};
use crate::output::points::points_of;
use crate::output::template::{self, Escape};

/// The data for the templates: the JSON answer, and its numbers as text.
pub(crate) fn context(view: &AuditView<'_>) -> Value {
    let mut context = json(view);
    let share = |value: Option<f64>| value.map(|value| number::percent(value, 1)).unwrap_or_default();
    let points = |value: Option<f64>| value.map(|value| format!("{value:.1}")).unwrap_or_default();
    let predicted = |value: Option<f64>, spread: Option<&Spread>| value.and(spread).map(points_of).unwrap_or_default();
    let change = |from: Option<f64>, to: Option<f64>| {
        from.zip(to).map(|(from, to)| number::signed(to - from, 1)).unwrap_or_default()
    };
    let goals: Vec<Value> = view
        .audit
        .goals
        .iter()
        .map(|goal| {
            let split = view.split(goal);
            let events: Vec<Value> = goal
                .events
                .iter()
                .zip(&split.events)
                .map(|(event, split)| {
                    let scored = event.scored.map(|(points, _)| points);
                    json!({"plan": points(event.plan), "predicted": predicted(event.predicted, event.spread.as_ref()),
                           "scored": points(scored), "to_plan": change(event.plan, scored),
                           "to_predicted": change(event.predicted, scored), "split": split})
                })
                .collect();
            let scored = goal.scored();
            json!({"verdict": terminal::verdict(view, goal), "events": events, "plan": points(Some(goal.plan)),
                   "predicted": predicted(goal.predicted, goal.spread.as_ref()), "scored": points(scored),
                   "to_plan": change(Some(goal.plan), scored), "to_predicted": change(goal.predicted, scored),
                   "causes": split.causes.iter().copied().map(ScoreCause::words).collect::<Vec<_>>(),
                   "split": split.total, "about_split": AuditView::about_split(&split)})
        })
        .collect();
    let targets: Vec<Value> = view
        .audit
        .targets
        .iter()
        .map(|target| {
            let unit = view.study.values().unit(target.status.node);
            let measured = target.measured();
            let estimate = target.estimate.map(|(si, uncertainty, _)| quantity(si, uncertainty, unit));
            json!({"estimate": estimate.unwrap_or_default(),
                   "result": measured.map(|si| quantity(si, target.measured_uncertainty(), unit)).unwrap_or_default(),
                   "outcome": target.verdict.words(),
                   "margin": measured.and_then(|_| margin(&target.status, unit)).unwrap_or_default(),
                   "unrecorded": target.unrecorded(),
                   "limits": target.limits.iter().map(|step| &step.text).collect::<Vec<_>>()})
        })
        .collect();
    let groups: Vec<Value> = groups(&view.audit.pairs)
        .iter()
        .map(|group| {
            json!({"bias": percent(group.bias), "spread": share(group.spread), "allowance_90": share(group.allowance),
                   "allowance_used": share(view.used(group)), "inside": numbers::inside_of(group)})
        })
        .collect();
    context["shown"] = json!({
        "goals": goals,
        "targets": targets,
        "groups": groups,
        "verdicts": Verdict::ALL.map(Verdict::words),
        "counts": view.counts(),
        "qualified": view.qualified(),
        "inside": view.inside(),
        "met": view.count(Verdict::Met),
        "met_uncertain": view.count(Verdict::MetUncertain),
        "met_after_change": view.count(Verdict::MetAfterChange),
        "missed": view.count(Verdict::Missed),
        "missed_uncertain": view.count(Verdict::MissedUncertain),
        "never_verified": view.count(Verdict::NeverVerified),
        "not_due": view.count(Verdict::NotDue),
        "off": off_text(view.study.past(), &view.off),
    });
    context
}

/// The audit for a wiki or a forge.
pub(crate) fn markdown(view: &AuditView<'_>) -> Result<String, Error> {
    let shipped = include_str!("../../../../templates/audit.md");
    template::render("audit.md", shipped, view.template, Escape::Markdown, &context(view))
}
