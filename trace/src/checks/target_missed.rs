//! `target-missed`: a result lies beyond the limit.

use schema::records::Outcome;

use super::{Check, Error, Group, Reporter, Study, Warning, numbers};
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

fn run(study: &Study, reporter: &mut Reporter) {
    for standing in study.target_statuses().iter().filter(|standing| standing.status == Status::Missed) {
        let record = study.loaded.record(standing.index);
        let value = numbers::shown(study, standing);
        let message = format!("{} is {value}, and the limit is {}", record.name(), numbers::limit(record));
        reporter.report(standing.index, &[], message, "change the car and measure again, or agree on a revision");
    }
    failed(study, reporter);
}

/// Whatever was tried and failed, by its latest result: what has no number can be missed too.
fn failed(study: &Study, reporter: &mut Reporter) {
    for (of, id, result) in study.latest_results() {
        if let (Some(Outcome::Fail), Some(date)) = (result.outcome, result.date) {
            let (name, id) = (study.loaded.record(of).name(), &study.loaded.record(id).id);
            let message = format!("{name} failed on {date} ({id})");
            reporter.report(
                of,
                &[],
                message,
                "change the car and try again; a qualified person decides what it means until then",
            );
        }
    }
}
