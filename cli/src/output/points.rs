//! The output of `points`: the planned, predicted and needed points of each event.

use schema::number;
use schema::records::Body;
use serde_json::{Value, json};
use trace::values::{Chance, EventPoints, GoalPoints, Key, LEVEL, Needed, Spread, Values};
use trace::{Loaded, RecordId, Study};

use super::numbers::quantity;
use super::table::{Table, faint, plain, strong};
use super::values::number as json_number;
use crate::screen::{Ink, clean, count};

/// Points with their uncertainty, with one decimal.
pub(crate) fn points(value: f64, uncertainty: f64) -> String {
    number::with_uncertainty(value, uncertainty, 1)
}

/// The mean of points with one decimal and their uncertainty; with the ends of their interval if it is not about as wide on
/// both sides.
pub(crate) fn points_of(spread: &Spread) -> String {
    match spread.half() {
        Some(half) => points(spread.mean, half),
        None => format!("{:.1} ({:.1} to {:.1})", spread.mean, spread.low, spread.high),
    }
}

/// The events that score only with a chance, as a sentence for each chance.
fn chances(values: &Values, goal: &GoalPoints) -> Vec<String> {
    let mut all: Vec<(Chance, Vec<&str>)> = Vec::new();
    for event in &goal.events {
        let Some(chance) = event.chance else { continue };
        let id = values.graph.loaded.record(event.index).id.as_str();
        match all.iter_mut().find(|(known, _)| *known == chance) {
            Some((_, ids)) => ids.push(id),
            None => all.push((chance, vec![id])),
        }
    }
    let text = |(chance, ids): &(Chance, Vec<&str>)| {
        let share = number::rounded(chance.chance * 100.0, 1);
        let named = match &values.keys[chance.node] {
            Key::Record(_) => format!(" ({})", values.name(chance.node)),
            _ => String::new(),
        };
        let together = if ids.len() > 1 { " together" } else { "" };
        format!("{}: scored{together} with a chance of {share} %{named}, otherwise 0 points", ids.join(", "))
    };
    all.iter().map(text).collect()
}

/// The subject of a sentence about the points that a goal needs: `place 8 needs`, or `the goal is` for a goal in points.
pub(crate) fn needs(loaded: &Loaded, goal: RecordId, needed: &Needed) -> String {
    match &loaded.record(goal).body {
        _ if needed.years.is_empty() => "the goal is".to_owned(),
        Body::Goal(goal) => {
            goal.place.map_or_else(|| "the place needs".to_owned(), |place| format!("place {place} needs"))
        }
        _ => "the place needs".to_owned(),
    }
}

/// The points that a goal needs, as a sentence.
fn needed_points(loaded: &Loaded, goal: RecordId, needed: &Needed) -> String {
    let needs = needs(loaded, goal, needed);
    match needed.years[..] {
        [] => format!("{needs} {:.1} points", needed.points),
        [first, ..] => {
            let last = needed.years.last().copied().unwrap_or(first);
            format!(
                "{needs} {:.1} points: mean of {} from {first} to {last}; next year {:.0} to {:.0} with {:.0} % probability",
                needed.points,
                count(needed.years.len(), "past contest"),
                needed.low,
                needed.high,
                LEVEL * 100.0
            )
        }
    }
}

fn input(values: &Values, event: &EventPoints, si: Option<f64>) -> String {
    match (&event.reads, si) {
        (Some((_, node)), Some(si)) => quantity(si, 0.0, values.unit(*node)),
        _ => String::new(),
    }
}

