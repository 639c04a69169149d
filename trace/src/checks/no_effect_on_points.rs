//! `no-effect-on-points`: a system target that no value ties to an event.

use schema::records::Body;

use super::{Check, Group, Inputs, Level, Note, Told};
use crate::graph::Tier;
use crate::values::{Measured, Values};

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

fn run(inputs: &Inputs<'_, '_>, told: &mut Told) {
    let graph = inputs.graph;
    // A value that was measured no longer moves with what is below it, and yet that is what it came from.
    let on_paper = (inputs.values.results() > 0).then(|| Values::with(graph, Measured::Nothing));
    let values = on_paper.as_ref().unwrap_or(inputs.values);
    let network = &values.network;
    let feeds = values.feeding();
    // Downward again: what shares one of these values.
    let mut ties = feeds;
    for &node in &network.order {
        ties[node] |= network.nodes[node].inputs.iter().any(|input| ties[*input]);
    }
    for (index, entry) in graph.loaded.entries.iter().enumerate() {
        let Body::Target(target) = &entry.record.body else { continue };
        if target.safety_critical || graph.tier(index) != Some(Tier::System) {
            continue;
        }
        if values.of_record(index).is_some_and(|node| !ties[node]) {
            let message = format!("no value ties {} to the points of any event", entry.record.name());
            told.tell(index, &[], message, "let a formula, a model or a budget above read it");
        }
    }
}
