//! `wrong-tier`: a link that does not lead up the chain.

use schema::Kind;

use super::{Check, Group, Reporter, Study, Warning};
use crate::graph::{Link, Tier};

pub(super) static CHECK: Check = Check {
    name: "wrong-tier",
    group: Group::Structure,
    levels: [Warning; 5],
    reports: "A record that serves something below its own level, or a part that serves a goal or an event.",
    why: "The chain is goal, event, car target, system target or requirement, part. A link that skips to the top \
          says nothing of what the part must do; one that points down turns the reason around.",
    fix: "Let the part serve the target it is there for, and turn a link that points down around.",
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
        if !matches!(kind, Kind::Event | Kind::Target | Kind::Requirement | Kind::Part) {
            continue;
        }
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
                let message = format!("{name}, on {own} level, serves {to}, on {above} level: the link points down");
                reporter.report_key(
                    index,
                    &["serves", to],
                    message,
                    format!("turn the link around, or serve what {to} serves"),
                );
            } else if kind == Kind::Part && above <= Tier::Event {
                let message = format!("a part serves the {} {to}", above.word());
                reporter.report_key(index, &["serves", to], message, "let it serve the target that it is there for");
            }
        }
    }
}