/// The text for the terminal.
pub(crate) fn terminal(study: &Study, ink: Ink) -> String {
    let (values, loaded) = (study.values(), &study.loaded);
    let mut out = String::new();
    for goal in study.goals() {
        let scored = goal.events.iter().filter(|event| study.is_event_scored(event)).count();
        let (some, all) = (scored > 0, scored == goal.events.len());
        let mixed = some && !all;
        out.push_str(&ink.strong(&clean(loaded.record(goal.index).name())));
        out.push('\n');
        let mut heads = vec![
            ("event", false),
            ("plan", true),
            (
                if !some {
                    "predicted"
                } else if all {
                    "scored"
                } else {
                    "points"
                },
                true,
            ),
            ("vs plan", true),
            ("input", false),
            ("now", true),
            ("needed for plan", true),
        ];
        if mixed {
            heads.push(("points are", false));
        }
        let mut table = Table::new(&heads);
        for event in &goal.events {
            let vs_plan = event.plan.zip(event.predicted).map(|(plan, predicted)| number::signed(predicted - plan, 1));
            let value = event.reads.as_ref().and_then(|(_, node)| values.value(*node));
            let mut row = vec![
                strong(loaded.record(event.index).id.as_str()),
                plain(event.plan.map(|plan| points(plan, 0.0)).unwrap_or_default()),
                plain(event.spread.as_ref().map_or_else(|| "none".to_owned(), points_of)),
                plain(vs_plan.unwrap_or_default()),
                faint(event.reads.as_ref().map(|(name, _)| name.clone()).unwrap_or_default()),
                plain(input(values, event, value)),
                plain(input(values, event, event.needed_value)),
            ];
            if mixed {
                row.push(faint(if study.is_event_scored(event) { "scored" } else { "predicted" }));
            }
            table.row(row);
        }
        let vs_plan = goal.predicted.map(|predicted| number::signed(predicted - goal.plan, 1));
        table.row(vec![
            strong("total"),
            strong(points(goal.plan, 0.0)),
            strong(goal.spread.as_ref().map_or_else(|| "none".to_owned(), points_of)),
            strong(vs_plan.unwrap_or_default()),
        ]);
        out.push_str(&table.text(ink));
        let text = match &goal.needed {
            Ok(own) => needed_points(loaded, goal.index, own),
            Err(why) => format!("cannot be calculated: {why}"),
        };
        ink.block(&mut out, "needed", 6, &text);
        for text in chances(values, goal) {
            ink.block(&mut out, "chance", 6, &text);
        }
        out.push('\n');
    }
    out.pop();
    out
}

/// The JSON answer, for the first goal.
pub(crate) fn json(study: &Study) -> Value {
    let values = study.values();
    let Some(goal) = study.goals().first() else { return json!({"version": 1, "events": []}) };
    let id = |index: RecordId| values.graph.loaded.record(index).id.as_str();
    let events: Vec<Value> = goal
        .events
        .iter()
        .map(|event| {
            let read = event.reads.as_ref();
            let in_unit =
                |si: Option<f64>| json_number(read.zip(si).map(|((_, node), si)| values.unit(*node).from_si(si)));
            json!({
                "id": id(event.index),
                "plan": json_number(event.plan),
                "predicted": json_number(event.predicted),
                "scored": study.is_event_scored(event),
                "uncertainty": json_number(event.predicted.map(|_| event.uncertainty)),
                "low": json_number(event.interval().map(|(low, _)| low)),
                "high": json_number(event.interval().map(|(_, high)| high)),
                "chance": json_number(event.chance.map(|chance| chance.chance)),
                "reads": read.map(|(name, _)| name),
                "unit": read.map(|(_, node)| values.unit(*node).to_string()),
                "value": in_unit(read.and_then(|(_, node)| values.value(*node))),
                "needed_value": in_unit(event.needed_value),
            })
        })
        .collect();
    let needed = goal.needed.as_ref().ok().map(|needed| {
        json!({"points": json_number(Some(needed.points)), "low": json_number(Some(needed.low)), "high": json_number(Some(needed.high)), "years": needed.years})
    });
    json!({
        "version": 1,
        "goal": id(goal.index),
        "events": events,
        "plan": json_number(Some(goal.plan)),
        "predicted": json_number(goal.predicted),
        "scored": study.is_scored(goal),
        "uncertainty": json_number(goal.predicted.map(|_| goal.uncertainty)),
        "low": json_number(goal.interval().map(|(low, _)| low)),
        "high": json_number(goal.interval().map(|(_, high)| high)),
        "needed": needed,
    })
}
