//! `impossible-points`: more points than an event or the contest gives.

use schema::records::{Event, Goal};
use schema::{Quantity, number};

use super::{ALWAYS_ERROR, About, Check, Group, Reporter, Study};
use crate::ids::RecordId;
use crate::measure::Measure;
use crate::values::{CHANCE, Key, Values};

pub(super) static CHECK: Check = Check {
    name: "impossible-points",
    group: Group::Values,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "A plan, an expectation or a result above the most points of its event; plans or a goal above the most points \
              of the contest; a formula that gives our car more points than the best car; a chance that is not from 0 to 100 %. Where only some events of a \
              goal have `most`, one note lists the others.",
    why: "No car can score these points. A prediction that contains them hides that points are missing.",
    fix: "Correct the points, or `most` (the rule book gives it). In a formula of your own, use \
          `min(best, time)` for the best time: if our car is the fastest, its time is the best one.",
    bad_example: "\
events:
  sprint:
    plan: 110 pts
    reads: {time: 4.2 s}
    score: {use: sae-2024.acceleration, given: {best: 4.0 s}}",
    good_example: "\
events:
  sprint:
    plan: 80 pts
    reads: {time: 4.2 s}
    score: {use: sae-2024.acceleration, given: {best: 4.0 s}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for (index, record, event) in study.loaded.events() {
        for found in of(study.values(), index, record.name(), event) {
            reporter.report(found.record, found.route, found.message, found.help);
            if let Some(by) = found.by {
                reporter.measured(Measure::points(by));
            }
        }
    }
    for (index, record, goal) in study.loaded.goals() {
        of_goal(study, index, record.name(), goal, reporter);
    }
}

/// Differences below it are rounding.
const ROUNDING: f64 = 1e-9;

/// The route of the plan, on which no prediction depends.
pub(crate) const PLAN: &[&str] = &["plan"];

/// Whether points are more than the most, apart from rounding.
fn is_above(points: f64, most: f64) -> bool {
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
    by: Option<f64>,
}

/// The impossible points of an event.
pub(crate) fn of(values: &Values, index: RecordId, name: &str, event: &Event) -> Vec<Impossible> {
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
        (*result, route, body.value.as_ref(), "", "correct the result, or `most` of the event")
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

fn of_goal(study: &Study, index: RecordId, name: &str, goal: &Goal, reporter: &mut Reporter) {
    let values = study.values();
    let Some(node) = values.record_node(index) else { return };
    let available = values.available(node);
    if let Some(most) = available.total {
        let events = study.graph.children(index).filter_map(|child| study.loaded.event(child));
        let plan: f64 = events.filter_map(|event| event.plan.as_ref()).map(Quantity::si).sum();
        if is_above(plan, most) {
            let message = format!("{name}: the plans total {plan:.1} points, but the contest gives at most {most:.1}");
            reporter.report(index, &[], message, "correct the plans of the events");
            reporter.measured(Measure::points(plan - most));
        }
        if let Some(points) = goal.points.as_ref().map(Quantity::si).filter(|points| is_above(*points, most)) {
            let message = format!("{name}: the goal is {points:.1} points, but the contest gives at most {most:.1}");
            reporter.report(index, &["points"], message, "correct the goal");
            reporter.measured(Measure::points(points - most));
        }
    }
    if available.some && !available.without.is_empty() {
        let ids: Vec<&str> = available.without.iter().map(|event| study.loaded.record(*event).id.as_str()).collect();
        let message = format!("{name}: impossible points of {} cannot be found without `most`", ids.join(", "));
        reporter.report_note(index, &[], message, "add `most: N pts` to these events; the rule book gives it");
    }
}
