//! `no-lead`: nobody answers for it.

use schema::Kind;

use super::{Check, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-lead",
    group: Group::Structure,
    levels: [Note, Note, Note, Warning, Warning],
    reports: "A goal, event, system, target, requirement, part or decision without a lead, on it or on its system.",
    why: "What nobody answers for is found open at the contest.",
    fix: "Name the role under `lead`, on the record or on its system; never a person's name.",
    bad_example: "\
targets:
  cg-height: {of: car, at-most: 290 mm, serves: {circle-time: Less load moves outward.}}",
    good_example: "\
targets:
  cg-height: {of: car, lead: chief engineer, at-most: 290 mm, serves: {circle-time: Less load moves outward.}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let graph = &study.graph;
    for (index, record) in graph.loaded.records() {
        let answered_for = matches!(
            record.kind(),
            Kind::Goal | Kind::Event | Kind::System | Kind::Target | Kind::Requirement | Kind::Part | Kind::Decision
        );
        if answered_for && graph.lead(index).is_none() {
            let message = format!("nobody answers for {}", record.name());
            reporter.report(index, &[], message, "name the role under `lead`, here or on its system");
        }
    }
}
