//! The report of `points`: planned, needed and predicted, by event.

use serde_json::{Value, json};
use trace::RecordId;
use trace::values::{EventPoints, GoalPoints, LEVEL, Needed, Values};

use super::numbers::quantity;
use super::table::{Table, faint, plain, strong};
use super::values::number;
use crate::screen::{Ink, clean};

/// Points with their uncertainty, to a tenth.
pub(crate) fn points(value: f64, uncertainty: f64) -> String {
    if uncertainty > 0.0 { format!("{value:.1} ± {uncertainty:.1}") } else { format!("{value:.1}") }
}

/// The points needed, in words.
pub(crate) fn needed(needed: &Needed) -> String {
    match needed.years[..] {
        [] => format!("{:.1} pts are the goal", needed.points),
        [first, ..] => {
            let last = needed.years.last().copied().unwrap_or(first);
            format!(
                "the place takes {:.1} pts: the mean of {} fields from {first} to {last}; next year {:.0} to {:.0} with {:.0} % probability",
                needed.points,
                needed.years.len(),
                needed.low,
                needed.high,
                LEVEL * 100.0
            )
        }
    }
}

fn read(values: &Values, event: &EventPoints, si: Option<f64>) -> String {
    match (&event.reads, si) {
        (Some((_, node)), Some(si)) => quantity(si, 0.0, values.unit(*node)),
        _ => String::new(),
    }
}

/// For people.
pub(crate) fn terminal(values: &Values, goals: &[GoalPoints], ink: Ink) -> String {
    let loaded = &values.graph.loaded;
    let mut out = String::new();
    for goal in goals {
        out.push_str(&ink.strong(&clean(loaded.record(goal.index).name())));
        out.push('\n');
        let heads = [
            ("event", false),
            ("plan", true),
            ("predicted", true),
            ("ahead", true),
            ("reads", false),
            ("now", true),
            ("for the plan", true),
        ];
        let mut table = Table::new(&heads);
        for event in &goal.events {
            let ahead = event.plan.zip(event.predicted).map(|(plan, predicted)| format!("{:+.1}", predicted - plan));
            let value = event.reads.as_ref().and_then(|(_, node)| values.value(*node));
            table.row(vec![
                strong(loaded.record(event.index).id.as_str()),
                plain(event.plan.map(|plan| points(plan, 0.0)).unwrap_or_default()),
                plain(event.predicted.map_or_else(|| "none".to_owned(), |p| points(p, event.uncertainty))),
                plain(ahead.unwrap_or_default()),
                faint(event.reads.as_ref().map(|(name, _)| name.clone()).unwrap_or_default()),
                plain(read(values, event, value)),
                plain(read(values, event, event.needed_value)),
            ]);
        }
        let ahead = goal.predicted.map(|predicted| format!("{:+.1}", predicted - goal.plan));
        table.row(vec![
            strong("total"),
            strong(points(goal.plan, 0.0)),
            strong(goal.predicted.map_or_else(|| "none".to_owned(), |p| points(p, goal.uncertainty))),
            strong(ahead.unwrap_or_default()),
        ]);
        out.push_str(&table.text(ink));
        let text = match &goal.needed {
            Ok(own) => needed(own),
            Err(why) => format!("what the goal needs cannot be told: {why}"),
        };
        ink.block(&mut out, "needed", 6, &text);
        out.push('\n');
    }
    out.pop();
    out
}

/// For programs: the first goal.
pub(crate) fn json(values: &Values, goals: &[GoalPoints]) -> Value {
    let Some(goal) = goals.first() else { return json!({"version": 1, "events": []}) };
    let id = |index: RecordId| values.graph.loaded.record(index).id.as_str();
    let events: Vec<Value> = goal
        .events
        .iter()
        .map(|event| {
            let read = event.reads.as_ref();
            let in_unit = |si: Option<f64>| number(read.zip(si).map(|((_, node), si)| values.unit(*node).from_si(si)));
            json!({
                "id": id(event.index),
                "plan": number(event.plan),
                "predicted": number(event.predicted),
                "uncertainty": number(event.predicted.map(|_| event.uncertainty)),
                "reads": read.map(|(name, _)| name),
                "unit": read.map(|(_, node)| values.unit(*node).to_string()),
                "value": in_unit(read.and_then(|(_, node)| values.value(*node))),
                "needed_value": in_unit(event.needed_value),
            })
        })
        .collect();
    let needed = goal.needed.as_ref().ok().map(|needed| {
        json!({"points": number(Some(needed.points)), "low": number(Some(needed.low)), "high": number(Some(needed.high)), "years": needed.years})
    });
    json!({
        "version": 1,
        "goal": id(goal.index),
        "events": events,
        "plan": number(Some(goal.plan)),
        "predicted": number(goal.predicted),
        "uncertainty": number(goal.predicted.map(|_| goal.uncertainty)),
        "needed": needed,
    })
}
