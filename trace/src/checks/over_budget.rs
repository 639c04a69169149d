//! `over-budget`: a total is over its limit.

use super::{Check, Error, Group, Note, Reporter, Study, Warning, numbers};
use crate::values::Origin;

pub(super) static CHECK: Check = Check {
    name: "over-budget",
    group: Group::Values,
    levels: [Note, Warning, Warning, Warning, Error],
    reports: "A target whose total over its parts, with their counts and growth allowances, is over its limit.",
    why: "What one section uses too much is missing in another, and the later this is found, the more the fix costs.",
    fix: "Run `tierod budget` to see which shares have room, and agree on a transfer or a new limit, with a revision \
            for each limit that changes. Do not make a part lighter only to meet a budget: check load cases and \
            calculation methods first; contest rules and local regulations take precedence; a qualified person \
            decides.",
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
