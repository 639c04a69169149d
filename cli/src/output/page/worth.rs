//! What changes the points: the worth of one unit, or of 1 %, of each value.

use std::collections::HashMap;

use schema::number;
use serde_json::{Value, json};
use trace::values::{GoalPoints, Key, Values, Worth};
use trace::{NodeId, RecordId};

use super::{PageView, Worths};
use crate::output::numbers::quantity;
use crate::output::pictures::from_study;

/// The most values of each table.
const MOST: usize = 60;
/// The values whose effect on the chance is asked.
const MOST_CHANCES: usize = 30;
/// The values that are not folded.
const FIRST: usize = 15;
/// Values with less than this for 1 % are not listed.
const SMALL: f64 = 0.01;

/// The chance of a goal, and what 1 % more of each of the values with the most points adds to it; `None` if the chance is not
/// known, or if the contest is over.
pub(super) fn chances(
    view: &PageView<'_>,
    values: &Values,
    goal: &GoalPoints,
    sensitivities: &[f64],
) -> Option<(f64, HashMap<NodeId, f64>)> {
    let is_scored = view.study.goals().iter().any(|own| own.index == goal.index && view.study.is_scored(own));
    // What is certain is raised by nothing.
    let now = goal.chance().filter(|chance| !is_scored && *chance > 0.0 && *chance < 1.0)?;
    let is_given = |own: &Worth| matches!(values.keys[own.node], Key::Local(..));
    let leaves = values.worth_of_leaves(sensitivities).into_iter().filter(|own| !is_given(own));
    let all = values.worth_of_car(sensitivities).into_iter().chain(leaves.take(MOST_CHANCES));
    let effect = |own: Worth| Some((own.node, values.chance_if(goal, &[(own.node, 1.01 * own.value)])? - now));
    Some((now, all.filter(|own| own.per_percent.abs() >= SMALL).filter_map(effect).collect()))
}

/// The amounts of the car, the values that the team can change, and those under `given`, the largest effects first.
pub(super) fn section(view: &PageView<'_>, worths: Option<&Worths<'_>>) -> Value {
    let Some(worths) = worths else {
        return json!({"one": [], "car": [], "values": [], "smaller": [], "given": [], "more": 0, "chance": Value::Null, "with_results": Value::Null, "picture": Value::Null});
    };
    let values = worths.values;
    let rows = |all: &[Worth]| -> Vec<Value> { all.iter().map(|own| row(view, worths, own)).collect() };
    let car = values.worth_of_car(&worths.sensitivities);
    let nodes: Vec<NodeId> = car.iter().map(|own| own.node).collect();
    let reaches = values.lead_to(&nodes, worths.goal.node);
    let one = car.iter().zip(&reaches).map(|(own, reaches)| {
        let (unit, name) = (values.unit(own.node), from_study::value_name(values, own.node).title);
        let quantity = name.rsplit(": ").next().unwrap_or_default().to_owned();
        let unit_name = if unit.to_string().is_empty() { "1".to_owned() } else { format!("1 {unit}") };
        if !reaches {
            return format!("{quantity} of the car: no path to the points");
        }
        // As it would be changed to have more points.
        let per_unit = own.per_si * unit.factor();
        let direction = if per_unit < 0.0 { "less" } else { "more" };
        format!("{unit_name} {direction} {quantity} of the car: {} points", points(per_unit.abs()))
    });
    let is_given = |own: &Worth| matches!(values.keys[own.node], Key::Local(..));
    let (given, own): (Vec<Worth>, Vec<Worth>) =
        values.worth_of_leaves(&worths.sensitivities).into_iter().partition(is_given);
    let all = own.len() + given.len();
    let [own, given] = [own, given].map(|mut all| {
        all.retain(|own| own.per_percent.abs() >= SMALL);
        all.truncate(MOST);
        // Where a chance is known, what it does to that is more important.
        all.sort_by(|a, b| effect(worths, b).total_cmp(&effect(worths, a)));
        all
    });
    let with_results =
        view.study.goals().iter().find(|own| own.index == worths.goal.index).and_then(GoalPoints::chance);
    json!({
        "one": one.collect::<Vec<_>>(),
        "car": car.iter().zip(&reaches).filter(|(_, reaches)| **reaches).map(|(own, _)| row(view, worths, own)).collect::<Vec<_>>(),
        "values": rows(own.get(..FIRST).unwrap_or(&own)),
        "smaller": rows(own.get(FIRST..).unwrap_or_default()),
        "given": rows(&given),
        "more": all - own.len() - given.len(),
        "chance": worths.chance.as_ref().map(|(now, _)| number::percent(*now, 1)),
        "with_results": with_results.map(|chance| number::percent(chance, 1)),
        "picture": super::drawn::worth(view, worths),
    })
}

