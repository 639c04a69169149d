//! `off-chain`: a record whose parents lead to no goal.

use schema::Kind;

use super::{Check, Error, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "off-chain",
    group: Group::Structure,
    levels: [Note, Warning, Warning, Error, Error],
    reports: "A record that has parents, none of which leads to a goal.",
    why: "It has a reason, and that reason has none: it earns no points that anybody planned.",
    fix: "Follow the chain shown to where it ends, and let that record serve what it is there for.",
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
        if record.kind() == Kind::Goal
            || study.chains().distance(index).is_some()
            || graph.parents(index).next().is_none()
        {
            continue;
        }
        let way = study.chain(index);
        let end = way.last().map_or(record.id.as_str(), |last| graph.loaded.record(*last).id.as_str());
        let message = format!("{} leads to no goal: the chain ends at {end}", record.name());
        let is_system = way.last().is_some_and(|last| graph.loaded.record(*last).kind() == Kind::System);
        let help = if is_system {
            "serve a target or requirement in place of the system".to_owned()
        } else {
            format!("let {end} serve what it is there for")
        };
        reporter.report(index, &["serves"], message, help);
    }
}
