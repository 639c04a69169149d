//! `impossible-points`: more points than an event or the contest gives.

use schema::records::{Event, Goal};

use super::{ALWAYS_ERROR, About, Check, Group, Reporter, Study};
use crate::ids::RecordId;
use crate::measure::Measure;

pub(super) static CHECK: Check = Check {
    name: "impossible-points",
    group: Group::Values,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "A plan, an expectation or a result above the most points of its event; plans or a goal above the most points \
              of the contest; a formula that gives our car more points than the best car. Where only some events of a \
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
        of_event(study, index, record.name(), event, reporter);
    }
    for (index, record, goal) in study.loaded.goals() {
        of_goal(study, index, record.name(), goal, reporter);
    }
}

/// Whether points are more than the most, apart from rounding.
fn is_above(points: f64, most: f64) -> bool {
    points > most + 1e-9 * most.abs().max(1.0)
}

fn of_event(study: &Study, index: RecordId, name: &str, event: &Event, reporter: &mut Reporter) {
    let values = study.values();
    let Some(most) = values.most(index) else {
        let predicted = values.record_node(index).and_then(|node| values.value(node));
        let is_scored = study.graph.results(index).iter().any(|(_, result)| result.value.is_some());
        if let Some((points, best)) = predicted.zip(values.points_of_best(index, event))
            && is_above(points, best)
            && !is_scored
        {
            let message = format!("{name}: {points:.1} points are predicted, but the best car has {best:.1}");
            let help = "our own time is better than `best`: use `min(best, ...)` in the formula, or add `most: N pts`";
            reporter.report(index, &["score", "given", "best"], message, help);
            reporter.measured(Measure::points(points - best));
        }
        return;
    };
    for (key, points, what) in [("plan", &event.plan, "planned"), ("expect", &event.expect, "expected")] {
        if let Some(points) = points.as_ref().map(schema::Quantity::si).filter(|points| is_above(*points, most)) {
            let message = format!("{name}: {points:.1} points are {what}, but the event gives at most {most:.1}");
            reporter.report(index, &[key], message, format!("correct `{key}`, or `most` of the event"));
            reporter.measured(Measure::points(points - most));
        }
    }
    for (result, body) in study.graph.results(index) {
        if let Some(points) = body.value.as_ref().map(schema::Quantity::si).filter(|points| is_above(*points, most)) {
            let message = format!("{name}: the result is {points:.1} points, but the event gives at most {most:.1}");
            reporter.report(result, &["value"], message, "correct the result, or `most` of the event");
            reporter.measured(Measure::points(points - most));
        }
    }
}

fn of_goal(study: &Study, index: RecordId, name: &str, goal: &Goal, reporter: &mut Reporter) {
    let values = study.values();
    let Some(node) = values.record_node(index) else { return };
    let available = values.available(node);
    if let Some(most) = available.total {
        let events = study.graph.children(index).filter_map(|child| study.loaded.event(child));
        let plan: f64 = events.filter_map(|event| event.plan.as_ref()).map(schema::Quantity::si).sum();
        if is_above(plan, most) {
            let message = format!("{name}: the plans total {plan:.1} points, but the contest gives at most {most:.1}");
            reporter.report(index, &[], message, "correct the plans of the events");
            reporter.measured(Measure::points(plan - most));
        }
        if let Some(points) = goal.points.as_ref().map(schema::Quantity::si).filter(|points| is_above(*points, most)) {
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
