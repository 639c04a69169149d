//! Points that an event cannot give: more than its most, or with a chance that is none.

use schema::records::Event;
use schema::{Quantity, number};

use super::{CHANCE, Key, Values};
use crate::ids::RecordId;

/// Differences below it are rounding.
const ROUNDING: f64 = 1e-9;

/// The route of the plan, on which no prediction depends.
pub(crate) const PLAN: &[&str] = &["plan"];

/// Whether points are more than the most, apart from rounding.
pub(crate) fn is_above(points: f64, most: f64) -> bool {
    points > most + ROUNDING * most.abs().max(1.0)
}

/// Points that an event cannot give.
pub(crate) struct Impossible {
    /// The record that has them: the event, or a result.
    pub(crate) record: RecordId,
    /// Their keys in the record.
    pub(crate) route: &'static [&'static str],
    /// What is wrong.
    pub(crate) message: String,
    /// How to fix it.
    pub(crate) help: &'static str,
    /// By how much they are too many.
    pub(crate) by: Option<f64>,
}

/// The impossible points of an event.
pub(crate) fn in_event(values: &Values, index: RecordId, name: &str, event: &Event) -> Vec<Impossible> {
    let mut found = points(values, index, name, event);
    found.extend(chance(values, index, name, event));
    found
}

/// A chance that another value gives and that is none.
fn chance(values: &Values, index: RecordId, name: &str, event: &Event) -> Option<Impossible> {
    let text = event.chance.as_ref().map(|chance| chance.text()).filter(|text| Quantity::parse(text).is_err())?;
    let share = values.value(values.node(&Key::Local(index, CHANCE.into()))?)?;
    (!(-ROUNDING..=1.0 + ROUNDING).contains(&share)).then(|| Impossible {
        record: index,
        route: &["chance"],
        message: format!("{name}: its chance `{text}` is {}, not from 0 to 100 %", number::percent(share, 1)),
        help: "correct the value or the formula that gives the chance",
        by: None,
    })
}

fn points(values: &Values, index: RecordId, name: &str, event: &Event) -> Vec<Impossible> {
    let results = values.graph.results(index);
    let Some(most) = values.most(index) else {
        let predicted = values.record_node(index).and_then(|node| values.value(node));
        let is_scored = results.iter().any(|(_, result)| result.value.is_some());
        let both = predicted.zip(values.points_of_best(index, event));
        return both
            .filter(|(points, best)| is_above(*points, *best) && !is_scored)
            .map(|(points, best)| Impossible {
                record: index,
                route: &["score", "given", "best"],
                message: format!("{name}: {points:.1} points are predicted, but the best car has {best:.1}"),
                help: "our own time is better than `best`: use `min(best, ...)` in the formula, or add `most: N pts`",
                by: Some(points - best),
            })
            .into_iter()
            .collect();
    };
    let own = [
        (PLAN, event.plan.as_ref(), "planned", "correct `plan`, or `most` of the event"),
        (&["expect"], event.expect.as_ref(), "expected", "correct `expect`, or `most` of the event"),
    ];
    let own = own.map(|(route, points, what, help)| (index, route, points, what, help)).into_iter();
    let scored = results.iter().map(|(result, body)| {
        let route: &[&str] = &["value"];
        (*result, route, body.quantity(), "", "correct the result, or `most` of the event")
    });
    own.chain(scored)
        .filter_map(|(record, route, points, what, help)| {
            let points = points.map(Quantity::si).filter(|points| is_above(*points, most))?;
            let has = match what {
                "" => format!("the result is {points:.1} points"),
                _ => format!("{points:.1} points are {what}"),
            };
            let message = format!("{name}: {has}, but the event gives at most {most:.1}");
            Some(Impossible { record, route, message, help, by: Some(points - most) })
        })
        .collect()
}
