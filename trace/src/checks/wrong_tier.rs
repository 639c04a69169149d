//! `wrong-tier`: a link that does not point up the chain.

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
    for (index, record) in graph.loaded.records() {
        let kind = record.kind();
        let Some(highest) = kind.roles().highest_parent else { continue };
        let Some(own) = graph.tier(index) else { continue };
        for (parent, edge) in graph.outgoing(index) {
            if edge.link != Link::Serves {
                continue;
            }
            let Some(above) = graph.tier(parent) else { continue };
            let to = graph.loaded.record(parent).id.as_str();
            if above > own {
                let name = record.name();
                let (own, above) = (own.word(), above.word());
                let message = format!("{name} ({own} tier) serves {to} ({above} tier): links must not point down");
                reporter.report_key(
                    index,
                    &["serves", to],
                    message,
                    format!("reverse the link, or name what {to} serves"),
                );
            } else if above < highest {
                let message =
                    format!("{} is {} but serves the {} {to}", record.name(), kind.with_article(), above.word());
                reporter.report_key(
                    index,
                    &["serves", to],
                    message,
                    "under `serves`, name the target that it supports",
                );
            }
        }
    }
}
