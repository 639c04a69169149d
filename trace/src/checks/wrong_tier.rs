//! `wrong-tier`: a link that does not point up the chain.

use foldhash::{HashSet, HashSetExt as _};

use super::{About, Check, Group, Reporter, Study, Warning};
use crate::graph::Link;

pub(super) static CHECK: Check = Check {
    name: "wrong-tier",
    group: Group::Structure,
    about: About::Records,
    levels: [Warning; 5],
    reports: "A record that serves a record on a lower tier, or a part that serves a goal or an event.",
    why: "The chain is goal, event, car target, system target or requirement, part. A link that skips to the top does \
            not show what the part must do; a link that points down reverses the reason.",
    fix: "Under `serves` of a part, name the target that it supports. Reverse a link that points down.",
    bad_example: "\
parts:
  front-wing: {in: suspension, serves: {skidpad: Downforce makes the circle faster.}}",
    good_example: "\
parts:
  front-wing: {in: suspension, serves: {circle-time: Downforce makes the circle faster.}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let graph = &study.graph;
    // A wrong link of a group is reported once.
    let mut groups = HashSet::new();
    for (index, record) in graph.loaded.records() {
        let kind = record.kind();
        let Some(highest) = kind.roles().highest_parent else { continue };
        let Some(own) = graph.tier(index) else { continue };
        for (parent, edge) in graph.outgoing(index) {
            if edge.link != Link::Serves || edge.group.is_some_and(|group| !groups.insert((group, parent))) {
                continue;
            }
            let Some(above) = graph.tier(parent) else { continue };
            let to = graph.loaded.record(parent).id.as_str();
            let (owner, name, verb, route): (_, _, _, &[&str]) = match edge.group {
                Some(group) => {
                    let name = format!("the parts of {}", graph.loaded.record(group).name());
                    (group, name, "serve", &["for-parts", "serves", to])
                }
                None => (index, record.name().to_owned(), "serves", &["serves", to]),
            };
            let (message, help) = if above > own {
                let (own, above) = (own.word(), above.word());
                let message = format!("{name} ({own} tier) {verb} {to} ({above} tier): links must not point down");
                (message, format!("reverse the link, or name what {to} serves"))
            } else if above < highest {
                let message = match edge.group {
                    Some(_) => format!("{name} serve the {} {to}", above.word()),
                    None => format!("{name} is {} but serves the {} {to}", kind.with_article(), above.word()),
                };
                (message, "under `serves`, name the target that it supports".to_owned())
            } else {
                continue;
            };
            reporter.report_key(owner, route, message, help);
        }
    }
}
