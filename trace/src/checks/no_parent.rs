//! `no-parent`: a record that serves nothing.

use schema::Kind;

use super::{Check, Error, Group, Inputs, Told, Warning};

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

fn run(inputs: &Inputs<'_, '_>, told: &mut Told) {
    let graph = inputs.graph;
    for (index, entry) in graph.loaded.entries.iter().enumerate() {
        let kind = entry.record.kind();
        let chained = matches!(kind, Kind::Event | Kind::Target | Kind::Requirement | Kind::Part | Kind::Decision);
        // Where all it names is missing, that is told already, and is the one thing to mend.
        if !chained || !entry.record.body.common().serves().is_empty() {
            continue;
        }
        let what = match kind {
            Kind::Event => "goal",
            Kind::Target | Kind::Requirement => "event or target",
            _ => "target or requirement",
        };
        let message = format!("{} serves nothing", entry.record.name());
        told.tell(index, &["serves"], message, format!("add `serves: {{id of the {what}: reason why}}`"));
    }
}
