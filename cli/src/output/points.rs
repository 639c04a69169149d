//! The output of `points`: the planned, predicted and needed points of each event.

use std::collections::HashMap;

use schema::number;
use serde_json::{Value, json};
use trace::values::{Chance, EventPoints, GoalPoints, Key, LEVEL, Needed, Spread, Values};
use trace::{Loaded, NodeId, RecordId, Study};

use super::broken::Broken;
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
    spread.points()
}

/// The events that score only with a chance, as a sentence for each chance.
fn chances(values: &Values, goal: &GoalPoints) -> Vec<String> {
    let mut all: Vec<(Chance, Vec<&str>)> = Vec::new();
    let mut known: HashMap<NodeId, usize> = HashMap::new();
    for event in &goal.events {
        let Some(chance) = event.chance else { continue };
        let id = values.graph.loaded.record(event.index).id.as_str();
        let at = *known.entry(chance.node).or_insert(all.len());
        match all.get_mut(at) {
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
    needed_words(loaded, goal, needed, "needs")
}

/// The same once the contest is over, of points that are still a forecast: `place 8 was estimated to need`.
pub(crate) fn was_estimated_to_need(loaded: &Loaded, goal: RecordId, needed: &Needed) -> String {
    needed_words(loaded, goal, needed, "was estimated to need")
}

fn needed_words(loaded: &Loaded, goal: RecordId, needed: &Needed, verb: &str) -> String {
    match loaded.goal(goal).and_then(|goal| goal.place) {
        _ if needed.years.is_empty() => "the goal is".to_owned(),
        Some(place) => format!("place {place} {verb}"),
        None => format!("the place {verb}"),
    }
}

/// The points that a goal needs, as a sentence.
fn needed_points(loaded: &Loaded, goal: RecordId, needed: &Needed) -> String {
    let needs = needs(loaded, goal, needed);
    match needed.years[..] {
        [] => format!("{needs} {:.1} points", needed.points),
        [first, ..] => {
            let last = needed.years.last().copied().unwrap_or(first);
            let years = if first == last { format!("of {first}") } else { format!("from {first} to {last}") };
            let mut text = format!(
                "{needs} {:.1} points: forecast from {} {years}; next year {:.0} to {:.0} with {:.0} % probability",
                needed.points,
                count(needed.years.len(), "past contest"),
                needed.low,
                needed.high,
                LEVEL * 100.0
            );
            if needed.has_few_years() {
                text.push_str("; few years");
            }
            if !needed.too_small.is_empty() {
                let years: Vec<String> = needed.too_small.iter().map(i32::to_string).collect();
                text.push_str(&format!("; {} had fewer cars", years.join(", ")));
            }
            text
        }
    }
}

fn input(values: &Values, event: &EventPoints, si: Option<f64>) -> String {
    match (&event.reads, si) {
        (Some((_, node)), Some(si)) => quantity(si, 0.0, values.unit(*node)),
        _ => String::new(),
    }
}

/// What is broken under the points of the goals.
pub(crate) fn broken(study: &Study) -> Broken<'_> {
    let asked: Vec<NodeId> = study.goals().iter().map(|goal| goal.node).collect();
    let plans = study.values().impossible_plans();
    Broken::under(study.values(), &asked, &[]).with(plans)
}

/// The sum of a goal's points for a sentence, as in `684.5 (447.2 to 734.8) points`; `at least` if events have no value.
pub(crate) fn sum(goal: &GoalPoints) -> Option<String> {
    let text = format!("{} points", points_of(goal.spread.as_ref()?));
    goal.predicted.map(|_| text.clone()).or_else(|| goal.at_least.map(|_| format!("at least {text}")))
}

/// Those of all events of a goal without a value, for a sentence; `None` if each has one.
pub(crate) fn without_value(loaded: &Loaded, all: usize, events: &[RecordId]) -> Option<String> {
    let ids: Vec<&str> = events.iter().map(|event| loaded.record(*event).id.as_str()).collect();
    let verb = if ids.len() == 1 { "has" } else { "have" };
    let text = || format!("{} of {} {verb} no value: {}", ids.len(), count(all, "event"), ids.join(", "));
    (!ids.is_empty()).then(text)
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
            let vs_plan = event
                .plan
                .zip(event.predicted)
                .map(|(plan, predicted)| number::signed(number::shown_change(plan, predicted, 1), 1));
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
        let vs_plan = goal.predicted.map(|predicted| number::signed(number::shown_change(goal.plan, predicted, 1), 1));
        table.row(vec![
            strong("total"),
            strong(points(goal.plan, 0.0)),
            strong(
                goal.spread.as_ref().filter(|_| goal.predicted.is_some()).map_or_else(|| "none".to_owned(), points_of),
            ),
            strong(vs_plan.unwrap_or_default()),
        ]);
        out.push_str(&table.text(ink));
        if let Some(text) = without_value(loaded, goal.events.len(), &goal.without_value) {
            ink.block(&mut out, "total", 6, &format!("{}; {text}", sum(goal).unwrap_or_else(|| "none".to_owned())));
        }
        let text = match &goal.needed {
            Ok(own) => {
                let chance = goal.chance().filter(|_| !all).map(number::chance);
                let chance = chance.map(|chance| format!("; probability of reaching it {chance}")).unwrap_or_default();
                format!("{}{chance}", needed_points(loaded, goal.index, own))
            }
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
pub(crate) fn json(study: &Study, broken: &Broken<'_>) -> Value {
    let Some(goal) = study.goals().first() else { return json!({"version": 1, "events": []}) };
    let mut answer = json!({"version": 1, "broken": broken.json()});
    if let (Some(answer), Value::Object(goal)) = (answer.as_object_mut(), goal_json(study, goal)) {
        answer.extend(goal);
    }
    answer
}

/// A goal with its events, for JSON.
pub(crate) fn goal_json(study: &Study, goal: &GoalPoints) -> Value {
    let values = study.values();
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
                "most": json_number(values.most(event.index)),
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
        json!({"points": json_number(Some(needed.points)), "low": json_number(Some(needed.low)), "high": json_number(Some(needed.high)), "years": needed.years, "too_small": needed.too_small})
    });
    json!({
        "goal": id(goal.index),
        "events": events,
        "plan": json_number(Some(goal.plan)),
        "predicted": json_number(goal.predicted),
        "at_least": json_number(goal.at_least),
        "without_value": goal.without_value.iter().map(|event| id(*event)).collect::<Vec<_>>(),
        "scored": study.is_scored(goal),
        "uncertainty": json_number(goal.predicted.or(goal.at_least).map(|_| goal.uncertainty)),
        "low": json_number(goal.interval().map(|(low, _)| low)),
        "high": json_number(goal.interval().map(|(_, high)| high)),
        "needed": needed,
        "chance": json_number(goal.chance()),
    })
}
