//! `no-children`: a goal, event or car target that no record serves.

use super::{About, Check, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-children",
    group: Group::Structure,
    about: About::Records,
    levels: [Note, Warning, Warning, Warning, Warning],
    reports: "A goal, event or car target that no record serves.",
    why: "It is required, but no target or part supports it: the work is missing, or the record of it.",
    fix: "Add `serves: {ID: reason}` to the records that support it; divide a total (`total`) into shares, which are targets \
          with `share-of`, instead. If it is no longer wanted, remove it.",
    bad_example: "\
targets:
  turning-circle: {of: car, at-most: 7 m, serves: {skidpad: The circle is driven at 9 m radius.}}",
    good_example: "\
targets:
  turning-circle: {of: car, at-most: 7 m, serves: {skidpad: The circle is driven at 9 m radius.}}
  rack-travel: {of: suspension, at-least: 60 mm, serves: {turning-circle: 60 mm turn the wheels by 28 deg.}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let graph = &study.graph;
    for (index, record) in graph.loaded.records() {
        let Some(expected) = record.kind().expected_children(graph.tier(index)) else { continue };
        if graph.children(index).next().is_none() {
            let message = format!("no record serves {}", record.name());
            let id = &record.id;
            // The parts of a total add to it without a link, and a link to it alone is no reason for them.
            let help = match graph.loaded.target(index).and_then(|target| target.total.as_ref()) {
                Some(_) => format!(
                    "divide it into shares: targets of its systems with `share-of: {id}` and `serves: {{{id}: reason}}`"
                ),
                None => format!("add `serves: {{{id}: reason}}` to the {expected} that support it"),
            };
            reporter.report(index, &[], message, help);
        }
    }
}
