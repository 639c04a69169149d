//! `no-share`: a system takes of a budget without a share in it.

use super::{Check, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-share",
    group: Group::Values,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A system that takes of an amount which is shared out to others, and has no share itself.",
    why: "What nobody has promised to keep to grows unseen, out of what the others have been given.",
    fix: "Give the system a target with `share-of` the budget, or let a share that is there cover it.",
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
        for (system, takes) in &budget.without_share {
            let takes = study.values().unit(budget.node).show(*takes, 0.0);
            let whole = &loaded.record(budget.index).id;
            let message = format!("{} takes {takes} without a share of {whole}", loaded.record(*system).name());
            reporter.report(*system, &[], message, format!("give it a target with `share-of: {whole}`"));
        }
    }
}
