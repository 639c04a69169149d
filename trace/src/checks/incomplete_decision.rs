//! `incomplete-decision`: a choice that nothing was weighed for.

use super::{Check, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "incomplete-decision",
    group: Group::Verification,
    levels: [Note, Warning, Warning, Warning, Warning],
    reports: "A decision without `criteria`, has fewer than two alternatives, or has one that sets no value.",
    why: "A choice between things that were not put side by side is a habit.",
    fix: "Name the targets that judge it under `criteria`, and what each alternative would change under `sets`.",
    bad_example: "\
decisions:
  damper-choice:
    serves: {circle-time: The dampers set how fast the load moves.}
    criteria: [circle-time]
    alternatives: {long: {title: Long travel}, short: {sets: {hub.mass: 0.4 kg}}}",
    good_example: "\
decisions:
  damper-choice:
    serves: {circle-time: The dampers set how fast the load moves.}
    criteria: [circle-time]
    alternatives: {long: {sets: {hub.mass: 0.5 kg}}, short: {sets: {hub.mass: 0.4 kg}}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for (index, record, decision) in study.loaded.decisions() {
        let name = record.name();
        if decision.criteria.is_empty() {
            let help = "name the targets that judge the alternatives under `criteria`";
            reporter.report(index, &["criteria"], format!("{name} is weighed by no target"), help);
        }
        if decision.alternatives.len() < 2 {
            let message = match decision.alternatives.len() {
                0 => format!("{name} has no alternatives"),
                _ => format!("{name} has one alternative only"),
            };
            reporter.report(
                index,
                &["alternatives"],
                message,
                "write at least two alternatives, one of them what there is now",
            );
            continue;
        }
        for (alternative, body) in decision.alternatives.iter() {
            if body.sets.is_empty() {
                let message = format!("the alternative {alternative} sets no value, so nothing can be weighed");
                reporter.report(
                    index,
                    &["alternatives", alternative.as_str()],
                    message,
                    "say what it would change under `sets`",
                );
            }
        }
    }
}
