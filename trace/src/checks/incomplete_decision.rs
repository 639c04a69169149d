//! `incomplete-decision`: a choice whose alternatives cannot be compared.

use super::{About, Check, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "incomplete-decision",
    group: Group::Verification,
    about: About::Records,
    levels: [Note, Warning, Warning, Warning, Warning],
    reports: "A decision without `criteria`, with fewer than two alternatives, or with an alternative that sets no \
              value.",
    why: "A choice between alternatives that were not compared cannot be justified later.",
    fix: "List the targets that judge the alternatives under `criteria`, and the values that each alternative changes \
          under `sets`.",
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
            let help = "list the targets that judge the alternatives under `criteria`";
            reporter.report(index, &["criteria"], format!("{name} has no criteria"), help);
        }
        if decision.alternatives.len() < 2 {
            let message = match decision.alternatives.len() {
                0 => format!("{name} has no alternatives"),
                _ => format!("{name} has only one alternative"),
            };
            let help = "add at least two alternatives, one of them the current solution";
            reporter.report(index, &["alternatives"], message, help);
            continue;
        }
        for (alternative, body) in decision.alternatives.iter() {
            if body.sets.is_empty() {
                let message = format!("alternative {alternative} sets no value, so it cannot be compared");
                let help = "list the values that it changes under `sets`";
                reporter.report(index, &["alternatives", alternative.as_str()], message, help);
            }
        }
    }
}
