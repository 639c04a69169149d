//! `target-at-risk`: an estimate that may not meet the limit.

use super::{Check, Group, Note, Reporter, Study, Warning, numbers};
use crate::values::{Origin, Status};

pub(super) static CHECK: Check = Check {
    name: "target-at-risk",
    group: Group::Values,
    levels: [Note, Warning, Warning, Warning, Warning],
    reports: "A target whose limit lies inside the uncertainty of its estimate, or beyond it.",
    why: "As things stand nobody can say that it will be met.",
    fix: "Bring the value back, know it better, or agree on another limit and write the revision.",
    bad_example: "\
targets:
  brake-distance: {of: car, at-most: 31 m, estimate: 30.6 m ± 0.8 m}",
    good_example: "\
targets:
  brake-distance: {of: car, at-most: 31 m, estimate: 30.6 m ± 0.3 m}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for standing in study.target_statuses().iter().filter(|standing| standing.status == Status::AtRisk) {
        // A roll-up beyond its limit is told as such.
        let rolled_up = study.values().origin(standing.index) == Origin::Total;
        let upper = standing.limit.at_least.is_none();
        if rolled_up && upper && standing.value.is_some_and(|value| !standing.limit.holds(value, 0.0)) {
            continue;
        }
        let record = study.loaded.record(standing.index);
        let value = numbers::shown(study, standing);
        let message = format!("{} is expected at {value}, and the limit is {}", record.name(), numbers::limit(record));
        reporter.report(standing.index, &[], message, "bring it back, reduce its uncertainty, or agree on a revision");
    }
}
