//! `target-missed`: a result lies beyond the limit.

use std::collections::BTreeMap;

use petgraph::Direction;
use schema::Day;
use schema::records::{Body, Outcome};

use super::{Check, Error, Group, Inputs, Told, Warning, numbers};
use crate::graph::Link;
use crate::values::Status;

pub(super) static CHECK: Check = Check {
    name: "target-missed",
    group: Group::Values,
    levels: [Warning, Warning, Warning, Error, Error],
    reports: "A target whose latest result lies beyond its limit; a target, requirement or part whose latest result failed.",
    why: "It was measured, and it is not so: what rests on the target will not be so either.",
    fix: "Change the car and measure again, or agree on another limit and write the revision. A safety-critical \
           target is never lowered to meet a result: loads and methods come first, the contest's rules and local \
           codes stand above it, and a qualified person decides.",
    bad_example: "\
targets:
  track-width: {of: car, at-most: 1.2 m}
results:
  track-width-measured: {of: track-width, value: 1.21 m, date: 2027-03-01, evidence: [chain.yaml]}",
    good_example: "\
targets:
  track-width: {of: car, at-most: 1.2 m}
results:
  track-width-measured: {of: track-width, value: 1.19 m, date: 2027-03-01, evidence: [chain.yaml]}",
    run,
};

fn run(inputs: &Inputs<'_, '_>, told: &mut Told) {
    for standing in inputs.standings.iter().filter(|standing| standing.status == Status::Missed) {
        let record = inputs.graph.loaded.record(standing.index);
        let value = numbers::shown(inputs, standing);
        let message = format!("{} is {value}, and the limit is {}", record.name(), numbers::limit(record));
        told.tell(standing.index, &[], message, "change the car and measure again, or agree on a revision");
    }
    failed(inputs, told);
}

/// Whatever was tried and failed, by its latest result: what has no number can be missed too.
fn failed(inputs: &Inputs<'_, '_>, told: &mut Told) {
    let mut latest: BTreeMap<usize, (Day, usize, Option<Outcome>)> = BTreeMap::new();
    for (index, entry) in inputs.graph.loaded.entries.iter().enumerate() {
        let Body::Result(result) = &entry.record.body else { continue };
        let Some(date) = result.date else { continue };
        for of in inputs.graph.linked(index, Link::Verifies, Direction::Outgoing) {
            let known = latest.get(&of).map(|(known, at, _)| (*known, *at));
            if known.is_none_or(|known| known < (date, index)) {
                latest.insert(of, (date, index, result.outcome));
            }
        }
    }
    for (of, (date, result, outcome)) in latest {
        if outcome == Some(Outcome::Fail) {
            let (name, id) = (inputs.graph.loaded.record(of).name(), &inputs.graph.loaded.record(result).id);
            let message = format!("{name} failed on {date} ({id})");
            told.tell(
                of,
                &[],
                message,
                "change the car and try again; a qualified person decides what it means until then",
            );
        }
    }
}
