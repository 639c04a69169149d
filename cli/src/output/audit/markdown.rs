//! The audit as Markdown, from the template of the project if it has one.

use std::collections::HashMap;

use schema::number;
use serde_json::{Value, json};
use trace::Error;
use trace::audit::{DecisionReview, EventScore, GoalScore, ScoreCause, Verdict, groups};
use trace::values::Spread;

use super::numbers::{change, signed};
use super::{AuditView, json, numbers};
use crate::output::check::off_text;
use crate::output::numbers::{margin, percent, quantity};
use crate::output::points::points_of;
use crate::output::template::{self, Escape};
use crate::screen::count;

/// The data for the templates: the JSON answer, and its numbers as text.
pub(crate) fn context(view: &AuditView<'_>) -> Value {
    let mut context = json(view);
    let share = |value: Option<f64>| value.map(|value| number::percent(value, 1)).unwrap_or_default();
    let points = |value: Option<f64>| value.map(|value| number::fixed(value, 1)).unwrap_or_default();
    let predicted = |value: Option<f64>, spread: Option<&Spread>| value.and(spread).map(points_of).unwrap_or_default();
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
                           "scored": points(scored), "to_plan": change(event.plan, event.latest()),
                           "to_predicted": change(event.predicted, scored), "split": split,
                           "cause": view.cause(event)})
                })
                .collect();
            let scored = goal.scored();
            let why = view.why_missed(goal);
            json!({"verdict": view.verdict(goal), "raced": !goal.is_before_contest(), "beside": view.beside(goal), "why": why,
                   "short": if why.is_some() { short(view, goal) } else { Vec::new() }, "events": events, "plan": points(Some(goal.plan)),
                   "predicted": predicted(goal.predicted, goal.spread.as_ref()), "scored": points(scored),
                   "to_plan": change(Some(goal.plan), scored.or(goal.predicted)), "to_predicted": change(goal.predicted, scored),
                   "about_rest": view.about_rest(goal), "without_events": goal.events.is_empty(), "causes": split.causes.iter().copied().map(ScoreCause::words).collect::<Vec<_>>(),
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
                   "result_title": target.result.map(|result| view.title(result)),
                   "unrecorded": target.unrecorded(),
                   "limits": target.limits.iter().map(|step| step.words.text()).collect::<Vec<_>>(),
                   "short_outcome": target.verdict.outcome()})
        })
        .collect();
    let groups: Vec<Value> = groups(&view.audit.pairs)
        .iter()
        .map(|group| {
            json!({"bias": percent(group.bias), "spread": share(group.spread), "allowance_90": share(group.allowance),
                   "allowance_used": share(view.used(group)), "inside": numbers::inside_of(group)})
        })
        .collect();
    let audit = view.audit;
    let moves: Vec<Value> = audit
        .limit_moves
        .iter()
        .map(|own| {
            json!({"limits": AuditView::limits_of_move(own), "title": view.title(own.target), "agreed": view.agreed(own), "line": view.limit_move(own)})
        })
        .collect();
    let periods: Vec<Value> = audit
        .at_risk_periods
        .iter()
        .map(|own| {
            let days = usize::try_from(own.days(audit.day)).unwrap_or(0);
            json!({"days": count(days, "day"), "title": view.title(own.index), "end": AuditView::end_of(own), "resolved": own.is_resolved()})
        })
        .collect();
    context["shown"] = json!({
        "made_by": view.made_by(),
        "no_goal": view.no_goal(),
        "raced": audit.goals.iter().any(|goal| !goal.is_before_contest()),
        "figures": view.figures(),
        "evaluated": view.evaluated(),
        "curves": view.about_curves(),
        "moves": moves,
        "periods": periods,
        "unproven": audit.unproven.iter().map(|own| view.lacks(own)).collect::<Vec<_>>(),
        "decisions": view.decisions.iter().map(|own| decision(view, own)).collect::<Vec<_>>(),
        "uncertain": view.uncertain(),
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

/// The events that are short of their plan, as sentences, each with the targets behind it.
fn short(view: &AuditView<'_>, goal: &GoalScore) -> Vec<Value> {
    let one = |event: &EventScore| {
        let points = signed(event.shown_vs_plan());
        let cause = if event.scored.is_some() { view.cause(event) } else { String::new() };
        let behind: Vec<String> = event.behind.iter().map(|own| view.effect(own)).collect();
        json!({"id": view.id(event.index), "points": points, "cause": cause, "behind": behind})
    };
    goal.short_events().into_iter().map(one).collect()
}

/// A decision as text.
fn decision(view: &AuditView<'_>, own: &DecisionReview) -> Value {
    let then = own.then.as_ref().and_then(|then| then.as_ref().ok());
    let now = own.now.as_ref();
    let names = now.or(then).into_iter().flat_map(|ranking| &ranking.alternatives);
    let [ranked_then, ranked_now] = [then, now].map(|ranking| ranking.map(AuditView::ranked));
    let alternatives: Vec<Value> = names
        .map(|one| {
            let text = |all: &Option<HashMap<&str, String>>| {
                let own = |all: &HashMap<&str, String>| all.get(one.name.as_str()).cloned();
                all.as_ref().map(|all| own(all).unwrap_or_else(|| "not in it".to_owned())).unwrap_or_default()
            };
            json!({"name": one.name, "title": one.title, "chosen": one.chosen, "then": text(&ranked_then), "now": text(&ranked_now)})
        })
        .collect();
    let values: Vec<Value> = own
        .values
        .iter()
        .map(|value| {
            let [set, then, now, measured] = AuditView::decision_value(value);
            json!({"name": value.name, "title": view.value_title(value), "set": set, "then": then, "now": now, "measured": measured,
                   "differs": value.differs()})
        })
        .collect();
    json!({
        "choice": view.choice(own),
        "without_numbers": AuditView::without_numbers(own),
        "known": view.known_then(own),
        "points": AuditView::points_then(own),
        "before": view.analyses(own, false),
        "after": own.analyses.iter().any(|one| one.after == Some(true)).then(|| view.analyses(own, true)),
        "alternatives": alternatives,
        "then": then.map(AuditView::significance),
        "now": now.map(AuditView::significance),
        "values": values,
        "measurements": view.measurements(own),
    })
}

/// The audit for a wiki or a forge.
pub(crate) fn markdown(view: &AuditView<'_>) -> Result<String, Error> {
    let shipped = include_str!("../../../../templates/audit.md");
    template::render("audit.md", shipped, view.template, Escape::Markdown, &context(view))
}
