//! `decision-drift`: a value that a choice was judged on has changed.

use super::{About, Check, Group, Note, Reporter, Study};
use crate::measure::Measure;
use crate::values::Effect;

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
        let help = format!("run `tierod compare {}` with the current values", record.id);
        for (to, setting) in alternative.sets.iter() {
            let route = ["alternatives", name.as_str(), "sets", to.as_str()];
            let chosen = format!("alternative {name} was chosen");
            match values.effect(alternative, to, setting) {
                Ok(Effect::Value { node, value: then, uncertainty, .. }) => {
                    let Some(now) = values.value(node) else { continue };
                    let own = study.gradients().uncertainty(&values.network, node);
                    let (change, within) = ((now - then).abs(), uncertainty.unwrap_or(0.0).hypot(own));
                    if change > REPORTED_CHANGE * then.abs() && change > within {
                        let unit = values.unit(node);
                        let message =
                            format!("{chosen} with {to} at {}; it is now {}", setting.value, unit.show(now, 0.0));
                        reporter.report(index, &route, message, &help);
                        reporter.measured(Measure::of(change, now, unit));
                    }
                }
                Ok(Effect::Count(part, ratio)) if ratio != 1.0 => {
                    let now = study.loaded.part(part).and_then(|part| part.count).unwrap_or(1);
                    let message = format!("{chosen} with {to} at {}; it is now {now}", setting.value);
                    reporter.report(index, &route, message, &help);
                }
                Ok(Effect::Without(_)) => {
                    let message = format!("{chosen} without {to}, which is in the car now");
                    reporter.report(index, &route, message, &help);
                }
                // A changed list or table changes the values that are judged. What cannot be set is an error of its own.
                Ok(Effect::Count(..) | Effect::Input(..) | Effect::List(..) | Effect::Table(..)) | Err(_) => {}
            }
        }
    }
}
