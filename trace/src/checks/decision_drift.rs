//! `decision-drift`: a value that a choice was judged on has changed.

use super::{About, Check, Group, Note, Reporter, Study};
use crate::measure::Measure;

/// The smallest change that is reported, as a ratio, if it is also larger than the uncertainty.
const REPORTED_CHANGE: f64 = 0.02;

pub(super) static CHECK: Check = Check {
    name: "decision-drift",
    group: Group::Values,
    about: About::Car,
    levels: [Note; 5],
    reports: "A decision whose chosen alternative was judged on a value that has changed since, by more than 2 % and \
              by more than the uncertainty of both values.",
    why: "With the current values, another alternative may be better.",
    fix: "Compare the alternatives with the current values (`tierod compare`). If the choice is still right, update \
          `sets`.",
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
            let change = (now - then).abs();
            if change > REPORTED_CHANGE * then.abs() && change > within {
                let unit = values.unit(node);
                let shown = unit.show(now, 0.0);
                let message = format!("alternative {name} was chosen with {to} at {judged}; it is now {shown}");
                let route = ["alternatives", name.as_str(), "sets", to.as_str()];
                let help = format!("run `tierod compare {}` with the current values", record.id);
                reporter.report(index, &route, message, help);
                reporter.measured(Measure::of(change, now, unit));
            }
        }
    }
}
