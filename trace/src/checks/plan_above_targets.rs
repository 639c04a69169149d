//! `plan-above-targets`: meeting the targets would not score the plan.

use super::{Check, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "plan-above-targets",
    group: Group::Values,
    levels: [Note, Warning, Warning, Warning, Warning],
    reports: "An event whose plan is not scored when every target that it reads is just met.",
    why: "The limit and the plan were set apart from one another: the team may meet its target and miss its points.",
    fix: "Move the limit to the value that earns the plan (`tierod points` shows it), or the plan, on record.",
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
    for (index, record) in study.loaded.records() {
        if record.kind() != schema::Kind::Event {
            continue;
        }
        let Some(event) = study.values().event(index, study.gradients()) else { continue };
        let (Some(plan), Some(points)) = (event.plan, event.at_limits) else { continue };
        // A tenth of a point is no difference: plans are round numbers.
        if points < plan - 0.1 {
            let name = record.name();
            let message = format!("{name}: its targets just met score {points:.1} points, and {plan:.1} are planned");
            reporter.report(
                index,
                &["plan"],
                message,
                "move the limit to the value that earns the plan, or the plan, on record",
            );
        }
    }
}
