//! The output of `compare`: the whole car with each alternative, side by side.

use schema::number::difference;
use schema::records::Body;
use serde_json::{Value, json};
use trace::values::{GoalPoints, Key, Outcome, Values};
use trace::{NodeId, RecordId};

use super::numbers::quantity;
use super::points::{points, points_of};
use super::table::{Paint, Table, faint, plain, strong};
use super::values::{number, status};
use super::worth::{CAUTION, results_ignored};
use crate::screen::{Ink, clean};

/// The amounts of the whole car, as nodes.
fn amounts(values: &Values) -> Vec<NodeId> {
    (0..values.amounts().len()).filter_map(|amount| values.node(&Key::Group(None, amount as u16))).collect()
}

/// The difference as text, and whether it is larger than its uncertainty.
fn difference_cell(outcome: &Outcome) -> (String, Paint) {
    match outcome.difference {
        None => plain(""),
        Some(_) if outcome.sets_nothing => faint("sets no value"),
        Some((0.0, _)) => faint("unchanged"),
        Some((by, within)) if by.abs() <= within => faint(format!("{}, within uncertainty", difference(by, within, 1))),
        Some((by, within)) => strong(difference(by, within, 1)),
    }
}

/// The text for the terminal.
pub(crate) fn terminal(values: &Values, index: RecordId, goal: &GoalPoints, outcomes: &[Outcome], ink: Ink) -> String {
    let loaded = &values.graph.loaded;
    let record = loaded.record(index);
    let mut out =
        format!("{}  {}\n", ink.strong(record.id.as_str()), clean(record.body.common().title().unwrap_or("")));
    let Body::Decision(decision) = &record.body else { return out };
    if decision.alternatives.is_empty() {
        out.push_str("no alternatives to compare\n");
        return out;
    }
    let names: Vec<String> =
        outcomes.iter().map(|o| if o.chosen { format!("{} (chosen)", o.name) } else { o.name.clone() }).collect();
    let now = if values.results() > 0 { "now (estimates)" } else { "now" };
    let mut heads: Vec<(&str, bool)> = vec![("", false), (now, true)];
    heads.extend(names.iter().map(|name| (name.as_str(), true)));
    let mut table = Table::new(&heads);
    let line = |head: (String, Paint), now: (String, Paint), cell: &dyn Fn(&Outcome) -> (String, Paint)| {
        let mut row = vec![head, now];
        row.extend(outcomes.iter().map(cell));
        row
    };
    let total = goal.spread.as_ref().map(points_of).unwrap_or_default();
    table.row(line(strong("points"), strong(total), &|o| strong(o.spread.as_ref().map(points_of).unwrap_or_default())));
    table.row(line(plain("vs now"), plain(""), &difference_cell));
    for event in &goal.events {
        let now = event.predicted.map(|p| points(p, 0.0)).unwrap_or_default();
        let id = loaded.record(event.index).id.as_str();
        let same = outcomes.iter().all(|o| Some(o.state.values[event.node]) == event.predicted);
        if !same {
            table.row(line(faint(format!("  {id}")), faint(now), &|o| faint(points(o.state.values[event.node], 0.0))));
        }
    }
    for node in amounts(values) {
        let shown = |value: f64| plain(quantity(value, 0.0, values.unit(node)));
        table.row(line(plain(values.name(node)), shown(values.state.values[node]), &|o| shown(o.state.values[node])));
    }
    for (at, id) in decision.criteria.iter().enumerate() {
        let now =
            values.named(id.as_str()).and_then(|node| Some(quantity(values.value(node)?, 0.0, values.unit(node))));
        table.row(line(plain(id.to_string()), plain(now.unwrap_or_default()), &|o| {
            let Some(criterion) = o.criteria.get(at) else { return plain("") };
            // A value that the alternative does not change says nothing about it.
            if criterion.value == values.value(criterion.node) {
                return faint(if criterion.value.is_some() { "unchanged" } else { "no value" });
            }
            let (word, paint) = status(criterion.status);
            let shown =
                criterion.value.map(|value| quantity(value, 0.0, values.unit(criterion.node))).unwrap_or_default();
            let holds = paint == Paint::Plain;
            (if holds { shown } else { format!("{shown}, {word}") }, paint)
        }));
    }
    out.push_str(&table.text(ink));
    for outcome in outcomes {
        let ids =
            |all: &[RecordId]| all.iter().map(|i| loaded.record(*i).id.to_string()).collect::<Vec<_>>().join(", ");
        for (what, all) in [("newly at risk", &outcome.newly_at_risk), ("newly on target", &outcome.newly_on_target)] {
            if !all.is_empty() {
                ink.block(&mut out, "", 0, &format!("{} {what}: {}", outcome.name, ids(all)));
            }
        }
    }
    if let Some(text) = results_ignored(values) {
        ink.block(&mut out, "", 0, &text);
    }
    out.push('\n');
    ink.block(&mut out, "caution", 7, CAUTION);
    out
}

/// The JSON answer.
pub(crate) fn json(values: &Values, index: RecordId, goal: &GoalPoints, outcomes: &[Outcome]) -> Value {
    let id = |index: RecordId| values.graph.loaded.record(index).id.as_str();
    let in_unit = |node: NodeId, si: f64| number(Some(values.unit(node).from_si(si)));
    let alternatives: Vec<Value> = outcomes
        .iter()
        .map(|outcome| {
            let events: Vec<Value> = goal
                .events
                .iter()
                .map(|event| json!({"id": id(event.index), "points": number(Some(outcome.state.values[event.node]))}))
                .collect();
            let amounts: Vec<Value> = amounts(values)
                .into_iter()
                .map(|node| json!({"id": values.name(node), "value": in_unit(node, outcome.state.values[node]), "unit": values.unit(node).to_string()}))
                .collect();
            let criteria: Vec<Value> = outcome
                .criteria
                .iter()
                .map(|w| json!({"id": id(w.index), "value": w.value.map(|si| in_unit(w.node, si)), "unit": values.unit(w.node).to_string(), "status": w.status.word()}))
                .collect();
            json!({
                "name": outcome.name,
                "title": outcome.title,
                "chosen": outcome.chosen,
                "points": outcome.points.map(|(points, _)| points),
                "uncertainty": outcome.points.map(|(_, uncertainty)| uncertainty),
                "low": outcome.spread.as_ref().map(|spread| spread.low),
                "high": outcome.spread.as_ref().map(|spread| spread.high),
                "difference": outcome.difference.map(|(by, _)| by),
                "difference_uncertainty": outcome.difference.map(|(_, uncertainty)| uncertainty),
                "significant": outcome.difference.map(|(by, uncertainty)| by.abs() > uncertainty),
                "events": events,
                "amounts": amounts,
                "criteria": criteria,
                "newly_at_risk": outcome.newly_at_risk.iter().map(|i| id(*i)).collect::<Vec<_>>(),
                "newly_on_target": outcome.newly_on_target.iter().map(|i| id(*i)).collect::<Vec<_>>(),
            })
        })
        .collect();
    json!({"version": 1, "decision": id(index), "points": number(goal.predicted), "results_ignored": values.results(), "alternatives": alternatives})
}
