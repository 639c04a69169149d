//! What moves the points: the worth of one unit, or of 1 %, of each value.

use schema::number;
use serde_json::{Value, json};
use trace::RecordId;
use trace::values::{Key, Worth};

use super::{PageView, Worths};
use crate::output::numbers::quantity;

/// The most values that are listed.
const MOST: usize = 20;

/// The amounts of the car, and the values with the largest effects.
pub(super) fn section(view: &PageView<'_>, worths: Option<&Worths<'_>>) -> Value {
    let Some(worths) = worths else { return json!({"car": [], "values": [], "more": 0, "picture": Value::Null}) };
    let car: Vec<Value> =
        worths.values.worth_of_car(&worths.sensitivities).iter().map(|own| row(view, worths, own)).collect();
    // Values under `given` can rarely be changed by the team.
    let is_own = |own: &Worth| !matches!(worths.values.keys[own.node], Key::Local(..));
    let all: Vec<Worth> = worths.values.worth_of_leaves(&worths.sensitivities).into_iter().filter(is_own).collect();
    let values: Vec<Value> = all.iter().take(MOST).map(|own| row(view, worths, own)).collect();
    json!({"car": car, "values": values, "more": all.len().saturating_sub(MOST), "picture": super::drawn::worth(view, worths)})
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
    let amount = match values.keys[worth.node] {
        Key::Part(_, number) | Key::Group(_, number) => values.amounts().get(usize::from(number)),
        Key::Record(_) | Key::Local(..) | Key::NotInParts(_) => None,
    };
    let count = count_of(view, worths, worth);
    json!({
        "name": values.name(worth.node),
        "record": record.map(|record| view.link(record)),
        "amount": amount,
        "now": format!("{}{}", if count > 1 { format!("{count} × ") } else { String::new() }, quantity(worth.value, 0.0, unit)),
        "unit": unit.to_string(),
        "per_unit": points(worth.per_si * unit.factor() / f64::from(count)),
        "per_percent": points(worth.per_percent),
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

/// Points with their sign and three significant digits.
fn points(points: f64) -> String {
    if points.is_finite() { number::signed_significant(points, 3) } else { "none".to_owned() }
}
