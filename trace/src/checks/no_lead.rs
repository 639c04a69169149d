//! `no-lead`: a record without a responsible role.

use super::{About, Check, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-lead",
    group: Group::Structure,
    about: About::Records,
    levels: [Note, Note, Note, Warning, Warning],
    reports: "A goal, event, system, target, requirement, part or decision without a lead, its own or that of its \
              system.",
    why: "Work without a responsible role is found unfinished at the contest.",
    fix: "Add `lead: ROLE` to the record or its system; name a role, never a person.",
    bad_example: "\
targets:
  cg-height: {of: car, at-most: 290 mm, serves: {circle-time: It reduces the load transfer.}}",
    good_example: "\
targets:
  cg-height: {of: car, lead: chief engineer, at-most: 290 mm, serves: {circle-time: It reduces the load transfer.}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let graph = &study.graph;
    for (index, record) in graph.loaded.records() {
        if record.kind().roles().needs_lead && graph.lead(index).is_none() {
            let help =
                if record.about().is_some() { "add `lead: ROLE` here or on its system" } else { "add `lead: ROLE`" };
            reporter.report(index, &[], format!("{} has no lead", record.name()), help);
        }
    }
}
