//! `over-allocated`: the shares of a budget total more than is available.

use super::{About, Check, Error, Group, Note, Reporter, Study, Warning, over_budget};
use crate::measure::Measure;

pub(super) static CHECK: Check = Check {
    name: "over-allocated",
    group: Group::Values,
    about: About::Car,
    levels: [Note, Warning, Warning, Error, Error],
    reports: "A budget whose shares' limits total more than its own limit minus the reserve.",
    why: "Every section can stay within its share, and the car can still be over its limit.",
    fix: "Reduce the shares that have room, or agree on a new limit for the total, and add a revision for each limit \
            that changes.",
    bad_example: "\
systems:
  brakes: {in: car}
targets:
  car-mass: {of: car, at-most: 30 kg, reserve: 2 kg, total: mass}
  suspension-mass: {of: suspension, at-most: 20 kg, total: mass, share-of: car-mass}
  brakes-mass: {of: brakes, at-most: 9 kg, total: mass, share-of: car-mass}",
    good_example: "\
systems:
  brakes: {in: car}
targets:
  car-mass: {of: car, at-most: 30 kg, reserve: 2 kg, total: mass}
  suspension-mass: {of: suspension, at-most: 20 kg, total: mass, share-of: car-mass}
  brakes-mass: {of: brakes, at-most: 8 kg, total: mass, share-of: car-mass}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for budget in study.budgets() {
        let Some(by) = budget.over_allocated() else { continue };
        let record = study.loaded.record(budget.index);
        let unit = study.values().unit(budget.node);
        let reserve = if budget.reserve == 0.0 { "" } else { " minus the reserve" };
        let message = format!(
            "the shares of {} total {}, {} more than its limit{reserve}",
            record.name(),
            over_budget::show_total(unit, budget.allocated, by),
            over_budget::show_part(unit, by, budget.allocated)
        );
        reporter.report(
            budget.index,
            &[],
            message,
            "reduce the shares that have room, or agree on a new limit and add a revision",
        );
        reporter.measured(Measure::of(by, budget.allocated, unit));
    }
}
