//! The parts of the JSON answer of `audit` that say why: who made the state, the targets behind short events, the limits that
//! changed, what is unproven, and the decisions.

use serde_json::{Value, json};
use trace::audit::{DecisionReview, DecisionValue, EventScore, LimitMove, Ranking, Unproven};
use trace::values::Spread;

use super::super::values::number;
use super::AuditView;

/// Who made the state.
pub(super) fn made(view: &AuditView<'_>) -> Value {
    let made = &view.made;
    let (commit, day) = made.commit.as_ref().map(|(commit, day)| (commit, day.to_string())).unzip();
    json!({"team": made.team, "car": made.car, "commit": commit, "day": day, "uncommitted": made.uncommitted})
}

/// The causes of the difference between the latest points of an event and its plan.
pub(super) fn causes(event: &EventScore) -> Value {
    let all = event.plan_causes().into_iter();
    all.map(|(cause, points)| json!({"cause": cause.words(), "points": number(Some(points))})).collect()
}

/// The targets behind an event that is short of its plan.
pub(super) fn behind(view: &AuditView<'_>, event: &EventScore) -> Value {
    let values = view.study.values();
    let all = event.behind.iter().filter_map(|own| {
        let unit = values.unit(values.record_node(own.target)?);
        Some(json!({
            "target": view.id(own.target),
            "value": number(Some(unit.from_si(own.value))),
            "limit": number(Some(unit.from_si(own.limit))),
            "unit": unit.to_string(),
            "points": number(Some(own.points)),
            "read": own.is_read,
        }))
    });
    all.collect()
}

/// A limit that changed.
pub(super) fn limit_move(view: &AuditView<'_>, moved: &LimitMove) -> Value {
    let revision = moved.revision.and_then(|id| view.study.loaded.revision(id));
    json!({
        "target": view.id(moved.target),
        "title": view.title(moved.target),
        "day": moved.day.map(|day| day.to_string()),
        "commit": moved.commit,
        "before": moved.before,
        "after": moved.after,
        "revision": moved.revision.map(|id| view.id(id)),
        "agreed_by": revision.and_then(|revision| revision.agreed_by.clone()),
        "reason": revision.and_then(|revision| revision.reason.clone()),
        "record": moved.record.key(),
        "after_result": moved.after_result,
    })
}

/// A safety-critical record without a passed test.
pub(super) fn unproven(view: &AuditView<'_>, one: &Unproven) -> Value {
    json!({
        "id": view.id(one.index),
        "title": view.title(one.index),
        "kind": view.study.loaded.kind(one.index).singular(),
        "system": view.study.section(one.index),
        "lead": view.study.graph.lead(one.index),
        "why": one.why.words(),
        "open_methods": one.open.iter().map(|method| method.word()).collect::<Vec<_>>(),
        "due": one.due.map(|day| day.to_string()),
    })
}

/// A decision with what became of it.
pub(super) fn decision(view: &AuditView<'_>, own: &DecisionReview) -> Value {
    let loaded = &view.study.loaded;
    let body = loaded.decision(own.index);
    let (day, commit) = own.chosen_at.as_ref().map(|(day, commit)| (day.to_string(), commit)).unzip();
    let (then, missing) = match &own.then {
        None => (None, None),
        Some(Ok(then)) => (Some(ranking(then)), None),
        Some(Err(why)) => (None, Some(why)),
    };
    let analyses: Vec<Value> = own
        .analyses
        .iter()
        .map(|one| {
            json!({"id": view.id(one.analysis), "title": view.title(one.analysis),
                   "day": one.day.map(|day| day.to_string()), "after_choice": one.after})
        })
        .collect();
    json!({
        "id": view.id(own.index),
        "title": view.title(own.index),
        "chosen": own.chosen,
        "day": day,
        "commit": commit,
        "reason": body.and_then(|body| body.reason.clone()),
        "then": then,
        "then_missing": missing,
        "now": own.now.as_ref().map(ranking),
        "analyses": analyses,
        "values": own.values.iter().map(value).collect::<Vec<_>>(),
    })
}

fn ranking(ranking: &Ranking) -> Value {
    let spread = |spread: Option<&Spread>| {
        let [mean, low, high] =
            [spread.map(|spread| spread.mean), spread.map(|spread| spread.low), spread.map(|spread| spread.high)]
                .map(number);
        (mean, low, high)
    };
    let alternatives: Vec<Value> = ranking
        .alternatives
        .iter()
        .map(|own| {
            let (points, low, high) = spread(own.points.as_ref());
            json!({"name": own.name, "title": own.title, "chosen": own.chosen, "points": points, "low": low,
                   "high": high, "behind": number(own.behind)})
        })
        .collect();
    let (points, low, high) = spread(ranking.points.as_ref());
    json!({"points": points, "low": low, "high": high, "alternatives": alternatives,
           "significant": ranking.significant, "place_of_chosen": ranking.place_of_chosen()})
}

fn value(own: &DecisionValue) -> Value {
    let both = |known: Option<(f64, f64)>| {
        known.map(|(value, uncertainty)| {
            json!({"value": number(Some(own.unit.from_si(value))),
                   "uncertainty": number(Some(uncertainty / own.unit.factor()))})
        })
    };
    json!({
        "id": own.name,
        "unit": own.unit.to_string(),
        "criterion": own.is_criterion,
        "set": both(own.set),
        "then": both(own.then),
        "now": both(own.now),
        "measured": both(own.measured),
        "differs": own.differs(),
        "status": own.status.map(trace::values::Status::word),
    })
}
