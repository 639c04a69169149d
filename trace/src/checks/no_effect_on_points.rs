//! `no-effect-on-points`: a system target that no value ties to an event.

use super::{Check, Group, Level, Note, Reporter, Study};
use crate::graph::Tier;

pub(super) static CHECK: Check = Check {
    name: "no-effect-on-points",
    group: Group::Values,
    levels: [Level::Off, Level::Off, Level::Off, Note, Note],
    reports: "A system target, not safety-critical, that shares no value with anything that an event's points rest on.",
    why: "Its reason says what it is good for, and no number does: nobody can tell what missing it would cost.",
    fix: "Let a formula, a model or a budget above read it, or what it rests on. Some targets are yes or no and have \
           no number above them; set the level of this check as suits the team.",
    bad_example: "\
targets:
  seat-heat: {of: suspension, at-most: 45 °C, estimate: 40 °C, serves: {circle-time: The driver stays awake.}}",
    good_example:
        "\
targets:
  seat-heat: {of: suspension, at-most: 45 °C, estimate: 40 °C, safety-critical: true, serves: {circle-time: It burns.}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let graph = &study.graph;
    // A value that was measured no longer moves with what is below it, and yet that is what it came from.
    let values = study.values_on_paper();
    let network = &values.network;
    let feeds = values.feeding();
    // Downward again: what shares one of these values.
    let mut ties = feeds;
    for &node in &network.order {
        ties[node] |= network.nodes[node].inputs.iter().any(|input| ties[*input]);
    }
    for (index, record, target) in graph.loaded.targets() {
        if target.safety_critical || graph.tier(index) != Some(Tier::System) {
            continue;
        }
        if values.record_node(index).is_some_and(|node| !ties[node]) {
            let message = format!("no value ties {} to the points of any event", record.name());
            reporter.report(index, &[], message, "let a formula, a model or a budget above read it");
        }
    }
}
