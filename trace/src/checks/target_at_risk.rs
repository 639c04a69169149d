//! `target-at-risk`: an estimate that may not meet the limit, or a result that does not decide.

use std::cell::LazyCell;

use foldhash::HashSet;

use super::{About, Check, Group, Note, RecordId, Reporter, Study, Warning, numbers};
use crate::values::{Origin, Status};

pub(super) static CHECK: Check = Check {
    name: "target-at-risk",
    group: Group::Values,
    about: About::Car,
    levels: [Note, Warning, Warning, Warning, Warning],
    reports: "A target whose estimate, with its uncertainty, does not meet the limit; a target whose status is `uncertain`: \
              the limit is inside the uncertainty of its latest result.",
    why: "With the current estimate, or with this measurement, it is not certain that the target is met.",
    fix: "Bring the value within the limit, reduce its uncertainty (measure more often or with a better instrument), or agree on a new limit and \
          record it with `tierod revise`.",
    bad_example: "\
targets:
  brake-distance: {of: car, at-most: 31 m, estimate: 30.6 m ± 0.8 m}",
    good_example: "\
targets:
  brake-distance: {of: car, at-most: 31 m, estimate: 30.6 m ± 0.3 m}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for target in study.target_statuses().iter().filter(|target| target.status == Status::Uncertain) {
        let record = study.loaded.record(target.index);
        let value = numbers::value_text(study, target);
        let limit = numbers::limit_text(record);
        let met = match target.conformance {
            Some(met) => format!("; met with a probability of {:.0} %", met * 100.0),
            None => String::new(),
        };
        let message = format!("{}: measured {value}, limit {limit} is inside the uncertainty{met}", record.name());
        let help = "measure more exactly, change the car, or agree on a new limit (`tierod revise`)";
        reporter.report(target.index, &[], message, help);
        numbers::measure_distance(study, target, target.uncertainty, reporter);
    }
    let over = LazyCell::new(|| {
        let over = study.budgets().iter().filter(|budget| budget.over().is_some());
        over.map(|budget| budget.index).collect::<HashSet<RecordId>>()
    });
    for target in study.target_statuses().iter().filter(|target| target.status == Status::AtRisk) {
        // `over-budget` reports a total that is over its limit.
        let is_total = study.values().origin(target.index) == Origin::Total;
        if is_total && target.limit.at_least.is_none() && over.contains(&target.index) {
            continue;
        }
        let record = study.loaded.record(target.index);
        let value = numbers::value_text(study, target);
        let message = format!("{}: expected {value}, limit {}", record.name(), numbers::limit_text(record));
        reporter.report(
            target.index,
            &[],
            message,
            "bring it within the limit, reduce its uncertainty, or agree on a new limit (`tierod revise`)",
        );
        numbers::measure_distance(study, target, target.uncertainty, reporter);
    }
}
