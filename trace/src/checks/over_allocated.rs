//! `over-allocated`: the shares of a budget add up to more than there is.

use super::{Check, Error, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "over-allocated",
    group: Group::Values,
    levels: [Note, Warning, Warning, Error, Error],
    reports: "A budget whose shares' limits add up to more than its own limit less the reserve.",
    why: "Every section can keep to its share and the car still be over.",
    fix: "Give less to the shares that have room, or agree on another limit for the whole, with a revision for each.",
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
        let shown = |si: f64| study.values().unit(budget.node).show(si, 0.0);
        let less = if budget.reserve == 0.0 { "" } else { " less the reserve" };
        let message = format!(
            "the shares of {} add up to {}, {} more than its limit{less}",
            record.name(),
            shown(budget.allocated),
            shown(by)
        );
        reporter.report(budget.index, &[], message, "take from the shares that have room, or agree on a revision");
    }
}
