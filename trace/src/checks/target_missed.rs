//! `target-missed`: a result lies beyond the limit.

use super::{Check, Error, Group, Inputs, Told, Warning, numbers};
use crate::values::Status;

pub(super) static CHECK: Check = Check {
    name: "target-missed",
    group: Group::Values,
    levels: [Warning, Warning, Warning, Error, Error],
    finds: "A target whose latest result lies beyond its limit.",
    why: "It was measured, and it is not so: what rests on the target will not be so either.",
    mend: "Change the car and measure again, or agree on another limit and write the revision. A safety-critical \
           target is never lowered to meet a result: loads and methods come first, the contest's rules and local \
           codes stand above it, and a qualified person decides.",
    found: "\
targets:
  track-width: {of: car, at-most: 1.2 m}
results:
  track-width-measured: {of: track-width, value: 1.21 m, date: 2027-03-01, evidence: [chain.yaml]}",
    mended: "\
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
}
