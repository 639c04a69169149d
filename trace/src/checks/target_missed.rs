//! `target-missed`: a result that does not meet the limit.

use schema::records::Outcome;

use super::{About, Check, Error, Group, Reporter, Study, Warning, numbers};
use crate::values::Status;

pub(super) static CHECK: Check = Check {
    name: "target-missed",
    group: Group::Values,
    about: About::Car,
    levels: [Warning, Warning, Warning, Error, Error],
    reports: "A target whose latest result, with its uncertainty, is outside its limit; a target, requirement or part whose latest result \
            has `outcome: fail`.",
    why: "The measurement shows that the car does not do what the records that depend on the target assume.",
    fix: "Change the car and measure again, or agree on a new limit and add a revision. Never lower a safety-critical \
            target to meet a result: check load cases and calculation methods first; contest rules and local \
            regulations take precedence; a qualified person decides.",
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
    for target in study.target_statuses().iter().filter(|target| target.status == Status::Missed) {
        let record = study.loaded.record(target.index);
        let value = numbers::value_text(study, target);
        let message = format!("{}: measured {value}, limit {}", record.name(), numbers::limit_text(record));
        reporter.report(
            target.index,
            &[],
            message,
            "change the car and measure again, or agree on a new limit and add a revision",
        );
        numbers::measure_distance(study, target, 0.0, reporter);
    }
    report_failures(study, reporter);
}

/// Reports every record whose latest result is a failure, because a record without a number can fail too.
fn report_failures(study: &Study, reporter: &mut Reporter) {
    for (of, result_id, result) in study.latest_results() {
        if let (Some(Outcome::Fail), Some(date)) = (result.outcome, result.date) {
            let (name, id) = (study.loaded.record(of).name(), &study.loaded.record(result_id).id);
            let message = format!("{name} failed on {date} ({id})");
            reporter.report(
                of,
                &[],
                message,
                "change the car and test again; until then, a qualified person decides what the failure means",
            );
        }
    }
}
