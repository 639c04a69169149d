//! `no-parent`: a record that serves nothing.

use schema::Kind;

use super::{About, Check, Error, Group, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-parent",
    group: Group::Structure,
    about: About::Records,
    levels: [Warning, Error, Error, Error, Error],
    reports: "An event, target, requirement, part or decision that serves nothing; a part also inherits the links under \
              `for-parts` of its system.",
    why: "Without an upward link, its purpose and its worth in points are unknown.",
    fix: "Name what it serves, with the reason, under `serves`. If there is no reason, remove the record (and the \
          part).",
    bad_example: "\
parts:
  front-upright: {title: Front upright, in: suspension}",
    good_example: "\
parts:
  front-upright:
    title: Front upright
    in: suspension
    serves: {circle-time: It carries the hub and keeps the wheel upright in the circle.}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let graph = &study.graph;
    for (index, record) in graph.loaded.records() {
        let kind = record.kind();
        // If all records that it names are missing, `unknown-reference` reports that. A system that is not known may have
        // links for its parts.
        let is_known = || kind != Kind::Part || graph.loaded.knows_enclosing(index, &["for-parts"]);
        if kind.needs_parent() && graph.loaded.serves(index).value.is_empty() && is_known() {
            let message = format!("{} serves nothing", record.name());
            let mut help = format!("add `serves: {{ID of the {}: reason}}`", kind.expected_parents());
            if kind == Kind::Part {
                help.push_str("; for all parts of a system, add it under `for-parts` of the system");
            }
            reporter.report(index, &["serves"], message, help);
        }
    }
}
