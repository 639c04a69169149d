//! The JSON answer of `compare`.

use serde_json::{Map, Value, json};
use trace::values::{Outcome, Significance};
use trace::{NodeId, RecordId};

use super::{Comparison, View, amounts};
use crate::output::values::number;

/// The JSON answer.
pub(crate) fn json(comparison: &Comparison<'_>) -> Value {
    let now = comparison.now;
    let id = |index: RecordId| now.study.loaded.record(index).id.as_str();
    let chosen_at = comparison.chosen_at.as_ref();
    let later = chosen_at.into_iter().flat_map(|chosen| &chosen.later);
    let (then, missing) = match &comparison.then {
        None => (Value::Null, None),
        Some(Ok(then)) => (Value::Object(state(then)), None),
        Some(Err(why)) => (Value::Null, Some(why)),
    };
    let mut answer = Map::new();
    answer.insert("version".to_owned(), json!(1));
    answer.insert("decision".to_owned(), json!(id(now.index)));
    answer.insert("when".to_owned(), json!(comparison.when.word()));
    let chosen = chosen_at.map(|chosen| json!({"commit": chosen.commit.id, "day": chosen.commit.day.to_string()}));
    answer.insert("chosen_at".to_owned(), json!(chosen));
    let later: Vec<Value> =
        later.map(|(id, day, commit)| json!({"id": id, "day": day.to_string(), "commit": commit.id})).collect();
    answer.insert("analyses_after_choice".to_owned(), json!(later));
    answer.extend(state(now));
    answer.insert("then".to_owned(), then);
    answer.insert("then_missing".to_owned(), json!(missing));
    Value::Object(answer)
}

/// The keys of one state.
fn state(view: &View<'_>) -> Map<String, Value> {
    let values = view.values;
    let id = |index: RecordId| values.graph.loaded.record(index).id.as_str();
    let compared = &view.compared;
    let alternatives: Vec<Value> = compared.outcomes.iter().map(|outcome| alternative(view, outcome)).collect();
    let criteria: Vec<Value> = compared
        .criteria
        .iter()
        .map(|one| json!({"id": id(one.index), "moves_points": one.moves_points, "changed": one.is_changed}))
        .collect();
    let verdict = compared.lead.as_ref().and_then(|lead| {
        let (best, next) = (compared.outcomes.get(lead.best)?, compared.outcomes.get(lead.next)?);
        Some(json!({
            "best": best.name,
            "next": next.name,
            "difference": number(Some(lead.difference.0)),
            "difference_uncertainty": number(Some(lead.difference.1)),
            "significant": significant(lead.significance),
        }))
    });
    let mut keys = Map::new();
    keys.insert("broken".to_owned(), view.broken().json());
    keys.insert("points".to_owned(), number(view.goal.predicted));
    keys.insert("results_ignored".to_owned(), json!(values.results()));
    keys.insert("alternatives".to_owned(), json!(alternatives));
    keys.insert("criteria".to_owned(), json!(criteria));
    keys.insert("verdict".to_owned(), json!(verdict));
    keys
}

fn significant(significance: Significance) -> Option<bool> {
    match significance {
        Significance::Larger => Some(true),
        Significance::Within => Some(false),
        Significance::Unknown => None,
    }
}

fn alternative(view: &View<'_>, outcome: &Outcome) -> Value {
    let values = view.values;
    let loaded = &values.graph.loaded;
    let id = |index: RecordId| loaded.record(index).id.as_str();
    let in_unit = |node: NodeId, si: f64| number(Some(values.unit(node).from_si(si)));
    let events: Vec<Value> = view
        .goal
        .events
        .iter()
        .map(|event| json!({"id": id(event.index), "points": number(Some(outcome.points_of_event(event.node)))}))
        .collect();
    let amounts: Vec<Value> = amounts(values)
        .into_iter()
        .map(|node| {
            let value = in_unit(node, outcome.state.values[node]);
            json!({"id": values.name(node), "value": value, "unit": values.unit(node).to_string()})
        })
        .collect();
    let criteria: Vec<Value> = outcome
        .criteria
        .iter()
        .map(|one| {
            let value = one.value.map(|si| in_unit(one.node, si));
            let unit = values.unit(one.node).to_string();
            json!({"id": id(one.index), "value": value, "unit": unit, "status": one.status.word()})
        })
        .collect();
    let body = loaded.decision(view.index).and_then(|decision| decision.alternatives.get(&outcome.name));
    let sets: Vec<Value> = body
        .into_iter()
        .flat_map(|body| body.sets.iter().map(move |set| (body, set)))
        .map(|(body, (to, setting))| {
            let evidence: Vec<&str> = body.evidence.iter().map(String::as_str).chain(setting.files()).collect();
            let basis = body.basis_of(setting).map(schema::Id::as_str);
            json!({"id": to.as_str(), "to": setting.value.to_string(), "basis": basis, "evidence": evidence})
        })
        .collect();
    let problems: Vec<Value> = outcome
        .problems
        .iter()
        .map(|problem| json!({"field": problem.route.join("."), "message": problem.message, "help": problem.help}))
        .collect();
    json!({
        "name": outcome.name,
        "title": outcome.title,
        "chosen": outcome.chosen,
        "problems": problems,
        "points": outcome.points.map(|(points, _)| points),
        "uncertainty": outcome.points.map(|(_, uncertainty)| uncertainty),
        "low": outcome.spread.as_ref().map(|spread| spread.low),
        "high": outcome.spread.as_ref().map(|spread| spread.high),
        "difference": outcome.difference.map(|(by, _)| by),
        "difference_uncertainty": outcome.difference.map(|(_, uncertainty)| uncertainty),
        "significant": outcome.significance.and_then(significant),
        "without_uncertainty": outcome.without_uncertainty,
        "sets": sets,
        "events": events,
        "amounts": amounts,
        "criteria": criteria,
        "newly_at_risk": outcome.newly_at_risk.iter().map(|i| id(*i)).collect::<Vec<_>>(),
        "newly_on_target": outcome.newly_on_target.iter().map(|i| id(*i)).collect::<Vec<_>>(),
    })
}
