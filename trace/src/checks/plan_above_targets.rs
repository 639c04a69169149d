//! `plan-above-targets`: the plan of an event is higher than what its targets score.

use super::{About, Check, Group, Note, Reporter, Study, Warning};
use crate::measure::Measure;

pub(super) static CHECK: Check = Check {
    name: "plan-above-targets",
    group: Group::Values,
    about: About::Car,
    levels: [Note, Warning, Warning, Warning, Warning],
    reports: "An event that scores less than its plan when every target that it reads is exactly at its limit.",
    why: "The limit and the plan were set independently: the team can meet every target and still miss the planned \
            points.",
    fix: "Set the limit to the value that scores the plan (`tierod points` shows it) and add a revision, or change \
            the plan.",
    bad_example: "\
targets:
  sprint-time: {of: car, at-most: 4.4 s, estimate: 4.3 s}
events:
  sprint:
    plan: 80 pts
    reads: {time: sprint-time}
    score: {use: sae-2024.acceleration, given: {best: 4.0 s}}",
    good_example: "\
targets:
  sprint-time: {of: car, at-most: 4.4 s, estimate: 4.3 s}
events:
  sprint:
    plan: 73 pts
    reads: {time: sprint-time}
    score: {use: sae-2024.acceleration, given: {best: 4.0 s}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for (index, record, _) in study.loaded.events() {
        let Some(event) = study.values().event(index) else { continue };
        let (Some(plan), Some(points)) = (event.plan, event.at_limits) else { continue };
        // Plans are round numbers, so a tenth of a point is not a difference.
        if points < plan - 0.1 {
            let name = record.name();
            let message =
                format!("{name}: {plan:.1} points are planned, but targets exactly at their limits score {points:.1}");
            reporter.report(
                index,
                &["plan"],
                message,
                "set the limit to the value that scores the plan and add a revision, or change the plan",
            );
            reporter.measured(Measure::points(plan - points));
        }
    }
}
