//! `no-parent`: a record that serves nothing.

use schema::Kind;

use super::{Check, Error, Group, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-parent",
    group: Group::Structure,
    levels: [Warning, Error, Error, Error, Error],
    reports: "An event, target, requirement, part or decision that serves nothing.",
    why: "Nobody can say why it is there, so nobody can say what it is worth.",
    fix: "Name what it serves, and why, under `serves`. If there is no reason, the record (and the part) can go.",
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
        let chained = matches!(kind, Kind::Event | Kind::Target | Kind::Requirement | Kind::Part | Kind::Decision);
        // Where all it names is missing, that is told already, and is the one thing to mend.
        if !chained || !record.body.common().serves().is_empty() {
            continue;
        }
        let what = match kind {
            Kind::Event => "goal",
            Kind::Target | Kind::Requirement => "event or target",
            _ => "target or requirement",
        };
        let message = format!("{} serves nothing", record.name());
        reporter.report(index, &["serves"], message, format!("add `serves: {{id of the {what}: reason why}}`"));
    }
}
