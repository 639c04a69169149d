//! `off-chain`: a record that has parents but no path to a goal.

use schema::Kind;

use super::{About, Check, Error, Group, Note, Reporter, Study, Warning};
use crate::graph::Tier;

pub(super) static CHECK: Check = Check {
    name: "off-chain",
    group: Group::Structure,
    about: About::Records,
    levels: [Note, Warning, Warning, Error, Error],
    reports: "A record that serves others, but does not lead to a goal.",
    why: "What it serves has no purpose itself, so the record adds no planned points.",
    fix: "Follow the chain to its end, and add the right `serves:` link to the record there.",
    bad_example: "\
systems:
  electrics: {in: car}
parts:
  dashboard: {in: electrics, serves: {electrics: The driver reads the oil pressure from it.}}",
    good_example: "\
systems:
  electrics: {in: car}
parts:
  dashboard: {in: electrics, serves: {circle-time: The driver sees when the tyres are warm.}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let graph = &study.graph;
    for (index, record) in graph.loaded.records() {
        if graph.tier(index) == Some(Tier::Goal)
            || study.chains().distance(index).is_some()
            || graph.parents(index).next().is_none()
        {
            continue;
        }
        let chain = study.chain(index);
        let end = chain.last().map_or(record, |last| graph.loaded.record(*last));
        let message = format!("{} does not lead to a goal: its chain ends at {}", record.name(), end.id);
        let help = if end.kind() == Kind::System {
            "under `serves`, name a target or requirement instead of the system".to_owned()
        } else {
            format!("add the right `serves:` link to {}", end.id)
        };
        reporter.report(index, &["serves"], message, help);
    }
}
