//! The targets that are at risk or missed, the most points first.

use serde_json::{Value, json};
use trace::values::{Status, TargetStatus};

use super::{PageView, in_days};
use crate::output::numbers::{margin, spread};
use crate::output::values::limit_text;
use crate::screen::count;

/// How far a status is from being met, for the order.
fn rank(status: Status) -> u8 {
    match status {
        Status::Missed => 0,
        Status::AtRisk => 1,
        Status::Uncertain => 2,
        Status::NoValue | Status::OnTarget | Status::Met => 3,
    }
}

/// The targets to talk about, with the points between their value and their limit.
pub(super) fn section(view: &PageView<'_>) -> Vec<Value> {
    let study = view.study;
    let values = study.values();
    let sensitivities = study.goals().first().map(|goal| values.worth_of_all(goal.node));
    let points = |target: &TargetStatus| sensitivities.as_ref().and_then(|all| values.points_to_limit(target, all));
    let mut all: Vec<(&TargetStatus, Option<f64>)> = study
        .target_statuses()
        .iter()
        .filter(|target| target.status.is_short())
        .map(|target| (target, points(target)))
        .collect();
    let lost = |points: Option<f64>| points.map_or(0.0, |points| points.max(0.0));
    all.sort_by(|(a, points_a), (b, points_b)| {
        let by_points = lost(*points_b).total_cmp(&lost(*points_a));
        let by_margin = || a.margin.unwrap_or(0.0).total_cmp(&b.margin.unwrap_or(0.0));
        by_points.then(rank(a.status).cmp(&rank(b.status))).then_with(by_margin).then(a.index.cmp(&b.index))
    });
    all.into_iter().map(|(target, points)| row(view, target, points)).collect()
}

/// What the points and the chance would be if every target at risk or missed were at its limit, as a sentence.
pub(super) fn if_met(view: &PageView<'_>) -> Option<String> {
    let own = view.study.if_met()?;
    let points = schema::number::signed(own.points, 1);
    if schema::number::is_shown_as_zero(own.points, 1) {
        return None;
    }
    let (now, then) = own.chances?;
    let [now, then] = [now, then].map(schema::number::chance);
    let chance = if now == then { format!("the chance stays {now}") } else { format!("the chance {now} → {then}") };
    Some(format!("With each of them at its limit: {points} points, {chance}."))
}

/// The unresolved periods at risk, the longest first, at most three.
pub(super) fn longest(view: &PageView<'_>) -> Vec<Value> {
    let mut open: Vec<_> = view.audit.at_risk_periods.iter().filter(|period| period.end.is_none()).collect();
    open.sort_by_key(|period| (period.since, period.index));
    let one = |period: &&trace::audit::AtRiskPeriod| {
        let days = period.since.days_until(view.study.day).unsigned_abs() as usize;
        json!({"target": view.link(period.index), "days": count(days, "day"), "since": period.since.to_string()})
    };
    open.iter().take(3).map(one).collect()
}

fn row(view: &PageView<'_>, target: &TargetStatus, points: Option<f64>) -> Value {
    let study = view.study;
    let values = study.values();
    let unit = values.unit(target.node);
    let periods = view.audit.at_risk_periods.iter();
    let since =
        periods.filter(|period| period.index == target.index && period.end.is_none()).map(|own| own.since).next();
    let next = study.planned(target.index).into_iter().filter(|planned| planned.is_open);
    let next = next.filter_map(|planned| Some((planned.plan.due?, planned.plan.by))).min_by_key(|(due, _)| *due);
    json!({
        "target": view.link(target.index),
        "status": target.status.word(),
        "class": super::records::class_of(target.status),
        "value": values.spread(target.node).map(|own| spread(&own, unit)),
        "limit": limit_text(&study.loaded, target.index),
        "margin": margin(target, unit),
        "points": points.map(|points| schema::number::signed(points, 1)),
        "since": since.map(|day| day.to_string()),
        "for": since.map(|day| in_days(study.day.days_until(day))),
        "lead": study.graph.lead(target.index),
        "safety": study.loaded.record(target.index).safety_critical(),
        "next_day": next.map(|(due, _)| due.to_string()),
        "next": next.map(|(due, by)| format!("{} {due}{}", by.word(), if due < study.day { ", overdue" } else { "" })),
    })
}
