//! The points of each event, from the plan to the prediction.

use schema::number;
use serde_json::{Value, json};
use trace::values::EventPoints;

use super::PageView;
use crate::output::numbers::quantity;
use crate::output::points::points_of;

/// The events of each goal.
pub(super) fn section(view: &PageView<'_>) -> Vec<Value> {
    let goals = view.study.goals().iter();
    goals
        .map(|goal| {
            let scored = goal.events.iter().filter(|event| view.study.is_event_scored(event)).count();
            let head = match scored {
                0 => "predicted",
                all if all == goal.events.len() => "scored",
                _ => "predicted or scored",
            };
            let total = goal.predicted.and(goal.spread.as_ref()).map(points_of);
            json!({
                "goal": view.link(goal.index),
                "picture": super::drawn::plan_to_prediction(view, goal.index),
                "head": head,
                "mixed": scored > 0 && scored < goal.events.len(),
                "events": goal.events.iter().map(|event| self::event(view, event)).collect::<Vec<_>>(),
                "plan": format!("{:.1}", goal.plan),
                "total": total,
                "vs_plan": goal.predicted.map(|predicted| number::signed(number::shown_change(goal.plan, predicted, 1), 1)),
            })
        })
        .collect()
}

fn event(view: &PageView<'_>, event: &EventPoints) -> Value {
    let values = view.study.values();
    let input = |si: Option<f64>| {
        let (_, node) = event.reads.as_ref()?;
        Some(quantity(si?, 0.0, values.unit(*node)))
    };
    json!({
        "event": view.link(event.index),
        "plan": event.plan.map(|plan| number::fixed(plan, 1)),
        "points": event.spread.as_ref().map(points_of),
        "scored": view.study.is_event_scored(event),
        "vs_plan": event.plan.zip(event.predicted).map(|(plan, own)| number::signed(number::shown_change(plan, own, 1), 1)),
        "chance": event.chance.map(|chance| format!("{} %", number::rounded(chance.chance * 100.0, 1))),
        "reads": event.reads.as_ref().map(|(name, _)| name),
        "now": input(event.reads.as_ref().and_then(|(_, node)| values.value(*node))),
        "needed": input(event.needed_value),
    })
}
