//! `over-budget`: a roll-up exceeds its limit.

use super::{Check, Error, Group, Note, Reporter, Study, Warning, numbers};
use crate::values::Origin;

pub(super) static CHECK: Check = Check {
    name: "over-budget",
    group: Group::Values,
    levels: [Note, Warning, Warning, Warning, Error],
    reports: "A target whose parts add up, times count and with growth, to more than its limit.",
    why: "What one section takes too much is missing in another, and the later it is found the dearer it is.",
    fix: "See with `tierod budget` who has room, and agree on a transfer or another limit with a revision for each. \
           No part is made lighter for a budget alone: loads and methods come first, the contest's rules and local \
           codes stand above it, and a qualified person decides.",
    bad_example: "\
targets:
  suspension-mass: {of: suspension, at-most: 2 kg, total: mass}
parts:
  upright: {in: suspension, count: 2, amounts: {mass: {value: 0.9 kg, basis: estimated}}}",
    good_example: "\
targets:
  suspension-mass: {of: suspension, at-most: 2 kg, total: mass}
parts:
  upright: {in: suspension, count: 2, amounts: {mass: {value: 0.9 kg, basis: weighed}}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let values = study.values();
    for budget in study.budgets().iter().filter(|budget| values.origin(budget.index) == Origin::Total) {
        let (Some(by), Some(value)) = (budget.over(), budget.value) else { continue };
        let record = study.loaded.record(budget.index);
        let unit = values.unit(budget.node);
        let sum = unit.show(value, 0.0);
        let over = unit.show(by, 0.0);
        let grown = budget.growth.filter(|growth| *growth > 0.0).map(|growth| unit.show(growth, 0.0));
        let grown = grown.map(|growth| format!(", {growth} of it growth")).unwrap_or_default();
        let limit = numbers::limit_text(record);
        let limit = limit.trim_start_matches("at most ");
        let message = format!("{} adds up to {sum}{grown}: {over} over its limit of {limit}", record.name());
        let amount = budget.amount.as_deref().unwrap_or_default();
        reporter.report(
            budget.index,
            &[],
            message,
            format!("see who has room with `tierod budget {amount}`, or agree on a revision"),
        );
    }
}
