//! The targets that are at risk, missed or uncertain, the most points first.

use std::collections::HashMap;

use schema::{Day, number};
use serde_json::{Value, json};
use trace::RecordId;
use trace::audit::{AtRiskPeriod, PeriodEnd};
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

/// A target to talk about, with what it would add if its value were at its limit.
struct Short<'t> {
    target: &'t TargetStatus,
    points: Option<f64>,
    /// The chance of the first goal then, less the one now.
    chance: Option<f64>,
}

/// The most targets whose effect on the chance is asked.
const MOST_CHANCES: usize = 60;

/// The targets to talk about: those first that would add most to the chance of the goal, or to the points.
pub(super) fn section(view: &PageView<'_>) -> Value {
    let study = view.study;
    let values = study.values();
    let goal = study.goals().first();
    let sensitivities = goal.map(|goal| values.worth_of_all(goal.node));
    let points = |target: &TargetStatus| sensitivities.as_ref().and_then(|all| values.points_to_limit(target, all));
    let now = goal.filter(|goal| !study.is_scored(goal)).and_then(|goal| Some((goal, goal.chance()?)));
    let chance = |target: &TargetStatus| {
        let (goal, now) = now?;
        Some(values.chance_if(goal, &[(target.node, target.limit.only_end()?)])? - now)
    };
    let gain = |by: Option<f64>| by.map_or(0.0, |by| by.max(0.0));
    let short = study.target_statuses().iter().filter(|target| target.status.is_short());
    let mut all: Vec<Short<'_>> = short.map(|target| Short { target, points: points(target), chance: None }).collect();
    // Where they are too many, the chance is asked of those that add most points.
    all.sort_by(|a, b| gain(b.points).total_cmp(&gain(a.points)).then(a.target.index.cmp(&b.target.index)));
    for own in all.iter_mut().filter(|own| own.points.is_some()).take(MOST_CHANCES) {
        own.chance = chance(own.target);
    }
    all.sort_by(|a, b| {
        let by_chance = gain(b.chance).total_cmp(&gain(a.chance));
        let by_points = gain(b.points).total_cmp(&gain(a.points));
        let by_margin = || a.target.margin.unwrap_or(0.0).total_cmp(&b.target.margin.unwrap_or(0.0));
        let by_status = rank(a.target.status).cmp(&rank(b.target.status));
        by_chance.then(by_points).then(by_status).then_with(by_margin).then(a.target.index.cmp(&b.target.index))
    });
    let uncertain = all.iter().filter(|own| own.target.status == Status::Uncertain).count();
    let periods = last_periods(view);
    json!({
        "rows": all.iter().map(|own| row(view, own, periods.get(&own.target.index).copied())).collect::<Vec<_>>(),
        "beyond": all.len() - uncertain,
        "uncertain": uncertain,
        "points": all.iter().any(|own| own.points.is_some()),
        "chance": now.filter(|_| all.iter().any(|own| own.chance.is_some())).map(|(_, now)| number::percent(now, 1)),
    })
}

/// What the points and the chance would be if every target at risk or missed that gains by it were at its limit, as a
/// sentence.
pub(super) fn if_met(view: &PageView<'_>) -> Option<String> {
    let own = view.study.if_met()?;
    let points = number::signed(own.points, 1);
    if number::is_shown_as_zero(own.points, 1) {
        return None;
    }
    let (now, then) = own.chances?;
    let [now, then] = [now, then].map(number::chance);
    let chance = if now == then { format!("the chance stays {now}") } else { format!("the chance {now} → {then}") };
    Some(format!("If every target that gains points by it were at its limit: {points} points, {chance}."))
}

/// The unresolved periods at risk, the longest first, at most three.
pub(super) fn longest(view: &PageView<'_>) -> Vec<Value> {
    let mut open: Vec<_> = view.audit.at_risk_periods.iter().filter(|period| period.end.is_none()).collect();
    open.sort_by_key(|period| (period.since, period.index));
    let one = |period: &&AtRiskPeriod| {
        let days = days(period, view.study.day);
        json!({"target": view.link(period.index), "days": days, "since": period.since.to_string()})
    };
    open.iter().take(3).map(one).collect()
}

/// How long a period lasted: `27 days`.
fn days(period: &AtRiskPeriod, today: Day) -> String {
    count(period.days(today).unsigned_abs() as usize, "day")
}

/// The last period at risk of each target, also if a result ended it without meeting the limit.
fn last_periods<'v>(view: &'v PageView<'_>) -> HashMap<RecordId, &'v AtRiskPeriod> {
    let mut last: HashMap<RecordId, &AtRiskPeriod> = HashMap::new();
    for period in &view.audit.at_risk_periods {
        let known = last.entry(period.index).or_insert(period);
        if known.since <= period.since {
            *known = period;
        }
    }
    last
}

fn row(view: &PageView<'_>, own: &Short<'_>, period: Option<&AtRiskPeriod>) -> Value {
    let (study, target) = (view.study, own.target);
    let values = study.values();
    let unit = values.unit(target.node);
    let period = period.filter(|own| matches!(own.end, None | Some((_, PeriodEnd::Missed | PeriodEnd::Uncertain))));
    let lasted = period.map(|own| match own.end {
        None => in_days(study.day.days_until(own.since)),
        // How it ended is the status.
        Some(_) => format!("for {}", days(own, study.day)),
    });
    let next = study.planned(target.index).into_iter().filter(|planned| planned.is_open);
    let next = next.filter_map(|planned| Some((planned.plan.due?, planned.plan.by))).min_by_key(|(due, _)| *due);
    json!({
        "target": view.link(target.index),
        "status": target.status.word(),
        "class": super::records::class_of(target.status),
        "value": values.spread(target.node).map(|own| spread(&own, unit)),
        "limit": limit_text(&study.loaded, target.index),
        "margin": margin(target, unit),
        "points": own.points.map(|points| number::signed(points, 1)),
        "chance": own.chance.map(|by| number::signed_percent(by, 1)),
        "since": period.map(|own| own.since.to_string()),
        "for": lasted,
        "lead": study.graph.lead(target.index),
        "safety": study.loaded.record(target.index).safety_critical(),
        "next_day": next.map(|(due, _)| due.to_string()),
        "next": next.map(|(due, by)| format!("{} {due}{}", by.word(), if due < study.day { ", overdue" } else { "" })),
    })
}
