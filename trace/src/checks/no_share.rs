//! `no-share`: a system uses a budget without having a share of it.

use super::{About, Check, Group, Note, Reporter, Study, Warning};
use crate::measure::Measure;

pub(super) static CHECK: Check = Check {
    name: "no-share",
    group: Group::Values,
    about: About::Car,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A system that uses an amount that is divided into shares, but has no share itself.",
    why: "Without a limit of its own, what it uses can grow unnoticed, at the cost of the other shares.",
    fix: "Add a target of the system with `share-of: BUDGET`, or extend an existing share to include it.",
    bad_example: "\
systems:
  brakes: {in: car}
targets:
  car-mass: {of: car, at-most: 30 kg, total: mass}
  suspension-mass: {of: suspension, at-most: 20 kg, total: mass, share-of: car-mass}
parts:
  disc: {in: brakes, count: 4, amounts: {mass: 0.4 kg}}",
    good_example: "\
systems:
  brakes: {in: car}
targets:
  car-mass: {of: car, at-most: 30 kg, total: mass}
  suspension-mass: {of: suspension, at-most: 20 kg, total: mass, share-of: car-mass}
  brakes-mass: {of: brakes, at-most: 8 kg, total: mass, share-of: car-mass}
parts:
  disc: {in: brakes, count: 4, amounts: {mass: 0.4 kg}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let loaded = &study.loaded;
    for budget in study.budgets() {
        for (system, used) in &budget.without_share {
            let unit = study.values().unit(budget.node);
            let shown = unit.show(*used, 0.0);
            let total = &loaded.record(budget.index).id;
            let system_record = loaded.record(*system);
            let message = format!("{} uses {shown} of {total} but has no share of it", system_record.name());
            let help = format!("add a target with `of: {}` and `share-of: {total}`", system_record.id);
            reporter.report(*system, &[], message, help);
            reporter.measured(Measure::of(*used, *used, unit));
        }
    }
}
