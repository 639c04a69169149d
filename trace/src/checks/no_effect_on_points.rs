//! `no-effect-on-points`: a system target that no value connects with an event.

use super::{About, Check, Group, Level, Note, Reporter, Study};
use crate::graph::Tier;

pub(super) static CHECK: Check = Check {
    name: "no-effect-on-points",
    group: Group::Values,
    about: About::Records,
    levels: [Level::Off, Level::Off, Level::Off, Note, Note],
    reports: "A system target, not safety-critical, that shares no value with anything that an event's points depend \
              on.",
    why: "Its purpose is given in words only: the points that would be lost if it is missed cannot be calculated.",
    fix: "Use its value, or a value that it depends on, in a formula, model or budget that an event's points depend \
          on. For targets without an effect that can be calculated, change the level of this check in the settings.",
    bad_example: "\
targets:
  seat-heat: {of: suspension, at-most: 45 °C, estimate: 40 °C, serves: {circle-time: A cool driver is faster.}}",
    good_example: "\
targets:
  seat-heat:
    of: suspension
    at-most: 45 °C
    estimate: 40 °C
    safety-critical: true
    serves: {circle-time: A hot seat burns the driver.}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let graph = &study.graph;
    // Values without results, because a measured value no longer changes with its inputs.
    let values = study.values_on_paper();
    let network = &values.network;
    // The values that the points depend on, and then every value that depends on one of these.
    let mut connected = values.feeding();
    for &node in &network.order {
        connected[node] |= network.nodes[node].inputs.iter().any(|input| connected[*input]);
    }
    for (index, record, target) in graph.loaded.targets() {
        if target.safety_critical || graph.tier(index) != Some(Tier::System) {
            continue;
        }
        if values.record_node(index).is_some_and(|node| !connected[node]) {
            let message = format!("{} has no effect on the points of an event", record.name());
            let help = "use it in a formula, model or budget that an event's points depend on";
            reporter.report(index, &[], message, help);
        }
    }
}
