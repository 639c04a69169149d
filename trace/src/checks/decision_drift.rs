//! `decision-drift`: what a choice was judged on has moved.

use super::{Check, Group, Note, Reporter, Study};

/// A value that has moved by more than this part of it, and more than its uncertainty, is told.
const MUCH: f64 = 0.02;

pub(super) static CHECK: Check = Check {
    name: "decision-drift",
    group: Group::Values,
    levels: [Note; 5],
    reports: "A decision whose chosen alternative was judged on a value that has moved since: by more than 2 %, and more \
            than the uncertainty of both.",
    why: "The choice may fall another way on what is known now.",
    fix: "`tierod compare` puts the alternatives into the car as it is now. If the choice stands, bring `sets` up to date.",
    bad_example: "\
targets:
  hub-stiffness: {of: suspension, at-least: 2 kN/mm, estimate: 3 kN/mm}
decisions:
  hub-material:
    chosen: steel
    alternatives: {steel: {sets: {hub-stiffness: 2.5 kN/mm}}, alloy: {sets: {hub-stiffness: 2 kN/mm}}}",
    good_example: "\
targets:
  hub-stiffness: {of: suspension, at-least: 2 kN/mm, estimate: 3 kN/mm}
decisions:
  hub-material:
    chosen: steel
    alternatives: {steel: {sets: {hub-stiffness: 3 kN/mm}}, alloy: {sets: {hub-stiffness: 2 kN/mm}}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let values = study.values();
    for (index, record, decision) in study.loaded.decisions() {
        let chosen = decision.chosen.as_ref().and_then(|name| Some((name, decision.alternatives.get(name.as_str())?)));
        let Some((name, alternative)) = chosen else { continue };
        for (to, judged) in alternative.sets.iter() {
            let Some(node) = values.named(to.as_str()) else { continue };
            let (dimension, then, spread) = values.in_team(judged);
            let Some(now) = values.value(node).filter(|_| values.dimension(node) == dimension) else { continue };
            let within = spread.hypot(study.gradients().uncertainty(&values.network, node));
            let moved = (now - then).abs();
            if moved > MUCH * then.abs() && moved > within {
                let now = values.unit(node).show(now, 0.0);
                let message = format!("{name} was judged with {to} at {judged}, and it is {now} now");
                let route = ["alternatives", name.as_str(), "sets", to.as_str()];
                reporter.report(
                    index,
                    &route,
                    message,
                    format!("`tierod compare {}` puts the alternatives into the car as it is", record.id),
                );
            }
        }
    }
}
