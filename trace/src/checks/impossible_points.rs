//! `impossible-points`: more points than an event or the contest gives.

use schema::Quantity;
use schema::records::Goal;

use super::{ALWAYS_ERROR, About, Check, Group, Reporter, Study};
use crate::ids::RecordId;
use crate::measure::Measure;
use crate::values::impossible::{in_event, is_above};

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

/// The largest number of events that a message lists: more than any contest has.
const MOST_LISTED: usize = 50;

fn run(study: &Study, reporter: &mut Reporter) {
    for (index, record, event) in study.loaded.events() {
        for found in in_event(study.values(), index, record.name(), event) {
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
        let ids = available.without.iter().take(MOST_LISTED).map(|event| study.loaded.record(*event).id.as_str());
        let more = match available.without.len().saturating_sub(MOST_LISTED) {
            0 => String::new(),
            more => format!(" and {more} more"),
        };
        let ids = ids.collect::<Vec<_>>().join(", ");
        let message = format!("{name}: impossible points of {ids}{more} cannot be found without `most`");
        reporter.report_note(index, &[], message, "add `most: N pts` to these events; the rule book gives it");
    }
}