/// By how much 1 % of a value changes the chance, without the sign; values whose effect is not asked come last.
fn effect(worths: &Worths<'_>, worth: &Worth) -> f64 {
    worths.chance.as_ref().and_then(|(_, effects)| effects.get(&worth.node)).map_or(0.0, |by| by.abs())
}

fn row(view: &PageView<'_>, worths: &Worths<'_>, worth: &Worth) -> Value {
    let values = worths.values;
    let unit = values.unit(worth.node);
    let record = match values.keys[worth.node] {
        Key::Record(record) | Key::Part(record, _) | Key::Group(Some(record), _) | Key::Local(record, _) => {
            Some(record)
        }
        Key::NotInParts(_) | Key::Group(None, _) => None,
    };
    let name = from_study::value_name(values, worth.node).title;
    // What is pressed is the record; the quantity is next to it.
    let quantity = record.and_then(|_| from_study::value_parts(values, worth.node).1);
    let count = count_of(view, worths, worth);
    json!({
        "name": name,
        "record": record.map(|record| view.link(record)),
        "quantity": quantity,
        "now": format!("{}{}", if count > 1 { format!("{count} × ") } else { String::new() }, self::quantity(worth.value, 0.0, unit)),
        "unit": if unit.to_string().is_empty() { "1".to_owned() } else { unit.to_string() },
        "per_unit": points(worth.per_si * unit.factor() / f64::from(count)),
        "per_percent": points(worth.per_percent),
        "chance": worths.chance.as_ref().and_then(|(_, effects)| Some(number::signed_percent(*effects.get(&worth.node)?, 2))),
    })
}

/// How often a value counts: the count of a part.
fn count_of(view: &PageView<'_>, worths: &Worths<'_>, worth: &Worth) -> u32 {
    let part = match worths.values.keys[worth.node] {
        Key::Part(part, _) => view.study.loaded.part(part),
        Key::Record(_) | Key::Group(..) | Key::Local(..) | Key::NotInParts(_) => None,
    };
    part.and_then(|part| part.count).filter(|count| *count > 0).unwrap_or(1)
}

/// What one more unit of a value of a record is worth, and its 1 %; `None` if no points depend on it.
pub(super) fn of_record(
    view: &PageView<'_>,
    worths: &Worths<'_>,
    index: RecordId,
    amount: Option<&str>,
) -> Option<Value> {
    let values = worths.values;
    let name = amount.map_or_else(|| view.id(index).to_owned(), |amount| format!("{}.{amount}", view.id(index)));
    let worth = values.worth_of_value(values.named(&name)?, &worths.sensitivities)?;
    let unit = values.unit(worth.node);
    let count = count_of(view, worths, &worth);
    (worth.per_si != 0.0).then(|| {
        json!({
            "unit": unit.to_string(),
            "per_unit": points(worth.per_si * unit.factor() / f64::from(count)),
            "per_percent": points(worth.per_percent),
            "all": points(100.0 * worth.per_percent),
        })
    })
}

/// The points of all of an amount of a part, at the present slope.
pub(super) fn points_of_all(view: &PageView<'_>, worths: &Worths<'_>, index: RecordId, amount: &str) -> Option<f64> {
    let values = worths.values;
    let node = values.named(&format!("{}.{amount}", view.id(index)))?;
    Some(100.0 * values.worth_of_value(node, &worths.sensitivities)?.per_percent)
}

/// Points with their sign and three significant digits.
fn points(points: f64) -> String {
    if points.is_finite() { number::signed_significant(points, 3) } else { "none".to_owned() }
}
