//! `no-lead`: nobody answers for it.

use schema::Kind;

use super::{Check, Group, Inputs, Note, Told, Warning};

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

fn run(inputs: &Inputs<'_, '_>, told: &mut Told) {
    let graph = inputs.graph;
    for (index, entry) in graph.loaded.entries.iter().enumerate() {
        let answered_for = matches!(
            entry.record.kind(),
            Kind::Goal | Kind::Event | Kind::System | Kind::Target | Kind::Requirement | Kind::Part | Kind::Decision
        );
        if answered_for && graph.lead(index).is_none() {
            let message = format!("nobody answers for {}", entry.record.name());
            told.tell(index, &[], message, "name the role under `lead`, here or on its system");
        }
    }
}
