//! `no-children`: something in the upper chain that nothing serves.

use schema::Kind;

use super::{Check, Group, Note, Reporter, Study, Warning};
use crate::graph::Tier;

pub(super) static CHECK: Check = Check {
    name: "no-children",
    group: Group::Structure,
    levels: [Note, Warning, Warning, Warning, Warning],
    reports: "A goal, an event or a car target that nothing serves.",
    why: "It is wanted, and nothing in the car is there for it: nobody works on it, or nobody wrote it down.",
    fix: "Let the targets or parts that bring it about serve it, or give it up on record.",
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
        let upper = match record.kind() {
            Kind::Goal | Kind::Event => true,
            Kind::Target => graph.tier(index) == Some(Tier::Car),
            _ => false,
        };
        if upper && graph.children(index).next().is_none() {
            let below = match record.kind() {
                Kind::Goal => "let events serve it",
                Kind::Event => "let car targets serve it",
                _ => "let system targets or parts serve it",
            };
            reporter.report(index, &[], format!("nothing serves {}", record.name()), below);
        }
    }
}
